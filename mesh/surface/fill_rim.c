#include "surface/fill_rim.h"

#include <stdlib.h>
#include <string.h>

#include "core/blocks.h"
#include "core/job.h"
#include "surface/fill_patch.h"

enum {
    BLOCK = 16384,  /* triangles between two looks at cancel */
    ROUNDS_MOST = 8 /* of finding islands; each that changes rims asks for another */
};

struct end {                      /* one end of a chain of boundary edges that closes no loop */
    uint32_t vertex, chain, last; /* last: 1 its end, 0 its beginning */
};

struct link { /* a chain as passed on the way round: backward when against its half-edges */
    uint32_t chain;
    bool backward;
};

struct reading {
    const struct mesh *mesh;
    const struct loops *loops;
    struct rims *rims;
    struct end *end; /* of chains, ascending by vertex */
    bool *passed;    /* one a chain */
    struct link *way;
    size_t ways;
    uint32_t *island_in; /* one a rim */
};

static struct vec position(const struct mesh *mesh, uint32_t v)
{
    return point_vec(mesh_point(mesh)[v]);
}

static uint32_t from(const struct reading *r, uint32_t h)
{
    return half_from(mesh_triangle(r->mesh), h);
}

static uint32_t to(const struct reading *r, uint32_t h)
{
    return half_to(mesh_triangle(r->mesh), h);
}

/* --- rims --------------------------------------------------------------------------------- */

/* Turns the last rim round: it was read along the half-edges. */
static void turn_round(struct rims *rims, uint32_t first, uint32_t end)
{
    for (uint32_t i = first + 1, j = end - 1; i < j; i++, j--) {
        uint32_t swap = rims->vertex[i];
        rims->vertex[i] = rims->vertex[j];
        rims->vertex[j] = swap;
    }
    for (uint32_t i = first, j = end - 1; i < j; i++, j--) {
        uint32_t swap = rims->half[i];
        rims->half[i] = rims->half[j];
        rims->half[j] = swap;
    }
}

static void end_rim(struct reading *r, double length, bool against)
{
    struct rims *rims = r->rims;
    uint32_t first = rims->start[rims->count], end = rims->start[rims->count + 1];
    rims->length[rims->count++] = length;
    rims->start[rims->count + 1] = end;
    if (against)
        turn_round(rims, first, end);
}

/* Appends to the rim being read. */
static void add_edge(struct rims *rims, uint32_t vertex, uint32_t half)
{
    uint32_t i = rims->start[rims->count + 1]++;
    rims->vertex[i] = vertex;
    rims->half[i] = half;
}

static void read_loop(struct reading *r, size_t i)
{
    for (uint32_t h = r->loops->start[i]; h < r->loops->start[i + 1]; h++)
        add_edge(r->rims, from(r, r->loops->half[h]), r->loops->half[h]);
    end_rim(r, r->loops->length[i], true);
}

static int end_order(const void *a, const void *b)
{
    const struct end *x = a, *y = b;
    if (x->vertex != y->vertex)
        return x->vertex < y->vertex ? -1 : 1;
    return x->chain != y->chain ? (x->chain < y->chain ? -1 : 1) : (int)x->last - (int)y->last;
}

static uint32_t chain_end(const struct reading *r, uint32_t chain, bool last)
{
    const uint32_t *start = r->loops->start + r->loops->count + chain;
    return last ? to(r, r->loops->half[start[1] - 1]) : from(r, r->loops->half[start[0]]);
}

/* The other chain that ends where this one does; false unless there is just one. */
static bool other_end(const struct reading *r, struct end at, struct end *other)
{
    size_t low = 0, high = 2 * r->loops->chains;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (r->end[middle].vertex < at.vertex)
            low = middle + 1;
        else
            high = middle;
    }
    size_t count = low;
    while (count < 2 * r->loops->chains && r->end[count].vertex == at.vertex)
        count++;
    if (count - low != 2)
        return false;
    *other = end_order(r->end + low, &at) == 0 ? r->end[low + 1] : r->end[low];
    return true;
}

/* Follows chains end to end from the given one; whether they come back to it. */
static bool go_round(struct reading *r, uint32_t chain)
{
    struct end at = {chain_end(r, chain, true), chain, 1};
    r->ways = 0;
    r->way[r->ways++] = (struct link){chain, false};
    for (struct end next; other_end(r, at, &next);) {
        if (next.chain == chain)
            return next.last == 0;
        if (r->passed[next.chain])
            return false;
        r->passed[next.chain] = true;
        r->way[r->ways++] = (struct link){next.chain, next.last == 1};
        at = (struct end){chain_end(r, next.chain, !next.last), next.chain, !next.last};
    }
    return false;
}

