/* A hashed grid of cells a few gaps wide holds the vertices that stay. They lie farther apart than
 * the gap, so no cell holds many, whatever the mesh. */
#include "surface/weld_near.h"

#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/weld.h"

enum { LOOK = 4096, GAPS_A_CELL = 4 };
static const double least_gap = 1e-44; /* mm: below any difference between positions */

struct grid {
    const struct point *point;
    double gap, cell;
    uint32_t *head, *next; /* chains of vertices, by the hash of their cell */
    size_t heads;
};

static bool grid_make(struct grid *grid, const struct mesh *mesh, double gap)
{
    size_t vertices = mesh_vertices(mesh);
    *grid = (struct grid){.point = mesh_point(mesh), .gap = gap, .heads = 1024};
    grid->cell = GAPS_A_CELL * gap;
    while (grid->heads < vertices)
        grid->heads *= 2;
    grid->head = scratch_new(grid->heads, sizeof *grid->head);
    grid->next = scratch_new(vertices, sizeof *grid->next);
    if (!grid->head || !grid->next)
        return false;
    memset(grid->head, 255, grid->heads * sizeof *grid->head);
    return true;
}

static void grid_release(struct grid *grid)
{
    scratch_free(grid->head);
    scratch_free(grid->next);
}

/* A whole number, as a double: an integer could not hold what a small gap far off makes. Where a
 * cell is less than the double tells, x - gap and x + gap are in the same one. */
static double cell_of(const struct grid *grid, double x)
{
    return floor(x / grid->cell) + 0.0; /* -0 becomes 0 */
}

static uint32_t *chain(const struct grid *grid, double x, double y, double z)
{
    const double cell[3] = {x, y, z};
    uint64_t bits[3];
    memcpy(bits, cell, sizeof bits);
    uint64_t hash = bits[0] * 0x9E3779B97F4A7C15u ^ bits[1] * 0xC2B2AE3D27D4EB4Fu ^
                    bits[2] * 0x165667B19E3779F9u;
    hash = (hash ^ hash >> 31) * 0xBF58476D1CE4E5B9u;
    return &grid->head[(hash >> 20) & (grid->heads - 1)];
}

static void grid_add(struct grid *grid, uint32_t v)
{
    struct point p = grid->point[v];
    uint32_t *head = chain(grid, cell_of(grid, p.x), cell_of(grid, p.y), cell_of(grid, p.z));
    grid->next[v] = *head;
    *head = v;
}

struct match {
    uint32_t vertex; /* NO_INDEX: none */
    double distance2;
};

static void search(const struct grid *grid, struct vec at, uint32_t head, struct match *best)
{
    for (uint32_t u = head; u != NO_INDEX; u = grid->next[u]) {
        double d = vec_length2(vec_sub(point_vec(grid->point[u]), at));
        if (d < best->distance2 || (d == best->distance2 && u < best->vertex))
            *best = (struct match){u, d};
    }
}

/* The nearest vertex in the grid within the gap of vertex v. */
static uint32_t grid_nearest(const struct grid *grid, uint32_t v)
{
    struct vec at = point_vec(grid->point[v]);
    struct match best = {NO_INDEX, grid->gap * grid->gap};
    const double p[3] = {at.x, at.y, at.z};
    double low[3];
    int more[3]; /* cells on from the lowest; counting up the number itself may get nowhere */
    for (int k = 0; k < 3; k++) {
        low[k] = cell_of(grid, p[k] - grid->gap);
        more[k] = (int)(cell_of(grid, p[k] + grid->gap) - low[k]);
    }
    for (int x = 0; x <= more[0]; x++)
        for (int y = 0; y <= more[1]; y++)
            for (int z = 0; z <= more[2]; z++)
                search(grid, at, *chain(grid, low[0] + x, low[1] + y, low[2] + z), &best);
    return best.vertex;
}

/* --- who joins whom ------------------------------------------------------------------------ */

/* Marks the vertices that may move: all, or those on a boundary. */
static bool mark_able(const struct mesh *mesh, bool rims, uint8_t *able, struct job *job)
{
    memset(able, !rims, mesh_vertices(mesh));
    const struct topology *topology = rims ? mesh_topology(mesh, job) : NULL;
    for (size_t h = 0; topology && h < 3 * mesh_triangles(mesh); h++)
        if (topology->twin[h] == TWIN_NONE) {
            able[half_from(mesh_triangle(mesh), (uint32_t)h)] = true;
            able[half_to(mesh_triangle(mesh), (uint32_t)h)] = true;
        }
    return !rims || topology;
}

/* Numbers the vertices, those that join like the one they join. */
static enum status number(struct grid *grid, const uint8_t *able, size_t vertices, uint32_t *id,
                          size_t *distinct, struct job *job)
{
    *distinct = 0;
    for (uint32_t v = 0; v < vertices; v++) {
        uint32_t u = able[v] ? grid_nearest(grid, v) : NO_INDEX;
        if (u == NO_INDEX) {
            id[v] = (uint32_t)(*distinct)++;
            if (able[v])
                grid_add(grid, v);
        } else {
            id[v] = id[u];
        }
        if (v % LOOK == 0 && !job_step(job, LOOK))
            return job_fail_cancelled(job);
    }
    return STATUS_OK;
}

static struct mesh *join_near(const struct mesh *mesh, double gap, bool rims, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), distinct;
    struct grid grid = {0};
    uint8_t *able = scratch_new(vertices, 1);
    uint32_t *id = scratch_new(vertices, sizeof *id);
    struct mesh *joined = NULL;
    if (!able || !id || !grid_make(&grid, mesh, gap))
        job_fail_memory(job, vertices * 13);
    else if (mark_able(mesh, rims, able, job) &&
             number(&grid, able, vertices, id, &distinct, job) == STATUS_OK)
        joined = distinct < vertices ? weld_numbered(mesh, id, distinct, job) : mesh_share(mesh);
    grid_release(&grid);
    scratch_free(able);
    scratch_free(id);
    return joined;
}

/* --- what collapsed ------------------------------------------------------------------------ */

static struct mesh *drop_collapsed(const struct mesh *mesh, size_t *dropped, struct job *job)
{
    size_t triangles = mesh_triangles(mesh);
    uint8_t *keep = scratch_new(triangles, 1);
    if (!keep) {
        job_fail_memory(job, triangles);
        return NULL;
    }
    *dropped = 0;
    for (size_t t = 0; t < triangles; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        keep[t] = v[0] != v[1] && v[1] != v[2] && v[2] != v[0];
        *dropped += !keep[t];
    }
    struct mesh *rest = mesh_subset(mesh, keep, job);
    scratch_free(keep);
    return rest;
}

struct mesh *weld_near(const struct mesh *mesh, double gap, bool rims, struct weld_report *report,
                       struct job *job)
{
    job_phase(job, "joining vertices", 900, mesh_vertices(mesh));
    struct mesh *same = weld_exact(mesh, job);
    struct mesh *joined =
        same && gap > least_gap ? join_near(same, gap, rims, job) : mesh_share(same);
    mesh_free(same);
    if (!joined)
        return NULL;
    report->joined = mesh_vertices(mesh) - mesh_vertices(joined);
    struct mesh *rest = drop_collapsed(joined, &report->dropped, job);
    mesh_free(joined);
    return rest;
}
