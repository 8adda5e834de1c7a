/* Boundary loops. From a boundary half-edge one goes round its end vertex inside the surface to the
 * next one, so that a loop keeps to its own sheet where several meet in a vertex. A walk that comes
 * to a vertex it has passed before gives off the loop between. */
#include <stdlib.h>
#include <string.h>

#include "core/blocks.h"
#include "core/job.h"
#include "core/topology.h"

enum {
    LOOK = 65536, /* steps between two looks at cancel */
    BLOCK = 65536 /* half-edges a thread looks through at a time */
};

struct strands { /* runs of half-edges, growing */
    uint32_t *start, *half;
    size_t count, halves, room_start, room_half;
};

struct jump { /* a boundary half-edge that the way round its end vertex does not lead on from */
    uint32_t vertex, from, to;
};

struct tracing {
    const struct mesh *mesh;
    const struct topology *topology;
    struct job *job;
    uint32_t *rim;   /* all boundary half-edges, in order */
    uint64_t *done;  /* one bit a half-edge: no boundary, or traced already */
    uint32_t *place; /* one a vertex: where on the stack it was left; NO_INDEX when not */
    uint32_t *stack; /* the walk so far */
    size_t depth;
    struct jump *jump; /* by `from` when ready */
    size_t jumps;
    struct strands closed, open;
    size_t steps;
};

static uint32_t to(const struct tracing *t, uint32_t h)
{
    return half_to(mesh_triangle(t->mesh), h);
}

static uint32_t from(const struct tracing *t, uint32_t h)
{
    return half_from(mesh_triangle(t->mesh), h);
}

/* The boundary half-edge that follows (or precedes) h round a vertex; NO_INDEX when a misoriented
 * or non-manifold edge is in the way. */
static uint32_t round_end(const struct topology *topology, uint32_t h)
{
    uint32_t n = half_next(h);
    while (topology->twin[n] != TWIN_NONE) {
        n = half_across(topology, n);
        if (n == NO_INDEX)
            return NO_INDEX;
        n = half_next(n);
    }
    return n;
}

static uint32_t round_start(const struct topology *topology, uint32_t h)
{
    uint32_t n = half_prev(h);
    while (topology->twin[n] != TWIN_NONE) {
        n = half_across(topology, n);
        if (n == NO_INDEX)
            return NO_INDEX;
        n = half_prev(n);
    }
    return n;
}

/* --- which there are -------------------------------------------------------------------------- */

/* Those of one block; counts them when `list` is NULL. */
static size_t list_block(const struct topology *topology, size_t begin, size_t end, uint32_t *list)
{
    size_t count = 0;
    for (size_t h = begin; h < end; h++) {
        if (topology->twin[h] != TWIN_NONE)
            continue;
        if (list)
            list[count] = (uint32_t)h;
        count++;
    }
    return count;
}

static enum status list_rim(struct tracing *t)
{
    size_t halves = 3 * mesh_triangles(t->mesh), blocks = (halves + BLOCK - 1) / BLOCK, sum = 0;
    size_t *before = scratch_new(blocks + 1, sizeof *before);
    t->rim = scratch_new(t->topology->boundary, sizeof *t->rim);
    if (!before || !t->rim) {
        scratch_free(before);
        return job_fail_memory(t->job, blocks * sizeof *before + t->topology->boundary * 4);
    }
    for (int pass = 0; pass < 2; pass++) {
#pragma omp parallel for num_threads(job_threads(t->job)) if (blocks > 1) schedule(static)
        for (size_t b = 0; b < blocks; b++) {
            size_t end = block_end(b, BLOCK, halves);
            if (pass == 0)
                before[b] = list_block(t->topology, b * BLOCK, end, NULL);
            else if (before[b + 1] > before[b])
                list_block(t->topology, b * BLOCK, end, t->rim + before[b]);
        }
        for (size_t b = 0; b <= blocks && pass == 0; b++) {
            size_t here = b < blocks ? before[b] : 0;
            before[b] = sum;
            sum += here;
        }
    }
    scratch_free(before);
    return STATUS_OK;
}

/* --- jumps: where the way round is blocked, ends and beginnings at one vertex are joined in order
 */

static int jump_order(const void *x, const void *y)
{
    const struct jump *a = x, *b = y;
    if (a->vertex != b->vertex)
        return a->vertex < b->vertex ? -1 : 1;
    uint32_t p = a->from == NO_INDEX ? a->to : a->from, q = b->from == NO_INDEX ? b->to : b->from;
    return p < q ? -1 : p > q;
}

