#include "scan/fuse_disc.h"

#include <stdlib.h>

#include "core/closest.h"
#include "core/job.h"
#include "core/sheet.h"
#include "scan/fuse_bins.h"

/* Steps: nodes no farther than this make a layer that no path past neighbours goes through,
 * corners' neighbours included. */
static const double thick = 0.87;

/* In units of samples->reach, how near a sample must be to show the surface at a loop, and how far
 * before or behind; the cosine between its direction and the surface's. */
static const float near_by = 1.5f, level = 0.75f, alike = 0.7f;

/* --- the fan --------------------------------------------------------------------------------- */

struct fan {
    const struct grid *grid;
    const struct net *net;
    const uint32_t *loop;
    size_t length;
    struct disc *out;
    size_t room;
};

static struct vec at(const struct fan *f, size_t i)
{
    return net_middle(f->net, f->loop[i % f->length]);
}

static void measure_fan(struct fan *f)
{
    struct disc *d = f->out;
    struct vec sum = vec(0, 0, 0);
    for (size_t i = 0; i < f->length; i++)
        d->middle = vec_along(d->middle, 1 / (double)f->length, at(f, i));
    for (size_t i = 0; i < f->length; i++) {
        struct vec n = vec_cross(vec_sub(at(f, i), d->middle), vec_sub(at(f, i + 1), d->middle));
        d->area += vec_length(n) / 2;
        sum = vec_add(sum, n);
    }
    d->axis = vec_unit(sum);
}

/* Of the corners of the loop's cells those nearest to its middle: more of them outside, and the
 * loop goes around a tunnel. */
static void choose_side(struct fan *f)
{
    long inside = 0;
    for (size_t i = 0; i < f->length; i++) {
        node_id corner[8];
        double best = INFINITY;
        long side = 0;
        cell_corners(f->grid, f->net->cell[f->loop[i]], corner);
        for (int c = 0; c < 8; c++) {
            if (corner[c] == NO_NODE)
                continue;
            double d = vec_length2(vec_sub(grid_place(f->grid, corner[c]), f->out->middle));
            long is = *node_state(f->grid, corner[c]) & NODE_INSIDE ? 1 : -1;
            double far = 1e-6 * (double)f->grid->frame.step * (double)f->grid->frame.step;
            side = d < best - far ? is : d < best + far ? side + is : side;
            best = fmin(best, d);
        }
        inside += (side > 0) - (side < 0);
    }
    f->out->fills = inside < 0;
}

/* --- what was measured there ----------------------------------------------------------------- */

static bool is_measured(struct bins *bins, const float place[3], const float facing[3])
{
    float most = level * (float)grid_samples(bins->grid)->reach, nearest2;
    uint32_t nearest;
    size_t count = bins_near(bins, place, &nearest, &nearest2);
    for (size_t i = 0; i < count; i++) {
        const struct fuse_close *c = bins->close + i;
        const float *n = bins->sample[c->at].normal;
        if (bins_facing(bins->sample + c->at, facing) > alike &&
            fabsf(c->x * n[0] + c->y * n[1] + c->z * n[2]) < most)
            return true;
    }
    return false;
}

static enum status measure(struct fan *f, struct job *job)
{
    struct disc *d = f->out;
    size_t measured = 0;
    struct bins *bins = bins_new(f->grid, near_by * (float)grid_samples(f->grid)->reach);
    uint64_t block = UINT64_MAX;
    bool ok = bins != NULL;
    for (size_t i = 0; i < f->length && ok; i++) {
        node_id cell = f->net->cell[f->loop[i]];
        struct vec from = vec_sub(at(f, i), d->middle);
        float place[3], facing[3];
        from = vec_unit(vec_along(from, -vec_dot(from, d->axis), d->axis));
        floats_of(place, at(f, i));
        floats_of(facing, vec_scale(from, d->fills ? -1 : 1));
        if (cell >> 9 != block)
            ok = bins_fill(bins, (size_t)(cell >> 9));
        block = cell >> 9;
        measured += ok && is_measured(bins, place, facing);
    }
    bins_free(bins);
    d->measured = (double)measured / (double)f->length;
    return ok ? STATUS_OK : job_fail_memory(job, sizeof(struct bins));
}

/* --- its nodes ------------------------------------------------------------------------------- */

