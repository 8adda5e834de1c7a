/* The cap: the rim's edges sorted out, flattened, and filled. */
#include <stdlib.h>
#include <string.h>

#include "core/contours.h"
#include "core/exact.h"
#include "solid/cut_parts.h"

/* --- which edges the cap has to join ------------------------------------------------------- */

static bool runs_up(const struct rim_edge *e)
{
    return e->from < e->to;
}

static int rim_order(const void *x, const void *y)
{
    const struct rim_edge *a = x, *b = y;
    uint32_t low_a = runs_up(a) ? a->from : a->to, low_b = runs_up(b) ? b->from : b->to;
    uint32_t high_a = runs_up(a) ? a->to : a->from, high_b = runs_up(b) ? b->to : b->from;
    if (low_a != low_b)
        return low_a < low_b ? -1 : 1;
    if (high_a != high_b)
        return high_a < high_b ? -1 : 1;
    if (runs_up(a) != runs_up(b))
        return runs_up(a) ? -1 : 1;
    return a->piece < b->piece ? -1 : a->piece > b->piece;
}

static bool same_edge(const struct rim_edge *a, const struct rim_edge *b)
{
    return (a->from == b->from && a->to == b->to) || (a->from == b->to && a->to == b->from);
}

/* The corner of the edge's piece that is not on the edge. */
static uint32_t apex(const struct cutting *c, const struct rim_edge *e)
{
    const uint32_t *v = c->piece[e->piece].v;
    for (int k = 0; k < 3; k++)
        if (v[k] != e->from && v[k] != e->to)
            return v[k];
    return v[0];
}

static bool above(const struct cutting *c, uint32_t vertex)
{
    return vertex < mesh_vertices(c->mesh) && c->sign[vertex] > 0;
}

/* Two triangles that rise from the same edge in the plane: whether the inside reaches below the
 * edge, so that there is something to cap on both sides of it. */
static bool hollow_below(const struct cutting *c, const struct rim_edge *a,
                         const struct rim_edge *b)
{
    uint32_t p = apex(c, a), q = apex(c, b);
    return above(c, p) && above(c, q) &&
           exact_side(cut_position(c, a->from), cut_position(c, a->to), cut_position(c, p),
                      cut_position(c, q)) < 0;
}

/* The two coordinates the normal is least along, ordered so that what runs counter-clockwise in
 * them does so seen from below the plane. */
static void flatten(const struct cutting *c, struct vec p, double flat[2])
{
    const double n[3] = {c->normal.x, c->normal.y, c->normal.z}, q[3] = {p.x, p.y, p.z};
    int axis = 0;
    for (int k = 1; k < 3; k++)
        axis = fabs(n[k]) > fabs(n[axis]) ? k : axis;
    flat[0] = q[(axis + (n[axis] > 0 ? 2 : 1)) % 3];
    flat[1] = q[(axis + (n[axis] > 0 ? 1 : 2)) % 3];
}

/* A point beside the middle of the edge, on the side where the cap at it lies. */
static struct point beside(const struct cutting *c, const struct rim_edge *e)
{
    struct vec a = cut_position(c, e->to), b = cut_position(c, e->from);
    struct vec middle = vec_along(a, 0.5, vec_sub(b, a));
    struct vec apart = vec_cross(vec_sub(b, a), c->normal);
    struct point p = vec_point(middle);
    double from[2], to[2], at[2];
    flatten(c, a, from);
    flatten(c, b, to);
    for (double steps = 1; steps < 64; steps *= 2) {
        p = cut_nudge(c, middle, apart, steps);
        flatten(c, point_vec(p), at);
        if (exact_turn(from, to, at) > 0)
            break;
    }
    return p;
}

/* Parts two triangles that rise from one edge with the cap on both sides of it: the first is bent
 * away in the middle, and the cap gets a gap there as narrow as can be. The new half of the rim
 * edge is put at `extra`. */
