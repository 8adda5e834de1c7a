#include "surface/fill_walk.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

struct place { /* of the walk while it is pieced together: a vertex and the edge that follows */
    uint32_t vertex, next, mate;
    struct vec outer;
};

struct bridge { /* the shortest way from what is joined so far to a rim that is not */
    double length2;
    uint32_t from, to; /* vertices of the patch */
};

struct joining {
    const struct mesh *mesh;
    const struct rims *rims;
    const uint32_t *member; /* the hole's rims */
    uint32_t members;
    struct patch *patch;
    struct place *place;
    size_t places, base;   /* the entries of the rims come first, bridges behind them */
    struct bridge *bridge; /* one a member; `to` NO_INDEX once it is joined */
    const struct job *job;
};

static uint32_t member_size(const struct joining *j, uint32_t m)
{
    return j->rims->start[j->member[m] + 1] - j->rims->start[j->member[m]];
}

/* Unit normal of the triangle across an entry of a rim, turned to face as the rim does. */
static struct vec outer_normal(const struct mesh *mesh, const struct rims *rims, uint32_t entry)
{
    uint32_t h = rims->half[entry];
    const uint32_t *v = mesh_triangle(mesh)[h / 3].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec n = vec_unit(vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                                      vec_sub(point_vec(mesh_point(mesh)[v[2]]), a)));
    bool along = half_from(mesh_triangle(mesh), h) == rims->vertex[entry];
    return along ? vec_scale(n, -1) : n;
}

/* --- the old vertices --------------------------------------------------------------------- */

struct numbered {
    uint32_t old, entry;
};

static int numbered_order(const void *a, const void *b)
{
    const struct numbered *x = a, *y = b;
    if (x->old != y->old)
        return x->old < y->old ? -1 : 1;
    return x->entry < y->entry ? -1 : x->entry > y->entry;
}

/* Entries with the same old vertex (where an island touches) get one number. */
static bool number_vertices(struct joining *j)
{
    struct numbered *list = malloc((j->base + 1) * sizeof *list);
    uint32_t *first = malloc((j->base + 1) * sizeof *first);
    bool ok = list && first;
    for (uint32_t i = 0; i < j->base && ok; i++)
        list[i] = (struct numbered){j->place[i].vertex, i};
    if (ok)
        qsort(list, j->base, sizeof *list, numbered_order);
    for (size_t i = 0; i < j->base && ok; i++) /* the entry at which the vertex occurs first */
        first[list[i].entry] =
            i > 0 && list[i].old == list[i - 1].old ? first[list[i - 1].entry] : list[i].entry;
    for (uint32_t i = 0; i < j->base && ok; i++) {
        if (first[i] == i)
            j->patch->old[j->patch->rim++] = j->place[i].vertex;
        j->place[i].vertex =
            first[i] == i ? (uint32_t)j->patch->rim - 1 : j->place[first[i]].vertex;
    }
    free(list);
    free(first);
    return ok;
}

static bool read_places(struct joining *j)
{
    for (uint32_t m = 0; m < j->members; m++)
        j->base += member_size(j, m);
    j->place = malloc((j->base + 2 * j->members) * sizeof *j->place);
    j->patch->old = malloc((j->base + 1) * sizeof *j->patch->old);
    if (!j->place || !j->patch->old)
        return false;
    for (uint32_t m = 0; m < j->members; m++) {
        uint32_t entry = j->rims->start[j->member[m]], size = member_size(j, m);
        uint32_t first = (uint32_t)j->places;
        for (uint32_t i = 0; i < size; i++)
            j->place[j->places++] =
                (struct place){j->rims->vertex[entry + i], i + 1 < size ? first + i + 1 : first,
                               NO_INDEX, outer_normal(j->mesh, j->rims, entry + i)};
    }
    if (!number_vertices(j))
        return false;
    if (!patch_reserve(j->patch, j->patch->rim, j->base + 2 * j->members))
        return false;
    for (uint32_t v = 0; v < j->patch->rim; v++)
        j->patch->at[v] = point_vec(mesh_point(j->mesh)[j->patch->old[v]]);
    memset(j->patch->size, 0, j->patch->rim * sizeof *j->patch->size);
    memset(j->patch->curve, 0, j->patch->rim * sizeof *j->patch->curve);
    j->patch->vertices = j->patch->rim;
    return true;
}

