#include "scan/fuse_handles.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/sets.h"

/* The net is cut in two: vertices of cells with all corners measured are closed, the others open.
 * Open ones that share a quad make a patch; closed ones that are linked a region. A patch is taken
 * with all links and quads that touch it; where it ends is a rim. Its genus follows from Euler's
 * number of these, V - E + F = 2 - 2 genus - rims. */
struct parts {
    const struct net *net;
    uint8_t *open, *seen;            /* seen: at a rim, already */
    uint32_t *patch, *region, *part; /* disjoint sets of vertices: open, closed, all */
    uint32_t *number;                /* of each open vertex: its patch's place in the list */
    long *euler;                     /* of each patch, twice */
    struct handles *out;
    struct rim_quad *quad; /* open and closed corners, patch by patch */
    size_t quads;
    struct job *job;
};

struct rim_quad {
    uint32_t patch, quad;
};

enum { BLOCK = 16384 };

/* Every BLOCK elements: whether to stop. */
static bool is_time(size_t i, const struct job *job)
{
    return i % BLOCK == 0 && job_cancelled(job);
}

static bool is_open(const struct net *net, uint32_t v)
{
    node_id corner[8];
    cell_corners(net->grid, net->cell[v], corner);
    for (int c = 0; c < 8; c++)
        if (corner[c] == NO_NODE || !(*node_state(net->grid, corner[c]) & NODE_DATA))
            return true;
    return false;
}

static enum status allocate(struct parts *p)
{
    size_t n = p->net->vertices;
    p->open = scratch_new(n, 1);
    p->seen = scratch_new(n, 1);
    p->patch = scratch_new(n, sizeof *p->patch);
    p->region = scratch_new(n, sizeof *p->region);
    p->part = scratch_new(n, sizeof *p->part);
    p->number = scratch_new(n, sizeof *p->number);
    if (p->open && p->seen && p->patch && p->region && p->part && p->number)
        return STATUS_OK;
    return job_fail_memory(p->job, n * 18);
}

static void join(struct parts *p)
{
    const struct net *net = p->net;
#pragma omp parallel for num_threads(job_threads(p->job)) schedule(static)
    for (uint32_t v = 0; v < (uint32_t)net->vertices; v++) {
        p->open[v] = is_open(net, v);
        p->patch[v] = p->region[v] = p->part[v] = v;
        p->seen[v] = 0;
    }
    for (uint32_t v = 0; v < net->vertices && !is_time(v, p->job); v++)
        for (int k = 0; k < LINKS; k++) {
            uint32_t w = net->link[v][k];
            if (w == NO_INDEX || w > v)
                continue;
            sets_unite(p->part, v, w);
            if (!p->open[v] && !p->open[w])
                sets_unite(p->region, v, w);
            else if (p->open[v] && p->open[w])
                sets_unite(p->patch, v, w);
        }
    for (size_t q = 0; q < net->quads && !is_time(q, p->job); q++) {
        const uint32_t *v = net->quad[q];
        for (int k = 0; k < 2; k++)
            if (p->open[v[k]] && p->open[v[k + 2]])
                sets_unite(p->patch, v[k], v[k + 2]);
    }
}

/* --- patches --------------------------------------------------------------------------------- */

static void grow_box(struct grid_box *box, const uint32_t at[3])
{
    for (int d = 0; d < 3; d++) {
        box->low[d] = at[d] < box->low[d] ? at[d] : box->low[d];
        box->high[d] = at[d] > box->high[d] ? at[d] : box->high[d];
    }
}

