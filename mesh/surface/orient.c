#include "surface/orient.h"

#include <stdlib.h>
#include <string.h>

#include "core/exact.h"
#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "core/turn_over.h"
#include "core/weld.h"

enum {
    LOOK = 4096,
    PLACES = 15 /* of a closed patch that are asked what is around them */
};
static const double all_but_closed = 0.2; /* of its area that a patch's area vectors add up to */

struct patch {
    uint32_t first; /* a triangle of it; all others are told by whether they face as it does */
    uint32_t triangles;
    double area[2];         /* of those that do, of those that do not */
    struct vec facing;      /* area vectors added up, as the first one faces */
    struct vec centre;      /* of its area (times the area while it is summed up) */
    double volume;          /* likewise, about the centre */
    bool open, torn;        /* has a boundary; has no two sides */
    bool turn;              /* all of it */
    uint32_t seen;          /* triangles of it passed while places are asked, */
    uint32_t asked, inside; /* places asked; those of them inside others */
};

struct orienting {
    const struct mesh *mesh;
    const struct topology *topology;
    uint32_t *patch_of;
    uint8_t *other_way; /* one a triangle: it does not face as the patch's first one */
    uint32_t *queue;
    struct patch *patch;
    size_t patches, room;
    struct orient_report *report;
    struct job *job;
};

/* --- neighbours agree ---------------------------------------------------------------------- */

/* Looks across the three sides of a triangle; puts those not seen yet into the queue. */
static void spread(struct orienting *o, uint32_t t, size_t *end)
{
    uint32_t p = o->patch_of[t];
    for (uint32_t h = 3 * t; h < 3 * t + 3; h++) {
        uint32_t twin = o->topology->twin[h];
        if (twin == TWIN_NONE)
            o->patch[p].open = true;
        if (twin == TWIN_NONE || twin == TWIN_MANY)
            continue;
        uint32_t other = (twin & ~TWIN_FLIPPED) / 3;
        uint8_t way = o->other_way[t] ^ ((twin & TWIN_FLIPPED) != 0);
        if (o->patch_of[other] == NO_INDEX) {
            o->patch_of[other] = p;
            o->other_way[other] = way;
            o->queue[(*end)++] = other;
        } else if (o->other_way[other] != way) {
            o->patch[p].torn = true;
            o->report->seams += other < t; /* once an edge; never within one triangle */
        }
    }
}

static bool new_patch(struct orienting *o, uint32_t first)
{
    if (o->patches == o->room) {
        size_t room = 2 * o->room + 16;
        struct patch *grown = realloc(o->patch, room * sizeof *grown);
        if (!grown)
            return false;
        o->patch = grown;
        o->room = room;
    }
    o->patch[o->patches] = (struct patch){.first = first};
    o->patch_of[first] = (uint32_t)o->patches++;
    o->other_way[first] = false;
    return true;
}

static enum status find_patches(struct orienting *o)
{
    size_t triangles = mesh_triangles(o->mesh), begin = 0, end = 0;
    memset(o->patch_of, 255, triangles * sizeof *o->patch_of);
    for (size_t t = 0; t < triangles; t++) {
        if (o->patch_of[t] != NO_INDEX)
            continue;
        if (!new_patch(o, (uint32_t)t))
            return job_fail_memory(o->job, o->room * 2 * sizeof *o->patch);
        o->queue[end++] = (uint32_t)t;
        for (; begin < end; begin++) {
            spread(o, o->queue[begin], &end);
            if (begin % LOOK == 0 && !job_step(o->job, LOOK))
                return job_fail_cancelled(o->job);
        }
    }
    return STATUS_OK;
}

/* --- edges of three triangles or more ------------------------------------------------------ */

struct many {
    uint32_t low, high, patch;
    int way;
};

static int many_order(const void *x, const void *y)
{
    const struct many *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    return a->patch < b->patch ? -1 : a->patch > b->patch;
}

static size_t list_many(const struct orienting *o, struct many *list)
{
    size_t count = 0;
    for (size_t h = 0; h < 3 * mesh_triangles(o->mesh); h++) {
        if (o->topology->twin[h] != TWIN_MANY)
            continue;
        uint32_t a = half_from(mesh_triangle(o->mesh), (uint32_t)h);
        uint32_t b = half_to(mesh_triangle(o->mesh), (uint32_t)h);
        if (a == b)
            continue;
        int way = (a < b) != o->other_way[h / 3] ? 1 : -1;
        if (list)
            list[count] = (struct many){a < b ? a : b, a < b ? b : a, o->patch_of[h / 3], way};
        count++;
    }
    return count;
}

/* A patch is closed all the same where as many of its triangles run such an edge one way as the
 * other: two boxes that share an edge. */