/* --- bridges ------------------------------------------------------------------------------ */

/* Looks for shorter bridges from the rim just joined. */
static bool shorten(struct joining *j, uint32_t joined, const uint32_t *start)
{
    const struct vec *at = j->patch->at;
    for (uint32_t m = 1; m < j->members; m++) {
        struct bridge *b = j->bridge + m;
        for (uint32_t i = start[joined]; i < start[joined + 1] && b->to != NO_INDEX; i++) {
            struct vec p = at[j->place[i].vertex];
            if (i % 64 == 0 && job_cancelled(j->job))
                return false;
            for (uint32_t k = start[m]; k < start[m + 1]; k++) {
                double d = vec_length2(vec_sub(at[j->place[k].vertex], p));
                if (d < b->length2)
                    *b = (struct bridge){d, j->place[i].vertex, j->place[k].vertex};
            }
        }
    }
    return true;
}

static double turn_to(struct vec u, struct vec v, struct vec ahead, struct vec d)
{
    double a = atan2(vec_dot(ahead, v), vec_dot(ahead, u)), b = atan2(vec_dot(d, v), vec_dot(d, u));
    return b >= a ? b - a : b - a + 6.283185307179586;
}

/* The place of the walk, begun at place 0, from which a bridge to `target` leaves vertex `from`:
 * where the walk comes there several times, the one whose corner it leaves into. */
static uint32_t find_place(const struct joining *j, uint32_t from, struct vec target,
                           struct vec facing)
{
    const struct vec *at = j->patch->at;
    struct vec u, v, d = vec_sub(target, at[from]);
    vec_frame(facing, &u, &v);
    uint32_t found = NO_INDEX, before = 0;
    do {
        uint32_t here = j->place[before].next;
        if (j->place[here].vertex == from) {
            uint32_t after = j->place[here].next;
            struct vec ahead = vec_sub(at[j->place[after].vertex], at[from]);
            struct vec back = vec_sub(at[j->place[before].vertex], at[from]);
            if (found == NO_INDEX || turn_to(u, v, ahead, d) < turn_to(u, v, ahead, back))
                found = here;
        }
        before = here;
    } while (before != 0);
    return found;
}

/* The edge after a place has moved to another one: its mate must know. */
static void tell_mate(struct joining *j, uint32_t place)
{
    if (j->place[place].mate != NO_INDEX)
        j->place[j->place[place].mate].mate = place;
}

/* Takes the island's rim into the walk, by a bridge or at a vertex that both have. */
static void join(struct joining *j, uint32_t here, uint32_t there)
{
    struct place *x = j->place + here, *y = j->place + there;
    struct place old_x = *x, old_y = *y;
    if (x->vertex == y->vertex) {
        *x = old_y;
        *y = old_x;
        tell_mate(j, here);
        tell_mate(j, there);
        return;
    }
    uint32_t back = (uint32_t)j->places, on = back + 1;
    j->place[j->places++] = old_x; /* back from the island, on along the rim */
    j->place[j->places++] = old_y; /* over the bridge, on along the island */
    tell_mate(j, back);
    tell_mate(j, on);
    *x = (struct place){old_x.vertex, on, there, vec(0, 0, 0)};
    *y = (struct place){old_y.vertex, back, here, vec(0, 0, 0)};
}

static uint32_t place_of(const struct joining *j, uint32_t m, const uint32_t *start,
                         uint32_t vertex)
{
    uint32_t i = start[m];
    while (j->place[i].vertex != vertex)
        i++;
    return i;
}

