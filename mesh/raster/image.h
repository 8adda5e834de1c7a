/* The image's inside, shared by the files that draw it and those that read it. Inside raster only.
 */
#ifndef FETTLE_RASTER_IMAGE_H
#define FETTLE_RASTER_IMAGE_H

#include <stdatomic.h>

#include "core/job.h"
#include "raster/clip.h"
#include "raster/lens.h"
#include "raster/raster.h"

enum kind { /* bits: what a sample shows */
            KIND_SURFACE = 1,
            KIND_BACK = 2,     /* its inner side */
            KIND_GOING = 4,    /* the cut would take it away */
            KIND_INVENTED = 8, /* shown only with PAINT_ORIGIN */
            KIND_MADE = 16,
            KIND_SECTION = 32, /* where the plane cuts */
            KIND_LINE = 64,    /* an axis: lies over the picture */
            KIND_ROUGH = 128,  /* a point of a cloud that brought no normal */
            KIND_PATTERNED = KIND_BACK | KIND_GOING | KIND_INVENTED | KIND_MADE
};

/* A sample before shading is one number, so that the nearest of what falls on it is an atomic
 * minimum: from the top how far it is (32 bits, see depth_order), the running number of its
 * triangle or point (31 bits), and whether the triangle's back is seen. */
#define SEEN_NOTHING UINT64_MAX
#define SEEN_MOST (UINT64_C(1) << 31) /* triangles and points in one picture */

enum {
    FACING_ONE = 32767, /* length of a unit normal as kept */
    REACH = 5           /* samples (times grain) that the relief looks around */
};

struct placed {        /* a mark in the picture */
    double x, y, ring; /* samples; ring 0: none */
    uint8_t glyph;
    bool chosen, hidden;
};

struct numbered { /* where a piece's number goes */
    int x, y;     /* sample */
    unsigned number;
    uint8_t tint[3];
};

struct image {
    int width, height;
    double aspect;
    int grain;
    struct lens lens;
    bool axes, scale_bar;

    /* Samples, row by row from the top. Those that neighbours are looked up in have a frame of
     * `pad` samples of nothing around them: their rows are `stride` apart; see image_at. */
    size_t room, framed_room; /* samples there is memory for, without and with the frame */
    int pad;
    size_t stride;
    _Atomic uint64_t *seen;
    float *z;             /* framed: mm towards the viewer from the centre; -INFINITY: nothing */
    int16_t *facing[3];   /* framed: the unit normal turned to the viewer, view axes; FACING_ONE */
    uint8_t (*colour)[3]; /* of the surface, unlit */
    uint8_t *kind;
    uint16_t *raw;  /* light before tone mapping */
    uint8_t *light; /* 0 to 255, as it should look (perceptually even) */

    uint64_t *first; /* running number of each piece's first triangle or point; pieces + 1 */
    size_t pieces, pieces_room;

    uint32_t *place; /* of the vertices of one piece; see visible.c */
    size_t place_room;

    struct placed *mark;
    size_t marks, marks_room;

    enum paint paint;
    struct numbered *number;
    size_t numbers, numbers_room;
};

static inline size_t image_samples(const struct image *image)
{
    return (size_t)image->width * (size_t)image->height;
}

/* Where a sample is in the framed arrays; x and y may lie up to pad outside. */
static inline size_t image_at(const struct image *image, int x, int y)
{
    return (size_t)(y + image->pad) * image->stride + (size_t)(x + image->pad);
}

/* What is linear across a triangle in the picture and grows with the distance: -z, or
 * -1 / (distance from the eye) in perspective. Ordered as an unsigned number. */
static inline uint32_t depth_order(float q)
{
    uint32_t bits;
    _Static_assert(sizeof bits == sizeof q, "a float is 32 bits");
    __builtin_memcpy(&bits, &q, sizeof bits);
    return bits & 0x80000000u ? ~bits : bits | 0x80000000u;
}
static inline float depth_from_order(uint32_t order)
{
    float q;
    uint32_t bits = order & 0x80000000u ? order & 0x7fffffffu : ~order;
    __builtin_memcpy(&q, &bits, sizeof q);
    return q;
}
/* View z (mm towards the viewer from the centre) of a sample that shows something. */
static inline double seen_z(const struct lens *lens, uint64_t seen)
{
    double q = depth_from_order((uint32_t)(seen >> 32));
    return lens->perspective ? lens->eye + 1 / q : -q;
}
static inline uint64_t image_seen(const struct image *image, size_t i)
{
    return atomic_load_explicit(&image->seen[i], memory_order_relaxed);
}
static inline uint64_t seen_number(uint64_t seen)
{
    return (seen & 0xffffffffu) >> 1;
}
static inline bool seen_back(uint64_t seen)
{
    return seen & 1;
}
static inline void image_put(struct image *image, size_t i, float q, uint32_t number, bool back)
{
    uint64_t key = (uint64_t)depth_order(q) << 32 | (uint64_t)number << 1 | back;
    uint64_t old = atomic_load_explicit(&image->seen[i], memory_order_relaxed);
    while (key < old && !atomic_compare_exchange_weak_explicit(
                            &image->seen[i], &old, key, memory_order_relaxed, memory_order_relaxed))
        ;
}

/* Sets the size and gets the memory for it. */
enum status image_size(struct image *image, int width, int height, int grain, struct job *job);

/* Which piece a running number belongs to. */
size_t image_piece(const struct image *image, uint64_t number);

/* Rows a thread takes at a time in the passes over the picture. */
enum { ROWS_AT_ONCE = 8 };

/* Whether a sample of a patterned kind falls between the strokes of its pattern. Patterns tell
 * surfaces apart without colour and fit a cell of 4 x 8 samples: dots for what goes, slanting lines
 * for backs, lines across for what is invented, upright lines for what is made. Those who show the
 * picture draw them, each by its own means. */
static inline bool pattern_gap(const struct image *image, uint8_t kind, int x, int y)
{
    int u = x / image->grain, v = y / image->grain;
    if (kind & KIND_GOING)
        return (u & 3) >= 2 || (v & 7) < 4 || (v & 7) >= 6;
    if (kind & KIND_BACK)
        return ((2 * u + v) & 7) >= 3;
    if (kind & KIND_INVENTED)
        return (v & 3) >= 2;
    if (kind & KIND_MADE)
        return (u & 3) >= 2;
    return false;
}

/* The passes, in their order. */
enum status visible_draw(struct image *image, const struct mesh *mesh, uint32_t first,
                         struct job *job); /* triangles -> seen */
enum status splats_draw(struct image *image, const struct mesh *mesh, uint32_t first,
                        struct job *job); /* points -> seen */
enum status surface_draw(struct image *image, const struct raster_view *view,
                         struct job *job); /* seen -> z, facing, colour, kind */
void relief_draw(struct image *image, const struct raster_view *view, int threads); /* -> light */
enum status overlay_draw(struct image *image, const struct raster_view *view,
                         struct job *job); /* marks, section line, axes */
enum status numbers_draw(struct image *image, const struct raster_view *view,
                         struct job *job); /* where the pieces' numbers go */

/* For those who write text over the picture. */
struct tripod { /* the axes: samples */
    double at[2], end[3][2], depth[3];
};
struct tripod tripod_of(const struct image *image);
struct scale { /* the scale bar: the longest round length within a quarter of the picture */
    double samples;
    char text[24]; /* "20 mm" */
};
struct scale scale_of(const struct image *image);

#endif
