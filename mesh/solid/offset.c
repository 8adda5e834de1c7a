#include "solid/offset_parts.h"

#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/mass.h"
#include "core/sheet.h"
#include "core/topology.h"

enum { BLOCK = 4096, ROUNDS_MOST = 40, KEPT_MOST = 1 << 20, ALL = 255 };

/* Of the spacing: this share of the distance (an arc of that radius is then met within 4 % of it),
 * but so fine that there are some triangles, and so coarse that there are not too many. */
static const double of_distance = 0.4, triangles_some = 5e4, triangles_most = 1e6,
                    triangles_bearable = 1e8;

/* A surface meets 1.5 cells an area of one (the mean over all directions of |x| + |y| + |z|), each
 * a vertex and two triangles. */
static const double triangles_of_cell = 3;

/* --- the spacing ----------------------------------------------------------------------------- */

static enum status choose_spacing(const struct mesh *mesh, const struct offset_options *options,
                                  double *out, struct job *job)
{
    struct moments solid = {0}, surface = {0};
    enum status status = mesh_moments(mesh, vec(0, 0, 0), &solid, &surface, job);
    if (status != STATUS_OK)
        return status;
    double area = mass_of(&surface, MASS_SURFACE, vec(0, 0, 0)).amount;
    *out = fmin(of_distance * options->by, sqrt(triangles_of_cell * area / triangles_some));
    *out = fmax(*out, sqrt(triangles_of_cell * area / triangles_most));
    if (options->spacing > 0)
        *out = options->spacing;
    double finest = sqrt(triangles_of_cell * area / triangles_bearable);
    if (*out < finest)
        return job_fail(job, STATUS_REFUSED,
                        "a spacing of %.3g mm is too fine for this size; choose %.3g mm or more",
                        *out, finest);
    return STATUS_OK;
}

/* --- the net, again and again ---------------------------------------------------------------- */

/* What the net's vertices are known by from an earlier net of the same grid. */
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
    mesh_free(o->mesh);
    o->mesh = NULL;
    return e;
}

static void look_at_cell(const struct offsetting *o, size_t v)
{
    node_id corner[8];
    struct spot *spot = &o->spot[v];
    cell_corners(&o->grid, o->net.cell[v], corner);
    *spot = (struct spot){.near = NO_INDEX, .stale = true};
    for (int c = 0; c < 8; c++) {
        uint8_t state = corner[c] == NO_NODE ? 0 : *node_state(&o->grid, corner[c]);
        spot->inside |= (uint8_t)((state & NODE_INSIDE ? 1 : 0) << c);
        spot->turned |= (uint8_t)((state & NODE_TURNED ? 1 : 0) << c);
    }
}

/* Vertices whose cells are as they were stay where they were. */
static void keep_earlier(struct offsetting *o, const struct earlier *e)
{
    for (size_t v = 0, w = 0; v < o->net.vertices; v++) {
        look_at_cell(o, v);
        while (w < e->vertices && e->cell[w] < o->net.cell[v])
            w++;
        if (w == e->vertices || e->cell[w] != o->net.cell[v] ||
            e->spot[w].inside != o->spot[v].inside || e->spot[w].turned != o->spot[v].turned)
            continue;
        o->spot[v] = e->spot[w];
        if (o->spot[v].stale)
            continue;
        o->net.at[v] = e->at[w];
        o->net.sharp[v] = e->sharp[w];
    }
}

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

static enum status renew_net(struct offsetting *o)
{
    const struct sheet_field field = {.value = value_at, .context = o};
    struct earlier e = earlier_of(o);
    trust_all(&o->grid);
    enum status status = sheet_find(&o->grid, &field, o->job);
    if (status == STATUS_OK)
        status = net_make(&o->grid, false, &o->net, o->job);
    if (status == STATUS_OK) {
        o->spot = scratch_new(o->net.vertices + 1, sizeof *o->spot);
        if (o->spot)
            keep_earlier(o, &e);
        else
            status = job_fail_memory(o->job, o->net.vertices * sizeof *o->spot);
    }
    earlier_release(&e);
    return status;
}

/* --- what cannot stay ------------------------------------------------------------------------ */

static bool is_flat(const struct mesh *mesh, const struct point *at, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(at[v[0]]);
    struct vec b = vec_sub(point_vec(at[v[1]]), a), c = vec_sub(point_vec(at[v[2]]), a);
    double l2 = fmax(vec_length2(b), vec_length2(c));
    return vec_length2(vec_cross(b, c)) <= 1e-14 * l2 * l2;
}

enum wrong { FINE, FILL, OFF_CREASE = 255 };

