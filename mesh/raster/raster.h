/* The software renderer: pieces -> image of light, depth, colour, triangle -> glyphs or pixels.
 *
 * raster.h draws and picks; camera.h turns and moves the camera; cells.h makes characters of the
 * image, text.h lines of text, png.h a PNG file. */
#ifndef FETTLE_RASTER_RASTER_H
#define FETTLE_RASTER_RASTER_H

#include "core/mesh.h"
#include "raster/camera.h"

enum shade { SHADE_SMOOTH, SHADE_FLAT };
enum paint {
    PAINT_OWN /* vertex colour */,
    PAINT_PLAIN,
    PAINT_PIECE /* each piece in its tint, its inner side too */,
    PAINT_ORIGIN /* measured, invented, made */
};

struct raster_piece {
    const struct mesh *mesh; /* without triangles: its points are drawn, sized to their density */
    uint8_t tint[3]; /* the piece's colour where it has none of its own, and unless PAINT_OWN */
    unsigned number; /* written on it in text pictures, near the middle of what is seen; 0: none */
    bool pale;       /* drawn as if it were going: another piece is the one that matters */
    bool spared;     /* the cut leaves it alone */
};

struct raster_mark { /* a finding or a picked point drawn over the surface */
    struct vec at;   /* world */
    double reach;    /* mm; 0: a point. A chosen one of some reach is ringed */
    uint8_t glyph;   /* in text pictures */
    bool chosen;     /* drawn stronger, over the others, and also where the surface hides it (dim);
                        the others are drawn only where they can be seen */
};

struct raster_line {     /* of something that is not there, or not yet: broken where it is hidden */
    struct vec from, to; /* world */
};

struct raster_view {
    struct camera camera;
    const struct raster_piece *piece;
    size_t pieces;
    const struct raster_mark *mark;
    size_t marks;
    const struct raster_line *line;
    size_t lines;
    bool cut; /* preview of a plane cut: what lies on the far side of the normal */
    struct vec
        cut_normal;    /*   is drawn as going (hatched / dimmed) and the section line is drawn */
    double cut_offset; /* dot(cut_normal, p) = cut_offset, world */
    enum shade shade;
    enum paint paint;
    bool axes, scale_bar;
    int grain; /* samples per step of the patterns that tell surfaces apart; 0: 1, right for cells.h
                */
};

/* What colours stand for, from a scale that the colour-blind can tell apart (Okabe & Ito 2008,
 * "Color Universal Design"); each goes with a pattern or a glyph of its own. sRGB. */
enum swatch {
    SWATCH_MEASURED, /* plain */
    SWATCH_INVENTED, /* lines across */
    SWATCH_MADE,     /* upright lines */
    SWATCH_BACK,     /* slanting lines */
    SWATCH_SECTION,
    SWATCH_MARK,
    SWATCH_CHOSEN,
    SWATCH_X, /* the axes */
    SWATCH_Y,
    SWATCH_Z,
    SWATCH_COUNT
};
const uint8_t *raster_swatch(enum swatch swatch);

/* The tints that tell pieces apart, for as many as there are and then round about: the same scale
 * without black. RASTER_TINTS of them; each is at least 4 times as bright as black (the ratio of
 * WCAG 2.1, which asks 3 of graphics). */
enum { RASTER_TINTS = 7 };
const uint8_t *raster_tint(size_t piece);

enum { SIDE_MOST = 65000 }; /* samples along a side of an image */

struct image; /* opaque: per sample light, depth, colour, triangle and piece, what it is */

#define RASTER_AIR 1.04 /* a zoom of 1 / RASTER_AIR then leaves a little air around them */

/* Shows all vertices of the pieces as large as they go from where the camera looks now (tighter
 * than camera_fit with their box): sets centre and height. No vertices: unchanged. */
void raster_fit(struct camera *camera, const struct raster_piece *piece, size_t pieces,
                double aspect, struct job *job);

struct image *image_new(void); /* NULL when out of memory */
void image_free(struct image *image);

/* Draws the view into the image at width x height samples (memory is kept between calls);
 * sample_aspect is the width of a sample over its height. All threads of the job; the same image
 * whatever their number (of equally near triangles the first one is seen).
 *
 * Takes 10 to 25 ns of one processor for each triangle and some 100 ns for each sample. Smooth
 * shading asks for a mesh's DERIVED_normals only where its triangles are larger than a sample, so
 * that a big mesh seen whole costs nothing beforehand. The meshes are not needed any more when it
 * returns.
 *
 * On failure (STATUS_MEMORY, STATUS_CANCELLED, STATUS_REFUSED beyond 2^31 triangles and points
 * or SIDE_MOST samples a side)
 * the image is empty: everything is background. */
enum status raster_draw(struct image *image, const struct raster_view *view, int width, int height,
                        double sample_aspect, struct job *job);

/* The size it was drawn at; 0 before that and after a failure. */
int image_width(const struct image *image);
int image_height(const struct image *image);

/* What lies under a sample: piece and triangle (of a point cloud: the vertex) and the world point
 * at the sample's middle; false: background. Any out-parameter may be NULL. */
bool image_pick(const struct image *image, int x, int y, size_t *piece, uint32_t *triangle,
                struct vec *world);

/* The nearest sample to x, y (at most `within` samples away) where there is a surface; for cursors
 * and mice that point at whole cells. False: none; *x and *y are then unchanged. */
bool image_nearest(const struct image *image, int *x, int *y, int within);

#endif