static enum status bend(struct cutting *c, struct rim_edge *e, struct rim_edge *extra)
{
    struct made_vertex made = {.mix = {{e->from, e->to, e->from}, {0.5f, 0.5f, 0}},
                               .at = beside(c, e)};
    uint32_t middle, third = apex(c, e);
    enum status status = cut_make_vertex(c, &made, &middle);
    if (status != STATUS_OK)
        return status;
    c->piece[e->piece] = (struct triangle){{e->from, middle, third}};
    c->piece[c->pieces] = (struct triangle){{middle, e->to, third}};
    c->ancestor[c->pieces] = c->ancestor[e->piece];
    *extra = (struct rim_edge){middle, e->to, (uint32_t)c->pieces++};
    e->to = middle;
    return STATUS_OK;
}

/* Moves those of the n edges in one place (the ones that run up first) that the cap has to join to
 * `out`: what is left when opposite ones are joined to each other. Returns how many. `out` may lie
 * in the same list, not behind. */
static size_t join_edges(const struct rim_edge *e, size_t n, struct rim_edge *out)
{
    size_t up = 0, count = 0;
    while (up < n && runs_up(&e[up]))
        up++;
    size_t pairs = up < n - up ? up : n - up;
    for (size_t i = pairs; i < up; i++)
        out[count++] = e[i];
    for (size_t i = up + pairs; i < n; i++)
        out[count++] = e[i];
    return count;
}

/* Reduces the rim to the edges the cap has to join. Every bent edge adds one, of a triangle that
 * has no other: cut_pieces left room for it. */
static enum status settle_rim(struct cutting *c)
{
    struct rim_edge *rim = c->rim;
    qsort(rim, c->rims, sizeof *rim, rim_order);
    size_t count = 0, extra = c->rims;
    for (size_t i = 0, j; i < c->rims; i = j) {
        for (j = i + 1; j < c->rims && same_edge(&rim[i], &rim[j]); j++)
            ;
        if (j - i == 2 && hollow_below(c, &rim[i], &rim[i + 1])) {
            enum status status = bend(c, &rim[i], &rim[extra]);
            if (status != STATUS_OK)
                return status;
            extra++;
            rim[count++] = rim[i];
            rim[count++] = rim[i + 1];
        } else {
            count += join_edges(rim + i, j - i, rim + count);
        }
    }
    memmove(rim + count, rim + c->rims, (extra - c->rims) * sizeof *rim);
    c->rims = count + extra - c->rims;
    return STATUS_OK;
}

/* --- the contours -------------------------------------------------------------------------- */

static void graph_release(struct rim_graph *g)
{
    scratch_free(g->vertex);
    scratch_free(g->edge);
    scratch_free(g->filled);
    scratch_free(g->point_of);
}

static uint32_t graph_point(struct rim_graph *g, uint32_t vertex)
{
    if (g->point_of[vertex] == NO_INDEX) {
        g->point_of[vertex] = (uint32_t)g->points;
        g->vertex[g->points++] = vertex;
    }
    return g->point_of[vertex];
}

static enum status graph_make(const struct cutting *c, struct rim_graph *g)
{
    size_t vertices = mesh_vertices(c->mesh) + c->mades;
    *g = (struct rim_graph){.edges = c->rims};
    g->vertex = scratch_new(2 * c->rims, sizeof *g->vertex);
    g->edge = scratch_new(c->rims, sizeof *g->edge);
    g->filled = scratch_new(c->rims, sizeof *g->filled);
    g->point_of = scratch_new(vertices, sizeof *g->point_of);
    if (!g->vertex || !g->edge || !g->filled || !g->point_of)
        return job_fail_memory(c->job, (vertices + 6 * c->rims) * sizeof(uint32_t));
    memset(g->point_of, 255, vertices * sizeof *g->point_of);
    for (size_t e = 0; e < c->rims; e++) {
        g->edge[e][0] = graph_point(g, c->rim[e].to);
        g->edge[e][1] = graph_point(g, c->rim[e].from);
        g->filled[e] = true;
    }
    return STATUS_OK;
}

/* What rounding may put the points off: some units in the last place of the greatest coordinate. */
static double grain(const double (*at)[2], size_t points)
{
    double most = 0;
    for (size_t i = 0; i < points; i++)
        most = fmax(most, fmax(fabs(at[i][0]), fabs(at[i][1])));
    return 0x1p-21 * most;
}

