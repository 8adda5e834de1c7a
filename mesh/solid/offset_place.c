/* Where the vertices of the net go. */
#include <string.h>

#include "core/blocks.h"
#include "core/eigen.h"
#include "solid/offset_parts.h"

enum { BLOCK = 64, STEPS = 4, DRAWN = 4 };

static const double enough = 1e-5; /* steps: so near to the distance is on it */
static const double even = 0.15; /* slopes along one axis of a cell that differ by less are one, */
static const double full = 0.98; /* if the square of their mean is more */
static const double bent = 0.95; /* cosine: ways up in a cell that differ by more may be those of
                                    two faces */
static const double firm = 0.02; /* of the largest eigenvalue: less says nothing of a place */
static const double within = 0.48; /* steps: so far from its cell's middle it goes to a crease, so
                                      that those of two cells stay apart */
static const double sure = 1e-5;   /* of its cluster's length: drawn in by so little it is there */
static const double well = 2e-3;   /* mm: so far off the distance a vertex on a crease may be */

/* --- the cell -------------------------------------------------------------------------------- */

/* Whether the field has about one slope in a cell. A crease between two slopes that the cell's
 * edges cross alike shows by a mean that is less than one. */
static bool is_plain(const struct offsetting *o, node_id cell)
{
    node_id corner[8];
    double value[8], mean2 = 0;
    cell_corners(&o->grid, cell, corner);
    for (int c = 0; c < 8; c++)
        value[c] = corner[c] == NO_NODE ? 0 : (double)*node_value(&o->grid, corner[c]);
    for (int d = 0; d < 3; d++) {
        double least = INFINITY, most = -INFINITY, sum = 0;
        for (int c = 0; c < 8; c++)
            if (!corner_step(c, d)) {
                double slope = (value[c | 1 << d] - value[c]) / (double)o->grid.frame.step;
                least = fmin(least, slope);
                most = fmax(most, slope);
                sum += slope / 4;
            }
        if (most - least > even)
            return false;
        mean2 += sum * sum;
    }
    return mean2 > full;
}

/* Whether it has no crease in the cluster: it may be bent evenly. */
static bool is_smooth(const struct offsetting *o, size_t v)
{
    bool smooth = true;
    for (uint32_t f = o->first[v]; f != NO_INDEX && smooth; f = o->next[f])
        smooth = is_plain(o, o->fine.cell[f]);
    return smooth;
}

/* The middle of the cell's edges that the surface crosses. */
static struct vec edges_middle(const struct offsetting *o, size_t v)
{
    unsigned inside = o->spot[v].inside;
    double sum[3] = {0}, count = 0;
    for (int c = 0; c < 8; c++)
        for (int d = 0; d < 3; d++) {
            int e = c | 1 << d;
            if (e == c || (inside >> c & 1) == (inside >> e & 1))
                continue;
            for (int k = 0; k < 3; k++)
                sum[k] += (corner_step(c, k) + corner_step(e, k)) / 2.0;
            count++;
        }
    struct vec at = grid_place(&o->grid, o->net.cell[v]);
    return vec_along(at, (double)o->grid.frame.step / count, vec(sum[0], sum[1], sum[2]));
}

static struct vec into_cell(const struct offsetting *o, size_t v, struct vec at)
{
    double half = within * offset_side(o, v);
    struct vec m = offset_middle(o, v);
    return vec(fmax(m.x - half, fmin(m.x + half, at.x)), fmax(m.y - half, fmin(m.y + half, at.y)),
               fmax(m.z - half, fmin(m.z + half, at.z)));
}

/* --- smooth places --------------------------------------------------------------------------- */

/* Newton's steps along the slope to where the field is `more`; never farther than a few of its
 * cluster's lengths. */
static struct vec slide(const struct offsetting *o, struct vec at, double more, struct spot *spot)
{
    double step = offset_side(o, (size_t)(spot - o->spot));
    struct field_at f = field_find(&o->field, at, spot->near);
    for (int i = 0; i < STEPS && fabs(f.value - more) > enough * step; i++) {
        double by = fmax(-step, fmin(step, more - f.value));
        struct vec next = vec_along(at, by, f.up);
        struct field_at g = field_find(&o->field, next, f.triangle);
        if (!(fabs(g.value - more) < fabs(f.value - more)))
            break;
        at = next;
        f = g;
    }
    spot->near = f.triangle;
    spot->value = (float)f.value;
    spot->up = vec_point(f.up);
    return at;
}

/* --- creases --------------------------------------------------------------------------------- */

struct planes { /* sum over tangent planes of up up', and of up times its distance beyond x */
    double a[9], b[3];
};

static void add_plane(struct planes *p, const struct field_at *f, struct vec from, struct vec x)
{
    double off = f->value + vec_dot(f->up, vec_sub(x, from));
    const double n[3] = {f->up.x, f->up.y, f->up.z};
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++)
            p->a[3 * i + j] += n[i] * n[j];
        p->b[i] -= n[i] * off;
    }
}

