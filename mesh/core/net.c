#include "core/net.h"

#include <string.h>

#include "core/job.h"

enum { BLOCK = 2048, ALL = 255 };

/* --- cells and their vertices ---------------------------------------------------------------- */

static unsigned inside_bits(const struct grid *grid, const node_id corner[8])
{
    unsigned bits = 0;
    for (int c = 0; c < 8; c++)
        if (corner[c] != NO_NODE && *node_state(grid, corner[c]) & NODE_INSIDE)
            bits |= 1u << c;
    return bits;
}

static bool has_vertex(const struct grid *grid, node_id cell)
{
    node_id corner[8];
    if (!(*node_state(grid, cell) & CELL_ACTIVE))
        return false;
    cell_corners(grid, cell, corner);
    unsigned inside = inside_bits(grid, corner);
    return inside != 0 && inside != ALL;
}

uint32_t net_vertex(const struct net *net, node_id cell)
{
    if (cell == NO_NODE)
        return NO_INDEX;
    const struct net_block *block = &net->block[cell >> 9];
    size_t place = cell & 511, word = place / 64;
    if (!(block->bits[word] >> place % 64 & 1))
        return NO_INDEX;
    uint32_t before = block->base;
    for (size_t w = 0; w < word; w++)
        before += (uint32_t)__builtin_popcountll(block->bits[w]);
    uint64_t below = ((uint64_t)1 << place % 64) - 1;
    return before + (uint32_t)__builtin_popcountll(block->bits[word] & below);
}

static void mark_vertices(struct net *net, size_t b)
{
    memset(net->block[b].bits, 0, sizeof net->block[b].bits);
    for (size_t place = 0; place < BLOCK_CELLS; place++)
        if (has_vertex(net->grid, (node_id)b << 9 | place))
            net->block[b].bits[place / 64] |= (uint64_t)1 << place % 64;
}

/* --- quads ----------------------------------------------------------------------------------- */

/* The quad about the edge from a node along an axis, the cells in turn seen from the edge's end;
 * false when the surface does not cross it, or is not wanted there. */
static bool quad_of(const struct net *net, node_id node, int axis, uint32_t quad[4])
{
    static const int round[4][2] = {{1, 1}, {0, 1}, {0, 0}, {1, 0}};
    int step[3] = {axis == 0, axis == 1, axis == 2};
    const struct grid *grid = net->grid;
    node_id other = grid_beside(grid, node, step[0], step[1], step[2]);
    if (other == NO_NODE)
        return false;
    bool in = *node_state(grid, node) & NODE_INSIDE, out = *node_state(grid, other) & NODE_INSIDE;
    if (in == out)
        return false;
    for (int k = 0; k < 4; k++) {
        int at[3] = {0, 0, 0};
        at[(axis + 1) % 3] = -round[k][0];
        at[(axis + 2) % 3] = -round[k][1];
        uint32_t v = net_vertex(net, grid_beside(grid, node, at[0], at[1], at[2]));
        if (v == NO_INDEX)
            return false;
        quad[in ? k : 3 - k] = v;
    }
    return true;
}

/* The quads about the edges that begin in a block; written from `out` on unless it is NULL. */
static uint32_t quads_of(const struct net *net, size_t b, uint32_t (*out)[4])
{
    uint32_t count = 0, quad[4];
    for (size_t place = 0; place < BLOCK_CELLS; place++)
        for (int axis = 0; axis < 3; axis++)
            if (quad_of(net, (node_id)b << 9 | place, axis, quad)) {
                if (out)
                    memcpy(out[count], quad, sizeof quad);
                count++;
            }
    return count;
}

/* --- places ---------------------------------------------------------------------------------- */

struct vec net_middle(const struct net *net, size_t v)
{
    double half = (double)net->grid->frame.step / 2;
    return vec_add(grid_place(net->grid, net->cell[v]), vec(half, half, half));
}