static enum status judge_many(struct orienting *o)
{
    if (o->topology->nonmanifold == 0)
        return STATUS_OK;
    size_t count = list_many(o, NULL);
    struct many *list = scratch_new(count, sizeof *list);
    if (!list)
        return job_fail_memory(o->job, count * sizeof *list);
    list_many(o, list);
    qsort(list, count, sizeof *list, many_order);
    for (size_t i = 0, j; i < count; i = j) {
        int sum = 0;
        for (j = i; j < count && many_order(&list[i], &list[j]) == 0; j++)
            sum += list[j].way;
        if (sum != 0)
            o->patch[list[i].patch].open = true;
    }
    scratch_free(list);
    return STATUS_OK;
}

/* --- patches measured ---------------------------------------------------------------------- */

static struct vec corner(const struct orienting *o, size_t t, int k)
{
    return point_vec(mesh_point(o->mesh)[mesh_triangle(o->mesh)[t].v[k]]);
}

/* Whether to go on, asked now and then in long loops. */
static bool going(const struct orienting *o, size_t t)
{
    return t % LOOK != 0 || !job_cancelled(o->job);
}

static void measure_areas(struct orienting *o)
{
    for (size_t t = 0; t < mesh_triangles(o->mesh) && going(o, t); t++) {
        struct patch *p = &o->patch[o->patch_of[t]];
        struct vec a = corner(o, t, 0), b = corner(o, t, 1), c = corner(o, t, 2);
        struct vec n = vec_scale(vec_cross(vec_sub(b, a), vec_sub(c, a)), 0.5);
        double area = vec_length(n);
        p->triangles++;
        p->area[o->other_way[t]] += area;
        p->facing = vec_along(p->facing, o->other_way[t] ? -1 : 1, n);
        p->centre = vec_along(p->centre, area / 3, vec_add(a, vec_add(b, c)));
    }
    for (size_t i = 0; i < o->patches; i++) {
        struct patch *p = &o->patch[i];
        double area = p->area[0] + p->area[1];
        p->centre = area > 0 ? vec_scale(p->centre, 1 / area) : corner(o, p->first, 0);
    }
}

static void measure_volumes(struct orienting *o)
{
    for (size_t t = 0; t < mesh_triangles(o->mesh) && going(o, t); t++) {
        struct patch *p = &o->patch[o->patch_of[t]];
        struct vec a = vec_sub(corner(o, t, 0), p->centre), b = vec_sub(corner(o, t, 1), p->centre);
        struct vec c = vec_sub(corner(o, t, 2), p->centre);
        double volume = vec_dot(a, vec_cross(b, c)) / 6;
        p->volume += o->other_way[t] ? -volume : volume;
    }
}

static bool closed(const struct patch *p)
{
    return !p->open && !p->torn;
}

static bool nearly_closed(const struct patch *p)
{
    return !p->torn && p->open &&
           vec_length(p->facing) < all_but_closed * (p->area[0] + p->area[1]);
}

/* --- which lie inside others --------------------------------------------------------------- */

struct upward { /* a ray straight up from a point, which counts the closed patches it leaves */
    const struct orienting *o;
    struct vec from;
    uint32_t own;
    size_t met;
};

/* Which side of the directed line a b the point is on, seen from above; where it is on the line,
 * the side it would be on a shade farther along x, or then along y. 0 when the line is a point. */
static int shaded_side(struct vec a, struct vec b, struct vec p)
{
    const double q[3][2] = {{a.x, a.y}, {b.x, b.y}, {p.x, p.y}};
    int turn = exact_turn(q[0], q[1], q[2]);
    if (turn != 0)
        return turn;
    if (a.y != b.y)
        return a.y > b.y ? 1 : -1;
    return (b.x > a.x) - (b.x < a.x);
}

static bool upward_visit(uint32_t t, void *context)
{
    struct upward *up = context;
    const struct orienting *o = up->o;
    if (o->patch_of[t] == up->own || !closed(&o->patch[o->patch_of[t]]))
        return true;
    struct vec a = corner(o, t, 0), b = corner(o, t, 1), c = corner(o, t, 2);
    int side = shaded_side(a, b, up->from);
    if (side == 0 || shaded_side(b, c, up->from) != side || shaded_side(c, a, up->from) != side)
        return true;
    /* exact_side is positive below a triangle that runs counter-clockwise seen from above. */
    up->met += exact_side(a, b, c, up->from) * side > 0;
    return true;
}

/* Whether the patch's next triangle is one of the PLACES spread evenly over its triangles. */
static bool is_place(struct patch *p)
{
    uint64_t at = p->seen++, all = p->triangles;
    return at == 0 || at * PLACES / all != (at - 1) * PLACES / all;
}

/* A body that overlaps another has places inside it and places outside; a hollow has none outside
 * what it is in. So one place cannot tell, and several do. */
