/* The camera: what it shows, how it is turned and moved, from the world to samples and back.
 *
 * View axes: x to the right, y up, z towards the viewer; the world's z is up. Pictures are measured
 * in samples from the upper left corner, x to the right and y down; sample (i, j) has its middle
 * at (i + 0.5, j + 0.5). */
#ifndef FETTLE_RASTER_CAMERA_H
#define FETTLE_RASTER_CAMERA_H

#include <stdbool.h>

#include "core/vec.h"

struct camera {
    float turn[4];     /* unit quaternion (x, y, z, w), world to view; view looks along -z */
    struct vec centre; /* world point in the middle of the picture, mm */
    double height;     /* world height of the picture at the centre, mm */
    bool perspective;
    double field; /* vertical field of view, degrees, when perspective */
};

/* Sides to look from: FRONT looks along +y with x to the right, TOP looks down with x to the
 * right, CORNER from the front, right and above. */
enum camera_side {
    CAMERA_FRONT,
    CAMERA_BACK,
    CAMERA_LEFT,
    CAMERA_RIGHT,
    CAMERA_TOP,
    CAMERA_BOTTOM,
    CAMERA_CORNER,
    CAMERA_SIDES
};

/* A camera that shows the box [min, max] whole from three-quarters above (CAMERA_CORNER),
 * orthographic, field 35 degrees. Sets every member. aspect: the picture's width over its height
 * as seen (width * sample_aspect / height). A box without size gets a picture 1 mm high. */
void camera_frame(struct camera *camera, struct vec min, struct vec max, double aspect);

/* Shows the box whole from where the camera looks now, with its present projection. */
void camera_fit(struct camera *camera, struct vec min, struct vec max, double aspect);

/* Looks from that side at the present centre. */
void camera_look(struct camera *camera, enum camera_side side);

/* The next of the four sides (front, right, back, left) that the viewer comes to on going round
 * the vertical to his right (way 1) or left (-1). Seen from straight above or below: the front. */
enum camera_side camera_next_side(const struct camera *camera, int way);

/* Turns what is seen about the view axes, radians: its near side goes right by `right`, up by `up`,
 * and the picture turns clockwise by `clockwise`. */
void camera_turn(struct camera *camera, double right, double up, double clockwise);

/* Moves what is seen by that share of the picture's height, to the right and up. */
void camera_pan(struct camera *camera, double right, double up);

/* Makes things look `factor` times as large (> 1: nearer). The height stays between 1e-6 and
 * 1e12 mm. */
void camera_zoom(struct camera *camera, double factor);

/* The same, but what is at `about` (world) stays where it is in the picture, and what is as deep in
 * it becomes what the camera turns about. */
void camera_zoom_about(struct camera *camera, double factor, struct vec about);

/* Turns the camera so that these are the view axes in the world: unit vectors, square to each other
 * and right-handed. */
void camera_set_axes(struct camera *camera, struct vec right, struct vec up, struct vec toward);

/* Whether both show the same. */
bool camera_same(const struct camera *a, const struct camera *b);

/* The view axes in the world, unit vectors; any may be NULL. */
void camera_axes(const struct camera *camera, struct vec *right, struct vec *up,
                 struct vec *toward);

/* Where a world point is seen: x, y in samples and how far it lies behind the centre (mm, along the
 * view; negative: nearer). False when it lies behind the viewer; *out is then undefined. */
bool camera_project(const struct camera *camera, int width, int height, double sample_aspect,
                    struct vec world, struct vec *out);

/* The line of sight through x, y: unit vector `along` into the picture, `from` on it: the eye in
 * perspective, else a point in the plane through the centre (what is seen may lie before it). */
void camera_ray(const struct camera *camera, int width, int height, double sample_aspect, double x,
                double y, struct vec *from, struct vec *along);

/* World mm per sample (vertically) at the centre. */
double camera_sample_size(const struct camera *camera, int height);

#endif
