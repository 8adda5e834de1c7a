/* Which points stand on the table, seen from above: a grid over the table's plane, in which what is
 * a little higher makes walls. Points in the plane are the table's, unless walls shut them in and
 * something lies above them (a foot), or a wall goes straight up from them (its lowest part). What
 * is between low and high stands where it lies beside a wall. */
#include <string.h>

#include "core/job.h"
#include "scan/clear_parts.h"

enum { BAND = 1, WALL = 2, BETWEEN = 4, COVERED = 8, OUTSIDE = 16, SHUT = 32, FOOT = 64 };
enum { MOST_CELLS = 1 << 24, STEPS = 24, BLOCK = 65536 };

struct grid {
    struct clearing *c;
    struct vec u, v;     /* of the table's frame */
    double low[2], cell; /* mm */
    double spacing;      /* mm: between points of the table, as it would be on a square grid */
    double wall;         /* mm: what is higher than that makes no wall */
    size_t n[2];
    uint8_t *flag;   /* one a cell */
    uint32_t *stack; /* room for all cells */
    uint32_t *start; /* cells + 1: the wall's points of cell i are of[start[i]] ... */
    uint32_t *of;
};

static void place(const struct grid *g, size_t v, double at[2])
{
    struct vec d = vec_sub(point_vec(mesh_point(g->c->mesh)[v]), g->c->table.surface.plane.through);
    at[0] = vec_dot(d, g->u);
    at[1] = vec_dot(d, g->v);
}

static bool in_band(const struct clearing *c, size_t v)
{
    return fabsf(c->height[v]) <= c->low;
}

/* The cell of a vertex, or NO_INDEX outside of the grid. */
static uint32_t cell_of(const struct grid *g, size_t v)
{
    double at[2];
    size_t k[2];
    place(g, v, at);
    for (int i = 0; i < 2; i++) {
        double x = (at[i] - g->low[i]) / g->cell;
        if (!(x >= 0) || x >= (double)g->n[i])
            return NO_INDEX;
        k[i] = (size_t)x;
    }
    return (uint32_t)(k[1] * g->n[0] + k[0]);
}

/* --- the grid -------------------------------------------------------------------------------- */

struct region {
    double low[2], high[2];
    size_t points;
};

static struct region band_region(const struct grid *g)
{
    struct region r = {{INFINITY, INFINITY}, {-INFINITY, -INFINITY}, 0};
    for (size_t v = 0; v < mesh_vertices(g->c->mesh) && !stopped(g->c, v); v++) {
        double at[2];
        if (!in_band(g->c, v))
            continue;
        place(g, v, at);
        for (int i = 0; i < 2; i++) {
            r.low[i] = fmin(r.low[i], at[i]);
            r.high[i] = fmax(r.high[i], at[i]);
        }
        r.points++;
    }
    return r;
}

/* Lays out cells of that size with an empty rim around the region; false: too many. */
static bool lay_out(struct grid *g, const struct region *r, double cell)
{
    double n[2];
    for (int i = 0; i < 2; i++) {
        n[i] = floor((r->high[i] - r->low[i]) / cell) + 5;
        g->low[i] = r->low[i] - 2 * cell;
    }
    if (!(n[0] * n[1] <= MOST_CELLS))
        return false;
    g->cell = cell;
    for (int i = 0; i < 2; i++)
        g->n[i] = (size_t)n[i];
    return true;
}

static size_t cells(const struct grid *g)
{
    return g->n[0] * g->n[1];
}

/* How many cells the table takes. */
static size_t occupied(struct grid *g)
{
    size_t count = 0;
    memset(g->flag, 0, cells(g));
    for (size_t v = 0; v < mesh_vertices(g->c->mesh) && !stopped(g->c, v); v++) {
        uint32_t i = in_band(g->c, v) ? cell_of(g, v) : NO_INDEX;
        if (i == NO_INDEX || g->flag[i])
            continue;
        g->flag[i] = BAND;
        count++;
    }
    return count ? count : 1; /* none only when stopped */
}

