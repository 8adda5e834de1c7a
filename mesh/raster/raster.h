/* The software renderer: pieces -> image of light, depth, colour, triangle -> glyphs or pixels. */
#ifndef FETTLE_RASTER_RASTER_H
#define FETTLE_RASTER_RASTER_H

#include "core/mesh.h"

struct camera {
    float turn[4];        /* unit quaternion (x, y, z, w), world to view; view looks along -z */
    struct vec centre;    /* world point in the middle of the picture, mm */
    double height;        /* world height of the picture at the centre, mm */
    bool perspective;
    double field;         /* vertical field of view, degrees, when perspective */
};

/* A camera that shows the box [min, max] whole from three-quarters above. */
void camera_frame(struct camera *camera, struct vec min, struct vec max, double aspect);

enum shade { SHADE_SMOOTH, SHADE_FLAT };
enum paint { PAINT_OWN /* vertex colour */, PAINT_PLAIN, PAINT_ORIGIN /* measured, invented, made */ };

struct raster_piece {
    const struct mesh *mesh;
    uint8_t tint[3];   /* the piece's colour where it has none of its own or PAINT_PLAIN */
};

struct raster_mark { /* a finding or a picked point drawn over the surface */
    struct vec at;   /* world */
    double reach;    /* mm; 0: a point */
    uint8_t glyph;   /* in text pictures */
    bool chosen;
};

struct raster_view {
    struct camera camera;
    const struct raster_piece *piece;
    size_t pieces;
    const struct raster_mark *mark;
    size_t marks;
    bool cut;              /* preview of a plane cut: what lies on the far side of the normal */
    struct vec cut_normal; /*   is drawn as going (hatched / dimmed) and the section line is drawn */
    double cut_offset;     /* dot(cut_normal, p) = cut_offset, world */
    enum shade shade;
    enum paint paint;
    bool axes, scale_bar;
};

struct image; /* opaque: per sample light, depth, colour, triangle and piece, what it is */

struct image *image_new(void);
void image_free(struct image *image);

/* Draws the view into the image at width x height samples (memory is kept between calls);
 * sample_aspect is the width of a sample over its height. All threads of the job. */
enum status raster_draw(struct image *image, const struct raster_view *view, int width, int height,
                        double sample_aspect, struct job *job);

/* What lies under a sample: piece and triangle and the world point; false: background. */
bool image_pick(const struct image *image, int x, int y, size_t *piece, uint32_t *triangle,
                struct vec *world);

#endif
