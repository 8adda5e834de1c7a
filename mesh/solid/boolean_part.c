/* What the result would only touch itself in, a vertex or an edge, parted. */
#include <stdlib.h>

#include "solid/boolean_parts.h"
#include "core/sets.h"

struct corner {
    uint32_t ref, at; /* 3 * made triangle + corner */
};

struct end { /* an edge as it leaves (out) or reaches a corner */
    uint32_t other;
    uint32_t corner; /* index into the list */
    bool out;
};

struct twofold {          /* two triangles that belong together on an edge which others have too */
    uint32_t triangle[2]; /* the one that runs it as the first end's, the other; lower first */
    uint32_t corner;      /* of the first: where the edge begins */
    uint32_t low, high;   /* its refs */
};

struct parting {
    struct joint *j;
    struct pile twofold; /* struct twofold, twice each */
    struct pile corner;  /* struct corner */
    struct pile end;     /* struct end: of one vertex */
    uint32_t *group;     /* one a corner of the list */
};

static struct made_triangle *made_at(const struct joint *j, uint32_t at)
{
    return &PILE(j->made, struct made_triangle)[at / 3];
}

/* --- the corners to look at ------------------------------------------------------------------- */

static uint32_t node_of_ref(const struct joint *j, uint32_t ref)
{
    if (ref < j->side[1].base)
        return solid_node(&j->side[0], ref);
    uint32_t made = joint_made_base(j);
    return ref >= made && ref - made < j->node.count ? ref - made : NO_INDEX;
}

static enum status add_corners(struct parting *p, size_t triangle)
{
    for (uint32_t k = 0; k < 3; k++) {
        uint32_t at = (uint32_t)(3 * triangle) + k, ref = made_at(p->j, at)->v[k];
        if (node_of_ref(p->j, ref) == NO_INDEX)
            continue;
        struct corner *to = pile_next(&p->corner, sizeof *to);
        if (!to)
            return job_fail_memory(p->j->job, 2 * p->corner.count * sizeof *to);
        *to = (struct corner){ref, at};
        p->corner.count++;
    }
    return STATUS_OK;
}

enum status joint_take(struct joint *j, int s, uint32_t face)
{
    struct solid *own = &j->side[s];
    if (own->face_fate[face] == TOUCHED || !joint_keeps(j, s, face))
        return STATUS_OK;
    struct made_triangle *made = pile_next(&j->made, sizeof *made);
    if (!made)
        return job_fail_memory(j->job, 2 * j->made.count * sizeof *made);
    const uint32_t *v = own->triangle[face].v;
    bool turns = joint_turns(j, s);
    *made = (struct made_triangle){{joint_ref(j, s, v[0]), joint_ref(j, s, v[turns ? 2 : 1]),
                                    joint_ref(j, s, v[turns ? 1 : 2])},
                                   face,
                                   (uint8_t)s,
                                   true};
    own->face_fate[face] = TOUCHED; /* listed once */
    j->made.count++;
    return STATUS_OK;
}

enum status joint_take_around(struct joint *j, int s, uint32_t vertex)
{
    const struct solid *own = &j->side[s];
    uint32_t first = own->topology->fan[vertex], half = first;
    enum status status = STATUS_OK;
    do {
        status = joint_take(j, s, half / 3);
        half = own->topology->twin[half_prev(half)];
    } while (half != first && status == STATUS_OK);
    return status;
}

static int corner_order(const void *x, const void *y)
{
    const struct corner *a = x, *b = y;
    if (a->ref != b->ref)
        return a->ref < b->ref ? -1 : 1;
    return (a->at > b->at) - (a->at < b->at);
}

static enum status gather(struct parting *p)
{
    struct joint *j = p->j;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < 2 * j->node.count && status == STATUS_OK; i++) {
        const struct simplex in = joint_node(j, (uint32_t)(i / 2))->in[i % 2];
        if (in.kind == VERTEX)
            status = joint_take_around(j, i % 2, in.id);
    }
    for (size_t t = 0; t < j->made.count && status == STATUS_OK; t++)
        status = add_corners(p, t);
    if (status != STATUS_OK)
        return status;
    p->group = scratch_new(p->corner.count, sizeof *p->group);
    if (!p->group)
        return job_fail_memory(j->job, p->corner.count * sizeof *p->group);
    if (p->corner.count)
        qsort(p->corner.data, p->corner.count, sizeof(struct corner), corner_order);
    return STATUS_OK;
}

