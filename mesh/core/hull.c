/* C. B. Barber, D. P. Dobkin, H. Huhdanpaa, "The Quickhull Algorithm for Convex Hulls", ACM
 * Transactions on Mathematical Software 22 (1996).
 *
 * Every point outside the hull so far waits with one face that it is above of. The farthest point
 * of a face takes the place of all faces it is above of; those who waited with them look for a new
 * one among the faces made. "Above" is exact and strict, so a point in the plane of a face leaves
 * the face as it is, and the hull needs no merging of faces and no tolerance. */
#include "core/hull.h"

#include <string.h>

#include "core/exact.h"
#include "core/job.h"

enum { POINTS = 65536 }; /* or faces, between two looks at cancel */
#define GONE 0xfffffffeu             /* a face that was replaced: its `mark` */

struct face {
    uint32_t v[3], across[3];
    struct vec normal; /* not unit */
    double slack;      /* above the rounding of dot(normal, p - corner) for any point */
    uint32_t waiting;  /* first of the points that wait with it, or NO_INDEX */
    uint32_t farthest;
    double height; /* of the farthest, along the normal */
    uint32_t mark; /* the round in which it was found visible, or GONE */
};

struct quick {
    const struct vec *point;
    size_t count;
    double reach;     /* the longest side of the box around all points */
    uint32_t *next;   /* one a point: who waits behind it */
    uint32_t *begins; /* one a point: the new face whose rim edge begins there */
    struct face *face;
    size_t faces, room; /* those that are gone among them, until they are more than the others */
    size_t gone;
    uint32_t *stack, *visible, *open; /* faces; room for all */
    size_t visibles, opens;
    uint32_t round;
    struct job *job;
};

/* --- sides --------------------------------------------------------------------------------- */

static double height(const struct quick *q, const struct face *f, uint32_t p)
{
    return vec_dot(f->normal, vec_sub(q->point[p], q->point[f->v[0]]));
}

static bool above(const struct quick *q, const struct face *f, uint32_t p)
{
    double h = height(q, f, p);
    if (h > f->slack || -h > f->slack)
        return h > 0;
    return exact_side(q->point[f->v[0]], q->point[f->v[1]], q->point[f->v[2]], q->point[p]) < 0;
}

/* --- faces --------------------------------------------------------------------------------- */

static bool reserve(struct quick *q, size_t faces)
{
    if (faces <= q->room)
        return true;
    size_t room = 2 * faces + 64;
    struct face *face = scratch_new(room, sizeof *face);
    uint32_t *lists[3];
    uint32_t **old[3] = {&q->stack, &q->visible, &q->open};
    bool ok = face != NULL;
    for (int i = 0; i < 3; i++) {
        lists[i] = scratch_new(room, sizeof(uint32_t));
        ok = ok && lists[i];
    }
    if (ok && q->faces)
        memcpy(face, q->face, q->faces * sizeof *face);
    if (ok && q->visibles)
        memcpy(lists[1], q->visible, q->visibles * sizeof(uint32_t));
    if (ok && q->opens)
        memcpy(lists[2], q->open, q->opens * sizeof(uint32_t));
    for (int i = 0; i < 3; i++) { /* the stack is empty now */
        scratch_free(ok ? *old[i] : lists[i]);
        if (ok)
            *old[i] = lists[i];
    }
    scratch_free(ok ? q->face : face);
    if (ok) {
        q->face = face;
        q->room = room;
    }
    return ok;
}

/* Closes the gaps that faces left which are gone. */
/* Of no use when cancelled. */
static void compact(struct quick *q)
{
    uint32_t *number = q->stack;
    size_t faces = 0, opens = 0;
    for (size_t f = 0; f < q->faces; f++) {
        if (f % POINTS == 0 && job_cancelled(q->job))
            return;
        if (q->face[f].mark != GONE) {
            number[f] = (uint32_t)faces;
            q->face[faces++] = q->face[f];
        } else {
            number[f] = NO_INDEX;
        }
    }
    for (size_t f = 0; f < faces && !(f % POINTS == 0 && job_cancelled(q->job)); f++)
        for (int k = 0; k < 3; k++)
            q->face[f].across[k] = number[q->face[f].across[k]];
    if (job_cancelled(q->job))
        return;
    for (size_t i = 0; i < q->opens; i++)
        if (number[q->open[i]] != NO_INDEX)
            q->open[opens++] = number[q->open[i]];
    q->faces = faces;
    q->opens = opens;
    q->gone = 0;
}

static uint32_t add_face(struct quick *q, uint32_t a, uint32_t b, uint32_t c)
{
    struct face *f = &q->face[q->faces];
    struct vec ab = vec_sub(q->point[b], q->point[a]), ac = vec_sub(q->point[c], q->point[a]);
    *f = (struct face){.v = {a, b, c}, .normal = vec_cross(ab, ac), .waiting = NO_INDEX};
    f->slack = 0x1p-48 * vec_length(ab) * vec_length(ac) * q->reach;
    return (uint32_t)q->faces++;
}

