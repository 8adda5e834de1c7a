/* What is kept of touched faces, as triangles. */
#include <stdlib.h>

#include "core/contours.h"
#include "solid/boolean_parts.h"

struct point joint_point(const struct joint *j, uint32_t ref)
{
    if (ref < j->side[1].base)
        return j->side[0].point[ref];
    if (ref < joint_made_base(j))
        return j->side[1].point[ref - j->side[1].base];
    return PILE(j->place, struct point)[ref - joint_made_base(j)];
}

static int bound_order(const void *x, const void *y)
{
    const struct bound *a = x, *b = y;
    if (a->face != b->face)
        return a->face < b->face ? -1 : 1;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return (a->to > b->to) - (a->to < b->to);
}

static enum status add_made(struct joint *j, int s, uint32_t face, uint32_t a, uint32_t b,
                            uint32_t c)
{
    struct made_triangle *made = pile_next(&j->made, sizeof *made);
    if (!made)
        return job_fail_memory(j->job, 2 * j->made.count * sizeof *made);
    bool turns = joint_turns(j, s);
    *made = (struct made_triangle){{a, turns ? c : b, turns ? b : c}, face, (uint8_t)s, false};
    j->made.count++;
    return STATUS_OK;
}

struct outline {      /* of what is kept of one face */
    struct pile ref;  /* uint32_t, sorted: the corners */
    struct pile at;   /* double[2] */
    struct pile edge; /* uint32_t[2] */
};

static int ref_order(const void *x, const void *y)
{
    uint32_t a = *(const uint32_t *)x, b = *(const uint32_t *)y;
    return (a > b) - (a < b);
}

static uint32_t index_of(const struct pile *refs, uint32_t ref)
{
    const uint32_t *found = bsearch(&ref, refs->data, refs->count, sizeof ref, ref_order);
    return found ? (uint32_t)(found - (const uint32_t *)refs->data) : NO_INDEX;
}

static bool outline_set(struct outline *o, const struct bound *bound, size_t count)
{
    o->ref.count = o->edge.count = o->at.count = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t *ref = pile_next(&o->ref, sizeof *ref);
        if (!ref)
            return false;
        *ref = bound[i].from; /* every corner begins an edge */
        o->ref.count++;
    }
    uint32_t *ref = o->ref.data;
    size_t refs = 0;
    for (size_t i = 0; i < count; i++) /* they come sorted */
        if (!refs || ref[refs - 1] != ref[i])
            ref[refs++] = ref[i];
    o->ref.count = refs;
    for (size_t i = 0; i < count; i++) {
        uint32_t(*edge)[2] = pile_next(&o->edge, sizeof *edge);
        if (!edge)
            return false;
        (*edge)[0] = index_of(&o->ref, bound[i].from);
        (*edge)[1] = index_of(&o->ref, bound[i].to);
        o->edge.count++;
    }
    return true;
}

/* Places the corners in the face's plane, so that it runs counter-clockwise. Returns how far they
 * may be off by rounding, negative when there is no memory. */
