/* What cannot stay in the net. */
#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/topology.h"
#include "solid/offset_parts.h"

enum { BLOCK = 4096, KEPT_MOST = 1 << 20 };

static bool is_flat(const struct mesh *mesh, const struct point *at, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(at[v[0]]);
    struct vec b = vec_sub(point_vec(at[v[1]]), a), c = vec_sub(point_vec(at[v[2]]), a);
    double l2 = fmax(vec_length2(b), vec_length2(c));
    return vec_length2(vec_cross(b, c)) <= 1e-14 * l2 * l2;
}

enum wrong { FINE, FILL, OFF_CREASE = 254, SINGLE = OFFSET_SINGLE };

/* What may be done about a vertex: the first of these that any corner allows. */
static enum wrong may(const struct offsetting *o, uint32_t v)
{
    return o->spot[v].level ? SINGLE : o->net.sharp[v] && !o->spot[v].plain ? OFF_CREASE : FILL;
}

/* Marks the corners of triangles that cannot stay: clusters alone, if there are any; else those on
 * creases that may go off them; else all. */
static void mark(const struct offsetting *o, size_t t, size_t other, uint8_t *wrong)
{
    const uint32_t *pair[2] = {mesh_triangle(o->mesh)[t].v, mesh_triangle(o->mesh)[other].v};
    enum wrong most = FILL;
    for (int i = 0; i < 6; i++) {
        enum wrong can = may(o, pair[i / 3][i % 3]);
        most = can > most ? can : most;
    }
    for (int i = 0; i < 6; i++) {
        uint32_t v = pair[i / 3][i % 3];
        if (may(o, v) == most && wrong[v] < most)
            wrong[v] = (uint8_t)most;
    }
}

/* Marks vertices of triangles that cross, have no area, or could not be proved. */
static enum status find_wrong(struct offsetting *o, uint8_t *wrong, bool *any)
{
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    memset(wrong, 0, o->net.vertices);
    job_phase(o->job, "looking for crossings", o->part / 5, mesh_triangles(o->mesh));
    enum status status = crossings_find(o->mesh, KEPT_MOST, &pair, &kept, &count, o->job);
    if (status != STATUS_OK)
        return status;
    *any = count > 0;
    for (size_t i = 0; i < kept; i++)
        mark(o, pair[i].a, pair[i].b, wrong);
    free(pair);
    for (size_t t = 0; t < mesh_triangles(o->mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(o->job))
            return job_fail_cancelled(o->job);
        const uint32_t *v = mesh_triangle(o->mesh)[t].v;
        if (o->spot[v[0]].stale || o->spot[v[1]].stale || o->spot[v[2]].stale ||
            is_flat(o->mesh, o->net.at, t)) {
            mark(o, t, t, wrong);
            *any = true;
        }
    }
    return STATUS_OK;
}

/* Marks the neighbours of those that are filled, ring by ring. */
static void widen(const struct offsetting *o, int rings, uint8_t *wrong)
{
    for (uint8_t ring = FILL; ring <= rings; ring++)
        for (size_t q = 0; q < o->net.quads; q++)
            for (int k = 0; k < 4; k++) {
                const uint32_t *v = o->net.quad[q];
                for (int side = 1; side < 4 && wrong[v[k]] == ring; side += 2)
                    if (wrong[v[(k + side) & 3]] == FINE)
                        wrong[v[(k + side) & 3]] = (uint8_t)(ring + 1);
            }
}

/* The cell's nodes go to the solid's side. */
static void fill_cell(struct offsetting *o, node_id cell)
{
    node_id corner[8];
    cell_corners(&o->grid, cell, corner);
    for (int c = 0; c < 8; c++) {
        if (corner[c] == NO_NODE || *node_state(&o->grid, corner[c]) & NODE_INSIDE)
            continue;
        *node_state(&o->grid, corner[c]) |= NODE_INSIDE | NODE_TURNED;
        o->dirty = true;
    }
}

/* Clusters are cut, vertices go off creases, or their cells to the solid's side. */
static void mend(struct offsetting *o, uint8_t *wrong)
{
    for (size_t v = 0; v < o->net.vertices; v++) {
        struct spot *spot = &o->spot[v];
        if (wrong[v] == FINE)
            continue;
        spot->stale = spot->loose = true;
        if (spot->level)
            wrong[v] = SINGLE;
        else if (wrong[v] == OFF_CREASE)
            spot->plain = true;
        else
            fill_cell(o, o->net.cell[v]);
        if (!spot->level)
            wrong[v] = FINE;
    }
    offset_cut(o, wrong);
}

enum status offset_wrong(struct offsetting *o, int round, bool *any)
{
    uint8_t *wrong = scratch_new(o->net.vertices + 1, 1);
    enum status status =
        wrong ? find_wrong(o, wrong, any) : job_fail_memory(o->job, o->net.vertices);
    if (status == STATUS_OK && *any) {
        widen(o, round / 3, wrong);
        mend(o, wrong);
    }
    scratch_free(wrong);
    return status;
}