/* Lets the point wait with the face. */
static void wait_with(struct quick *q, uint32_t face, uint32_t p)
{
    struct face *f = &q->face[face];
    double h = height(q, f, p);
    if (f->waiting == NO_INDEX)
        q->open[q->opens++] = face;
    if (f->waiting == NO_INDEX || h > f->height || (h == f->height && p < f->farthest)) {
        f->farthest = p;
        f->height = h;
    }
    q->next[p] = f->waiting;
    f->waiting = p;
}

/* Lets the point wait with the first of the faces from..end that it is above of; one that is above
 * none is inside. */
static void place(struct quick *q, uint32_t p, uint32_t from, uint32_t end)
{
    for (uint32_t f = from; f < end; f++)
        if (above(q, &q->face[f], p)) {
            wait_with(q, f, p);
            return;
        }
}

/* --- the first four points ----------------------------------------------------------------- */

static bool collinear(struct vec a, struct vec b, struct vec c)
{
    const double p[3][3] = {{a.x, a.y, a.z}, {b.x, b.y, b.z}, {c.x, c.y, c.z}};
    for (int k = 0; k < 3; k++) {
        int i = (k + 1) % 3, j = (k + 2) % 3;
        const double flat[3][2] = {{p[0][i], p[0][j]}, {p[1][i], p[1][j]}, {p[2][i], p[2][j]}};
        if (exact_turn(flat[0], flat[1], flat[2]) != 0)
            return false;
    }
    return true;
}

/* How far point p is from the first n corners' point, line or plane, in some measure; and whether
 * it really lies off it. */
static double off(const struct quick *q, const uint32_t corner[4], int n, uint32_t p)
{
    struct vec o = q->point[corner[0]], a = vec_sub(q->point[p], o);
    if (n == 1)
        return vec_length2(a);
    struct vec b = vec_sub(q->point[corner[1]], o);
    if (n == 2)
        return vec_length2(vec_cross(a, b));
    return fabs(vec_dot(a, vec_cross(b, vec_sub(q->point[corner[2]], o))));
}

static bool truly_off(const struct quick *q, const uint32_t corner[4], int n, uint32_t p)
{
    struct vec a = q->point[corner[0]], x = q->point[p];
    if (n == 1)
        return a.x != x.x || a.y != x.y || a.z != x.z;
    if (n == 2)
        return !collinear(a, q->point[corner[1]], x);
    return exact_side(a, q->point[corner[1]], q->point[corner[2]], x) != 0;
}

/* Adds the point farthest off to the n corners; false when none lies off. */
static bool next_corner(const struct quick *q, uint32_t corner[4], int n)
{
    uint32_t best = NO_INDEX;
    double most = -1;
    for (uint32_t p = 0; p < q->count; p++) {
        double d = off(q, corner, n, p);
        if (d > most) {
            most = d;
            best = p;
        }
    }
    for (uint32_t p = 0; p < q->count && !truly_off(q, corner, n, best); p++)
        best = p; /* rounding was greater than all of them: any that will do */
    corner[n] = best;
    return truly_off(q, corner, n, best);
}

static void first_faces(struct quick *q, uint32_t corner[4])
{
    if (exact_side(q->point[corner[0]], q->point[corner[1]], q->point[corner[2]],
                   q->point[corner[3]]) < 0) { /* the fourth must lie below the first three */
        uint32_t swap = corner[0];
        corner[0] = corner[1];
        corner[1] = swap;
    }
    static const int side[4][3] = {{0, 1, 2}, {0, 3, 1}, {1, 3, 2}, {2, 3, 0}};
    static const int across[4][3] = {{1, 2, 3}, {3, 2, 0}, {1, 3, 0}, {2, 1, 0}};
    for (int f = 0; f < 4; f++) {
        add_face(q, corner[side[f][0]], corner[side[f][1]], corner[side[f][2]]);
        for (int k = 0; k < 3; k++)
            q->face[f].across[k] = (uint32_t)across[f][k];
    }
    for (uint32_t p = 0; p < q->count && (p % POINTS != 0 || !job_cancelled(q->job)); p++)
        place(q, p, 0, 4);
}

/* --- one point more ------------------------------------------------------------------------ */

/* Lists the faces the point is above of, beginning with one of them. */
static void find_visible(struct quick *q, uint32_t face, uint32_t p)
{
    size_t depth = 0;
    q->visibles = 0;
    q->round++;
    q->face[face].mark = q->round;
    q->stack[depth++] = face;
    while (depth) {
        uint32_t f = q->stack[--depth];
        q->visible[q->visibles++] = f;
        for (int k = 0; k < 3; k++) {
            uint32_t g = q->face[f].across[k];
            if (q->face[g].mark == q->round || !above(q, &q->face[g], p))
                continue;
            q->face[g].mark = q->round;
            q->stack[depth++] = g;
        }
    }
}

static int side_towards(const struct face *f, uint32_t from)
{
    return f->v[0] == from ? 0 : f->v[1] == from ? 1 : 2;
}

