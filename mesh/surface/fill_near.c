#include "surface/fill_near.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/lanes.h"

enum {
    CELLS = 512,          /* along a side of the grid */
    SIDE = CELLS / 8 + 2, /* bricks along it, with those before and behind, which stay empty */
    BLOCK = 4096,         /* triangles a thread takes at once; whole words of bits */
    BRICKS_MEAN = 16,     /* a triangle may span on average, before all are listed */
    FIELD =
        10 /* bits of a coordinate of a cell: 8 to CELLS + 7; below lies what is before the grid */
};

#define SEVERAL UINT32_MAX

struct brick {
    uint64_t lid[8], other[8]; /* a word a layer, a byte a row: cells that lids take; those that
                                  what lids may meet takes */
};

struct range { /* of cells, both ends included */
    unsigned low[3], high[3];
};

struct grid {
    const struct mesh *mesh;
    const struct lids *lids;
    size_t first; /* of the lids' triangles */
    lanes low;
    uint32_t *cell;  /* one a vertex: x, y and z in FIELD bits each */
    float per;       /* cells a mm */
    uint32_t *at;    /* SIDE^3: the brick there + 1; 0: none */
    uint32_t *owner; /* SIDE^3: the lid in the brick, SEVERAL when there are more */
    struct brick *brick;
    uint32_t bricks;
    uint64_t *listed;      /* a bit a triangle */
    atomic_size_t spanned; /* bricks, by all triangles */
    size_t most;
    struct job *job;
};

static void triangle_box(const struct mesh *mesh, size_t t, lanes *low, lanes *high)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    const struct point *p = mesh_point(mesh);
    lanes a = {p[v[0]].x, p[v[0]].y, p[v[0]].z, 0}, b = {p[v[1]].x, p[v[1]].y, p[v[1]].z, 0};
    lanes c = {p[v[2]].x, p[v[2]].y, p[v[2]].z, 0};
    *low = lanes_min(lanes_min(a, b), c);
    *high = lanes_max(lanes_max(a, b), c);
}

/* Which cell a coordinate lies in grows with it whatever rounds, so boxes that meet share a cell.
 */
static uint32_t cell_of(const struct grid *g, struct point p)
{
    lanes at = ((lanes){p.x, p.y, p.z, 0} - g->low) * lanes_all(g->per);
    at = lanes_min(lanes_max(at, lanes_all(-1)), lanes_all(CELLS)) + lanes_all(8);
    int_lanes cell = __builtin_convertvector(at, int_lanes);
    return (uint32_t)(cell[0] | cell[1] << FIELD | cell[2] << 2 * FIELD);
}

static void find_cells(const struct grid *g)
{
    size_t vertices = mesh_vertices(g->mesh);
#pragma omp parallel for num_threads(job_threads(g->job)) schedule(static)
    for (size_t v = 0; v < vertices; v++)
        g->cell[v] = cell_of(g, mesh_point(g->mesh)[v]);
}

static unsigned field(uint32_t cell, int axis)
{
    return cell >> FIELD * axis & ((1u << FIELD) - 1);
}

static size_t place_of(unsigned x, unsigned y, unsigned z) /* of a brick */
{
    return (z * SIDE + y) * SIDE + x;
}

/* Whether all three cells are in one brick, and that is empty. */
static bool in_empty_brick(const struct grid *g, const uint32_t cell[3])
{
    const uint32_t brick = (1u << FIELD) - 8, bricks = brick | brick << FIELD | brick << 2 * FIELD;
    return (((cell[0] ^ cell[1]) | (cell[0] ^ cell[2])) & bricks) == 0 &&
           !g->at[place_of(field(cell[0], 0) / 8, field(cell[0], 1) / 8, field(cell[0], 2) / 8)];
}

static void cells_of(const struct grid *g, size_t t, uint32_t cell[3])
{
    for (int k = 0; k < 3; k++)
        cell[k] = g->cell[mesh_triangle(g->mesh)[t].v[k]];
}

static struct range range_of(const uint32_t cell[3])
{
    struct range range;
    for (int k = 0; k < 3; k++) {
        unsigned a = field(cell[0], k), b = field(cell[1], k), c = field(cell[2], k);
        unsigned low = a < b ? a : b, high = a < b ? b : a;
        range.low[k] = low < c ? low : c;
        range.high[k] = high < c ? c : high;
    }
    return range;
}

static size_t bricks_in(const struct range *r)
{
    size_t count = 1;
    for (int k = 0; k < 3; k++)
        count *= r->high[k] / 8 - r->low[k] / 8 + 1;
    return count;
}

