/* Clusters: the net of a fine grid, drawn together where that loses nothing.
 *
 * The vertices of the fine net in one cube of cells become one, if they and what lies between them
 * are a disk: drawing disks together changes no topology. Quads that lose two corners so are
 * triangles, those that lose more are gone. Cubes start as long as they may be; those that do not
 * do are cut in eight, at the worst down to single cells: then the net is the fine one again, which
 * is a manifold. Cells with nodes that were made to be on the solid's side stay single. */
#include <string.h>

#include "core/fans.h"
#include "core/sets.h"
#include "solid/offset_parts.h"

enum { BLOCK = 4096 };

/* The lowest cell of the cube of 2^level cells that a cell lies in. */
static node_id cube_of(node_id cell, int level)
{
    node_id low = (1u << level) - 1;
    return cell & ~(low | low << 3 | low << 6);
}

struct vec offset_middle(const struct offsetting *o, size_t v)
{
    double half = offset_side(o, v) / 2;
    node_id cube = cube_of(o->net.cell[v], o->spot[v].level);
    return vec_add(grid_place(&o->grid, cube), vec(half, half, half));
}

/* --- levels ---------------------------------------------------------------------------------- */

static uint8_t *level_of(const struct offsetting *o, node_id cell)
{
    return (uint8_t *)o->level->data + cell;
}

/* Blocks that are new begin with cubes as long as they may be. */
static enum status make_levels(struct offsetting *o)
{
    size_t had = o->level ? o->level->count : 0, cells = o->grid.count * BLOCK_CELLS;
    if (!o->level)
        o->level = array_new(cells + 1, 1);
    else if (cells + 1 > had && !array_grow(o->level, cells + cells / 2 + 1))
        return job_fail_memory(o->job, cells);
    if (!o->level)
        return job_fail_memory(o->job, cells);
    if (o->level->count > had)
        memset((uint8_t *)o->level->data + had, o->levels, o->level->count - had);
    return STATUS_OK;
}

/* Cuts the cubes of the marked clusters in eight; whether there were any. Marks that say more cut
 * them into single cells. */
static bool cut_marked(struct offsetting *o, const uint8_t *mark)
{
    bool any = false;
    for (size_t f = 0; f < o->fine.vertices; f++) {
        uint8_t *level = level_of(o, o->fine.cell[f]), m = mark[o->cluster[f]];
        if (m && *level) {
            *level = m == OFFSET_SINGLE ? 0 : (uint8_t)(*level - 1);
            any = true;
        }
    }
    return any;
}

/* --- clusters -------------------------------------------------------------------------------- */

/* Numbers the clusters in the order of their first cells. */
static size_t number(struct offsetting *o)
{
    uint32_t seen[BLOCK_CELLS], count = 0;
    node_id block = NO_NODE;
    for (size_t f = 0; f < o->fine.vertices; f++) {
        node_id cell = o->fine.cell[f], cube = cube_of(cell, *level_of(o, cell));
        if (cell >> 9 != block)
            memset(seen, 255, sizeof seen);
        block = cell >> 9;
        if (seen[cube & 511] == NO_INDEX)
            seen[cube & 511] = count++;
        o->cluster[f] = seen[cube & 511];
    }
    return count;
}

struct tally {     /* of a cluster */
    int32_t euler; /* vertices less edges and quads of the fine net in it */
    int32_t parts; /* connected by these */
};

/* Counts what lies in each cluster; false: the job was cancelled. */
static bool tally_all(const struct offsetting *o, uint32_t *set, struct tally *tally)
{
    const struct net *fine = &o->fine;
    if (job_cancelled(o->job)) /* then the sets may not all have begun */
        return false;
    for (size_t f = 0; f < fine->vertices; f++) {
        if (f % BLOCK == 0 && job_cancelled(o->job))
            return false;
        for (int k = 1; k < LINKS; k += 2) { /* each link from its lower end */
            uint32_t g = fine->link[f][k];
            if (g == NO_INDEX || o->cluster[g] != o->cluster[f])
                continue;
            tally[o->cluster[f]].euler--;
            sets_unite(set, (uint32_t)f, g);
        }
    }
    for (size_t q = 0; q < fine->quads; q++) {
        const uint32_t *v = fine->quad[q];
        uint32_t c = o->cluster[v[0]];
        tally[c].euler += c == o->cluster[v[1]] && c == o->cluster[v[2]] && c == o->cluster[v[3]];
    }
    for (size_t f = 0; f < fine->vertices; f++) {
        tally[o->cluster[f]].euler++;
        tally[o->cluster[f]].parts += set[f] == f;
    }
    return !job_cancelled(o->job);
}

