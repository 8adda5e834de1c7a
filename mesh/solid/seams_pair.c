/* Which triangles go together on an edge that many have. */
#include "solid/around.h"
#include "solid/seams_parts.h"

enum { MOST_EVENLY = 64 }; /* triangles on one edge among which evenness is looked for */

static int many_order(const void *x, const void *y)
{
    const struct seams_many *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    return (a->half > b->half) - (a->half < b->half);
}

static enum status list_many(struct seams *s)
{
    const struct triangle *t = mesh_triangle(s->mesh);
    for (uint32_t h = 0; h < 3 * mesh_triangles(s->mesh); h++) {
        uint32_t a = half_from(t, h), b = half_to(t, h);
        if (s->topology->twin[h] != TWIN_MANY || a == b)
            continue;
        struct seams_many *to = pile_next(&s->many, sizeof *to);
        if (!to)
            return job_fail_memory(s->job, 2 * s->many.count * sizeof *to);
        *to = (struct seams_many){a < b ? a : b, a < b ? b : a, h};
        s->many.count++;
    }
    if (s->many.count)
        qsort(s->many.data, s->many.count, sizeof(struct seams_many), many_order);
    return STATUS_OK;
}

static bool forward(const struct seams *s, const struct seams_many *m)
{
    return half_from(mesh_triangle(s->mesh), m->half) == m->low;
}

static struct vec apex(const struct seams *s, const struct seams_many *m)
{
    return seams_at(s, half_from(mesh_triangle(s->mesh), half_prev(m->half)));
}

static void join(struct seams *s, const struct seams_many *a, const struct seams_many *b)
{
    s->mate[a->half] = b->half;
    s->mate[b->half] = a->half;
}

struct circle {
    const struct seams *s;
    struct axis axis;
    struct vec first; /* the direction from which one turns */
};

static int circle_order(const void *x, const void *y, void *context)
{
    const struct seams_many *a = x, *b = y;
    const struct circle *c = context;
    struct vec p = apex(c->s, a), q = apex(c->s, b);
    int to_p = around_turned(&c->axis, c->first, p), to_q = around_turned(&c->axis, c->first, q);
    if (to_p != to_q)
        return to_p < to_q ? -1 : 1;
    int between = around_turned(&c->axis, p, q);
    if (between != SAME)
        return between == BEFORE_HALF ? -1 : 1;
    return (a->half > b->half) - (a->half < b->half);
}

/* Solid lies from one that runs the edge backward to the next that runs it forward, turning the
 * positive way. False when there is no memory. */
static bool join_wedges(struct seams *s, struct seams_many *m, size_t count)
{
    struct circle c = {s, {seams_at(s, m->low), seams_at(s, m->high)}, apex(s, m)};
    uint32_t *open = scratch_new(2 * count, sizeof *open);
    size_t opens = 0;
    if (!open)
        return false;
    qsort_r(m, count, sizeof *m, circle_order, &c);
    for (uint32_t i = 0; i < 2 * count; i++) { /* twice round: wedges reach over the start */
        struct seams_many *now = &m[i % count];
        if (s->mate[now->half] != NO_INDEX)
            continue;
        if (!forward(s, now)) {
            if (i < count)
                open[opens++] = i;
        } else if (opens > 0) {
            join(s, &m[open[--opens]], now);
        }
    }
    scratch_free(open);
    return true;
}

/* From the edge into the triangle. */
static struct vec into(const struct seams *s, const struct seams_many *m)
{
    struct vec from = seams_at(s, m->low), along = vec_unit(vec_sub(seams_at(s, m->high), from));
    struct vec to = vec_sub(apex(s, m), from);
    return vec_unit(vec_along(to, -vec_dot(to, along), along));
}

static void join_evenly(struct seams *s, const struct seams_many *m, size_t count)
{
    while (true) {
        double best = INFINITY;
        size_t pair[2] = {0, 0};
        for (size_t i = 0; i < count; i++)
            for (size_t k = i + 1; k < count && s->mate[m[i].half] == NO_INDEX; k++) {
                if (s->mate[m[k].half] != NO_INDEX || forward(s, &m[i]) == forward(s, &m[k]))
                    continue;
                double fold = vec_dot(into(s, &m[i]), into(s, &m[k]));
                if (fold < best) {
                    best = fold;
                    pair[0] = i;
                    pair[1] = k;
                }
            }
        if (best == INFINITY)
            return;
        join(s, &m[pair[0]], &m[pair[1]]);
    }
}

enum status seams_pair(struct seams *s)
{
    enum status status = list_many(s);
    struct seams_many *m = s->many.data;
    for (size_t i = 0, end; i < s->many.count && status == STATUS_OK; i = end) {
        size_t ahead = 0;
        for (end = i; end < s->many.count && m[end].low == m[i].low && m[end].high == m[i].high;)
            ahead += forward(s, &m[end++]);
        if (2 * ahead != end - i && end - i <= MOST_EVENLY)
            join_evenly(s, m + i, end - i);
        else if (!join_wedges(s, m + i, end - i))
            status = job_fail_memory(s->job, (end - i) * 8);
        if (i % 256 == 0 && job_cancelled(s->job) && status == STATUS_OK)
            status = job_fail_cancelled(s->job);
    }
    return status;
}
