#include "surface/fill_plane.h"

#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/contours.h"

/* A rim counts as flat when it leaves its plane by no more than this share of its size. */
static const double flatness = 1e-5;

bool plane_is_flat(const struct walk *walk, const struct patch *patch)
{
    struct vec up = vec_unit(walk_area(walk, patch->at)), middle = vec(0, 0, 0);
    double size2 = 0, height = 0;
    for (size_t i = 0; i < walk->count; i++)
        middle = vec_along(middle, 1.0 / (double)walk->count, patch->at[walk->vertex[i]]);
    for (size_t i = 0; i < walk->count; i++) {
        struct vec d = vec_sub(patch->at[walk->vertex[i]], middle);
        size2 = fmax(size2, vec_length2(d));
        height = fmax(height, fabs(vec_dot(d, up)));
    }
    return vec_length2(up) > 0 && height <= flatness * sqrt(size2);
}

struct side { /* of a triangle, its lower vertex first */
    uint32_t low, high, half;
};

static int side_order(const void *a, const void *b)
{
    const struct side *x = a, *y = b;
    if (x->low != y->low)
        return x->low < y->low ? -1 : 1;
    if (x->high != y->high)
        return x->high < y->high ? -1 : 1;
    return x->half < y->half ? -1 : x->half > y->half;
}

/* Links the sides that two triangles run opposite ways; those of the rim have no fellow. */
static bool link_sides(struct patch *patch)
{
    size_t halves = 3 * patch->triangles;
    struct side *side = malloc((halves + 1) * sizeof *side);
    if (!side)
        return false;
    for (uint32_t h = 0; h < halves; h++) {
        uint32_t a = patch_from(patch, h), b = patch_to(patch, h);
        side[h] = (struct side){a < b ? a : b, a < b ? b : a, h};
    }
    qsort(side, halves, sizeof *side, side_order);
    for (size_t i = 0; i + 1 < halves; i++)
        if (side[i].low == side[i + 1].low && side[i].high == side[i + 1].high) {
            patch->twin[side[i].half] = side[i + 1].half;
            patch->twin[side[i + 1].half] = side[i].half;
            i++;
        }
    free(side);
    return true;
}

static bool take_triangles(const struct contours_fill *fill, struct patch *patch)
{
    if (!patch_reserve(patch, patch->vertices, fill->triangles))
        return false;
    for (size_t t = 0; t < fill->triangles; t++)
        patch_add(patch, fill->triangle[t].v[0], fill->triangle[t].v[1], fill->triangle[t].v[2]);
    return link_sides(patch);
}

static enum status fill_contours(const struct contours *contours, struct contours_fill *fill,
                                 struct job *job)
{
    enum status status;
    /* A failure is recorded in the job, which only one thread at a time may do. */
#pragma omp critical(fill_plane)
    status = contours_fill(contours, fill, job);
    return status;
}

bool plane_fill(const struct walk *walk, struct patch *patch, bool *done, struct job *job)
{
    double(*at)[2] = malloc((patch->rim + 1) * sizeof *at);
    uint32_t(*edge)[2] = malloc((walk->count + 1) * sizeof *edge);
    struct vec u, v;
    size_t edges = 0;
    double largest = 0; /* coordinate: floats are as fine as that */
    *done = false;
    vec_frame(vec_unit(walk_area(walk, patch->at)), &u, &v);
    for (size_t i = 0; i < patch->rim && at; i++) {
        struct vec p = patch->at[i], d = vec_sub(p, patch->at[0]);
        largest = fmax(largest, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
        at[i][0] = vec_dot(d, u);
        at[i][1] = vec_dot(d, v);
    }
    for (size_t i = 0; i < walk->count && edge; i++)
        if (walk->mate[i] == NO_INDEX) { /* bridges are not needed here */
            edge[edges][0] = walk->vertex[i];
            edge[edges++][1] = walk->vertex[i + 1 < walk->count ? i + 1 : 0];
        }
    const struct contours contours = {.at = (const double(*)[2])at,
                                      .points = patch->rim,
                                      .edge = (const uint32_t(*)[2])edge,
                                      .edges = edges,
                                      .grain = FLT_EPSILON * largest};
    struct contours_fill fill;
    bool ok = at && edge && fill_contours(&contours, &fill, job) == STATUS_OK;
    if (ok) {
        *done = fill.opens == 0;
        ok = !*done || take_triangles(&fill, patch);
        contours_release(&fill);
    }
    free(at);
    free(edge);
    return ok;
}