/* The spacing from how many points share a cell, in cells that hold three to ten each. */
static void find_spacing(struct grid *g, const struct region *r)
{
    double size = fmax(r->high[0] - r->low[0], r->high[1] - r->low[1]);
    double cell = fmax(size, 1e-30) * 2 / sqrt((double)r->points), each = 0;
    for (int i = 0; i < STEPS && !job_cancelled(g->c->job); i++) {
        while (!lay_out(g, r, cell))
            cell *= 1.5;
        each = (double)r->points / (double)occupied(g);
        double next = each < 3 ? cell * 1.6 : each > 10 ? cell / 1.7 : cell;
        if (next == cell || cell > 2 * size || (next < cell && !lay_out(g, r, next)))
            break;
        cell = next;
    }
    while (!lay_out(g, r, cell))
        cell *= 1.5;
    g->spacing = cell / sqrt((double)r->points / (double)occupied(g));
    cell = 2.5 * g->spacing;
    while (!lay_out(g, r, cell))
        cell *= 1.5;
    g->wall = g->c->high + g->cell;
}

static bool is_wall(const struct grid *g, size_t v)
{
    return g->c->height[v] > g->c->low && g->c->height[v] <= g->wall;
}

static void fill_in(struct grid *g)
{
    const struct clearing *c = g->c;
    memset(g->flag, 0, cells(g));
    for (size_t v = 0; v < mesh_vertices(c->mesh) && !stopped(c, v); v++) {
        uint32_t i = cell_of(g, v);
        if (i == NO_INDEX)
            continue;
        float h = c->height[v];
        if (in_band(c, v))
            g->flag[i] |= BAND;
        else if (h > c->low && h <= c->high)
            g->flag[i] |= BETWEEN;
        else if (h > c->high)
            g->flag[i] |= COVERED | (h <= g->wall ? WALL : 0);
    }
}

/* --- floods ---------------------------------------------------------------------------------- */

/* The cells around cell i, of four or eight; the rim's cells have none outside. Returns how many.
 */
static int around(const struct grid *g, uint32_t i, bool eight, uint32_t to[8])
{
    static const int step[8][2] = {{1, 0}, {-1, 0}, {0, 1},  {0, -1},
                                   {1, 1}, {1, -1}, {-1, 1}, {-1, -1}};
    long x = (long)(i % g->n[0]), y = (long)(i / g->n[0]);
    int n = 0;
    for (int k = 0; k < (eight ? 8 : 4); k++) {
        long a = x + step[k][0], b = y + step[k][1];
        if (a >= 0 && b >= 0 && a < (long)g->n[0] && b < (long)g->n[1])
            to[n++] = (uint32_t)(b * (long)g->n[0] + a);
    }
    return n;
}

/* From the `top` cells on the stack, which are marked, to those around that have any of `any` and
 * none of `none`: marks them. The stack is used up; returns how many were reached, and in *band and
 * *covered how many of the table's cells these are, and how many of those are covered. */
static size_t flood(struct grid *g, size_t top, bool eight, uint8_t any, uint8_t none, uint8_t mark,
                    size_t *band, size_t *covered)
{
    size_t reached = 0;
    *band = *covered = 0;
    while (top > 0) {
        uint32_t i = g->stack[--top], to[8];
        reached++;
        *band += (g->flag[i] & BAND) != 0;
        *covered += (g->flag[i] & BAND) && (g->flag[i] & COVERED);
        int n = around(g, i, eight, to);
        for (int k = 0; k < n; k++) {
            uint8_t *flag = &g->flag[to[k]];
            if ((*flag & (none | mark)) || (any && !(*flag & any)))
                continue;
            *flag |= mark;
            g->stack[top++] = to[k];
        }
    }
    return reached;
}

/* What lies between low and high beside a wall is part of it. */
static void widen_walls(struct grid *g)
{
    size_t top = 0, band, covered;
    for (size_t i = 0; i < cells(g); i++)
        if (g->flag[i] & WALL)
            g->stack[top++] = (uint32_t)i;
    flood(g, top, true, BETWEEN, 0, WALL, &band, &covered);
}

