#include "examples/polygonise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Node (i, j, k, b): corner of a cell at h (i, j, k), or for b = 1 its middle, h / 2 further. */
struct grid {
    double (*distance)(struct vec p);
    struct vec min;
    double h;
    int n[3];      /* cells */
    float *value;  /* per node; NaN where nothing is near */
};

static size_t node_index(const struct grid *g, int i, int j, int k, int b)
{
    return 2 * (((size_t)k * (size_t)(g->n[1] + 1) + (size_t)j) * (size_t)(g->n[0] + 1) + (size_t)i) + (size_t)b;
}

static struct vec node_place(const struct grid *g, size_t node)
{
    size_t cell = node / 2, row = (size_t)g->n[0] + 1, layer = row * ((size_t)g->n[1] + 1);
    double half = node % 2 ? 0.5 : 0;
    struct vec at = vec((double)(cell % row) + half, (double)(cell % layer / row) + half, (double)(cell / layer) + half);
    return vec_along(g->min, g->h, at);
}

enum { BLOCK = 8 };

/* Values in the blocks that the surface may pass; elsewhere NaN. */
static void sample(struct grid *g)
{
    int blocks[3];
    for (int a = 0; a < 3; a++)
        blocks[a] = g->n[a] / BLOCK + 1;
    double reach = 2.2 * g->h * BLOCK * 0.87 + 1;
#pragma omp parallel for schedule(dynamic)
    for (int bk = 0; bk < blocks[2]; bk++)
        for (int bj = 0; bj < blocks[1]; bj++)
            for (int bi = 0; bi < blocks[0]; bi++) {
                struct vec middle = vec((bi + 0.5) * BLOCK, (bj + 0.5) * BLOCK, (bk + 0.5) * BLOCK);
                if (fabs(g->distance(vec_along(g->min, g->h, middle))) > reach)
                    continue;
                for (int k = bk * BLOCK; k < (bk + 1) * BLOCK && k <= g->n[2]; k++)
                    for (int j = bj * BLOCK; j < (bj + 1) * BLOCK && j <= g->n[1]; j++)
                        for (int i = bi * BLOCK; i < (bi + 1) * BLOCK && i <= g->n[0]; i++)
                            for (int b = 0; b < 2; b++) {
                                size_t node = node_index(g, i, j, k, b);
                                double d = g->distance(node_place(g, node));
                                g->value[node] = d == 0 ? 1e-12f : (float)d;
                            }
            }
}

/* --- growing lists and the vertex of an edge -------------------------------------------------------------- */

struct made {
    struct vec *point;
    struct triangle *triangle;
    size_t points, triangles, room_points, room_triangles;
    uint64_t *key; /* edge (two nodes, 40 bits would do for each; hashed) -> vertex */
    uint64_t *other;
    uint32_t *vertex;
    size_t slots, used;
    bool failed;
};

static void *grown(void *list, size_t *room, size_t size, bool *failed)
{
    size_t more = *room ? *room * 2 : 1 << 16;
    void *bigger = realloc(list, more * size);
    if (!bigger) {
        *failed = true;
        return list;
    }
    *room = more;
    return bigger;
}

static size_t slot_of(const struct made *m, uint64_t a, uint64_t b)
{
    size_t i = (size_t)((a * 0x9E3779B97F4A7C15ull ^ b * 0xC2B2AE3D27D4EB4Full) >> 20) & (m->slots - 1);
    while (m->vertex[i] != NO_INDEX && (m->key[i] != a || m->other[i] != b))
        i = (i + 1) & (m->slots - 1);
    return i;
}

static bool table_grow(struct made *m)
{
    struct made old = *m;
    m->slots = old.slots ? old.slots * 2 : 1 << 18;
    m->key = malloc(m->slots * sizeof *m->key);
    m->other = malloc(m->slots * sizeof *m->other);
    m->vertex = malloc(m->slots * sizeof *m->vertex);
    if (!m->key || !m->other || !m->vertex)
        return false;
    memset(m->vertex, 255, m->slots * sizeof *m->vertex);
    for (size_t i = 0; i < old.slots; i++)
        if (old.vertex[i] != NO_INDEX) {
            size_t s = slot_of(m, old.key[i], old.other[i]);
            m->key[s] = old.key[i];
            m->other[s] = old.other[i];
            m->vertex[s] = old.vertex[i];
        }
    free(old.key);
    free(old.other);
    free(old.vertex);
    return true;
}