/* Marks the corners of triangles that cannot stay: those on creases alone, if there are any that
 * may go off them; else all. */
static void mark(const struct offsetting *o, size_t t, size_t other, uint8_t *wrong)
{
    const size_t pair[2] = {t, other};
    bool creases = false;
    for (int pass = 0; pass < 2 && !creases; pass++)
        for (int i = 0; i < 6; i++) {
            uint32_t v = mesh_triangle(o->mesh)[pair[i / 3]].v[i % 3];
            bool may = o->net.sharp[v] && !o->spot[v].plain;
            creases = creases || may;
            if (pass == 0 && may)
                wrong[v] = OFF_CREASE;
            else if (pass == 1 && wrong[v] == FINE)
                wrong[v] = FILL;
        }
}

/* Marks vertices of triangles that cross, have no area, or could not be proved. */
static enum status find_wrong(struct offsetting *o, uint8_t *wrong, bool *any)
{
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    memset(wrong, 0, o->net.vertices);
    job_phase(o->job, "looking for crossings", 150, mesh_triangles(o->mesh));
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

/* Marks the neighbours of those that go, ring by ring. */
static void widen(const struct offsetting *o, int rings, uint8_t *wrong)
{
    const struct net *net = &o->net;
    for (uint8_t ring = FILL; ring <= rings; ring++)
        for (size_t v = 0; v < net->vertices; v++)
            for (int k = 0; k < LINKS && wrong[v] == ring; k++)
                if (net->link[v][k] != NO_INDEX && wrong[net->link[v][k]] == 0)
                    wrong[net->link[v][k]] = (uint8_t)(ring + 1);
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
        o->report->filled++;
    }
}

/* Vertices go off creases, or their cells go to the solid's side. */
static void mend(struct offsetting *o, const uint8_t *wrong)
{
    for (size_t v = 0; v < o->net.vertices; v++) {
        struct spot *spot = &o->spot[v];
        if (wrong[v] == FINE)
            continue;
        spot->stale = true;
        if (wrong[v] == OFF_CREASE)
            spot->plain = true;
        else
            fill_cell(o, o->net.cell[v]);
    }
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
    return o->mesh ? STATUS_OK : job_status(o->job);
}

/* One net, its vertices in their places and its triangles proved. */
static enum status try_net(struct offsetting *o)
{
    enum status status = renew_net(o);
    if (status == STATUS_OK)
        status = offset_place(o);
    if (status == STATUS_OK)
        status = make_triangles(o);
    if (status == STATUS_OK)
        status = offset_prove(o);
    return status == STATUS_OK ? take_places(o) : status;
}

static enum status find_net(struct offsetting *o)
{
    for (int round = 0;; round++) {
        bool any = false;
        enum status status = try_net(o);
        uint8_t *wrong = status == STATUS_OK ? scratch_new(o->net.vertices + 1, 1) : NULL;
        if (status == STATUS_OK)
            status = wrong ? find_wrong(o, wrong, &any) : job_fail_memory(o->job, o->net.vertices);
        if (status == STATUS_OK && any && round == ROUNDS_MOST)
            status = job_fail(o->job, STATUS_REFUSED,
                              "no surface that does not cross itself was found at a spacing of "
                              "%.3g mm; choose another spacing=",
                              o->report->spacing);
        if (status == STATUS_OK && any) {
            widen(o, round / 3, wrong);
            mend(o, wrong);
        }
        scratch_free(wrong);
        if (status != STATUS_OK || !any)
            return status;
    }
}

/* --- all ------------------------------------------------------------------------------------- */

enum status offset_surface(const struct mesh *mesh, const struct offset_options *options,
                           struct mesh **out, struct offset_report *report, struct job *job)
{
    struct offsetting o = {.solid = mesh, .report = report, .job = job};
    *report = (struct offset_report){0};
    o.field = (struct field){mesh_tree(mesh, job), options->by, options->inward ? -1 : 1};
    enum status status = o.field.tree ? STATUS_OK : job_status(job);
    if (status == STATUS_OK)
        status = choose_spacing(mesh, options, &report->spacing, job);
    if (status == STATUS_OK)
        status = offset_grid(&o, report->spacing);
    if (status == STATUS_OK)
        status = find_net(&o);
    if (status == STATUS_OK)
        status = offset_measure(&o);
    if (status == STATUS_OK) {
        *out = o.mesh;
        o.mesh = NULL;
    }
    mesh_free(o.mesh);
    scratch_free(o.spot);
    net_release(&o.net);
    grid_release(&o.grid);
    return status;
}