/* A face from each edge of the rim of the visible ones to the point. Returns the first one. */
static uint32_t raise_faces(struct quick *q, uint32_t p)
{
    uint32_t first = (uint32_t)q->faces;
    for (size_t i = 0; i < q->visibles; i++)
        for (int k = 0; k < 3; k++) {
            const struct face *f = &q->face[q->visible[i]];
            uint32_t g = f->across[k], a = f->v[k], b = f->v[(k + 1) % 3];
            if (q->face[g].mark == q->round)
                continue;
            uint32_t made = add_face(q, a, b, p);
            q->face[made].across[0] = g;
            q->face[g].across[side_towards(&q->face[g], b)] = made;
            q->begins[a] = made;
        }
    for (uint32_t f = first; f < q->faces; f++) {
        uint32_t after = q->begins[q->face[f].v[1]];
        q->face[f].across[1] = after;
        q->face[after].across[2] = f;
    }
    return first;
}

static void replace_visible(struct quick *q, uint32_t p)
{
    uint32_t first = raise_faces(q, p), end = (uint32_t)q->faces;
    for (size_t i = 0; i < q->visibles; i++) {
        struct face *f = &q->face[q->visible[i]];
        uint32_t waiting = f->waiting;
        f->waiting = NO_INDEX;
        f->mark = GONE;
        q->gone++;
        for (uint32_t w = waiting, after; w != NO_INDEX; w = after) {
            after = q->next[w];
            if (w != p)
                place(q, w, first, end);
        }
    }
}

static enum status grow(struct quick *q)
{
    while (q->opens > 0) {
        if (job_cancelled(q->job)) /* the first rounds deal out all points */
            return job_fail_cancelled(q->job);
        uint32_t f = q->open[--q->opens];
        if (q->face[f].mark == GONE || q->face[f].waiting == NO_INDEX)
            continue;
        uint32_t p = q->face[f].farthest;
        find_visible(q, f, p);
        /* The rim has two edges more than there are visible faces, at most. */
        if (!reserve(q, q->faces + q->visibles + 2))
            return job_fail_memory(q->job, 2 * q->faces * sizeof *q->face);
        replace_visible(q, p);
        if (q->gone > q->faces / 2) {
            compact(q);
            if (job_cancelled(q->job))
                return job_fail_cancelled(q->job);
        }
    }
    return job_cancelled(q->job) ? job_fail_cancelled(q->job) : STATUS_OK;
}

/* --- all of it ----------------------------------------------------------------------------- */

static enum status take(const struct quick *q, struct hull *out)
{
    uint32_t *number = scratch_new(q->faces, sizeof *number);
    size_t count = 0;
    for (size_t f = 0; f < q->faces && number; f++)
        if (q->face[f].mark != GONE)
            number[f] = (uint32_t)count++;
    out->triangle = scratch_new(count, sizeof *out->triangle);
    out->across = scratch_new(count, sizeof *out->across);
    bool ok = number && out->triangle && out->across;
    for (size_t f = 0; f < q->faces && ok; f++) {
        if (q->face[f].mark == GONE)
            continue;
        for (int k = 0; k < 3; k++) {
            out->triangle[out->triangles].v[k] = q->face[f].v[k];
            out->across[out->triangles][k] = number[q->face[f].across[k]];
        }
        out->triangles++;
    }
    scratch_free(number);
    return ok ? STATUS_OK : job_fail_memory(q->job, count * 24);
}

static double longest_side(const struct vec *point, size_t count)
{
    struct vec low = point[0], high = point[0];
    for (size_t i = 1; i < count; i++) {
        low = vec(fmin(low.x, point[i].x), fmin(low.y, point[i].y), fmin(low.z, point[i].z));
        high = vec(fmax(high.x, point[i].x), fmax(high.y, point[i].y), fmax(high.z, point[i].z));
    }
    return fmax(high.x - low.x, fmax(high.y - low.y, high.z - low.z));
}

static enum status quickhull(struct quick *q, struct hull *out)
{
    uint32_t corner[4] = {0};
    for (out->dimension = 0; out->dimension < 3; out->dimension++)
        if (!next_corner(q, corner, out->dimension + 1))
            return STATUS_OK;
    q->reach = longest_side(q->point, q->count);
    q->next = scratch_new(q->count, sizeof *q->next);
    q->begins = scratch_new(q->count, sizeof *q->begins);
    if (!q->next || !q->begins || !reserve(q, 4))
        return job_fail_memory(q->job, q->count * 8);
    first_faces(q, corner);
    enum status status = grow(q);
    return status == STATUS_OK ? take(q, out) : status;
}

enum status hull_make(const struct vec *point, size_t count, struct hull *out, struct job *job)
{
    *out = (struct hull){.dimension = -1};
    if (count == 0)
        return STATUS_OK;
    struct quick q = {.point = point, .count = count, .job = job};
    enum status status = quickhull(&q, out);
    scratch_free(q.next);
    scratch_free(q.begins);
    scratch_free(q.face);
    scratch_free(q.stack);
    scratch_free(q.visible);
    scratch_free(q.open);
    if (status != STATUS_OK)
        hull_release(out);
    return status;
}

void hull_release(struct hull *hull)
{
    scratch_free(hull->triangle);
    scratch_free(hull->across);
    *hull = (struct hull){.dimension = -1};
}
