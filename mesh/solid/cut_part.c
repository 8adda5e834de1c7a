/* What touches in a vertex only, parted. */
#include <stdlib.h>
#include <string.h>

#include "solid/cut_parts.h"
#include "core/sets.h"

struct corner { /* of a piece, or of a cap triangle, counted on behind the pieces */
    uint32_t point;
    uint32_t at; /* 3 * triangle + corner */
};

struct end { /* an edge as it leaves (out) or reaches a corner */
    uint32_t other;
    uint32_t corner; /* index into the list */
    bool out;
};

struct parting {
    struct cutting *c;
    const struct rim_graph *graph;
    uint8_t *busy; /* one a point: more than one contour passes, all of them filled */
    struct corner *corner;
    size_t corners;
    uint32_t *vertex; /* one a corner of the list: what it gets */
    uint32_t *group;  /* one a corner of the list: the first corner of its group, once found */
    struct end *end;  /* room for those of one point */
};

static struct triangle *triangle_at(const struct cutting *c, uint32_t at)
{
    size_t t = at / 3;
    return t < c->pieces ? &c->piece[t] : &c->cap[t - c->pieces];
}

/* --- the corners to look at ---------------------------------------------------------------- */

static size_t mark_busy(struct parting *p)
{
    const struct rim_graph *g = p->graph;
    enum { MANY = 2, OPEN = 3 };
    memset(p->busy, 0, g->points);
    for (size_t e = 0; e < g->edges; e++) {
        uint8_t *from = &p->busy[g->edge[e][0]], *to = &p->busy[g->edge[e][1]];
        if (!g->filled[e])
            *from = *to = OPEN;
        else if (*from < MANY)
            ++*from;
    }
    size_t busy = 0;
    for (size_t i = 0; i < g->points; i++)
        busy += p->busy[i] = p->busy[i] == MANY;
    return busy;
}

static size_t list_corners(const struct parting *p, struct corner *list)
{
    const struct cutting *c = p->c;
    size_t count = 0;
    for (size_t at = 0; at < 3 * (c->pieces + c->caps); at++) {
        uint32_t point = p->graph->point_of[triangle_at(c, (uint32_t)at)->v[at % 3]];
        if (point == NO_INDEX || !p->busy[point])
            continue;
        if (list)
            list[count] = (struct corner){point, (uint32_t)at};
        count++;
    }
    return count;
}

static int corner_order(const void *x, const void *y)
{
    const struct corner *a = x, *b = y;
    if (a->point != b->point)
        return a->point < b->point ? -1 : 1;
    return a->at < b->at ? -1 : a->at > b->at;
}

static enum status gather(struct parting *p)
{
    p->corners = list_corners(p, NULL);
    p->corner = scratch_new(p->corners, sizeof *p->corner);
    p->vertex = scratch_new(p->corners, sizeof *p->vertex);
    p->group = scratch_new(p->corners, sizeof *p->group);
    p->end = scratch_new(2 * p->corners, sizeof *p->end);
    if (!p->corner || !p->vertex || !p->group || !p->end)
        return job_fail_memory(p->c->job, p->corners * 40);
    list_corners(p, p->corner);
    qsort(p->corner, p->corners, sizeof *p->corner, corner_order);
    return STATUS_OK;
}

/* --- groups around one point --------------------------------------------------------------- */

static int end_order(const void *x, const void *y)
{
    const struct end *a = x, *b = y;
    if (a->other != b->other)
        return a->other < b->other ? -1 : 1;
    if (a->out != b->out)
        return a->out ? -1 : 1;
    return a->corner < b->corner ? -1 : a->corner > b->corner;
}

/* Joins the corners that share an edge, for the corners from..to of the list (of one point). */
static void group_corners(struct parting *p, uint32_t from, uint32_t to)
{
    size_t ends = 0;
    for (uint32_t i = from; i < to; i++) {
        const uint32_t *v = triangle_at(p->c, p->corner[i].at)->v;
        uint32_t k = p->corner[i].at % 3;
        p->end[ends++] = (struct end){v[(k + 1) % 3], i, true};
        p->end[ends++] = (struct end){v[(k + 2) % 3], i, false};
        p->group[i] = i;
    }
    qsort(p->end, ends, sizeof *p->end, end_order);
    for (size_t i = 0, j; i < ends; i = j) {
        size_t in = i;
        for (j = i; j < ends && p->end[j].other == p->end[i].other; j++)
            in += p->end[j].out;
        for (size_t k = 0; i + k < in && in + k < j; k++)
            sets_unite(p->group, p->end[i + k].corner, p->end[in + k].corner);
    }
}

/* Where a group's triangles lie, seen from its vertex. */
static struct vec group_way(const struct parting *p, uint32_t from, uint32_t to, uint32_t group)
{
    struct vec sum = {0};
    for (uint32_t i = from; i < to; i++) {
        if (sets_find(p->group, i) != group)
            continue;
        const uint32_t *v = triangle_at(p->c, p->corner[i].at)->v;
        uint32_t k = p->corner[i].at % 3;
        struct vec at = cut_position(p->c, v[k]);
        for (uint32_t m = 1; m < 3; m++)
            sum = vec_add(sum, vec_unit(vec_sub(cut_position(p->c, v[(k + m) % 3]), at)));
    }
    return sum;
}