/* Where the surface crosses the edge: false position, a few steps. */
static struct vec crossing(const struct grid *g, size_t a, size_t b)
{
    struct vec p = node_place(g, a), q = node_place(g, b);
    double dp = g->value[a], dq = g->value[b];
    struct vec x = p;
    for (int i = 0; i < 4; i++) {
        double t = fmin(fmax(dp / (dp - dq), 0.02), 0.98);
        x = vec_along(vec_scale(p, 1 - t), t, q);
        double d = g->distance(x);
        if ((d > 0) == (dp > 0)) {
            p = x;
            dp = d;
        } else {
            q = x;
            dq = d;
        }
        if (fabs(d) < 1e-4 * g->h || dp == dq)
            break;
    }
    return x;
}

static uint32_t edge_vertex(const struct grid *g, struct made *m, size_t a, size_t b)
{
    if (a > b) {
        size_t c = a;
        a = b;
        b = c;
    }
    if (2 * m->used >= m->slots && !table_grow(m)) {
        m->failed = true;
        return 0;
    }
    size_t s = slot_of(m, a, b);
    if (m->vertex[s] == NO_INDEX) {
        if (m->points == m->room_points)
            m->point = grown(m->point, &m->room_points, sizeof *m->point, &m->failed);
        if (m->failed)
            return 0;
        m->key[s] = a;
        m->other[s] = b;
        m->vertex[s] = (uint32_t)m->points;
        m->point[m->points++] = crossing(g, a, b);
        m->used++;
    }
    return m->vertex[s];
}

static void emit(const struct grid *g, struct made *m, const size_t edge[3][2], struct vec outward)
{
    uint32_t v[3];
    for (int k = 0; k < 3; k++)
        v[k] = edge_vertex(g, m, edge[k][0], edge[k][1]);
    if (m->triangles == m->room_triangles)
        m->triangle = grown(m->triangle, &m->room_triangles, sizeof *m->triangle, &m->failed);
    if (m->failed)
        return;
    /* the way round is decided on edge middles, which are never degenerate */
    struct vec p[3];
    for (int k = 0; k < 3; k++)
        p[k] = vec_add(node_place(g, edge[k][0]), node_place(g, edge[k][1]));
    bool flip = vec_dot(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])), outward) < 0;
    m->triangle[m->triangles++] = (struct triangle){{v[0], v[flip ? 2 : 1], v[flip ? 1 : 2]}};
}

static void tetrahedron(const struct grid *g, struct made *m, const size_t node[4])
{
    size_t in[4], out[4];
    int ins = 0, outs = 0;
    struct vec a = vec(0, 0, 0), b = vec(0, 0, 0);
    for (int k = 0; k < 4; k++) {
        if (isnan(g->value[node[k]]))
            return;
        if (g->value[node[k]] < 0)
            in[ins++] = node[k];
        else
            out[outs++] = node[k];
    }
    if (ins == 0 || outs == 0)
        return;
    for (int k = 0; k < ins; k++)
        a = vec_along(a, 1.0 / ins, node_place(g, in[k]));
    for (int k = 0; k < outs; k++)
        b = vec_along(b, 1.0 / outs, node_place(g, out[k]));
    struct vec outward = vec_sub(b, a);
    if (ins == 2) {
        const size_t one[3][2] = {{in[0], out[0]}, {in[1], out[0]}, {in[1], out[1]}};
        const size_t two[3][2] = {{in[0], out[0]}, {in[1], out[1]}, {in[0], out[1]}};
        emit(g, m, one, outward);
        emit(g, m, two, outward);
        return;
    }
    const size_t *many = ins == 3 ? in : out, single = ins == 1 ? in[0] : out[0];
    const size_t one[3][2] = {{single, many[0]}, {single, many[1]}, {single, many[2]}};
    emit(g, m, one, outward);
}

/* The four tetrahedra around the edge that joins the middle of cell (i, j, k) with that of the cell
 * before it along the axis. */