/* --- which triangles hang together around a vertex -------------------------------------------- */

static int end_order(const void *x, const void *y)
{
    const struct end *a = x, *b = y;
    if (a->other != b->other)
        return a->other < b->other ? -1 : 1;
    if (a->out != b->out)
        return a->out ? -1 : 1;
    return (a->corner > b->corner) - (a->corner < b->corner);
}

static const struct made_triangle *end_triangle(const struct parting *p, const struct end *end)
{
    return made_at(p->j, PILE(p->corner, struct corner)[end->corner].at);
}

/* Which sheet of a crowded overlap, along the edge from the vertex `ref`, the end's triangle is. */
static int sheet_of(const struct parting *p, const struct overlap *o, uint32_t ref,
                    const struct end *end)
{
    const struct made_triangle *t = end_triangle(p, end);
    bool along = end->out == (joint_node(p->j, o->end[0])->ref == ref);
    int way = along != joint_turns(p->j, t->side) ? 0 : 1;
    return o->sheet[t->side][way].face == t->face ? 2 * t->side + way : -1;
}

static const struct overlap *crowded(const struct joint *j, uint32_t ref, uint32_t other)
{
    uint32_t a = node_of_ref(j, ref), b = node_of_ref(j, other);
    if (a == NO_INDEX || b == NO_INDEX)
        return NULL;
    uint32_t found = lookup_find(&j->overlap_at, a < b ? a : b, a < b ? b : a);
    const struct overlap *o = found == NO_INDEX ? NULL : &PILE(j->overlap, struct overlap)[found];
    return o && o->crowded ? o : NULL;
}

/* How well two triangles on one edge belong together: those that bound solid with each other first,
 * then those of one face. */
static int belonging(const struct parting *p, const struct overlap *o, uint32_t ref,
                     const struct end *x, const struct end *y)
{
    const struct made_triangle *s = end_triangle(p, x), *t = end_triangle(p, y);
    if (o) {
        int a = sheet_of(p, o, ref, x), b = sheet_of(p, o, ref, y);
        return a >= 0 && b >= 0 && o->sheet[a / 2][a % 2].mate == b ? 2 : 0;
    }
    return s->side == t->side ? 1 + (s->face == t->face) : 0;
}

static enum status note_double(struct parting *p, const struct end *out, const struct end *in)
{
    struct twofold *d = pile_next(&p->twofold, sizeof *d);
    if (!d)
        return job_fail_memory(p->j->job, 2 * p->twofold.count * sizeof *d);
    const struct corner *corner = p->corner.data;
    uint32_t at = corner[out->corner].at, across = corner[in->corner].at;
    across = across % 3 ? across - 1 : across + 2; /* where the edge begins in that triangle */
    uint32_t low = at < across ? at : across, high = at < across ? across : at;
    *d = (struct twofold){{low / 3, high / 3}, low % 3, 0, 0};
    p->twofold.count++;
    return STATUS_OK;
}

/* Joins the ends first..last - 1, which leave and reach the same vertex, in twos. */
static enum status join_ends(struct parting *p, uint32_t ref, struct end *first, struct end *last)
{
    const struct overlap *o = last - first > 2 ? crowded(p->j, ref, first->other) : NULL;
    enum status status = STATUS_OK;
    struct end *in = first;
    while (in < last && in->out)
        in++;
    for (int least = 2; least >= 0; least--)
        for (struct end *x = first; x < in; x++)
            for (struct end *y = in; y < last && x->corner != NO_INDEX; y++)
                if (y->corner != NO_INDEX && belonging(p, o, ref, x, y) >= least) {
                    sets_unite(p->group, x->corner, y->corner);
                    if (last - first > 2 && status == STATUS_OK)
                        status = note_double(p, x, y);
                    x->corner = y->corner = NO_INDEX;
                }
    return status;
}