static enum status list_patches(struct parts *p)
{
    const struct net *net = p->net;
    for (uint32_t v = 0; v < net->vertices; v++)
        if (p->open[v] && sets_find(p->patch, v) == v)
            p->number[v] = (uint32_t)p->out->patches++;
    p->out->patch = scratch_new(p->out->patches, sizeof *p->out->patch);
    p->euler = scratch_new(p->out->patches, sizeof *p->euler);
    if (!p->out->patch || !p->euler)
        return job_fail_memory(p->job, p->out->patches * sizeof *p->out->patch);
    memset(p->euler, 0, p->out->patches * sizeof *p->euler);
    for (size_t i = 0; i < p->out->patches; i++)
        p->out->patch[i] =
            (struct open_patch){{{NO_INDEX, NO_INDEX, NO_INDEX}, {0, 0, 0}}, 0, 0, 0};
    for (uint32_t v = 0; v < net->vertices; v++) {
        uint32_t at[3];
        if (!p->open[v])
            continue;
        p->number[v] = p->number[sets_find(p->patch, v)];
        grid_indices(net->grid, net->cell[v], at);
        grow_box(&p->out->patch[p->number[v]].box, at);
        p->out->patch[p->number[v]].part = sets_find(p->part, v);
        p->out->patch[p->number[v]].vertices++;
    }
    return STATUS_OK;
}

/* Vertices and links: each link is met from both ends if both are open, and counts half then. */
static void count_vertices(struct parts *p)
{
    for (uint32_t v = 0; v < p->net->vertices && !is_time(v, p->job); v++) {
        if (!p->open[v])
            continue;
        p->euler[p->number[v]] += 2;
        for (int k = 0; k < LINKS; k++) {
            uint32_t w = p->net->link[v][k];
            if (w != NO_INDEX)
                p->euler[p->number[v]] -= p->open[w] ? 1 : 2;
        }
    }
}

/* Quads; those that have closed corners as well are listed. */
static enum status count_quads(struct parts *p)
{
    const struct net *net = p->net;
    for (int pass = 0; pass < 2; pass++) {
        p->quads = 0;
        for (size_t q = 0; q < net->quads && !is_time(q, p->job); q++) {
            int open = 0, which = 0;
            for (int k = 0; k < 4; k++)
                if (p->open[net->quad[q][k]]) {
                    open++;
                    which = k;
                }
            if (open == 0)
                continue;
            uint32_t number = p->number[net->quad[q][which]];
            if (pass == 0)
                p->euler[number] += 2;
            else if (open < 4)
                p->quad[p->quads] = (struct rim_quad){number, (uint32_t)q};
            p->quads += open < 4;
        }
        if (pass == 0)
            p->quad = scratch_new(p->quads, sizeof *p->quad);
        if (!p->quad)
            return job_fail_memory(p->job, p->quads * sizeof *p->quad);
    }
    return STATUS_OK;
}

static int by_patch(const void *x, const void *y)
{
    const struct rim_quad *a = x, *b = y;
    if (a->patch != b->patch)
        return a->patch < b->patch ? -1 : 1;
    return a->quad < b->quad ? -1 : a->quad > b->quad;
}

/* --- rims ------------------------------------------------------------------------------------ */

/* Joins the closed corners of each of a patch's quads, in patch[] (of no use for closed vertices
 * otherwise). */
static void join_rims(struct parts *p, size_t from, size_t end)
{
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = from; i < end; i++) {
            const uint32_t *v = p->net->quad[p->quad[i].quad];
            uint32_t first = NO_INDEX;
            for (int k = 0; k < 4; k++) {
                if (p->open[v[k]])
                    continue;
                if (pass == 0)
                    p->patch[v[k]] = v[k];
                else if (first == NO_INDEX)
                    first = v[k];
                else
                    sets_unite(p->patch, first, v[k]);
            }
        }
}

/* Clears what count_rims marks. */
static void unmark(struct parts *p, size_t from, size_t end)
{
    for (size_t i = from; i < end; i++)
        for (int k = 0; k < 4; k++) {
            uint32_t v = p->net->quad[p->quad[i].quad][k];
            p->seen[v] = 0;
            if (!p->open[v])
                p->number[sets_find(p->region, v)] = 0;
        }
}

/* How many rims a patch has, and how many of them lie on a region that an earlier one lies on: a
 * tube from a measured part to itself. number[] marks regions here: it is for open vertices only
 * otherwise. */
