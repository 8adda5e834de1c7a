#include <stdlib.h>
#include <string.h>

#include "surface/fill_rim.h"

struct passing { /* a rim's coming through a vertex: by entry `entry`, after `before` */
    uint32_t hole, vertex, entry, before;
};

struct touching {
    const struct mesh *mesh;
    struct rims *rims;
    const uint32_t *of;
    struct passing *passing;
    size_t passings;
    uint32_t *next; /* one an entry: the one that follows on its rim */
};

static int passing_order(const void *a, const void *b)
{
    const struct passing *x = a, *y = b;
    if (x->hole != y->hole)
        return x->hole < y->hole ? -1 : 1;
    if (x->vertex != y->vertex)
        return x->vertex < y->vertex ? -1 : 1;
    return x->entry < y->entry ? -1 : x->entry > y->entry;
}

static struct vec point(const struct touching *t, uint32_t entry)
{
    return point_vec(mesh_point(t->mesh)[t->rims->vertex[entry]]);
}

/* Lists how islands and the rims of their holes pass their vertices. */
static void list_passings(struct touching *t, bool *holds)
{
    const struct rims *rims = t->rims;
    for (size_t i = 0; i < rims->count; i++)
        if (t->of[i] != NO_INDEX)
            holds[t->of[i]] = true;
    for (uint32_t i = 0; i < rims->count; i++) {
        uint32_t first = rims->start[i], end = rims->start[i + 1];
        for (uint32_t e = first; e < end; e++) {
            t->next[e] = e + 1 < end ? e + 1 : first;
            if (holds[i] || t->of[i] != NO_INDEX)
                t->passing[t->passings++] =
                    (struct passing){t->of[i] == NO_INDEX ? i : t->of[i], rims->vertex[e], e,
                                     e > first ? e - 1 : end - 1};
        }
    }
    qsort(t->passing, t->passings, sizeof *t->passing, passing_order);
}

static struct vec rim_area(const struct touching *t, uint32_t rim)
{
    struct vec area = vec(0, 0, 0), origin = point(t, t->rims->start[rim]);
    for (uint32_t e = t->rims->start[rim]; e < t->rims->start[rim + 1]; e++)
        area = vec_add(
            area, vec_cross(vec_sub(point(t, e), origin), vec_sub(point(t, t->next[e]), origin)));
    return area;
}

static double angle(struct vec u, struct vec v, struct vec d)
{
    return atan2(vec_dot(d, v), vec_dot(d, u));
}

/* Of the ways on from a vertex, the one the hole's border takes after passing[i].before: with the
 * hole to its left, the next one clockwise from where it came. */
static size_t way_on(const struct touching *t, const struct passing *passing, size_t count,
                     size_t i, struct vec facing)
{
    struct vec u, v, at = point(t, passing[i].entry);
    vec_frame(facing, &u, &v);
    double back = angle(u, v, vec_sub(point(t, passing[i].before), at)), least = INFINITY;
    size_t found = i;
    for (size_t k = 0; k < count; k++) {
        double on = angle(u, v, vec_sub(point(t, t->next[passing[k].entry]), at));
        double turn = back >= on ? back - on : back - on + 6.283185307179586;
        if (turn < least) {
            least = turn;
            found = k;
        }
    }
    return found;
}

enum { MEETING_MOST = 16 }; /* passings of one vertex; more are left as they are */

/* Leads the passings of one vertex on as they lie; true when that changed anything. */
static bool lead_on(struct touching *t, const struct passing *passing, size_t count,
                    struct vec facing, uint32_t *next)
{
    size_t way[MEETING_MOST];
    bool taken[MEETING_MOST] = {false}, changed = false;
    for (size_t i = 0; i < count; i++) {
        way[i] = way_on(t, passing, count, i, facing);
        if (taken[way[i]])
            return false; /* they do not lie side by side */
        taken[way[i]] = true;
        changed |= way[i] != i;
    }
    for (size_t i = 0; i < count; i++)
        next[passing[i].before] = passing[way[i]].entry;
    return changed;
}

static bool lead_all(struct touching *t, uint32_t *next)
{
    bool changed = false;
    for (size_t i = 0, end; i < t->passings; i = end) {
        end = i + 1;
        while (end < t->passings && t->passing[end].hole == t->passing[i].hole &&
               t->passing[end].vertex == t->passing[i].vertex)
            end++;
        if (end - i > 1 && end - i <= MEETING_MOST)
            changed |= lead_on(t, t->passing + i, end - i,
                               vec_unit(rim_area(t, t->passing[i].hole)), next);
    }
    return changed;
}

/* Reads the rims anew along next[]. */
static bool read_again(struct rims *rims, const struct mesh *mesh, uint32_t *next)
{
    uint32_t entries = rims->start[rims->count], rim = 0, i = 0;
    struct rims made = {0};
    made.vertex = malloc((entries + 1) * sizeof *made.vertex);
    made.half = malloc((entries + 1) * sizeof *made.half);
    made.start = calloc(entries + 2, sizeof *made.start);
    made.length = calloc(entries + 1, sizeof *made.length);
    if (!made.vertex || !made.half || !made.start || !made.length) {
        rims_release(&made);
        return false;
    }
    for (uint32_t e = 0; e < entries; e++) {
        uint32_t at = e;
        if (next[e] == NO_INDEX)
            continue;
        while (next[at] != NO_INDEX) {
            uint32_t on = next[at];
            struct vec a = point_vec(mesh_point(mesh)[rims->vertex[at]]);
            made.length[rim] +=
                vec_length(vec_sub(point_vec(mesh_point(mesh)[rims->vertex[on]]), a));
            made.vertex[i] = rims->vertex[at];
            made.half[i++] = rims->half[at];
            next[at] = NO_INDEX;
            at = on;
        }
        made.start[++rim] = i;
    }
    made.count = rim;
    rims_release(rims);
    *rims = made;
    return true;
}

bool rims_touch(const struct mesh *mesh, struct rims *rims, const uint32_t *of, bool *changed)
{
    size_t entries = rims->start[rims->count];
    *changed = false;
    bool any = false;
    for (size_t i = 0; i < rims->count; i++)
        any |= of[i] != NO_INDEX;
    if (!any)
        return true;
    struct touching t = {.mesh = mesh, .rims = rims, .of = of};
    bool *holds = calloc(rims->count + 1, sizeof *holds);
    uint32_t *next = malloc((entries + 1) * sizeof *next);
    t.next = malloc((entries + 1) * sizeof *t.next);
    t.passing = malloc((entries + 1) * sizeof *t.passing);
    bool ok = holds && next && t.next && t.passing;
    if (ok) {
        list_passings(&t, holds);
        memcpy(next, t.next, entries * sizeof *next);
        *changed = lead_all(&t, next);
    }
    if (ok && *changed)
        ok = read_again(rims, mesh, next);
    free(holds);
    free(next);
    free(t.next);
    free(t.passing);
    return ok;
}