static enum status group_corners(struct parting *p, uint32_t from, uint32_t to)
{
    const struct corner *corner = p->corner.data;
    p->end.count = 0;
    for (uint32_t i = from; i < to; i++) {
        const uint32_t *v = made_at(p->j, corner[i].at)->v;
        p->group[i] = i;
        for (uint32_t out = 0; out < 2; out++) {
            struct end *end = pile_next(&p->end, sizeof *end);
            if (!end)
                return job_fail_memory(p->j->job, 2 * p->end.count * sizeof *end);
            *end = (struct end){v[(corner[i].at % 3 + 2 - out) % 3], i, out};
            p->end.count++;
        }
    }
    struct end *end = p->end.data;
    qsort(end, p->end.count, sizeof *end, end_order);
    enum status status = STATUS_OK;
    for (size_t i = 0, k; i < p->end.count && status == STATUS_OK; i = k) {
        for (k = i; k < p->end.count && end[k].other == end[i].other;)
            k++;
        status = join_ends(p, corner[from].ref, end + i, end + k);
    }
    return status;
}

/* --- a vertex for each group ------------------------------------------------------------------ */

/* Where a group's triangles lie, seen from its vertex: the mean of unit vectors along its edges.
 * Short when they lie around it. */
static struct vec group_way(const struct parting *p, uint32_t from, uint32_t to, uint32_t group)
{
    struct vec sum = {0};
    int count = 0;
    for (uint32_t i = from; i < to; i++) {
        uint32_t at = PILE(p->corner, struct corner)[i].at;
        const uint32_t *v = made_at(p->j, at)->v;
        struct vec here = point_vec(joint_point(p->j, v[at % 3]));
        if (sets_find(p->group, i) != group)
            continue;
        sum = vec_add(sum, vec_unit(vec_sub(point_vec(joint_point(p->j, v[(at + 1) % 3])), here)));
        count++;
    }
    return vec_scale(sum, 1.0 / count);
}

enum status joint_copy(struct joint *j, uint32_t ref, struct point at, uint32_t *copy)
{
    struct made_copy *made = pile_next(&j->copy, sizeof *made);
    struct point *place = pile_next(&j->place, sizeof *place);
    if (!made || !place)
        return job_fail_memory(j->job, 2 * j->place.count * sizeof *place);
    *made = (struct made_copy){ref};
    *place = at;
    *copy = joint_made_base(j) + (uint32_t)j->place.count;
    j->copy.count++;
    j->place.count++;
    return STATUS_OK;
}

static enum status copy_vertex(struct joint *j, uint32_t ref, struct vec way, int steps,
                               uint32_t *copy)
{
    struct vec at = point_vec(joint_point(j, ref));
    j->report.parted++;
    return joint_copy(j, ref, vec_point(vec_along(at, 2 * steps * j->grain, way)), copy);
}

/* The group that lies flattest around the vertex keeps it; the others, as tips, draw back. */
static uint32_t keeper(const struct parting *p, uint32_t from, uint32_t to)
{
    uint32_t best = from;
    double least = INFINITY;
    for (uint32_t i = from; i < to; i++) {
        if (sets_find(p->group, i) != i)
            continue;
        double length = vec_length(group_way(p, from, to, i));
        if (length < least) {
            least = length;
            best = i;
        }
    }
    return best;
}

/* The refs of the triangles are set when all ways are known. */
static enum status part_vertex(struct parting *p, uint32_t from, uint32_t to)
{
    enum status status = group_corners(p, from, to);
    uint32_t groups = 0, copies = 0, keep = from;
    for (uint32_t i = from; i < to && status == STATUS_OK; i++)
        groups += sets_find(p->group, i) == i;
    if (groups > 1)
        keep = keeper(p, from, to);
    for (uint32_t i = from; i < to && status == STATUS_OK && groups > 1; i++) {
        if (sets_find(p->group, i) != i || i == keep)
            continue;
        uint32_t copy = NO_INDEX;
        struct corner *corner = p->corner.data;
        struct vec way = vec_unit(group_way(p, from, to, i));
        status = copy_vertex(p->j, corner[i].ref, way, (int)++copies, &copy);
        for (uint32_t k = from; k < to && status == STATUS_OK; k++)
            if (sets_find(p->group, k) == i)
                corner[k].ref = copy;
    }
    return status;
}

/* --- edges that stay two in one place ----------------------------------------------------------
 */

static int double_order(const void *x, const void *y)
{
    const struct twofold *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    if (a->triangle[0] != b->triangle[0])
        return a->triangle[0] < b->triangle[0] ? -1 : 1;
    return (a->triangle[1] > b->triangle[1]) - (a->triangle[1] < b->triangle[1]);
}