/* The mean of where the surface crosses the cell's edges. */
static struct vec crossing_mean(const struct grid *grid, node_id cell)
{
    node_id corner[8];
    cell_corners(grid, cell, corner);
    unsigned inside = inside_bits(grid, corner);
    double sum[3] = {0}, count = 0, step = (double)grid->frame.step;
    for (int c = 0; c < 8; c++)
        for (int d = 0; d < 3; d++) {
            int e = c | 1 << d;
            if (e == c || (inside >> c & 1) == (inside >> e & 1))
                continue;
            double a = fabs((double)*node_value(grid, corner[c]));
            double b = fabs((double)*node_value(grid, corner[e]));
            for (int k = 0; k < 3; k++)
                sum[k] += corner_step(c, k);
            sum[d] += a + b > 0 ? a / (a + b) : 0.5;
            count++;
        }
    struct vec at = grid_place(grid, cell);
    return vec_along(at, step / count, vec(sum[0], sum[1], sum[2]));
}

static void place_vertices(struct net *net, size_t b)
{
    uint32_t v = net->block[b].base;
    for (size_t place = 0; place < BLOCK_CELLS; place++) {
        if (!(net->block[b].bits[place / 64] >> place % 64 & 1))
            continue;
        node_id cell = (node_id)b << 9 | place, corner[8];
        cell_corners(net->grid, cell, corner);
        net->cell[v] = cell;
        net->at[v] = vec_point(crossing_mean(net->grid, cell));
        unsigned inside = inside_bits(net->grid, corner);
        static const uint8_t face[LINKS] = {0x55, 0xAA, 0x33, 0xCC, 0x0F, 0xF0};
        for (int f = 0; f < LINKS; f++) {
            int s = f & 1 ? 1 : -1, d = f / 2;
            unsigned on = inside & face[f];
            node_id other = on && on != face[f] ? grid_beside(net->grid, cell, d == 0 ? s : 0,
                                                              d == 1 ? s : 0, d == 2 ? s : 0)
                                                : NO_NODE;
            net->link[v][f] = net_vertex(net, other);
        }
        v++;
    }
}

/* --- making ---------------------------------------------------------------------------------- */

static enum status count_all(struct net *net, struct job *job)
{
    size_t blocks = net->grid->count;
    net->block = scratch_new(blocks + 1, sizeof *net->block);
    if (!net->block)
        return job_fail_memory(job, (blocks + 1) * sizeof *net->block);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 8)
    for (size_t b = 0; b < blocks; b++)
        if (!job_cancelled(job))
            mark_vertices(net, b);
    for (size_t b = 0; b < blocks && !job_cancelled(job); b++) {
        net->block[b].base = (uint32_t)net->vertices;
        for (int w = 0; w < BLOCK_CELLS / 64; w++)
            net->vertices += (size_t)__builtin_popcountll(net->block[b].bits[w]);
    }
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 8)
    for (size_t b = 0; b < blocks; b++)
        if (!job_cancelled(job))
            net->block[b].quads = quads_of(net, b, NULL);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    for (size_t b = 0; b < blocks; b++) {
        size_t count = net->block[b].quads;
        net->block[b].quads = (uint32_t)net->quads;
        net->quads += count;
    }
    net->block[blocks].base = (uint32_t)net->vertices;
    net->block[blocks].quads = (uint32_t)net->quads;
    if (net->vertices > MESH_MOST || 2 * net->quads > MESH_MOST)
        return job_fail(job, STATUS_REFUSED,
                        "the new surface would have more than %d triangles; choose a larger "
                        "spacing=",
                        (int)MESH_MOST);
    return STATUS_OK;
}

static enum status allocate(struct net *net, bool colour, struct job *job)
{
    size_t n = net->vertices;
    net->cell = scratch_new(n, sizeof *net->cell);
    net->at = scratch_new(n, sizeof *net->at);
    net->normal = scratch_new(n, sizeof *net->normal);
    net->trust = scratch_new(n, sizeof *net->trust);
    net->sharp = scratch_new(n, sizeof *net->sharp);
    net->link = scratch_new(n, sizeof *net->link);
    net->quad = scratch_new(net->quads, sizeof *net->quad);
    net->colour = colour ? scratch_new(n, sizeof *net->colour) : NULL;
    bool ok =
        net->cell && net->at && net->normal && net->trust && net->sharp && net->link && net->quad;
    if (ok && (net->colour || !colour))
        return STATUS_OK;
    return job_fail_memory(job, n * 62 + net->quads * sizeof *net->quad);
}