static double (*flat_points(const struct cutting *c, const struct rim_graph *g))[2]
{
    double(*at)[2] = scratch_new(g->points, sizeof *at);
    for (size_t i = 0; i < g->points && at; i++)
        flatten(c, cut_position(c, g->vertex[i]), at[i]);
    return at;
}

/* --- what became of it --------------------------------------------------------------------- */

struct open_edge {
    uint32_t low, high;
    int way;
};

static int open_order(const void *x, const void *y)
{
    const struct open_edge *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    return a->high < b->high ? -1 : a->high > b->high;
}

/* Marks them in the graph; counts those that really stay open: two unfilled edges that run opposite
 * ways are each other's neighbours. */
static enum status note_open(struct cutting *c, struct rim_graph *g,
                             const struct contours_fill *fill)
{
    struct open_edge *open = scratch_new(fill->opens, sizeof *open);
    if (!open)
        return job_fail_memory(c->job, fill->opens * sizeof *open);
    for (size_t i = 0; i < fill->opens; i++) {
        const uint32_t *e = g->edge[fill->open[i]];
        g->filled[fill->open[i]] = false;
        open[i] =
            e[0] < e[1] ? (struct open_edge){e[0], e[1], 1} : (struct open_edge){e[1], e[0], -1};
    }
    qsort(open, fill->opens, sizeof *open, open_order);
    for (size_t i = 0, j; i < fill->opens; i = j) {
        long sum = 0;
        for (j = i; j < fill->opens && open_order(&open[i], &open[j]) == 0; j++)
            sum += open[j].way;
        c->report.open_edges += (size_t)labs(sum);
    }
    scratch_free(open);
    return STATUS_OK;
}

static double triangle_area(const struct cutting *c, const struct triangle *t)
{
    struct vec a = cut_position(c, t->v[0]);
    struct vec u = vec_sub(cut_position(c, t->v[1]), a), v = vec_sub(cut_position(c, t->v[2]), a);
    return vec_length(vec_cross(u, v)) / 2;
}

static enum status take_cap(struct cutting *c, const struct rim_graph *g,
                            const struct contours_fill *fill)
{
    c->cap = scratch_new(fill->triangles, sizeof *c->cap);
    if (!c->cap)
        return job_fail_memory(c->job, fill->triangles * sizeof *c->cap);
    for (size_t t = 0; t < fill->triangles; t++) {
        for (int k = 0; k < 3; k++)
            c->cap[t].v[k] = g->vertex[fill->triangle[t].v[k]];
        c->report.cap_area += triangle_area(c, &c->cap[t]);
    }
    c->caps = c->report.caps = fill->triangles;
    c->report.contours = fill->loops;
    return STATUS_OK;
}

static enum status fill_rim(struct cutting *c, struct rim_graph *g)
{
    double(*at)[2] = flat_points(c, g);
    if (!at)
        return job_fail_memory(c->job, g->points * sizeof *at);
    struct contours contours = {(const double(*)[2])at, g->points, (const uint32_t(*)[2])g->edge,
                                g->edges, grain((const double(*)[2])at, g->points)};
    struct contours_fill fill;
    enum status status = contours_fill(&contours, &fill, c->job);
    scratch_free(at);
    if (status != STATUS_OK)
        return status;
    status = take_cap(c, g, &fill);
    if (status == STATUS_OK)
        status = note_open(c, g, &fill);
    contours_release(&fill);
    return status;
}

enum status cut_cap(struct cutting *c)
{
    if (c->rims == 0)
        return STATUS_OK;
    enum status status = cut_lift(c);
    if (status == STATUS_OK)
        status = settle_rim(c);
    if (status != STATUS_OK || c->rims == 0)
        return status;
    struct rim_graph graph;
    status = graph_make(c, &graph);
    if (status == STATUS_OK)
        status = fill_rim(c, &graph);
    if (status == STATUS_OK)
        status = cut_part(c, &graph);
    graph_release(&graph);
    return status;
}