/* Finds what walls shut in, and which of it is a foot. */
static enum status find_feet(struct grid *g)
{
    size_t band, covered;
    g->stack[0] = 0; /* a cell of the empty rim */
    g->flag[0] |= OUTSIDE;
    flood(g, 1, false, 0, WALL, OUTSIDE, &band, &covered);
    for (size_t i = 0; i < cells(g); i++) {
        if (i % BLOCK == 0 && job_cancelled(g->c->job))
            return job_fail_cancelled(g->c->job);
        if (g->flag[i] & (WALL | OUTSIDE | SHUT))
            continue;
        g->stack[0] = (uint32_t)i;
        g->flag[i] |= SHUT;
        flood(g, 1, false, 0, WALL | OUTSIDE, SHUT, &band, &covered);
        if (2 * covered <= band)
            continue;
        g->stack[0] = (uint32_t)i;
        g->flag[i] |= FOOT;
        flood(g, 1, false, SHUT, WALL | OUTSIDE, FOOT, &band, &covered);
    }
    return STATUS_OK;
}

/* --- points ---------------------------------------------------------------------------------- */

/* Sorts the walls' points by their cells. */
static enum status sort_walls(struct grid *g)
{
    size_t vertices = mesh_vertices(g->c->mesh), count = 0;
    if (job_cancelled(g->c->job))
        return job_fail_cancelled(g->c->job);
    g->start = scratch_new(cells(g) + 1, sizeof *g->start);
    if (!g->start)
        return job_fail_memory(g->c->job, cells(g) * sizeof *g->start);
    memset(g->start, 0, (cells(g) + 1) * sizeof *g->start);
    for (size_t v = 0; v < vertices; v++) {
        uint32_t i = is_wall(g, v) ? cell_of(g, v) : NO_INDEX;
        if (i != NO_INDEX && g->flag[i] & WALL)
            g->start[i + 1]++, count++;
    }
    g->of = scratch_new(count + 1, sizeof *g->of);
    if (!g->of)
        return job_fail_memory(g->c->job, count * sizeof *g->of);
    for (size_t i = 0; i < cells(g); i++)
        g->start[i + 1] += g->start[i];
    for (size_t v = vertices; v-- > 0;) {
        uint32_t i = is_wall(g, v) ? cell_of(g, v) : NO_INDEX;
        if (i != NO_INDEX && g->flag[i] & WALL)
            g->of[--g->start[i + 1]] = (uint32_t)v;
    }
    for (size_t i = 0; i < cells(g); i++) /* the ends have become the beginnings */
        g->start[i] = g->start[i + 1];
    g->start[cells(g)] = (uint32_t)count;
    return STATUS_OK;
}

/* What the walls' points about a point in the plane say of it. */
struct wall_by {
    bool goes_up;   /* one lies above it, within a spacing and a half and not far aside */
    double away[2]; /* from the one nearest aside to the point */
    double aside;   /* how far that is; INFINITY: there is none */
};

static void ask_wall(const struct grid *g, uint32_t cell, size_t v, struct wall_by *by)
{
    double at[2], other[2];
    place(g, v, at);
    for (uint32_t i = g->start[cell]; i < g->start[cell + 1]; i++) {
        double up = (double)g->c->height[g->of[i]] - (double)g->c->height[v];
        place(g, g->of[i], other);
        double aside = hypot(at[0] - other[0], at[1] - other[1]);
        by->goes_up = by->goes_up || (up <= 1.5 * g->spacing && aside <= 0.5 * up);
        if (aside < by->aside)
            *by = (struct wall_by){by->goes_up, {at[0] - other[0], at[1] - other[1]}, aside};
    }
}

static double cell_place(const struct grid *g, uint32_t cell, int axis)
{
    return (double)(axis ? cell / g->n[0] : cell % g->n[0]);
}