/* Makes one rim of the chains passed. It runs the way most of its length wants. */
static void read_chains(struct reading *r)
{
    double length = 0, ahead = 0;
    for (size_t i = 0; i < r->ways; i++) {
        size_t chain = r->loops->count + r->way[i].chain;
        uint32_t first = r->loops->start[chain], end = r->loops->start[chain + 1];
        bool backward = r->way[i].backward;
        for (uint32_t k = 0; k < end - first; k++) {
            uint32_t h = r->loops->half[backward ? end - 1 - k : first + k];
            add_edge(r->rims, backward ? to(r, h) : from(r, h), h);
        }
        length += r->loops->length[chain];
        ahead += backward ? 0 : r->loops->length[chain];
    }
    end_rim(r, length, 2 * ahead >= length);
}

static void count_left(const struct reading *r, struct fill_report *report, enum fill_left reason,
                       uint32_t vertex, double length)
{
    if (report->left[reason]++ != 0 && !(length > report->left_longest[reason]))
        return;
    report->left_longest[reason] = length;
    report->left_at[reason] = mesh_world(r->mesh, position(r->mesh, vertex));
}

static bool join_chains(struct reading *r, struct fill_report *report)
{
    size_t chains = r->loops->chains;
    r->end = malloc((2 * chains + 1) * sizeof *r->end);
    r->passed = calloc(chains + 1, sizeof *r->passed);
    r->way = malloc((chains + 1) * sizeof *r->way);
    bool ok = r->end && r->passed && r->way;
    for (uint32_t i = 0; i < 2 * chains && ok; i++)
        r->end[i] = (struct end){chain_end(r, i / 2, i % 2), i / 2, i % 2};
    if (ok)
        qsort(r->end, 2 * chains, sizeof *r->end, end_order);
    for (uint32_t i = 0; i < chains && ok; i++) {
        if (r->passed[i])
            continue;
        r->passed[i] = true;
        if (go_round(r, i))
            read_chains(r);
        else
            count_left(r, report, FILL_LEFT_UNENDED, chain_end(r, i, false),
                       r->loops->length[r->loops->count + i]);
    }
    return ok;
}

static bool read_rims(struct reading *r, struct fill_report *report)
{
    struct rims *rims = r->rims;
    size_t most = r->loops->count + r->loops->chains, entries = r->loops->start[most];
    rims->start = calloc(most + 2, sizeof *rims->start);
    rims->length = malloc((most + 1) * sizeof *rims->length);
    rims->vertex = malloc((entries + 1) * sizeof *rims->vertex);
    rims->half = malloc((entries + 1) * sizeof *rims->half);
    if (!rims->start || !rims->length || !rims->vertex || !rims->half)
        return false;
    for (size_t i = 0; i < r->loops->count; i++)
        read_loop(r, i);
    return r->loops->chains == 0 || join_chains(r, report);
}

/* --- holes -------------------------------------------------------------------------------- */

/* A triangle that has all three corners on the rim of three edges: filling would lie on it. */
static bool doubles(const struct reading *r, size_t rim)
{
    const struct rims *rims = r->rims;
    uint32_t first = rims->start[rim];
    if (rims->start[rim + 1] - first < 3) /* two triangles on the same two vertices */
        return true;
    if (rims->start[rim + 1] - first > 3)
        return false;
    const uint32_t *v = rims->vertex + first;
    for (uint32_t i = 0; i < 3; i++) {
        const uint32_t *corner = mesh_triangle(r->mesh)[rims->half[first + i] / 3].v;
        int met = 0;
        for (int k = 0; k < 3; k++)
            met += corner[k] == v[0] || corner[k] == v[1] || corner[k] == v[2];
        if (met == 3)
            return true;
    }
    return false;
}

static bool asked_for(const struct rims *rims, size_t rim, const uint8_t *where)
{
    for (uint32_t i = rims->start[rim]; where && i < rims->start[rim + 1]; i++)
        if (!where[rims->vertex[i]])
            return false;
    return true;
}