static bool push(struct fan *f, const uint32_t at[3])
{
    struct disc *d = f->out;
    if (d->count == f->room) {
        size_t room = f->room ? 2 * f->room : 64;
        struct disc_node *grown = realloc(d->node, room * sizeof *grown);
        if (!grown)
            return false;
        d->node = grown;
        f->room = room;
    }
    d->node[d->count++] = (struct disc_node){{at[0], at[1], at[2]}};
    return true;
}

static bool is_on_side(const struct grid *grid, node_id node, bool fills)
{
    uint8_t state = node == NO_NODE ? 0 : *node_state(grid, node);
    return (state & NODE_KNOWN) && !(state & NODE_INSIDE) == !fills;
}

static bool add_triangle(struct fan *f, const struct vec corner[3])
{
    const struct grid_frame *frame = &f->grid->frame;
    double step = (double)frame->step, most = thick * step;
    const double p[3][3] = {{corner[0].x, corner[0].y, corner[0].z},
                            {corner[1].x, corner[1].y, corner[1].z},
                            {corner[2].x, corner[2].y, corner[2].z}};
    uint32_t low[3], high[3], i[3];
    for (int d = 0; d < 3; d++) {
        double from = fmin(p[0][d], fmin(p[1][d], p[2][d])) - most - (double)frame->base[d];
        double end = fmax(p[0][d], fmax(p[1][d], p[2][d])) + most - (double)frame->base[d];
        low[d] = (uint32_t)fmax(ceil(from / step), 0);
        high[d] = (uint32_t)fmax(floor(end / step), 0);
    }
    for (i[2] = low[2]; i[2] <= high[2]; i[2]++)
        for (i[1] = low[1]; i[1] <= high[1]; i[1]++)
            for (i[0] = low[0]; i[0] <= high[0]; i[0]++) {
                struct vec place = vec((double)frame->base[0] + step * (double)i[0],
                                       (double)frame->base[1] + step * (double)i[1],
                                       (double)frame->base[2] + step * (double)i[2]);
                if (closest_distance2(place, corner) > most * most)
                    continue;
                if (!is_on_side(f->grid, grid_find(f->grid, i[0], i[1], i[2]), f->out->fills) &&
                    !push(f, i))
                    return false;
            }
    return true;
}

static int by_place(const void *x, const void *y)
{
    const struct disc_node *a = x, *b = y;
    for (int d = 2; d > 0; d--)
        if (a->at[d] != b->at[d])
            return a->at[d] < b->at[d] ? -1 : 1;
    return (a->at[0] > b->at[0]) - (a->at[0] < b->at[0]);
}

static void grow_box(struct grid_box *box, const uint32_t at[3])
{
    for (int d = 0; d < 3; d++) {
        box->low[d] = at[d] < box->low[d] ? at[d] : box->low[d];
        box->high[d] = at[d] > box->high[d] ? at[d] : box->high[d];
    }
}

static void sort_nodes(struct fan *f)
{
    struct disc *d = f->out;
    size_t kept = 0;
    if (d->count)
        qsort(d->node, d->count, sizeof *d->node, by_place);
    for (size_t i = 0; i < d->count; i++)
        if (i == 0 || by_place(&d->node[i], &d->node[i - 1]) != 0)
            d->node[kept++] = d->node[i];
    d->count = kept;
    d->box = (struct grid_box){{NO_INDEX, NO_INDEX, NO_INDEX}, {0, 0, 0}};
    for (size_t i = 0; i < f->length; i++) {
        uint32_t cell[3];
        grid_indices(f->grid, f->net->cell[f->loop[i]], cell);
        grow_box(&d->box, cell);
    }
    for (size_t i = 0; i < d->count; i++)
        grow_box(&d->box, d->node[i].at);
}

enum status disc_make(const struct grid *grid, const struct net *net, const uint32_t *loop,
                      size_t length, struct disc *out, struct job *job)
{
    struct fan f = {.grid = grid, .net = net, .loop = loop, .length = length, .out = out};
    *out = (struct disc){.area = 0};
    measure_fan(&f);
    choose_side(&f);
    enum status status = measure(&f, job);
    for (size_t i = 0; i < length && status == STATUS_OK; i++) {
        const struct vec corner[3] = {out->middle, at(&f, i), at(&f, i + 1)};
        if (!add_triangle(&f, corner))
            status = job_fail_memory(job, f.room * sizeof *out->node);
    }
    sort_nodes(&f);
    if (status != STATUS_OK)
        disc_release(out);
    return status;
}