/* The shortest way to the place that lies best in all planes; *rank: in how many directions they
 * say where that is. */
static struct vec best_place(struct planes *p, int *rank)
{
    double value[3], axis[9];
    struct vec way = vec(0, 0, 0);
    eigen_symmetric(3, p->a, value, axis);
    *rank = 0;
    for (int i = 0; i < 3; i++) {
        if (!(value[i] > firm * value[2]))
            continue;
        const double *e = axis + 3 * i;
        double along = (e[0] * p->b[0] + e[1] * p->b[1] + e[2] * p->b[2]) / value[i];
        way = vec_along(way, along, vec(e[0], e[1], e[2]));
        ++*rank;
    }
    return way;
}

/* Adds the planes at the corners of a cube; the least cosine between the ways up there and one of
 * them. */
static double add_planes(const struct offsetting *o, struct planes *planes, struct vec middle,
                         double reach, struct vec x, uint32_t *near)
{
    struct vec first = vec(0, 0, 0);
    double least = 1;
    for (int c = 0; c < 8; c++) {
        struct vec way = vec(corner_step(c, 0) ? reach : -reach, corner_step(c, 1) ? reach : -reach,
                             corner_step(c, 2) ? reach : -reach);
        struct vec at = vec_add(middle, way);
        struct field_at f = field_find(&o->field, at, *near);
        add_plane(planes, &f, at, x);
        *near = f.triangle;
        first = c ? first : f.up;
        least = fmin(least, vec_dot(first, f.up));
    }
    return least;
}

/* The crease in the cell nearest to `from`; false: there is none. */
static bool find_crease(const struct offsetting *o, size_t v, struct vec from, struct spot *spot,
                        struct vec *out)
{
    double reach = offset_side(o, v) / 2;
    struct vec middle = offset_middle(o, v), x = from;
    int rank = 0, most = 0;
    for (int i = 0; i < DRAWN; i++, reach /= 4) {
        struct planes planes = {0};
        double alike = add_planes(o, &planes, middle, reach, x, &spot->near);
        if (i == 0 && alike > bent)
            return false;
        struct vec way = best_place(&planes, &rank);
        most = rank > most ? rank : most;
        double far = vec_length(way);
        if (i > 0 && far < sure * offset_side(o, v))
            break;
        x = into_cell(o, v, vec_along(x, far > 2 * reach ? 2 * reach / far : 1, way));
        middle = x;
    }
    struct field_at f = field_find(&o->field, x, spot->near);
    *out = x;
    spot->near = f.triangle;
    spot->up = (struct point){0};
    spot->value = (float)f.value;
    return most > 1 && fabs(f.value) < well;
}

/* --- all ------------------------------------------------------------------------------------- */

/* A vertex where nodes were made to be on the solid's side: upon the distance if that is in its
 * cell, else beyond it. */
static struct vec place_turned(const struct offsetting *o, size_t v, struct spot *spot)
{
    struct vec middle = edges_middle(o, v), at = slide(o, middle, 0, spot);
    struct vec off = vec_sub(at, into_cell(o, v, at));
    if (vec_length2(off) == 0)
        return at;
    struct field_at f = field_find(&o->field, middle, spot->near);
    if (f.value < 0)
        return at;
    spot->near = f.triangle;
    spot->value = (float)f.value;
    spot->up = vec_point(f.up);
    return middle;
}

static void place(struct offsetting *o, size_t v)
{
    struct spot *spot = &o->spot[v];
    struct vec from = spot->turned ? edges_middle(o, v) : point_vec(o->net.at[v]), at;
    bool smooth = spot->plain || (!spot->turned && is_smooth(o, v));
    spot->more = 0;
    spot->loose = false;
    spot->fresh = true;
    o->net.sharp[v] = !smooth && find_crease(o, v, from, spot, &at) ? 2 : 0;
    if (!o->net.sharp[v])
        at = spot->turned ? place_turned(o, v, spot) : slide(o, from, 0, spot);
    o->net.at[v] = spot->placed = vec_point(at);
}

void offset_push(struct offsetting *o, size_t v)
{
    struct spot *spot = &o->spot[v];
    spot->fresh = true;
    o->net.at[v] = vec_point(slide(o, point_vec(o->net.at[v]), (double)spot->more, spot));
}

void offset_place_some(struct offsetting *o, const uint32_t *vertex, size_t count)
{
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, BLOCK)
    for (size_t i = 0; i < count; i++)
        if (o->spot[vertex[i]].loose && !job_cancelled(o->job))
            place(o, vertex[i]);
}

enum status offset_place(struct offsetting *o)
{
    job_phase(o->job, "placing the surface", o->part * 2 / 5, o->net.vertices);
    size_t blocks = (o->net.vertices + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = block_end(b, BLOCK, o->net.vertices);
        for (size_t v = b * BLOCK; v < end && !job_cancelled(o->job); v++)
            if (o->spot[v].loose)
                place(o, v);
        job_step(o->job, end - b * BLOCK);
    }
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}