static bool wanted(struct reading *r, size_t rim, const struct fill_options *options,
                   struct fill_report *report)
{
    double length = r->rims->length[rim];
    enum fill_left reason = FILL_LEFT_REASONS;
    if (!asked_for(r->rims, rim, options->where))
        return false;
    if (options->longest > 0 && length > options->longest)
        reason = FILL_LEFT_LONGER;
    else if (doubles(r, rim))
        reason = FILL_LEFT_DOUBLE;
    if (reason != FILL_LEFT_REASONS)
        count_left(r, report, reason, r->rims->vertex[r->rims->start[rim]], length);
    return reason == FILL_LEFT_REASONS;
}

/* An island goes with the hole it lies in, and stays open when that does. */
static bool choose_holes(struct reading *r, const struct fill_options *options,
                         struct fill_report *report)
{
    struct rims *rims = r->rims;
    uint32_t *hole = malloc((rims->count + 1) * sizeof *hole);
    rims->hole_start = calloc(rims->count + 2, sizeof *rims->hole_start);
    rims->member = malloc((rims->count + 1) * sizeof *rims->member);
    bool ok = hole && rims->hole_start && rims->member;
    for (size_t i = 0; i < rims->count && ok; i++) {
        hole[i] = NO_INDEX;
        if (r->island_in[i] == NO_INDEX && wanted(r, i, options, report))
            hole[i] = (uint32_t)rims->holes++;
    }
    for (size_t i = 0; i < rims->count && ok; i++) {
        uint32_t of = hole[r->island_in[i] == NO_INDEX ? i : r->island_in[i]];
        if (of != NO_INDEX)
            rims->hole_start[of + 2]++;
        report->islands += of != NO_INDEX && r->island_in[i] != NO_INDEX;
    }
    for (size_t i = 2; i <= rims->holes && ok; i++)
        rims->hole_start[i] += rims->hole_start[i - 1];
    for (int pass = 0; pass < 2 && ok; pass++) /* outer rims first */
        for (size_t i = 0; i < rims->count; i++) {
            bool island = r->island_in[i] != NO_INDEX;
            uint32_t of = hole[island ? r->island_in[i] : i];
            if (of != NO_INDEX && island == (pass == 1))
                rims->member[rims->hole_start[of + 1]++] = (uint32_t)i;
        }
    free(hole);
    return ok;
}

/* --- edges that are there ----------------------------------------------------------------- */

struct found { /* triangles of a block that have an edge between two marked vertices, at least */
    uint32_t *triangle;
    size_t count, room;
};

static bool find_in(const struct triangle *triangle, size_t begin, size_t end,
                    const uint64_t *on_rim, struct found *found)
{
    for (size_t t = begin; t < end; t++) {
        unsigned on = 0;
        for (int k = 0; k < 3; k++)
            on += on_rim[triangle[t].v[k] / 64] >> triangle[t].v[k] % 64 & 1;
        if (on < 2)
            continue;
        if (!list_grow(&found->triangle, &found->room, found->count + 1, sizeof *found->triangle))
            return false;
        found->triangle[found->count++] = (uint32_t)t;
    }
    return true;
}

static bool take_found(struct reading *r, const struct found *found, const uint64_t *on_rim)
{
    for (size_t i = 0; i < found->count; i++) {
        const uint32_t *v = mesh_triangle(r->mesh)[found->triangle[i]].v;
        for (int k = 0; k < 3; k++) {
            uint32_t a = v[k], b = v[(k + 1) % 3];
            if (a != b && on_rim[a / 64] >> a % 64 & on_rim[b / 64] >> b % 64 & 1 &&
                !pairs_add(&r->rims->taken, a, b))
                return false;
        }
    }
    return true;
}

static bool take_edges(struct reading *r, const uint64_t *on_rim, struct job *job)
{
    size_t triangles = mesh_triangles(r->mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
    struct found *found = calloc(blocks + 1, sizeof *found);
    atomic_bool ok = found != NULL;
    if (!ok)
        blocks = 0;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = block_end(b, BLOCK, triangles);
        if (job_cancelled(job) ||
            !find_in(mesh_triangle(r->mesh), b * BLOCK, end, on_rim, found + b))
            ok = false;
    }
    for (size_t b = 0; b < blocks; b++) {
        ok = ok && take_found(r, found + b, on_rim);
        free(found[b].triangle);
    }
    free(found);
    return ok;
}

static int share_order(const void *a, const void *b)
{
    const struct rim_vertex *x = a, *y = b;
    if (x->vertex != y->vertex)
        return x->vertex < y->vertex ? -1 : 1;
    return x->hole < y->hole ? -1 : x->hole > y->hole;
}