static int jump_from_order(const void *x, const void *y)
{
    const struct jump *a = x, *b = y;
    return a->from < b->from ? -1 : a->from > b->from;
}

static bool jump_add(struct jump **list, size_t *count, size_t *room, struct jump jump)
{
    if (*count == *room) {
        size_t more = *room ? 2 * *room : 64;
        struct jump *grown = realloc(*list, more * sizeof *grown);
        if (!grown)
            return false;
        *list = grown;
        *room = more;
    }
    (*list)[(*count)++] = jump;
    return true;
}

/* Sorted by vertex, the i-th end there is joined with the i-th beginning; beginnings left over stay
 * with from == NO_INDEX, ends with to == NO_INDEX. */
static void match_jumps(struct jump *list, size_t count)
{
    qsort(list, count, sizeof *list, jump_order);
    for (size_t i = 0, end; i < count; i = end) {
        size_t a = i, b = i;
        for (end = i; end < count && list[end].vertex == list[i].vertex; end++)
            ;
        for (;; a++, b++) {
            while (a < end && (list[a].from == NO_INDEX || list[a].to != NO_INDEX))
                a++;
            while (b < end && (list[b].to == NO_INDEX || list[b].from != NO_INDEX))
                b++;
            if (a >= end || b >= end)
                break;
            list[a].to = list[b].to;
            list[b].vertex = NO_INDEX; /* used up */
        }
    }
}

static enum status find_jumps(struct tracing *t)
{
    size_t room = 0;
    bool ok = true;
    for (size_t i = 0; i < t->topology->boundary && ok; i++) {
        uint32_t h = t->rim[i];
        if (round_end(t->topology, h) == NO_INDEX)
            ok = jump_add(&t->jump, &t->jumps, &room, (struct jump){to(t, h), h, NO_INDEX});
        if (ok && round_start(t->topology, h) == NO_INDEX)
            ok = jump_add(&t->jump, &t->jumps, &room, (struct jump){from(t, h), NO_INDEX, h});
        if (++t->steps % LOOK == 0 && job_cancelled(t->job))
            return job_fail_cancelled(t->job);
    }
    if (!ok)
        return job_fail_memory(t->job, room * 2 * sizeof *t->jump);
    if (t->jumps) {
        match_jumps(t->jump, t->jumps);
        qsort(t->jump, t->jumps, sizeof *t->jump, jump_from_order);
    }
    return STATUS_OK;
}

static uint32_t follow(const struct tracing *t, uint32_t h)
{
    uint32_t next = round_end(t->topology, h);
    if (next != NO_INDEX || t->jumps == 0)
        return next;
    struct jump key = {.from = h};
    const struct jump *jump = bsearch(&key, t->jump, t->jumps, sizeof key, jump_from_order);
    return jump ? jump->to : NO_INDEX;
}

/* --- walking ------------------------------------------------------------------------------- */

static bool strand_add(struct strands *s, const uint32_t *half, size_t count)
{
    if (s->count + 2 > s->room_start) {
        size_t room = 2 * s->room_start + 64;
        uint32_t *start = realloc(s->start, room * sizeof *start);
        if (!start)
            return false;
        s->start = start;
        s->room_start = room;
    }
    if (s->halves + count > s->room_half) {
        size_t room = 2 * s->room_half + count;
        uint32_t *grown = realloc(s->half, room * sizeof *grown);
        if (!grown)
            return false;
        s->half = grown;
        s->room_half = room;
    }
    memcpy(s->half + s->halves, half, count * sizeof *half);
    s->start[s->count++] = (uint32_t)s->halves;
    s->halves += count;
    s->start[s->count] = (uint32_t)s->halves;
    return true;
}

/* Takes what lies on the stack from `depth` on away. */
static bool give_off(struct tracing *t, struct strands *strands, size_t depth)
{
    for (size_t i = depth; i < t->depth; i++)
        t->place[from(t, t->stack[i])] = NO_INDEX;
    bool ok = strand_add(strands, t->stack + depth, t->depth - depth);
    t->depth = depth;
    return ok;
}

