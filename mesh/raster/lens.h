/* A camera worked out for one picture; inside raster only. */
#ifndef FETTLE_RASTER_LENS_H
#define FETTLE_RASTER_LENS_H

#include "raster/camera.h"

struct lens {
    struct vec axis[3]; /* of the view, in the world: right, up, towards the viewer */
    struct vec centre;
    bool perspective;
    double eye;       /* mm from the centre to the eye, when perspective */
    double near;      /* mm from the eye to the plane that nothing is seen before */
    double scale[2];  /* samples a mm at the centre; y counts down, so scale[1] is negative */
    double mm[2];     /* a sample at the centre: 1 / scale */
    double middle[2]; /* of the picture, samples */
};

struct lens lens_of(const struct camera *camera, int width, int height, double sample_aspect);

/* World to view coordinates (beside the centre) and back. */
struct vec lens_view(const struct lens *lens, struct vec world);
struct vec lens_world(const struct lens *lens, struct vec view);

/* A direction in view coordinates. */
struct vec lens_turn(const struct lens *lens, struct vec direction);

/* The height of a picture that just shows a point at v (view axes, beside the centre). */
double camera_height_for(const struct camera *camera, struct vec v, double aspect);

/* Takes that height with a margin; 1 mm where there is no size. */
void camera_set_height(struct camera *camera, double height);

/* The view point at x, y (samples) that lies z mm towards the viewer from the centre. */
static inline struct vec lens_unproject(const struct lens *lens, double x, double y, double z)
{
    double k = lens->perspective ? (lens->eye - z) / lens->eye : 1;
    return vec((x - lens->middle[0]) * lens->mm[0] * k, (y - lens->middle[1]) * lens->mm[1] * k, z);
}

#endif