/* The triangle, or what was split off it since, that has the edge; its corner where that begins. */
static int corner_of_edge(const struct made_triangle *t, uint32_t low, uint32_t high)
{
    for (int k = 0; k < 3; k++) {
        uint32_t from = t->v[k], to = t->v[(k + 1) % 3];
        if ((from == low && to == high) || (from == high && to == low))
            return k;
    }
    return -1;
}

static enum status split_at(struct joint *j, size_t first, uint32_t triangle, uint32_t low,
                            uint32_t high, uint32_t middle)
{
    struct made_triangle *half = pile_next(&j->made, sizeof *half);
    if (!half)
        return job_fail_memory(j->job, 2 * j->made.count * sizeof *half);
    struct made_triangle *made = j->made.data, *t = &made[triangle];
    int k = corner_of_edge(t, low, high);
    for (size_t i = first; k < 0 && i < j->made.count; i++)
        if (made[i].face == made[triangle].face && made[i].side == made[triangle].side) {
            k = corner_of_edge(&made[i], low, high);
            t = &made[i];
        }
    if (k < 0)
        return STATUS_OK;
    *half = *t;
    half->v[k] = middle;
    t->v[(k + 1) % 3] = middle;
    j->made.count++;
    return STATUS_OK;
}

/* All but the first of the pairs of triangles on one edge get a vertex of their own in its middle,
 * a little towards them. */
static enum status split_pair(struct joint *j, size_t first, const struct twofold *d)
{
    struct vec a = point_vec(joint_point(j, d->low)), b = point_vec(joint_point(j, d->high));
    struct vec middle = vec_scale(vec_add(a, b), 0.5), way = {0};
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 3; k++) {
            uint32_t v = PILE(j->made, struct made_triangle)[d->triangle[i]].v[k];
            if (v != d->low && v != d->high)
                way = vec_add(way, vec_unit(vec_sub(point_vec(joint_point(j, v)), middle)));
        }
    uint32_t copy = NO_INDEX;
    j->report.parted++;
    enum status status =
        joint_copy(j, d->low, vec_point(vec_along(middle, 2 * j->grain, vec_unit(way))), &copy);
    for (int i = 0; i < 2 && status == STATUS_OK; i++)
        status = split_at(j, first, d->triangle[i], d->low, d->high, copy);
    return status;
}

static enum status split_doubles(struct parting *p)
{
    struct joint *j = p->j;
    struct twofold *d = p->twofold.data;
    size_t first = j->made.count;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < p->twofold.count; i++) { /* the edge as it is now */
        const struct made_triangle *t = &PILE(j->made, struct made_triangle)[d[i].triangle[0]];
        uint32_t from = t->v[d[i].corner], to = t->v[(d[i].corner + 1) % 3];
        d[i].low = from < to ? from : to;
        d[i].high = from < to ? to : from;
    }
    if (p->twofold.count)
        qsort(d, p->twofold.count, sizeof *d, double_order);
    for (size_t i = 1; i < p->twofold.count && status == STATUS_OK; i++)
        if (d[i].low == d[i - 1].low && d[i].high == d[i - 1].high &&
            (d[i].triangle[0] != d[i - 1].triangle[0] || d[i].triangle[1] != d[i - 1].triangle[1]))
            status = split_pair(j, first, &d[i]);
    return status;
}

enum status joint_part(struct joint *j)
{
    struct parting p = {.j = j};
    enum status status = gather(&p);
    struct corner *corner = p.corner.data;
    for (size_t i = 0, k; i < p.corner.count && status == STATUS_OK; i = k) {
        for (k = i; k < p.corner.count && corner[k].ref == corner[i].ref;)
            k++;
        status = part_vertex(&p, (uint32_t)i, (uint32_t)k);
        if (status == STATUS_OK && job_cancelled(j->job))
            status = job_fail_cancelled(j->job);
    }
    for (size_t i = 0; i < p.corner.count && status == STATUS_OK; i++)
        made_at(j, corner[i].at)->v[corner[i].at % 3] = corner[i].ref;
    if (status == STATUS_OK)
        status = split_doubles(&p);
    pile_release(&p.corner);
    pile_release(&p.end);
    pile_release(&p.twofold);
    scratch_free(p.group);
    return status;
}