static bool walk(struct tracing *t, uint32_t h)
{
    while (h != NO_INDEX && !(t->done[h / 64] >> h % 64 & 1)) {
        t->done[h / 64] |= UINT64_C(1) << h % 64;
        t->place[from(t, h)] = (uint32_t)t->depth;
        t->stack[t->depth++] = h;
        uint32_t end = t->place[to(t, h)];
        uint32_t next = follow(t, h);
        if (end != NO_INDEX && !give_off(t, &t->closed, end))
            return false;
        if (++t->steps % LOOK == 0 && job_cancelled(t->job))
            return false;
        h = next;
    }
    return t->depth == 0 || give_off(t, &t->open, 0);
}

static enum status walk_all(struct tracing *t)
{
    bool ok = true;
    for (size_t i = 0; i < t->jumps && ok; i++)
        if (t->jump[i].from == NO_INDEX && t->jump[i].vertex != NO_INDEX)
            ok = walk(t, t->jump[i].to);
    for (size_t i = 0; i < t->topology->boundary && ok; i++)
        ok = walk(t, t->rim[i]);
    if (ok)
        return STATUS_OK;
    return job_cancelled(t->job) ? job_fail_cancelled(t->job)
                                 : job_fail_memory(t->job, t->topology->boundary * 16);
}

static double loop_length(const struct mesh *mesh, const uint32_t *half, size_t count)
{
    double length = 0;
    for (size_t i = 0; i < count; i++) {
        struct vec a = point_vec(mesh_point(mesh)[half_from(mesh_triangle(mesh), half[i])]);
        struct vec b = point_vec(mesh_point(mesh)[half_to(mesh_triangle(mesh), half[i])]);
        length += vec_length(vec_sub(b, a));
    }
    return length;
}

/* Puts the chains behind the loops. */
static enum status gather(struct tracing *t, struct loops *loops)
{
    bool ok = true;
    size_t count = t->closed.count;
    for (size_t i = 0; i < t->open.count && ok; i++)
        ok = strand_add(&t->closed, t->open.half + t->open.start[i],
                        t->open.start[i + 1] - t->open.start[i]);
    loops->length = malloc((t->closed.count + 1) * sizeof *loops->length);
    if (!ok || !loops->length)
        return job_fail_memory(t->job, t->closed.halves * sizeof(uint32_t));
    for (size_t i = 0; i < t->closed.count; i++)
        loops->length[i] = loop_length(t->mesh, t->closed.half + t->closed.start[i],
                                       t->closed.start[i + 1] - t->closed.start[i]);
    loops->count = count;
    loops->chains = t->open.count;
    loops->start = t->closed.start;
    loops->half = t->closed.half;
    t->closed = (struct strands){0};
    return STATUS_OK;
}

static enum status trace(struct tracing *t, struct loops *loops)
{
    size_t vertices = mesh_vertices(t->mesh), halves = 3 * mesh_triangles(t->mesh);
    t->done = scratch_zeros(halves / 64 + 1, sizeof *t->done);
    t->place = scratch_new(vertices, sizeof *t->place);
    t->stack = scratch_new(t->topology->boundary, sizeof *t->stack);
    if (!t->done || !t->place || !t->stack)
        return job_fail_memory(t->job, halves / 8 + 4 * (vertices + t->topology->boundary));
    memset(t->place, 255, vertices * sizeof *t->place);
    enum status status = list_rim(t);
    status = status == STATUS_OK ? find_jumps(t) : status;
    status = status == STATUS_OK ? walk_all(t) : status;
    return status == STATUS_OK ? gather(t, loops) : status;
}

static void loops_free(void *data)
{
    struct loops *loops = data;
    free(loops->start);
    free(loops->half);
    free(loops->length);
    free(loops);
}

static void *loops_make(const struct mesh *mesh, struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    struct loops *loops = topology ? calloc(1, sizeof *loops) : NULL;
    if (!loops) {
        if (topology)
            job_fail_memory(job, sizeof *loops);
        return NULL;
    }
    struct tracing t = {.mesh = mesh, .topology = topology, .job = job};
    enum status status = STATUS_OK;
    if (topology->boundary > 0)
        status = trace(&t, loops);
    else if (!(loops->start = calloc(1, sizeof *loops->start)))
        status = job_fail_memory(job, sizeof *loops->start);
    scratch_free(t.rim);
    scratch_free(t.done);
    scratch_free(t.place);
    scratch_free(t.stack);
    free(t.jump);
    free(t.closed.start);
    free(t.closed.half);
    free(t.open.start);
    free(t.open.half);
    if (status == STATUS_OK)
        return loops;
    loops_free(loops);
    return NULL;
}

const struct derived_row derived_loops = {loops_make, loops_free};
