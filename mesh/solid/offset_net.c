/* The net of clusters, again and again. */
#include <string.h>

#include "core/job.h"
#include "core/sheet.h"
#include "core/topology.h"
#include "solid/offset_parts.h"

enum { BLOCK = 4096 };

/* --- the fine net ---------------------------------------------------------------------------- */

/* Where a node is wanted that the octree did not bring. */
static double value_at(const struct grid *grid, node_id node, const void *context)
{
    const struct offsetting *o = context;
    return field_find(&o->field, grid_place(grid, node), NO_INDEX).value;
}

/* The surface goes on between nodes that were followed to as between the others. */
static void trust_all(struct grid *grid)
{
    for (size_t b = 0; b < grid->count; b++)
        for (int place = 0; place < BLOCK_CELLS; place++)
            if (grid_nodes(grid, b)->state[place] & NODE_KNOWN)
                grid_nodes(grid, b)->state[place] |= NODE_DATA;
}

static bool is_turned(const struct grid *grid, node_id cell)
{
    node_id corner[8];
    cell_corners(grid, cell, corner);
    for (int c = 0; c < 8; c++)
        if (corner[c] != NO_NODE && *node_state(grid, corner[c]) & NODE_TURNED)
            return true;
    return false;
}

static enum status find_turned(struct offsetting *o)
{
    size_t vertices = o->fine.vertices, blocks = (vertices + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++)
        for (size_t f = b * BLOCK; f < (b + 1) * BLOCK && f < vertices; f++)
            if (!job_cancelled(o->job))
                o->turned[f] = is_turned(&o->grid, o->fine.cell[f]);
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

static void release_fine(struct offsetting *o)
{
    net_release(&o->fine);
    scratch_free(o->cluster);
    scratch_free(o->next);
    scratch_free(o->turned);
    o->cluster = o->next = NULL;
    o->turned = NULL;
}

static enum status renew_fine(struct offsetting *o)
{
    const struct sheet_field field = {.value = value_at, .context = o};
    release_fine(o);
    o->dirty = false;
    trust_all(&o->grid);
    enum status status = sheet_find(&o->grid, &field, o->job);
    if (status == STATUS_OK)
        status = net_make(&o->grid, false, &o->fine, o->job);
    if (status != STATUS_OK)
        return status;
    o->cluster = scratch_new(o->fine.vertices + 1, sizeof *o->cluster);
    o->next = scratch_new(o->fine.vertices + 1, sizeof *o->next);
    o->turned = scratch_new(o->fine.vertices + 1, 1);
    if (!o->cluster || !o->next || !o->turned)
        return job_fail_memory(o->job, 9 * o->fine.vertices);
    return find_turned(o);
}

/* --- the net of clusters --------------------------------------------------------------------- */

/* What the net's vertices are known by from an earlier net. */
struct earlier {
    node_id *cell;
    struct point *at;
    uint8_t *sharp;
    struct spot *spot;
    size_t vertices;
};

static void earlier_release(struct earlier *e)
{
    scratch_free(e->cell);
    scratch_free(e->at);
    scratch_free(e->sharp);
    scratch_free(e->spot);
}

static struct earlier earlier_of(struct offsetting *o)
{
    struct earlier e = {o->net.cell, o->net.at, o->net.sharp, o->spot, o->net.vertices};
    o->net.cell = NULL;
    o->net.at = NULL;
    o->net.sharp = NULL;
    o->spot = NULL;
    net_release(&o->net);
    scratch_free(o->first);
    o->first = NULL;
    mesh_free(o->mesh);
    o->mesh = NULL;
    return e;
}

static void look_at_cluster(const struct offsetting *o, size_t v)
{
    node_id corner[8];
    struct spot *spot = &o->spot[v];
    *spot = (struct spot){.near = NO_INDEX, .loose = true, .stale = true};
    spot->level = ((uint8_t *)o->level->data)[o->net.cell[v]];
    if (spot->level)
        return;
    cell_corners(&o->grid, o->net.cell[v], corner);
    for (int c = 0; c < 8; c++) {
        uint8_t state = corner[c] == NO_NODE ? 0 : *node_state(&o->grid, corner[c]);
        spot->inside |= (uint8_t)((state & NODE_INSIDE ? 1 : 0) << c);
        spot->turned |= (uint8_t)((state & NODE_TURNED ? 1 : 0) << c);
    }
}

static bool is_same(const struct spot *a, const struct spot *b)
{
    return a->level == b->level && a->inside == b->inside && a->turned == b->turned;
}

/* Vertices whose clusters are as they were stay where they were. */
static enum status keep_earlier(struct offsetting *o, const struct earlier *e)
{
    for (size_t v = 0, w = 0; v < o->net.vertices; v++) {
        if (v % BLOCK == 0 && job_cancelled(o->job))
            return job_fail_cancelled(o->job);
        look_at_cluster(o, v);
        while (w < e->vertices && e->cell[w] < o->net.cell[v])
            w++;
        if (w == e->vertices || e->cell[w] != o->net.cell[v] || !is_same(&e->spot[w], &o->spot[v]))
            continue;
        o->spot[v] = e->spot[w];
        if (o->spot[v].loose)
            continue;
        o->net.at[v] = e->at[w];
        o->net.sharp[v] = e->sharp[w];
    }
    return STATUS_OK;
}

static enum status renew_net(struct offsetting *o)
{
    struct earlier e = earlier_of(o);
    enum status status = offset_cluster(o);
    if (status == STATUS_OK) {
        o->spot = scratch_new(o->net.vertices + 1, sizeof *o->spot);
        if (o->spot)
            status = keep_earlier(o, &e);
        else
            status = job_fail_memory(o->job, o->net.vertices * sizeof *o->spot);
    }
    earlier_release(&e);
    return status;
}

/* --- its triangles --------------------------------------------------------------------------- */

/* Quads of which a corner stands twice are triangles. */
static void drop_flat(struct mesh *mesh)
{
    struct triangle *t = mesh_triangle_edit(mesh);
    size_t kept = 0;
    for (size_t i = 0; i < mesh_triangles(mesh); i++)
        if (t[i].v[0] != t[i].v[1] && t[i].v[1] != t[i].v[2] && t[i].v[2] != t[i].v[0])
            t[kept++] = t[i];
    array_shrink(mesh->triangle, kept);
}

/* The triangles of the net, cut as its vertices stood first: so those whose vertices stay are the
 * same in every net. */
static enum status make_triangles(struct offsetting *o)
{
    struct point *placed = scratch_new(o->net.vertices + 1, sizeof *placed), *now = o->net.at;
    if (!placed)
        return job_fail_memory(o->job, o->net.vertices * sizeof *placed);
    for (size_t v = 0; v < o->net.vertices; v++)
        placed[v] = o->spot[v].placed;
    o->net.at = placed;
    o->mesh = mesh_of_net(&o->net, o->net.grid->frame.origin, o->job);
    o->net.at = now;
    scratch_free(placed);
    if (o->mesh)
        drop_flat(o->mesh);
    return o->mesh ? STATUS_OK : job_status(o->job);
}

/* The mesh's points where the net's now are. */
static enum status take_places(struct offsetting *o)
{
    struct mesh *moved = mesh_new_like(o->mesh);
    struct array *point = moved ? array_new(o->net.vertices, sizeof(struct point)) : NULL;
    if (!point) {
        mesh_free(moved);
        return job_fail_memory(o->job, o->net.vertices * sizeof(struct point));
    }
    memcpy(point->data, o->net.at, array_bytes(point));
    array_free(moved->point);
    moved->point = point;
    mesh_free(o->mesh);
    o->mesh = moved;
    return STATUS_OK;
}

/* --- until it is good ------------------------------------------------------------------------- */

static bool any_marked(const struct offsetting *o, const uint8_t *mark)
{
    for (size_t v = 0; v < o->net.vertices; v++)
        if (mark[v])
            return true;
    return false;
}

/* Makes the net's vertices and triangles, and marks the clusters that do not do. That a triangle is
 * nowhere too near is proved last, as it may move vertices and takes longest. */
static enum status look(struct offsetting *o, uint8_t *mark)
{
    enum status status = offset_place(o);
    if (status == STATUS_OK)
        status = make_triangles(o);
    if (status == STATUS_OK && o->levels)
        status = offset_unsound(o, mark);
    if (status == STATUS_OK && !any_marked(o, mark))
        status = offset_excess(o, mark);
    if (status != STATUS_OK || any_marked(o, mark))
        return status;
    status = offset_prove(o);
    return status == STATUS_OK ? offset_excess(o, mark) : status;
}

enum status offset_net(struct offsetting *o)
{
    enum status status = o->dirty ? renew_fine(o) : STATUS_OK;
    for (bool again = true; again && status == STATUS_OK;) {
        o->part = (o->share + 1) / 2; /* nobody knows how many are to come, but each is less work */
        o->share -= o->part;
        status = renew_net(o);
        if (status == STATUS_OK && o->strict)
            status = offset_sample(o, &o->wanting);
        if (status == STATUS_OK && o->wanting && o->strict)
            return STATUS_OK;
        uint8_t *mark = status == STATUS_OK ? scratch_new(o->net.vertices + 1, 1) : NULL;
        if (mark) {
            memset(mark, 0, o->net.vertices + 1);
            status = look(o, mark);
            again = status == STATUS_OK && offset_cut(o, mark);
            for (size_t v = 0; v < o->net.vertices; v++)
                o->wanting = o->wanting || mark[v] || o->spot[v].turned;
        } else if (status == STATUS_OK) {
            status = job_fail_memory(o->job, o->net.vertices);
        }
        scratch_free(mark);
    }
    return status == STATUS_OK ? take_places(o) : status;
}