static bool same_place(struct point a, struct vec b)
{
    return (double)a.x == b.x && (double)a.y == b.y && (double)a.z == b.z;
}

/* A copy of the vertex, a step towards the group's triangles, where none of the `copies` made since
 * `first` stands. */
static enum status copy_vertex(struct parting *p, uint32_t vertex, struct vec way, size_t first,
                               uint32_t *copy)
{
    struct cutting *c = p->c;
    size_t old = mesh_vertices(c->mesh);
    struct made_vertex made = {.mix = {{vertex, vertex, vertex}, {1, 0, 0}}, .apart = way};
    if (vertex >= old)
        made.mix = c->made[vertex - old].mix;
    struct vec at = cut_position(c, vertex);
    bool free = false;
    for (double steps = 1; !free && steps < 64; steps++) {
        made.at = cut_nudge(c, at, way, steps);
        free = !same_place(made.at, at);
        for (size_t i = first; i < c->mades && free; i++)
            free = !same_place(made.at, point_vec(c->made[i].at));
    }
    return cut_make_vertex(c, &made, copy);
}

/* The group that comes first keeps the vertex. */
static enum status part_point(struct parting *p, uint32_t from, uint32_t to)
{
    uint32_t vertex = p->graph->vertex[p->corner[from].point];
    size_t first = p->c->mades;
    group_corners(p, from, to);
    for (uint32_t i = from; i < to; i++) {
        uint32_t group = sets_find(p->group, i);
        if (group == from)
            p->vertex[i] = vertex;
        else if (group != i)
            p->vertex[i] = p->vertex[group];
        else {
            struct vec way = group_way(p, from, to, group);
            enum status status = copy_vertex(p, vertex, way, first, &p->vertex[i]);
            if (status != STATUS_OK)
                return status;
        }
    }
    return STATUS_OK;
}

static enum status part_all(struct parting *p)
{
    enum status status = gather(p);
    for (size_t i = 0, j; i < p->corners && status == STATUS_OK; i = j) {
        for (j = i; j < p->corners && p->corner[j].point == p->corner[i].point; j++)
            ;
        status = part_point(p, (uint32_t)i, (uint32_t)j);
    }
    for (size_t i = 0; i < p->corners && status == STATUS_OK; i++)
        triangle_at(p->c, p->corner[i].at)->v[p->corner[i].at % 3] = p->vertex[i];
    return status;
}

enum status cut_part(struct cutting *c, const struct rim_graph *graph)
{
    struct parting p = {.c = c, .graph = graph, .busy = scratch_new(graph->points, 1)};
    if (!p.busy)
        return job_fail_memory(c->job, graph->points);
    enum status status = mark_busy(&p) ? part_all(&p) : STATUS_OK;
    scratch_free(p.busy);
    scratch_free(p.corner);
    scratch_free(p.vertex);
    scratch_free(p.group);
    scratch_free(p.end);
    return status;
}

/* --- tips ---------------------------------------------------------------------------------- */

/* The only corner of the piece in the plane, or 3 when there is none or more than one. */
static int only_corner(const struct cutting *c, size_t piece)
{
    int found = 3;
    for (int k = 0; k < 3; k++) {
        uint32_t v = c->piece[piece].v[k];
        if (v < mesh_vertices(c->mesh) && c->sign[v] > 0)
            continue;
        if (found < 3 || v >= mesh_vertices(c->mesh))
            return 3;
        found = k;
    }
    return found;
}

static enum status lift(struct cutting *c, uint32_t *lifted)
{
    for (size_t r = 0; r < c->rims; r++)
        for (int k = 0; k < 2; k++) {
            uint32_t v = k ? c->rim[r].from : c->rim[r].to;
            if (v < mesh_vertices(c->mesh))
                lifted[v] = v; /* not alone */
        }
    for (size_t i = 0; i < c->pieces; i++) {
        int k = only_corner(c, i);
        if (k == 3)
            continue;
        uint32_t *v = &c->piece[i].v[k];
        if (lifted[*v] == NO_INDEX) {
            struct made_vertex made = {.mix = {{*v, *v, *v}, {1, 0, 0}}};
            made.at = cut_nudge(c, cut_position(c, *v), c->normal, 2);
            enum status status = cut_make_vertex(c, &made, &lifted[*v]);
            if (status != STATUS_OK)
                return status;
        }
        *v = lifted[*v];
    }
    return STATUS_OK;
}

enum status cut_lift(struct cutting *c)
{
    bool any = false;
    for (size_t i = 0; i < c->pieces && !any; i++)
        any = only_corner(c, i) < 3;
    if (!any)
        return STATUS_OK;
    size_t vertices = mesh_vertices(c->mesh);
    uint32_t *lifted = scratch_new(vertices, sizeof *lifted); /* what each becomes, or NO_INDEX */
    if (!lifted)
        return job_fail_memory(c->job, vertices * sizeof *lifted);
    memset(lifted, 255, vertices * sizeof *lifted);
    enum status status = lift(c, lifted);
    scratch_free(lifted);
    return status;
}
