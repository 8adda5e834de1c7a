/* Inner edges flipped until the triangles are Delaunay within the contours (C. L. Lawson, "Software
 * for C1 Surface Interpolation", Mathematical Software III, 1977). Where triangles have no area,
 * are turned over (contours cross) or no thicker than the grain, the flip that makes the thinner of
 * the two thicker goes first. */
#include <math.h>

#include "core/contour_parts.h"

enum { LOOK = 4096 };

struct flips {
    struct ring *ring;
    uint32_t *stack; /* sides to look at; each at most once */
    uint8_t *stacked;
    size_t depth;
};

static uint32_t after(uint32_t side)
{
    return side % 3 == 2 ? side - 2 : side + 1;
}

static uint32_t node_at(const struct flips *f, uint32_t side)
{
    return f->ring->corner[side / 3][side % 3];
}

/* The two sides of an edge count as one. */
static void push(struct flips *f, uint32_t side)
{
    uint32_t twin = f->ring->twin[side];
    if (twin == NO_INDEX)
        return;
    side = twin < side ? twin : side;
    if (f->stacked[side])
        return;
    f->stacked[side] = true;
    f->stack[f->depth++] = side;
}

/* The four corners of the two triangles at a side: a to b is the side, c the third corner of its
 * triangle, d that of the one across. */
struct quad {
    uint32_t a, b, c, d;
};

static struct quad quad_at(const struct flips *f, uint32_t side)
{
    uint32_t twin = f->ring->twin[side];
    return (struct quad){node_at(f, side), node_at(f, after(side)), node_at(f, after(after(side))),
                         node_at(f, after(after(twin)))};
}

static double length2(const double a[2], const double b[2])
{
    return (b[0] - a[0]) * (b[0] - a[0]) + (b[1] - a[1]) * (b[1] - a[1]);
}

/* The least height of a triangle; 0 when it is turned over. */
static double thickness(const double a[2], const double b[2], const double c[2])
{
    if (exact_turn(a, b, c) <= 0)
        return 0;
    double area2 = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    return fabs(area2) / sqrt(fmax(length2(a, b), fmax(length2(b, c), length2(c, a))));
}

static bool better_flipped(const struct flips *f, const struct quad *q)
{
    double(*at)[2] = f->ring->at;
    const double *a = at[q->a], *b = at[q->b], *c = at[q->c], *d = at[q->d];
    uint32_t p = f->ring->point[q->c], r = f->ring->point[q->d];
    if (p == r || edge_set_holds(&f->ring->edges, p, r))
        return false;
    if (exact_turn(a, d, c) <= 0 || exact_turn(d, b, c) <= 0)
        return false;
    double now = fmin(thickness(a, b, c), thickness(b, a, d));
    double then = fmin(thickness(a, d, c), thickness(d, b, c));
    if (now <= f->ring->grain || then <= f->ring->grain)
        return then > now;
    return exact_circle(a, b, c, d) > 0;
}

static void join(struct ring *ring, uint32_t side, uint32_t twin)
{
    ring->twin[side] = twin;
    if (twin != NO_INDEX)
        ring->twin[twin] = side;
}

/* a b c | b a d  becomes  a d c | d b c. */
static void flip(struct flips *f, uint32_t side, const struct quad *q)
{
    struct ring *ring = f->ring;
    uint32_t twin = ring->twin[side], t = side / 3, u = twin / 3;
    uint32_t bc = ring->twin[after(side)], ca = ring->twin[after(after(side))];
    uint32_t ad = ring->twin[after(twin)], db = ring->twin[after(after(twin))];
    const uint32_t first[3] = {q->a, q->d, q->c}, other[3] = {q->d, q->b, q->c};
    for (int k = 0; k < 3; k++) {
        ring->corner[t][k] = first[k];
        ring->corner[u][k] = other[k];
    }
    join(ring, 3 * t, ad);
    join(ring, 3 * t + 1, 3 * u + 2);
    join(ring, 3 * t + 2, ca);
    join(ring, 3 * u, db);
    join(ring, 3 * u + 1, bc);
    push(f, 3 * t);
    push(f, 3 * t + 2);
    push(f, 3 * u);
    push(f, 3 * u + 1);
}

static void improve(struct flips *f, uint32_t side)
{
    struct quad quad = quad_at(f, side);
    if (!better_flipped(f, &quad))
        return;
    const uint32_t *point = f->ring->point;
    edge_set_remove(&f->ring->edges, point[quad.a], point[quad.b]);
    edge_set_add(&f->ring->edges, point[quad.c], point[quad.d]);
    flip(f, side, &quad);
}

enum status flips_make(struct ring *ring, const struct job *job)
{
    size_t sides = 3 * (size_t)ring->triangles;
    struct flips f = {ring, scratch_new(sides, sizeof *f.stack), scratch_new(sides, 1), 0};
    enum status status = STATUS_OK;
    if (!f.stack || !f.stacked)
        status = STATUS_MEMORY;
    for (size_t s = 0; s < sides && status == STATUS_OK; s++)
        f.stacked[s] = false;
    for (size_t s = sides; s-- > 0 && status == STATUS_OK;)
        push(&f, (uint32_t)s);
    for (size_t looks = 1; f.depth && !edge_set_full(&ring->edges) && status == STATUS_OK;
         looks++) {
        uint32_t side = f.stack[--f.depth];
        f.stacked[side] = false;
        if (ring->twin[side] != NO_INDEX) /* a flip may have moved a contour there */
            improve(&f, side);
        if (looks % LOOK == 0 && job_cancelled(job))
            status = STATUS_CANCELLED;
    }
    scratch_free(f.stack);
    scratch_free(f.stacked);
    return status;
}