static void count_rims(struct parts *p, size_t from, size_t end, long *rims, long *again)
{
    *rims = *again = 0;
    join_rims(p, from, end);
    unmark(p, from, end);
    for (size_t i = from; i < end; i++)
        for (int k = 0; k < 4; k++) {
            uint32_t v = p->net->quad[p->quad[i].quad][k];
            if (p->open[v] || p->seen[v] || sets_find(p->patch, v) != v)
                continue;
            p->seen[v] = 1;
            ++*rims;
            uint32_t *mark = &p->number[sets_find(p->region, v)];
            *again += *mark;
            *mark = 1;
        }
}

/* Lists the edges of a patch's rims: those between two closed corners of its quads. */
static bool list_edges(struct parts *p, size_t from, size_t end)
{
    struct handles *out = p->out;
    if (out->edges + 4 * (end - from) > out->room) {
        size_t room = 2 * (out->edges + 4 * (end - from));
        struct rim_edge *grown = realloc(out->edge, room * sizeof *grown);
        if (!grown)
            return false;
        out->edge = grown;
        out->room = room;
    }
    for (size_t i = from; i < end; i++)
        for (int k = 0; k < 4; k++) {
            const uint32_t *v = p->net->quad[p->quad[i].quad];
            uint32_t a = v[k], b = v[(k + 1) & 3];
            if (p->open[a] || p->open[b])
                continue;
            out->edge[out->edges++] =
                (struct rim_edge){p->quad[i].patch, sets_find(p->region, a), sets_find(p->patch, a),
                                  p->net->at[a], p->net->at[b]};
        }
    return true;
}

static int by_rim(const void *x, const void *y)
{
    const struct rim_edge *a = x, *b = y;
    const uint32_t key[2][3] = {{a->patch, a->region, a->rim}, {b->patch, b->region, b->rim}};
    for (int k = 0; k < 3; k++)
        if (key[0][k] != key[1][k])
            return key[0][k] < key[1][k] ? -1 : 1;
    return memcmp(&a->a, &b->a, 2 * sizeof a->a);
}

static enum status count_handles(struct parts *p)
{
    qsort(p->quad, p->quads, sizeof *p->quad, by_patch);
    size_t from = 0, end = 0;
    for (uint32_t i = 0; i < p->out->patches && !job_cancelled(p->job); i++, from = end) {
        long rims, again;
        while (end < p->quads && p->quad[end].patch == i)
            end++;
        count_rims(p, from, end, &rims, &again);
        long genus = (2 - rims - p->euler[i] / 2) / 2;
        p->out->patch[i].handles = (uint32_t)((genus > 0 ? genus : 0) + again);
        if (again > 0 && !list_edges(p, from, end))
            return job_fail_memory(p->job, p->quads * sizeof *p->out->edge);
    }
    if (p->out->edges)
        qsort(p->out->edge, p->out->edges, sizeof *p->out->edge, by_rim);
    return STATUS_OK;
}

static void release(struct parts *p)
{
    void *part[] = {p->open, p->seen, p->patch, p->region, p->part, p->number, p->euler, p->quad};
    for (size_t i = 0; i < sizeof part / sizeof *part; i++)
        scratch_free(part[i]);
}

enum status handles_find(const struct net *net, struct handles *out, struct job *job)
{
    struct parts p = {.net = net, .out = out, .job = job};
    *out = (struct handles){0};
    enum status status = allocate(&p);
    if (status == STATUS_OK) {
        join(&p);
        status = job_cancelled(job) ? job_fail_cancelled(job) : list_patches(&p);
    }
    if (status == STATUS_OK) {
        count_vertices(&p);
        status = count_quads(&p);
    }
    if (status == STATUS_OK)
        status = count_handles(&p);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    release(&p);
    if (status != STATUS_OK)
        handles_release(out);
    return status;
}

void handles_release(struct handles *handles)
{
    scratch_free(handles->patch);
    free(handles->edge);
    *handles = (struct handles){0};
}