static void around(const struct grid *g, struct made *m, int i, int j, int k, int axis)
{
    static const int turn[5][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}, {0, 0}};
    int at[3] = {i, j, k}, before[3] = {i, j, k};
    before[axis]--;
    size_t middle = node_index(g, i, j, k, 1), other = node_index(g, before[0], before[1], before[2], 1);
    for (int s = 0; s < 4; s++) {
        size_t corner[2];
        for (int e = 0; e < 2; e++) {
            int c[3] = {at[0], at[1], at[2]};
            c[(axis + 1) % 3] += turn[s + e][0];
            c[(axis + 2) % 3] += turn[s + e][1];
            corner[e] = node_index(g, c[0], c[1], c[2], 0);
        }
        const size_t node[4] = {middle, other, corner[0], corner[1]};
        tetrahedron(g, m, node);
    }
}

/* Marching leaves slivers where the surface passes close to a node. A few rounds of moving each
 * vertex towards the middle of its neighbours and back onto the surface even them out. Vertices of
 * a boundary stay: their neighbours lie to one side. */
static void even_out(const struct grid *g, struct made *m)
{
    struct vec *sum = malloc(m->points * sizeof *sum);
    int *count = malloc(m->points * sizeof *count), *open = calloc(m->points, sizeof *open);
    for (int round = 0; round < 3 && sum && count && open; round++) {
        memset(sum, 0, m->points * sizeof *sum);
        memset(count, 0, m->points * sizeof *count);
        for (size_t t = 0; t < m->triangles; t++)
            for (int k = 0; k < 3; k++) {
                uint32_t a = m->triangle[t].v[k], b = m->triangle[t].v[(k + 1) % 3];
                sum[a] = vec_add(sum[a], m->point[b]);
                count[a]++;
                open[a] += round ? 0 : (int)(b % 65521) + 1; /* of a closed fan the heads and the */
                open[b] -= round ? 0 : (int)(a % 65521) + 1; /* tails of its edges are the same   */
            }
#pragma omp parallel for schedule(static)
        for (size_t v = 0; v < m->points; v++) {
            struct vec p = m->point[v];
            if (open[v] != 0 || count[v] < 3)
                continue;
            p = vec_along(p, 0.7, vec_sub(vec_scale(sum[v], 1.0 / count[v]), p));
            const double e = 1e-3 * g->h;
            { /* one step of Newton along the gradient */
                double d = g->distance(p);
                struct vec slope = vec(g->distance(vec(p.x + e, p.y, p.z)) - d, g->distance(vec(p.x, p.y + e, p.z)) - d,
                                       g->distance(vec(p.x, p.y, p.z + e)) - d);
                double steep = vec_length2(slope);
                if (steep > 0.01 * e * e)
                    p = vec_along(p, -d * e / steep, slope);
            }
            if (vec_length(vec_sub(p, m->point[v])) < g->h)
                m->point[v] = p;
        }
    }
    free(sum);
    free(count);
    free(open);
}

static struct mesh *finished(struct made *m)
{
    struct mesh *mesh = m->failed ? NULL : mesh_new(m->points, m->triangles);
    if (mesh) {
        for (size_t i = 0; i < m->points; i++)
            mesh_point_edit(mesh)[i] = vec_point(m->point[i]);
        memcpy(mesh_triangle_edit(mesh), m->triangle, m->triangles * sizeof *m->triangle);
    }
    free(m->point);
    free(m->triangle);
    free(m->key);
    free(m->other);
    free(m->vertex);
    return mesh;
}

struct mesh *polygonise(double (*distance)(struct vec p), struct vec min, struct vec max, double h)
{
    struct grid g = {.distance = distance, .min = min, .h = h};
    struct vec size = vec_scale(vec_sub(max, min), 1 / h);
    g.n[0] = (int)ceil(size.x);
    g.n[1] = (int)ceil(size.y);
    g.n[2] = (int)ceil(size.z);
    size_t nodes = 2 * (size_t)(g.n[0] + 1) * (size_t)(g.n[1] + 1) * (size_t)(g.n[2] + 1);
    g.value = malloc(nodes * sizeof *g.value);
    struct made made = {.failed = !g.value};
    if (g.value) {
        memset(g.value, 255, nodes * sizeof *g.value); /* all bits set is a NaN */
        sample(&g);
        for (int k = 1; k < g.n[2] && !made.failed; k++)
            for (int j = 1; j < g.n[1]; j++)
                for (int i = 1; i < g.n[0]; i++)
                    for (int axis = 0; axis < 3 && !isnan(g.value[node_index(&g, i, j, k, 1)]); axis++)
                        around(&g, &made, i, j, k, axis);
    }
    free(g.value);
    if (!made.failed)
        even_out(&g, &made);
    return finished(&made);
}