/* The first and the last cell of the range in a brick it passes through, 0 to 7. */
static unsigned first_in(const struct range *r, int axis, unsigned brick)
{
    return r->low[axis] / 8 == brick ? r->low[axis] % 8 : 0;
}
static unsigned last_in(const struct range *r, int axis, unsigned brick)
{
    return r->high[axis] / 8 == brick ? r->high[axis] % 8 : 7;
}

/* The bits, of a layer of the brick at x and y, that the range takes. */
static uint64_t layer_bits(const struct range *r, unsigned x, unsigned y)
{
    uint64_t row = (UINT64_C(2) << last_in(r, 0, x)) - (UINT64_C(1) << first_in(r, 0, x));
    uint64_t rows = UINT64_MAX >> 8 * (7 - last_in(r, 1, y));
    return row * UINT64_C(0x0101010101010101) & rows & UINT64_MAX << 8 * first_in(r, 1, y);
}

enum deed { MARK_LID, MARK_OTHER, LOOK_FOR_LID, LOOK_FOR_OTHER };

static bool do_brick(struct brick *brick, const struct range *r, unsigned x, unsigned y, unsigned z,
                     enum deed deed)
{
    uint64_t bits = layer_bits(r, x, y), met = 0;
    for (unsigned k = first_in(r, 2, z); k <= last_in(r, 2, z); k++) {
        bool lid = deed == MARK_LID || deed == LOOK_FOR_LID;
        uint64_t *word = (lid ? brick->lid : brick->other) + k;
        if (deed == MARK_LID || deed == MARK_OTHER)
#pragma omp atomic
            *word |= bits;
        else
            met |= *word & bits;
    }
    return met != 0;
}

/* Does that in all bricks of the range; whether anything was met. */
static bool go_through(const struct grid *g, const struct range *r, enum deed deed)
{
    for (unsigned z = r->low[2] / 8; z <= r->high[2] / 8; z++)
        for (unsigned y = r->low[1] / 8; y <= r->high[1] / 8; y++)
            for (unsigned x = r->low[0] / 8; x <= r->high[0] / 8; x++) {
                size_t place = place_of(x, y, z);
                uint32_t b = g->at[place];
                if (b && do_brick(g->brick + b - 1, r, x, y, z, deed))
                    return true;
                if (b && deed == MARK_LID && g->owner[place] == SEVERAL)
                    do_brick(g->brick + b - 1, r, x, y, z, MARK_OTHER);
            }
    return false;
}

/* --- passes over the triangles --------------------------------------------------------------- */

static void number_brick(struct grid *g, size_t place, uint32_t lid)
{
    if (!g->at[place]) {
        g->at[place] = ++g->bricks;
        g->owner[place] = lid;
    } else if (g->owner[place] != lid) {
        g->owner[place] = SEVERAL;
    }
}

/* The bricks that a lid's triangles need; in one thread, since they are numbered. */
static void number_bricks(struct grid *g, uint32_t lid)
{
    size_t spanned = atomic_load(&g->spanned);
    uint32_t cell[3];
    for (size_t t = g->lids->start[lid]; t < g->lids->start[lid + 1] && spanned <= g->most; t++) {
        cells_of(g, t, cell);
        struct range r = range_of(cell);
        spanned += bricks_in(&r);
        for (unsigned z = r.low[2] / 8; z <= r.high[2] / 8 && spanned <= g->most; z++)
            for (unsigned y = r.low[1] / 8; y <= r.high[1] / 8; y++)
                for (unsigned x = r.low[0] / 8; x <= r.high[0] / 8; x++)
                    number_brick(g, place_of(x, y, z), g->lids->whole[lid] ? SEVERAL : lid);
    }
    atomic_store(&g->spanned, spanned);
}

static void mark_lids(struct grid *g)
{
#pragma omp parallel for num_threads(job_threads(g->job)) schedule(dynamic)
    for (size_t i = 0; i < g->lids->count; i++)
        for (size_t t = g->lids->start[i]; t < g->lids->start[i + 1]; t++) {
            uint32_t cell[3];
            if (job_cancelled(g->job))
                continue;
            cells_of(g, t, cell);
            struct range r = range_of(cell);
            go_through(g, &r, MARK_LID);
        }
}

static void list_one(struct grid *g, size_t t)
{
    g->listed[t / 64] |= UINT64_C(1) << t % 64;
}

static void look_at_old(struct grid *g, size_t begin, size_t end)
{
    size_t spanned = 0;
    for (size_t t = begin; t < end; t++) {
        uint32_t cell[3];
        cells_of(g, t, cell);
        if (in_empty_brick(g, cell))
            continue;
        struct range r = range_of(cell);
        spanned += bricks_in(&r);
        if (!go_through(g, &r, LOOK_FOR_LID))
            continue;
        go_through(g, &r, MARK_OTHER);
        list_one(g, t);
    }
    atomic_fetch_add(&g->spanned, spanned);
}