/* In a cell of a wall beside a foot: whether the point lies on the foot's side of the wall. */
static bool on_foot_side(const struct grid *g, uint32_t cell, const uint32_t *to, int n,
                         const struct wall_by *by)
{
    double toward[2] = {0, 0};
    for (int k = 0; k < n; k++)
        if (g->flag[to[k]] & FOOT)
            for (int i = 0; i < 2; i++)
                toward[i] += cell_place(g, to[k], i) - cell_place(g, cell, i);
    double length = hypot(toward[0], toward[1]);
    if (!(length > 0) || !isfinite(by->aside))
        return false;
    double along = (by->away[0] * toward[0] + by->away[1] * toward[1]) / length;
    return along >= -0.3 * g->spacing;
}

/* What the cloud's own normals say of a point in the plane: -1 looks down, 0 sideways or nothing.
 */
static bool looks_down(const struct clearing *c, size_t v)
{
    const struct point *normal = mesh_attribute(c->mesh, ATTRIBUTE_normal);
    return normal && vec_dot(vec_unit(point_vec(normal[v])), c->table.surface.plane.normal) < -0.5;
}

static bool stands_in_plane(const struct grid *g, uint32_t cell, size_t v)
{
    bool faces = g->c->table.faces;
    uint32_t to[9];
    int n = around(g, cell, true, to);
    if (faces ? looks_down(g->c, v) : (g->flag[cell] & FOOT) != 0)
        return true;
    struct wall_by by = {.aside = INFINITY};
    to[n++] = cell;
    for (int k = 0; k < n && !by.goes_up; k++)
        if (g->flag[to[k]] & WALL)
            ask_wall(g, to[k], v, &by);
    return by.goes_up || (!faces && g->flag[cell] & WALL && on_foot_side(g, cell, to, n, &by));
}

static bool stands(const struct grid *g, size_t v)
{
    const struct clearing *c = g->c;
    float h = c->height[v];
    if (h > c->high)
        return true;
    uint32_t cell = cell_of(g, v);
    if (h > c->low) /* outside of the table's box nothing tells: it stays */
        return cell == NO_INDEX || g->flag[cell] & (c->table.faces ? WALL : WALL | FOOT);
    return h >= -c->high && cell != NO_INDEX && stands_in_plane(g, cell, v);
}

static enum status judge_points(const struct grid *g)
{
    struct clearing *c = g->c;
    size_t vertices = mesh_vertices(c->mesh);
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(dynamic)
    for (size_t b = 0; b < vertices; b += BLOCK)
        for (size_t v = b; v < vertices && v < b + BLOCK && !job_cancelled(c->job); v++)
            c->stands[v] = stands(g, v);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

static enum status judge(struct grid *g, const struct region *region)
{
    g->flag = scratch_new(MOST_CELLS, 1);
    if (!g->flag)
        return job_fail_memory(g->c->job, MOST_CELLS);
    find_spacing(g, region);
    g->stack = scratch_new(cells(g), sizeof *g->stack);
    if (!g->stack)
        return job_fail_memory(g->c->job, cells(g) * sizeof *g->stack);
    fill_in(g);
    widen_walls(g);
    enum status status = job_cancelled(g->c->job) ? job_fail_cancelled(g->c->job) : find_feet(g);
    if (status == STATUS_OK)
        status = sort_walls(g);
    return status == STATUS_OK ? judge_points(g) : status;
}

enum status clear_by_places(struct clearing *c)
{
    struct grid grid = {.c = c};
    vec_frame(c->table.surface.plane.normal, &grid.u, &grid.v);
    struct region region = band_region(&grid);
    enum status status = STATUS_OK;
    if (region.points == 0)
        for (size_t v = 0; v < mesh_vertices(c->mesh); v++)
            c->stands[v] = c->height[v] > c->low;
    else
        status = judge(&grid, &region);
    scratch_free(grid.flag);
    scratch_free(grid.stack);
    scratch_free(grid.start);
    scratch_free(grid.of);
    return status;
}