static double outline_flatten(struct outline *o, const struct joint *j, int s, uint32_t face)
{
    struct vec corner[3];
    int dropped;
    double most = 0;
    solid_face(&j->side[s], face, corner);
    int turn = flat_way(corner, &dropped);
    for (size_t i = 0; i < o->ref.count; i++) {
        double(*at)[2] = pile_next(&o->at, sizeof *at), flat[2];
        if (!at)
            return -1;
        struct vec p = point_vec(joint_point(j, PILE(o->ref, uint32_t)[i]));
        flatten(p, dropped, flat);
        (*at)[0] = flat[turn < 0];
        (*at)[1] = flat[turn > 0];
        most = fmax(most, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
        o->at.count++;
    }
    return 0x1p-23 * most;
}

enum status joint_crossed(const struct joint *j, int s, uint32_t face)
{
    const struct solid *own = &j->side[s];
    struct vec at = mesh_world(j->side[0].mesh, solid_at(own, own->triangle[face].v[0]));
    return job_fail(j->job, STATUS_REFUSED,
                    "the %s surface crosses itself near %.6g,%.6g,%.6g, where the two meet; "
                    "\"mend\" it first",
                    s ? "second" : "first", at.x, at.y, at.z);
}

static enum status fill_outline(struct joint *j, int s, struct outline *o,
                                const struct bound *bound, size_t count)
{
    uint32_t face = bound->face;
    struct contours_fill fill;
    for (size_t i = 0; i < count; i++) /* every end begins another */
        if (PILE(o->edge, uint32_t)[2 * i + 1] == NO_INDEX)
            return joint_crossed(j, s, face);
    double grain = outline_flatten(o, j, s, face);
    if (grain < 0)
        return job_fail_memory(j->job, o->ref.count * 24);
    const struct contours contours = {.at = (const double(*)[2])o->at.data,
                                      .points = o->ref.count,
                                      .edge = (const uint32_t(*)[2])o->edge.data,
                                      .edges = o->edge.count,
                                      .grain = grain};
    enum status status = contours_fill(&contours, &fill, j->job);
    if (status != STATUS_OK)
        return status;
    const uint32_t *ref = o->ref.data;
    if (fill.opens)
        status = joint_crossed(j, s, face);
    for (size_t i = 0; i < fill.triangles && status == STATUS_OK; i++) {
        const uint32_t *v = fill.triangle[i].v;
        status = add_made(j, s, face, ref[v[0]], ref[v[1]], ref[v[2]]);
    }
    contours_release(&fill);
    return status;
}

/* The face as it was, when all of its edges are; else the triangle of three edges. */
static bool simple(const struct joint *j, int s, const struct bound *bound, size_t count,
                   uint32_t corner[3])
{
    if (count != 3 || bound[0].from == bound[1].from || bound[1].from == bound[2].from)
        return false;
    int second = bound[0].to == bound[1].from ? 1 : 2;
    if (bound[0].to != bound[second].from || bound[second].to != bound[3 - second].from ||
        bound[3 - second].to != bound[0].from)
        return false;
    const uint32_t *v = j->side[s].triangle[bound->face].v;
    uint32_t first = joint_ref(j, s, v[0]);
    const uint32_t turn[3] = {bound[0].from, bound[second].from, bound[3 - second].from};
    int start = first == turn[1] ? 1 : first == turn[2] ? 2 : 0;
    for (int k = 0; k < 3; k++)
        corner[k] = turn[(start + k) % 3];
    return true;
}

static enum status fill_faces(struct joint *j, int s, struct outline *o)
{
    struct pile *bounds = &j->side[s].bound;
    const struct bound *bound = bounds->data;
    enum status status = STATUS_OK;
    if (bounds->count)
        qsort(bounds->data, bounds->count, sizeof *bound, bound_order);
    for (size_t i = 0, end; i < bounds->count && status == STATUS_OK; i = end) {
        uint32_t c[3];
        for (end = i; end < bounds->count && bound[end].face == bound[i].face;)
            end++;
        if (simple(j, s, bound + i, end - i, c))
            status = add_made(j, s, bound[i].face, c[0], c[1], c[2]);
        else if (!outline_set(o, bound + i, end - i))
            status = job_fail_memory(j->job, (end - i) * 24);
        else
            status = fill_outline(j, s, o, bound + i, end - i);
        if (status == STATUS_OK && job_cancelled(j->job))
            status = job_fail_cancelled(j->job);
    }
    return status;
}

enum status joint_faces(struct joint *j)
{
    struct outline o = {0};
    enum status status = STATUS_OK;
    for (int s = 0; s < 2 && status == STATUS_OK; s++)
        status = fill_faces(j, s, &o);
    pile_release(&o.ref);
    pile_release(&o.at);
    pile_release(&o.edge);
    return status;
}