static void look_at_lids(struct grid *g, size_t begin, size_t end)
{
    for (size_t t = begin; t < end; t++) {
        uint32_t cell[3];
        cells_of(g, t, cell);
        struct range r = range_of(cell);
        if (go_through(g, &r, LOOK_FOR_OTHER))
            list_one(g, t);
    }
}

static void look(struct grid *g, bool lids)
{
    size_t from = lids ? g->first / BLOCK : 0, triangles = mesh_triangles(g->mesh);
    size_t to = ((lids ? triangles : g->first) + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(g->job)) schedule(dynamic)
    for (size_t b = from; b < to; b++) {
        size_t begin = b * BLOCK, end = begin + BLOCK;
        if (job_cancelled(g->job) || atomic_load(&g->spanned) > g->most)
            continue;
        if (lids)
            look_at_lids(g, begin > g->first ? begin : g->first, end < triangles ? end : triangles);
        else
            look_at_old(g, begin, end < g->first ? end : g->first);
    }
}

/* --- the grid -------------------------------------------------------------------------------- */

/* False when sizes leave the range of a float. */
static bool lay_grid(struct grid *g)
{
    size_t triangles = mesh_triangles(g->mesh);
    lanes low, high, a, b;
    triangle_box(g->mesh, g->first, &low, &high);
    for (size_t t = g->first + 1; t < triangles; t++) {
        triangle_box(g->mesh, t, &a, &b);
        low = lanes_min(low, a);
        high = lanes_max(high, b);
    }
    double size = 0;
    for (int k = 0; k < 3; k++)
        size = fmax(size, (double)high[k] - (double)low[k]);
    g->low = low;
    g->per = size > 0 ? (float)(CELLS / size) : 1;
    return size < 1e30 && g->per < 1e30f;
}

/* *all: everything is to be listed. False when out of memory. */
static bool sort_out(struct grid *g, bool *all)
{
    const size_t places = (size_t)SIDE * SIDE * SIDE;
    g->at = calloc(places, sizeof *g->at);
    g->owner = malloc(places * sizeof *g->owner);
    g->cell = scratch_new(mesh_vertices(g->mesh), sizeof *g->cell);
    g->listed = calloc(mesh_triangles(g->mesh) / 64 + 1, sizeof *g->listed);
    if (!g->at || !g->owner || !g->cell || !g->listed)
        return false;
    bool fits = lay_grid(g);
    if (fits)
        find_cells(g);
    for (uint32_t i = 0; i < g->lids->count && fits; i++)
        number_bricks(g, i);
    *all = !fits || atomic_load(&g->spanned) > g->most;
    if (*all)
        return true;
    g->brick = calloc(g->bricks, sizeof *g->brick);
    if (!g->brick)
        return false;
    mark_lids(g);
    look(g, false);
    look(g, true);
    *all = atomic_load(&g->spanned) > g->most;
    return true;
}

static uint32_t *make_list(const struct grid *g, bool all, size_t *count)
{
    size_t triangles = mesh_triangles(g->mesh), listed = 0;
    for (size_t i = 0; i <= triangles / 64 && !all; i++)
        listed += (size_t)__builtin_popcountll(g->listed[i]);
    uint32_t *list = scratch_new(all ? triangles : listed, sizeof *list);
    *count = 0;
    for (uint32_t t = 0; t < triangles && all && list; t++)
        list[(*count)++] = t;
    for (size_t i = 0; i <= triangles / 64 && !all && list; i++)
        for (uint64_t bits = g->listed[i]; bits; bits &= bits - 1)
            list[(*count)++] = (uint32_t)(64 * i + (size_t)__builtin_ctzll(bits));
    return list;
}

enum status fill_near(const struct mesh *mesh, const struct lids *lids, uint32_t **list,
                      size_t *count, struct job *job)
{
    struct grid g = {.mesh = mesh, .lids = lids, .first = lids->start[0], .job = job};
    bool all = false;
    g.most = BRICKS_MEAN * mesh_triangles(mesh) + 1000;
    *list = NULL;
    *count = 0;
    if (g.first == mesh_triangles(mesh))
        return STATUS_OK;
    if (sort_out(&g, &all))
        *list = make_list(&g, all, count);
    free(g.at);
    free(g.owner);
    scratch_free(g.cell);
    free(g.brick);
    free(g.listed);
    if (*list && job_cancelled(job)) {
        scratch_free(*list);
        *list = NULL;
        return job_fail_cancelled(job);
    }
    return *list ? STATUS_OK : job_fail_memory(job, mesh_triangles(mesh) * sizeof **list);
}