enum status net_make(const struct grid *grid, bool coloured, struct net *out, struct job *job)
{
    *out = (struct net){.grid = grid};
    enum status status = count_all(out, job);
    if (status == STATUS_OK)
        status = allocate(out, coloured, job);
    if (status == STATUS_OK) {
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 8)
        for (size_t b = 0; b < grid->count; b++)
            if (!job_cancelled(job)) {
                place_vertices(out, b);
                quads_of(out, b, out->quad + out->block[b].quads);
            }
        status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    }
    if (status != STATUS_OK)
        net_release(out);
    return status;
}

void net_release(struct net *net)
{
    scratch_free(net->block);
    scratch_free(net->cell);
    scratch_free(net->at);
    scratch_free(net->normal);
    scratch_free(net->colour);
    scratch_free(net->trust);
    scratch_free(net->sharp);
    scratch_free(net->link);
    scratch_free(net->quad);
    *net = (struct net){0};
}

/* --- relaxing -------------------------------------------------------------------------------- */

static struct point relaxed(const struct net *net, size_t v)
{
    struct vec sum = vec(0, 0, 0);
    double count = 0;
    for (int f = 0; f < LINKS; f++)
        if (net->link[v][f] != NO_INDEX) {
            sum = vec_add(sum, point_vec(net->at[net->link[v][f]]));
            count++;
        }
    struct vec at = point_vec(net->at[v]);
    if (count < 3)
        return net->at[v];
    return vec_point(vec_add(vec_scale(at, 0.5), vec_scale(sum, 0.5 / count)));
}

enum status net_relax(struct net *net, int passes, const uint8_t *still, struct job *job)
{
    struct point *next = scratch_new(net->vertices, sizeof *next);
    if (!next)
        return job_fail_memory(job, net->vertices * sizeof *next);
    for (int pass = 0; pass < passes; pass++) {
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
        for (size_t from = 0; from < net->vertices; from += BLOCK)
            for (size_t v = from; v < net->vertices && v < from + BLOCK; v++)
                next[v] = still && still[v] ? net->at[v] : relaxed(net, v);
        if (job_cancelled(job))
            break;
        struct point *swap = net->at;
        net->at = next;
        next = swap;
    }
    scratch_free(next);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- triangles ------------------------------------------------------------------------------- */

static double length2(const struct net *net, uint32_t a, uint32_t b)
{
    return vec_length2(vec_sub(point_vec(net->at[a]), point_vec(net->at[b])));
}

/* 1: the quad is cut from its second corner to its fourth: along a sharp edge, else the shorter. */
static int second_diagonal(const struct net *net, const uint32_t v[4])
{
    bool first = net->sharp[v[0]] && net->sharp[v[2]],
         second = net->sharp[v[1]] && net->sharp[v[3]];
    if (first != second)
        return second;
    return length2(net, v[0], v[2]) > length2(net, v[1], v[3]);
}

void net_places(const struct net *net, struct mesh *mesh)
{
    const double *from = net->grid->frame.origin;
    struct point *to = mesh_point_edit(mesh);
    struct vec shift =
        vec(from[0] - mesh->origin[0], from[1] - mesh->origin[1], from[2] - mesh->origin[2]);
    for (size_t v = 0; v < net->vertices; v++)
        to[v] = vec_point(vec_add(shift, point_vec(net->at[v])));
}

struct mesh *mesh_of_net(const struct net *net, const double origin[3], struct job *job)
{
    struct mesh *mesh = mesh_new(net->vertices, 2 * net->quads);
    if (!mesh) {
        job_fail_memory(job, net->vertices * 12 + net->quads * 24);
        return NULL;
    }
    memcpy(mesh->origin, origin, sizeof mesh->origin);
    net_places(net, mesh);
    mesh->joined = true;
#pragma omp parallel for num_threads(job_threads(job)) schedule(static)
    for (size_t q = 0; q < net->quads; q++) {
        const uint32_t *v = net->quad[q];
        int s = second_diagonal(net, v);
        for (int k = 0; k < 2; k++)
            mesh_triangle_edit(mesh)[2 * q + (size_t)k] =
                (struct triangle){{v[s], v[(s + 1 + k) & 3], v[(s + 2 + k) & 3]}};
    }
    return mesh;
}