void disc_release(struct disc *disc)
{
    free(disc->node);
    *disc = (struct disc){.area = 0};
}

/* --- putting them on their side -------------------------------------------------------------- */

enum { GROWTH = 4, GROWTH_LEAST = 64 }; /* of the nodes that change, beside the disc's */

static void turn(const struct grid *grid, node_id node, bool inside)
{
    uint8_t *state = node_state(grid, node);
    float value = grid->frame.step; /* an outside node that is to stay so */
    *state = (uint8_t)((*state & ~NODE_INSIDE) | NODE_KNOWN | (inside ? NODE_INSIDE : 0));
    *node_value(grid, node) = inside ? -value : value;
}

/* What the disc passes and nobody has asked about yet is inside where it cuts. */
static unsigned inside_bits(const struct grid *grid, const node_id corner[8])
{
    unsigned bits = 0;
    for (int c = 0; c < 8; c++) {
        uint8_t state = corner[c] == NO_NODE ? 0 : *node_state(grid, corner[c]);
        if (!(state & NODE_KNOWN) || state & NODE_INSIDE)
            bits |= 1u << c;
    }
    return bits;
}

/* Turns corners of the cell outward, the nearest to the surface first, until its signs are
 * well-composed. */
static bool cut_cell(struct fan *f, node_id cell)
{
    const struct grid *grid = f->grid;
    node_id corner[8];
    cell_corners(grid, cell, corner);
    for (unsigned turns; (turns = sheet_faults(255 & ~inside_bits(grid, corner)));) {
        int best = -1;
        for (int c = 0; c < 8; c++) {
            if (!(turns >> c & 1) || corner[c] == NO_NODE)
                continue;
            bool known = *node_state(grid, corner[c]) & NODE_KNOWN;
            if (best < 0 ||
                (known && *node_value(grid, corner[c]) > *node_value(grid, corner[best])))
                best = c;
        }
        if (best < 0)
            return true;
        uint32_t at[3];
        turn(grid, corner[best], false);
        grid_indices(grid, corner[best], at);
        if (!push(f, at))
            return false;
    }
    return true;
}

/* The grid's node at these indices, its block made where there is none. */
static node_id reach_node(struct grid *grid, const uint32_t at[3])
{
    node_id found = grid_find(grid, at[0], at[1], at[2]);
    if (found != NO_NODE)
        return found;
    uint32_t block = grid_add(grid, grid_key(at[0] >> 3, at[1] >> 3, at[2] >> 3));
    return block == NO_INDEX ? NO_NODE : grid_find(grid, at[0], at[1], at[2]);
}

/* The cells that a node is a corner of, made where there are none; one of NO_NODE: the grid ends
 * there, or memory. */
static bool cells_around(struct grid *grid, const struct disc_node *at, node_id cell[8])
{
    node_id node = reach_node(grid, at->at);
    bool ok = node != NO_NODE;
    for (int k = 0; k < 8 && ok; k++) {
        cell[k] = grid_reach(grid, node, -(k & 1), -(k >> 1 & 1), -(k >> 2));
        ok = cell[k] != NO_NODE;
    }
    return ok;
}

bool disc_apply(struct grid *grid, struct disc *disc)
{
    struct fan f = {.grid = grid, .out = disc, .room = disc->count};
    size_t most = GROWTH * disc->count + GROWTH_LEAST;
    node_id cell[8];
    for (size_t i = 0; i < disc->count; i++) {
        node_id node = reach_node(grid, disc->node[i].at);
        if (node == NO_NODE)
            return false;
        turn(grid, node, disc->fills);
    }
    for (size_t i = 0; i < disc->count && !disc->fills; i++) {
        bool ok = disc->count <= most && cells_around(grid, &disc->node[i], cell);
        for (int k = 0; k < 8 && ok; k++)
            ok = cut_cell(&f, cell[k]);
        if (!ok)
            return false;
    }
    for (size_t i = 0; i < disc->count; i++) {
        if (!cells_around(grid, &disc->node[i], cell))
            return false;
        for (int k = 0; k < 8; k++)
            *node_state(grid, cell[k]) |= CELL_ACTIVE | CELL_MARKED;
    }
    return true;
}