static bool join_all(struct joining *j, struct vec facing)
{
    uint32_t *start = malloc((j->members + 1) * sizeof *start);
    j->bridge = malloc(j->members * sizeof *j->bridge);
    bool ok = start && j->bridge;
    if (ok)
        start[0] = 0;
    for (uint32_t m = 0; m < j->members && ok; m++) {
        start[m + 1] = start[m] + member_size(j, m);
        j->bridge[m] = (struct bridge){INFINITY, 0, 0};
    }
    ok = ok && shorten(j, 0, start);
    for (uint32_t count = 1; count < j->members && ok; count++) {
        uint32_t best = 0;
        for (uint32_t m = 1; m < j->members; m++)
            if (j->bridge[m].to != NO_INDEX &&
                (best == 0 || j->bridge[m].length2 < j->bridge[best].length2))
                best = m;
        struct bridge *b = j->bridge + best;
        uint32_t there = place_of(j, best, start, b->to);
        join(j, find_place(j, b->from, j->patch->at[b->to], facing), there);
        b->to = NO_INDEX;
        ok = shorten(j, best, start);
    }
    free(start);
    return ok;
}

/* --- the walk ----------------------------------------------------------------------------- */

static bool write_walk(const struct joining *j, struct walk *walk)
{
    walk->vertex = malloc(j->places * sizeof *walk->vertex);
    walk->outer = malloc(j->places * sizeof *walk->outer);
    walk->mate = malloc(j->places * sizeof *walk->mate);
    uint32_t *number = malloc(j->places * sizeof *number);
    bool ok = walk->vertex && walk->outer && walk->mate && number;
    uint32_t i = 0;
    if (ok)
        do {
            number[i] = (uint32_t)walk->count;
            walk->vertex[walk->count] = j->place[i].vertex;
            walk->outer[walk->count] = j->place[i].outer;
            walk->mate[walk->count++] = j->place[i].mate;
            i = j->place[i].next;
        } while (i != 0);
    for (size_t k = 0; k < walk->count; k++)
        if (walk->mate[k] != NO_INDEX)
            walk->mate[k] = number[walk->mate[k]];
    free(number);
    return ok;
}

bool walk_make(const struct mesh *mesh, const struct rims *rims, uint32_t hole, struct patch *patch,
               struct walk *walk, const struct job *job)
{
    struct joining j = {.mesh = mesh, .rims = rims, .patch = patch, .job = job};
    j.member = rims->member + rims->hole_start[hole];
    j.members = rims->hole_start[hole + 1] - rims->hole_start[hole];
    *walk = (struct walk){0};
    patch->rims = rims;
    patch->hole = hole;
    bool ok = read_places(&j);
    if (ok && j.members > 1) {
        struct vec area = vec(0, 0, 0), first = patch->at[0];
        for (uint32_t i = 0, n = member_size(&j, 0); i < n; i++)
            area = vec_add(
                area, vec_cross(vec_sub(patch->at[j.place[i].vertex], first),
                                vec_sub(patch->at[j.place[i + 1 < n ? i + 1 : 0].vertex], first)));
        ok = join_all(&j, vec_unit(area));
    }
    ok = ok && write_walk(&j, walk);
    free(j.place);
    free(j.bridge);
    return ok;
}

void walk_release(struct walk *walk)
{
    free(walk->vertex);
    free(walk->outer);
    free(walk->mate);
    *walk = (struct walk){0};
}

struct vec walk_area(const struct walk *walk, const struct vec *at)
{
    struct vec area = vec(0, 0, 0), first = at[walk->vertex[0]];
    for (size_t i = 0; i < walk->count; i++)
        area = vec_add(area, vec_cross(vec_sub(at[walk->vertex[i]], first),
                                       vec_sub(at[walk->vertex[(i + 1) % walk->count]], first)));
    return area;
}