static enum status ask_places(struct orienting *o, const struct tree *tree)
{
    for (size_t t = 0, asked = 0; t < mesh_triangles(o->mesh); t++) {
        struct patch *p = &o->patch[o->patch_of[t]];
        if (!going(o, t))
            return job_fail_cancelled(o->job);
        if (!closed(p) || !is_place(p))
            continue;
        struct upward up = {.o = o, .from = corner(o, t, 0), .own = o->patch_of[t]};
        tree_box(tree, up.from, vec(up.from.x, up.from.y, INFINITY), upward_visit, &up);
        p->asked++;
        p->inside += up.met % 2;
        if (++asked % 64 == 0 && job_cancelled(o->job))
            return job_fail_cancelled(o->job);
    }
    return STATUS_OK;
}

static enum status turn_closed(struct orienting *o)
{
    size_t count = 0;
    for (size_t i = 0; i < o->patches; i++)
        count += closed(&o->patch[i]);
    const struct tree *tree = count > 1 ? mesh_tree(o->mesh, o->job) : NULL;
    if (count > 1 && !tree)
        return job_status(o->job);
    enum status status = tree ? ask_places(o, tree) : STATUS_OK;
    for (size_t i = 0; i < o->patches && status == STATUS_OK; i++) {
        struct patch *p = &o->patch[i];
        if (!closed(p))
            continue;
        bool hollow = p->asked > 0 && p->inside == p->asked;
        p->turn = hollow ? p->volume > 0 : p->volume < 0;
        *(hollow ? &o->report->hollows : &o->report->outward) += 1;
    }
    return status;
}

static void turn_open(struct orienting *o)
{
    for (size_t i = 0; i < o->patches; i++) {
        struct patch *p = &o->patch[i];
        if (closed(p))
            continue;
        bool round = nearly_closed(p);
        p->turn = round ? p->volume < 0 : p->area[1] > p->area[0];
        o->report->outward += round;
        o->report->sheets += !round && !p->torn;
        o->report->one_sided += p->torn;
    }
}

/* --- the turned mesh ----------------------------------------------------------------------- */

static bool turns(const void *context, size_t t)
{
    const struct orienting *o = context;
    return o->other_way[t] != o->patch[o->patch_of[t]].turn;
}

static struct mesh *turned(const struct orienting *o)
{
    struct mesh *out = mesh_new_like(o->mesh);
    if (!out)
        job_fail_memory(o->job, sizeof *out);
    if (!out || mesh_turn_over(out, o->mesh, turns, o, o->job) == STATUS_OK)
        return out;
    mesh_free(out);
    return NULL;
}

static enum status decide(struct orienting *o)
{
    job_phase(o->job, "following neighbours", 500, mesh_triangles(o->mesh));
    enum status status = find_patches(o);
    if (status == STATUS_OK)
        status = judge_many(o);
    if (status != STATUS_OK)
        return status;
    job_phase(o->job, "finding which side is outside", 400, 0);
    measure_areas(o);
    measure_volumes(o);
    if (job_cancelled(o->job))
        return job_fail_cancelled(o->job);
    turn_open(o);
    return turn_closed(o);
}

static struct mesh *orient_joined(const struct mesh *mesh, struct orient_report *report,
                                  struct job *job)
{
    struct orienting o = {.mesh = mesh, .report = report, .job = job};
    size_t triangles = mesh_triangles(mesh);
    struct mesh *out = NULL;
    o.topology = mesh_topology(mesh, job);
    o.patch_of = scratch_new(triangles, sizeof *o.patch_of);
    o.other_way = scratch_new(triangles, sizeof *o.other_way);
    o.queue = scratch_new(triangles, sizeof *o.queue);
    if (o.topology && (!o.patch_of || !o.other_way || !o.queue)) {
        job_fail_memory(job, triangles * 9);
    } else if (o.topology && decide(&o) == STATUS_OK) {
        for (size_t t = 0; t < triangles; t++)
            report->turned += turns(&o, t);
        out = report->turned ? turned(&o) : mesh_share(mesh);
    }
    scratch_free(o.patch_of);
    scratch_free(o.other_way);
    scratch_free(o.queue);
    free(o.patch);
    return out;
}

struct mesh *orient(const struct mesh *mesh, struct orient_report *report, struct job *job)
{
    *report = (struct orient_report){0};
    if (mesh_triangles(mesh) == 0) {
        job_fail(job, STATUS_REFUSED, "a point cloud has no triangles to turn; \"fuse\" it first");
        return NULL;
    }
    struct mesh *joined = weld_exact(mesh, job);
    if (!joined)
        return NULL;
    struct mesh *out = orient_joined(joined, report, job);
    if (out == joined && array_bytes(joined->point) == array_bytes(mesh->point)) {
        mesh_free(out); /* nothing was joined and nothing turned */
        out = mesh_share(mesh);
    }
    mesh_free(joined);
    return out;
}