/* Marks clusters that are no disks, or have turned cells. */
static enum status mark_unfit(const struct offsetting *o, size_t count, uint8_t *mark)
{
    size_t fine = o->fine.vertices;
    uint32_t *set = scratch_new(fine + 1, sizeof *set);
    struct tally *tally = scratch_new(count + 1, sizeof *tally);
    enum status status = STATUS_OK;
    if (set && tally) {
        memset(tally, 0, count * sizeof *tally);
        for (size_t f = 0; f < fine; f++) {
            if (f % BLOCK == 0 && job_cancelled(o->job))
                break;
            set[f] = (uint32_t)f;
            if (o->turned[f])
                mark[o->cluster[f]] = 1;
        }
        if (!tally_all(o, set, tally))
            status = job_fail_cancelled(o->job);
        for (size_t c = 0; c < count; c++)
            if (tally[c].euler != 1 || tally[c].parts != 1)
                mark[c] = 1;
    } else {
        status = job_fail_memory(o->job, fine * sizeof *set + count * sizeof *tally);
    }
    scratch_free(set);
    scratch_free(tally);
    return status;
}

/* Cuts cubes until all clusters are disks; *count of them. */
static enum status settle(struct offsetting *o, size_t *count)
{
    uint8_t *mark = scratch_new(o->fine.vertices + 1, 1);
    enum status status = mark ? make_levels(o) : job_fail_memory(o->job, o->fine.vertices);
    for (bool again = true; again && status == STATUS_OK;) {
        *count = number(o);
        memset(mark, 0, o->fine.vertices + 1);
        status = o->levels ? mark_unfit(o, *count, mark) : STATUS_OK;
        again = status == STATUS_OK && cut_marked(o, mark);
    }
    scratch_free(mark);
    return status;
}

/* --- the net of clusters --------------------------------------------------------------------- */

static enum status allocate(struct offsetting *o, size_t count)
{
    struct net *net = &o->net;
    *net = (struct net){.grid = &o->grid, .vertices = count};
    net->cell = scratch_new(count + 1, sizeof *net->cell);
    net->at = scratch_new(count + 1, sizeof *net->at);
    net->sharp = scratch_new(count + 1, sizeof *net->sharp);
    net->quad = scratch_new(o->fine.quads + 1, sizeof *net->quad);
    o->first = scratch_new(count + 1, sizeof *o->first);
    if (net->cell && net->at && net->sharp && net->quad && o->first)
        return STATUS_OK;
    return job_fail_memory(o->job, count * 30 + o->fine.quads * sizeof *net->quad);
}

/* Each cluster's first cell, its members, and the mean of their places. */
static void gather(struct offsetting *o)
{
    struct net *net = &o->net;
    for (size_t c = 0; c < net->vertices; c++)
        o->first[c] = NO_INDEX;
    for (size_t f = o->fine.vertices; f-- > 0;) {
        uint32_t c = o->cluster[f];
        o->next[f] = o->first[c];
        o->first[c] = (uint32_t)f;
    }
    for (size_t c = 0; c < net->vertices; c++) {
        struct vec sum = vec(0, 0, 0);
        double members = 0;
        for (uint32_t f = o->first[c]; f != NO_INDEX; f = o->next[f], members++)
            sum = vec_add(sum, point_vec(o->fine.at[f]));
        net->cell[c] = o->fine.cell[o->first[c]];
        net->at[c] = vec_point(vec_scale(sum, 1 / members));
        net->sharp[c] = 0;
    }
}

/* The quads that are left; of a triangle the last corner stands twice. */
static void draw_quads(struct offsetting *o)
{
    struct net *net = &o->net;
    for (size_t q = 0; q < o->fine.quads; q++) {
        uint32_t corner[4];
        int n = 0;
        for (int k = 0; k < 4; k++) {
            uint32_t c = o->cluster[o->fine.quad[q][k]];
            if (c != o->cluster[o->fine.quad[q][(k + 1) & 3]])
                corner[n++] = c;
        }
        if (n < 3)
            continue;
        for (int k = 0; k < 4; k++)
            net->quad[net->quads][k] = corner[k < n ? k : n - 1];
        net->quads++;
    }
}

enum status offset_cluster(struct offsetting *o)
{
    size_t count = 0;
    enum status status = settle(o, &count);
    if (status == STATUS_OK)
        status = allocate(o, count);
    if (status != STATUS_OK)
        return status;
    gather(o);
    draw_quads(o);
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

bool offset_cut(struct offsetting *o, const uint8_t *mark)
{
    return cut_marked(o, mark);
}

/* --- whether it is sound --------------------------------------------------------------------- */

enum status offset_unsound(const struct offsetting *o, uint8_t *mark)
{
    const struct topology *topology = mesh_topology(o->mesh, o->job);
    uint32_t *pinched = NULL;
    size_t count = 0;
    if (!topology)
        return job_status(o->job);
    enum status status = fans_pinched(o->mesh, topology, &pinched, &count, o->job);
    for (size_t i = 0; i < count; i++)
        mark[pinched[i]] = 1;
    scratch_free(pinched);
    for (size_t v = 0; v < o->net.vertices; v++)
        if (topology->fan[v] == NO_INDEX)
            mark[v] = 1;
    for (uint32_t h = 0; h < 3 * mesh_triangles(o->mesh); h++)
        if (topology->twin[h] & TWIN_FLIPPED) {
            mark[half_from(mesh_triangle(o->mesh), h)] = 1;
            mark[half_to(mesh_triangle(o->mesh), h)] = 1;
        }
    return status;
}