/* Marks the vertices of the holes' rims; lists those that lie on several holes. */
static bool mark_vertices(struct reading *r, uint64_t *on_rim)
{
    struct rims *rims = r->rims;
    size_t room = 0;
    for (uint32_t i = 0; i < rims->hole_start[rims->holes]; i++)
        room += rims->start[rims->member[i] + 1] - rims->start[rims->member[i]];
    rims->shared = malloc((room + 1) * sizeof *rims->shared);
    if (!rims->shared)
        return false;
    for (uint32_t hole = 0; hole < rims->holes; hole++)
        for (uint32_t m = rims->hole_start[hole]; m < rims->hole_start[hole + 1]; m++) {
            uint32_t rim = rims->member[m];
            for (uint32_t i = rims->start[rim]; i < rims->start[rim + 1]; i++) {
                uint32_t v = rims->vertex[i];
                rims->shared[rims->shares++] = (struct rim_vertex){v, hole};
                on_rim[v / 64] |= UINT64_C(1) << v % 64;
            }
        }
    qsort(rims->shared, rims->shares, sizeof *rims->shared, share_order);
    size_t kept = 0, end;
    for (size_t i = 0; i < rims->shares; i = end) {
        for (end = i + 1; end < rims->shares && rims->shared[end].vertex == rims->shared[i].vertex;)
            end++;
        for (size_t k = i; k < end && rims->shared[i].hole != rims->shared[end - 1].hole; k++)
            rims->shared[kept++] = rims->shared[k];
    }
    rims->shares = kept;
    return true;
}

static size_t first_share(const struct rims *rims, uint32_t vertex)
{
    size_t low = 0, high = rims->shares;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (rims->shared[middle].vertex < vertex)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

bool rims_may_join(const struct rims *rims, uint32_t hole, uint32_t a, uint32_t b)
{
    if (pairs_have(&rims->taken, a, b))
        return false;
    if (rims->shares == 0)
        return true;
    /* Of the holes that have both vertices only the first may join them. */
    size_t i = first_share(rims, a), j = first_share(rims, b);
    while (i < rims->shares && j < rims->shares && rims->shared[i].vertex == a &&
           rims->shared[j].vertex == b) {
        uint32_t x = rims->shared[i].hole, y = rims->shared[j].hole;
        if (x == y)
            return x == hole;
        i += x < y;
        j += y < x;
    }
    return true;
}

static bool choose(struct reading *r, const struct fill_options *options,
                   struct fill_report *report, struct job *job)
{
    uint64_t *on_rim = calloc(mesh_vertices(r->mesh) / 64 + 1, sizeof *on_rim);
    bool ok = on_rim && choose_holes(r, options, report) && mark_vertices(r, on_rim) &&
              (r->rims->holes == 0 || take_edges(r, on_rim, job));
    free(on_rim);
    return ok;
}

enum status rims_read(const struct mesh *mesh, const struct topology *topology,
                      const struct fill_options *options, struct rims *out,
                      struct fill_report *report, struct job *job)
{
    (void)topology;
    *out = (struct rims){0};
    struct reading r = {.mesh = mesh, .loops = mesh_loops(mesh, job), .rims = out};
    if (!r.loops)
        return job_status(job);
    enum status status = STATUS_OK;
    bool ok = read_rims(&r, report);
    /* where islands touch a rim there may be more rims afterwards, but never more than edges */
    r.island_in = ok ? malloc((out->start[out->count] + 1) * sizeof *r.island_in) : NULL;
    ok = ok && r.island_in;
    bool again = true;
    for (int round = 0; round < ROUNDS_MOST && again && ok && status == STATUS_OK; round++) {
        status = rims_islands(mesh, out, r.island_in, job);
        if (status == STATUS_OK)
            ok = rims_touch(mesh, out, r.island_in, &again);
    }
    if (ok && status == STATUS_OK)
        ok = choose(&r, options, report, job);
    free(r.end);
    free(r.passed);
    free(r.way);
    free(r.island_in);
    if (!ok)
        status = job_cancelled(job) ? job_fail_cancelled(job)
                                    : job_fail_memory(job, mesh_vertices(mesh) / 8);
    if (status != STATUS_OK)
        rims_release(out);
    return status;
}

void rims_release(struct rims *rims)
{
    free(rims->start);
    free(rims->vertex);
    free(rims->half);
    free(rims->length);
    free(rims->hole_start);
    free(rims->member);
    free(rims->shared);
    pairs_release(&rims->taken);
    *rims = (struct rims){0};
}
