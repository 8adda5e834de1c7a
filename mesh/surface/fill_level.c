#include "surface/fill_level.h"

#include <stdlib.h>

enum { RIM_MOST = 2048 }; /* edges: every pair of them is looked at */

/* What rounding in double precision may do to coordinates that are floats is far less, as a share
 * of the lengths at hand. */
static const double blur = 1e-9;

struct edge { /* of the rim, seen from above */
    uint32_t from, to;
    double x[2], y[2], low, high; /* its ends; the range of x */
};

static struct vec place(const struct mesh *mesh, size_t first, uint32_t half)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[first + half / 3].v[half % 3]]);
}

/* Twice the area vector of the lid, which is that of its rim. */
static struct vec area_of(const struct mesh *mesh, size_t first, size_t triangles)
{
    struct vec area = vec(0, 0, 0);
    for (uint32_t h = 0; h < 3 * triangles; h += 3) {
        struct vec a = place(mesh, first, h);
        area = vec_add(area, vec_cross(vec_sub(place(mesh, first, h + 1), a),
                                       vec_sub(place(mesh, first, h + 2), a)));
    }
    return area;
}

static bool all_face(const struct mesh *mesh, size_t first, size_t triangles, struct vec up)
{
    for (uint32_t h = 0; h < 3 * triangles; h += 3) {
        struct vec a = place(mesh, first, h);
        struct vec u = vec_sub(place(mesh, first, h + 1), a);
        struct vec v = vec_sub(place(mesh, first, h + 2), a);
        double size = sqrt(vec_length2(u) * vec_length2(v));
        if (!(vec_dot(vec_cross(u, v), up) > 1e-6 * size))
            return false;
    }
    return true;
}

/* The rim's edges, one a vertex of it. False when it is no single walk. */
static bool read_edges(const struct mesh *mesh, size_t first, const struct patch *patch,
                       struct vec up, struct edge *edge)
{
    struct vec right, ahead;
    size_t count = 0;
    vec_frame(up, &right, &ahead);
    for (uint32_t h = 0; h < 3 * patch->triangles; h++) {
        if (patch->twin[h] != NO_INDEX)
            continue;
        if (count == patch->rim)
            return false;
        struct edge *e = edge + count++;
        struct vec end[2] = {place(mesh, first, h), place(mesh, first, half_next(h))};
        e->from = patch_from(patch, h);
        e->to = patch_to(patch, h);
        for (int k = 0; k < 2; k++) {
            e->x[k] = vec_dot(end[k], right);
            e->y[k] = vec_dot(end[k], ahead);
        }
        e->low = fmin(e->x[0], e->x[1]);
        e->high = fmax(e->x[0], e->x[1]);
    }
    return count == patch->rim;
}

/* How far to the left of edge e a place is, times the edge's length; 0 when that is not clear. */
static double left_of(const struct edge *e, double x, double y, double size)
{
    double dx = e->x[1] - e->x[0], dy = e->y[1] - e->y[0];
    double turn = dx * (y - e->y[0]) - dy * (x - e->x[0]);
    return fabs(turn) > blur * size * (fabs(dx) + fabs(dy)) ? turn : 0;
}

/* Whether both ends of f clearly lie on one side of e's line. */
static bool beside(const struct edge *e, const struct edge *f, double size)
{
    return left_of(e, f->x[0], f->y[0], size) * left_of(e, f->x[1], f->y[1], size) > 0;
}

static bool apart(const struct edge *e, const struct edge *f, double size)
{
    double low = fmin(f->y[0], f->y[1]), high = fmax(f->y[0], f->y[1]), gap = blur * size;
    if (fmax(e->y[0], e->y[1]) + gap < low || high + gap < fmin(e->y[0], e->y[1]))
        return true;
    if (e->to != f->from && f->to != e->from && e->from != f->from && e->to != f->to)
        return beside(e, f, size) || beside(f, e, size);
    /* The vertex in common: they must not run back over one another. */
    bool on = e->to == f->from || f->to == e->from;
    const struct edge *a = f->to == e->from ? f : e, *b = a == e ? f : e;
    double ax = a->x[1] - a->x[0], ay = a->y[1] - a->y[0], bx = b->x[1] - b->x[0];
    double by = b->y[1] - b->y[0], along = ax * bx + ay * by;
    double length = (fabs(ax) + fabs(ay)) * (fabs(bx) + fabs(by));
    return on && (along > 1e-6 * length || fabs(ax * by - ay * bx) > 1e-6 * length);
}

static int edge_order(const void *a, const void *b)
{
    const struct edge *x = a, *y = b;
    if (x->low < y->low || x->low > y->low)
        return x->low < y->low ? -1 : 1;
    return x->from < y->from ? -1 : x->from > y->from;
}

static bool rim_is_simple(struct edge *edge, size_t count)
{
    double size = 0;
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 2; k++)
            size = fmax(size, fmax(fabs(edge[i].x[k]), fabs(edge[i].y[k])));
    qsort(edge, count, sizeof *edge, edge_order);
    for (size_t i = 0; i < count; i++)
        for (size_t k = i + 1; k < count && edge[k].low <= edge[i].high + blur * size; k++)
            if (!apart(edge + i, edge + k, size))
                return false;
    return true;
}

bool fill_is_level(const struct mesh *mesh, size_t first, const struct patch *patch)
{
    const struct rims *rims = patch->rims;
    uint32_t hole = patch->hole;
    if (rims->hole_start[hole + 1] - rims->hole_start[hole] != 1 || patch->rim > RIM_MOST)
        return false;
    struct vec up = vec_unit(area_of(mesh, first, patch->triangles));
    if (!(vec_length2(up) > 0) || !all_face(mesh, first, patch->triangles, up))
        return false;
    struct edge *edge = malloc((patch->rim + 1) * sizeof *edge);
    bool simple =
        edge && read_edges(mesh, first, patch, up, edge) && rim_is_simple(edge, patch->rim);
    free(edge);
    return simple;
}
