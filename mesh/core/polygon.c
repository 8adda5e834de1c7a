/* Ear clipping after Meisters 1975, "Polygons have ears", American Mathematical Monthly 82. Only
 * corners that are not convex can lie in an ear; a grid finds those near one. All turns are exact.
 * What is no simple polygon may have no ear left: then the demands are lowered step by step, so
 * that count - 2 triangles always come out, and an allowance of tests keeps hostile input from
 * taking quadratic time. */
#include "core/polygon.h"

#include <stdbool.h>
#include <string.h>

#include "core/array.h"
#include "core/exact.h"
#include "core/job.h"

enum { FEW = 64 /* corners that do without scratch memory */, GRID_MOST = 512 };

enum demand {                /* of an ear; the next one when none is left that meets it */
              DEMAND_EMPTY,  /* convex and empty */
              DEMAND_FLAT,   /* or without area */
              DEMAND_CONVEX, /* convex, whatever lies in it */
              DEMAND_NONE
};

struct clip {
    double (*at)[2]; /* the corners, projected so that the polygon runs counter-clockwise */
    uint32_t *next, *prev;
    uint32_t *cell; /* side * side + 1 starts into item */
    uint32_t *item; /* corners that were not convex at the beginning, by cell */
    uint32_t side;
    double low[2], scale[2];
    uint64_t allowance; /* tests left */
};

/* --- into the plane ---------------------------------------------------------------------- */

/* Newell's normal: half its length is the area, whatever the shape. */
static struct vec newell(const struct vec *corner, uint32_t count)
{
    struct vec sum = {0, 0, 0}, before = vec(0, 0, 0);
    for (uint32_t i = 1; i < count; i++) {
        struct vec here = vec_sub(corner[i], corner[0]);
        sum = vec_add(sum, vec_cross(before, here));
        before = here;
    }
    return sum;
}

/* Leaves the axis of the normal's largest component out; swaps the others when it points down. */
static void project(const struct vec *corner, uint32_t count, double (*at)[2])
{
    struct vec n = newell(corner, count);
    double x = fabs(n.x), y = fabs(n.y), z = fabs(n.z);
    int axis = x > y && x > z ? 0 : y > z ? 1 : 2;
    double along = axis == 0 ? n.x : axis == 1 ? n.y : n.z;
    int u = (axis + 1) % 3, v = (axis + 2) % 3;
    for (uint32_t i = 0; i < count; i++) {
        const double p[3] = {corner[i].x, corner[i].y, corner[i].z};
        at[i][0] = along < 0 ? p[v] : p[u];
        at[i][1] = along < 0 ? p[u] : p[v];
    }
}

/* Whether the fan from corner 0 covers the polygon: every triangle runs counter-clockwise, and
 * together they turn less than once around. */
static bool fan_fits(const double (*at)[2], uint32_t count)
{
    bool behind = false;
    for (uint32_t i = 1; i + 1 < count; i++) {
        if (exact_turn(at[0], at[i], at[i + 1]) <= 0)
            return false;
        int side = exact_turn(at[0], at[1], at[i + 1]);
        if (behind && side >= 0)
            return false;
        behind = side < 0 || behind;
    }
    return true;
}

/* --- ears -------------------------------------------------------------------------------- */

static int turn_at(const struct clip *clip, uint32_t i)
{
    return exact_turn(clip->at[clip->prev[i]], clip->at[i], clip->at[clip->next[i]]);
}

static bool equal(const double a[2], const double b[2])
{
    return a[0] == b[0] && a[1] == b[1];
}

/* Whether p lies strictly inside the angle at `apex` from `right` counter-clockwise to `left`,
 * which is less than half a turn. */
static bool in_angle(const double apex[2], const double right[2], const double left[2],
                     const double p[2])
{
    return exact_turn(apex, right, p) > 0 && exact_turn(apex, p, left) > 0;
}

/* Whether corner i stands in the way of the ear a b c. One at the very place of an ear's corner
 * does when the polygon goes on from it into the ear. */
static bool obstructs(const struct clip *clip, uint32_t i, const double *a, const double *b,
                      const double *c)
{
    const double *p = clip->at[i], *q = clip->at[clip->next[i]], *r = clip->at[clip->prev[i]];
    if (equal(p, b))
        return in_angle(b, c, a, q) || in_angle(b, c, a, r);
    if (equal(p, a))
        return in_angle(a, b, c, q) || in_angle(a, b, c, r);
    if (equal(p, c))
        return in_angle(c, a, b, q) || in_angle(c, a, b, r);
    return exact_turn(a, b, p) >= 0 && exact_turn(b, c, p) >= 0 && exact_turn(c, a, p) >= 0;
}

static uint32_t cell_of(const struct clip *clip, double value, int axis)
{
    double cell = (value - clip->low[axis]) * clip->scale[axis];
    return cell > 0 ? cell < clip->side ? (uint32_t)cell : clip->side - 1 : 0;
}

/* The smallest and largest cell the three values fall into. */
static void cell_range(const struct clip *clip, int axis, double a, double b, double c,
                       uint32_t range[2])
{
    range[0] = cell_of(clip, fmin(a, fmin(b, c)), axis);
    range[1] = cell_of(clip, fmax(a, fmax(b, c)), axis);
}

/* Corners i that have been cut off already have next[i] == i. */
static bool ear_empty(struct clip *clip, uint32_t ear)
{
    uint32_t before = clip->prev[ear], after = clip->next[ear], x[2], y[2];
    const double *a = clip->at[before], *b = clip->at[ear], *c = clip->at[after];
    cell_range(clip, 0, a[0], b[0], c[0], x);
    cell_range(clip, 1, a[1], b[1], c[1], y);
    for (uint32_t row = y[0]; row <= y[1]; row++) {
        uint32_t from = clip->cell[row * clip->side + x[0]];
        uint32_t to = clip->cell[row * clip->side + x[1] + 1];
        uint64_t tests = 1 + to - from;
        if (tests > clip->allowance) {
            clip->allowance = 0;
            return true;
        }
        clip->allowance -= tests;
        for (uint32_t k = from; k < to; k++) {
            uint32_t i = clip->item[k];
            if (i != before && i != ear && i != after && clip->next[i] != i &&
                obstructs(clip, i, a, b, c))
                return false;
        }
    }
    return true;
}

static bool meets(struct clip *clip, uint32_t ear, enum demand demand)
{
    if (demand == DEMAND_NONE || !clip->allowance)
        return true;
    clip->allowance--;
    int turn = turn_at(clip, ear);
    if (turn > 0)
        return demand == DEMAND_CONVEX || ear_empty(clip, ear);
    return turn == 0 && demand >= DEMAND_FLAT;
}

static void cut_off(struct clip *clip, uint32_t ear, uint32_t triangle[3])
{
    uint32_t before = clip->prev[ear], after = clip->next[ear];
    triangle[0] = before;
    triangle[1] = ear;
    triangle[2] = after;
    clip->next[before] = after;
    clip->prev[after] = before;
    clip->next[ear] = ear;
}

static void cut_all(struct clip *clip, uint32_t count, uint32_t (*triangle)[3])
{
    enum demand demand = DEMAND_EMPTY;
    uint32_t at = 0, done = 0, refused = 0;
    while (done + 3 < count) {
        if (meets(clip, at, demand)) {
            uint32_t after = clip->next[at];
            cut_off(clip, at, triangle[done++]);
            at = clip->next[after]; /* not the neighbour: that would make a fan of slivers */
            refused = 0;
            demand = DEMAND_EMPTY;
        } else if (at = clip->next[at], ++refused == count - done) {
            refused = 0;
            demand++;
        }
    }
    triangle[done][0] = clip->prev[at];
    triangle[done][1] = at;
    triangle[done][2] = clip->next[at];
}

/* --- the grid ---------------------------------------------------------------------------- */

static void measure(struct clip *clip, uint32_t count)
{
    for (int axis = 0; axis < 2; axis++) {
        double low = clip->at[0][axis], high = low;
        for (uint32_t i = 1; i < count; i++) {
            low = fmin(low, clip->at[i][axis]);
            high = fmax(high, clip->at[i][axis]);
        }
        clip->low[axis] = low;
        clip->scale[axis] = high > low ? clip->side / (high - low) : 0;
        if (!isfinite(clip->scale[axis]))
            clip->scale[axis] = 0;
    }
}

/* A counting sort; the turns are computed twice rather than kept. */
static void fill_grid(struct clip *clip, uint32_t count)
{
    uint32_t cells = clip->side * clip->side;
    measure(clip, count);
    memset(clip->cell, 0, (cells + 1) * sizeof *clip->cell);
    for (int pass = 0; pass < 2; pass++) {
        for (uint32_t i = count; i-- > 0;) {
            if (turn_at(clip, i) > 0)
                continue;
            uint32_t cell =
                cell_of(clip, clip->at[i][1], 1) * clip->side + cell_of(clip, clip->at[i][0], 0);
            if (pass == 0)
                clip->cell[cell]++;
            else
                clip->item[--clip->cell[cell]] = i;
        }
        for (uint32_t cell = 0; pass == 0 && cell < cells; cell++)
            clip->cell[cell + 1] += clip->cell[cell];
    }
}

static uint32_t grid_side(uint32_t count)
{
    uint32_t side = count < FEW ? 1 : (uint32_t)sqrt(count);
    return side < GRID_MOST ? side : GRID_MOST;
}

static void link_up(struct clip *clip, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        clip->next[i] = i + 1 < count ? i + 1 : 0;
        clip->prev[i] = i > 0 ? i - 1 : count - 1;
    }
}

/* Combs and stars of thousands of corners, the worst that are simple, take some 500 tests a corner;
 * larger ones are given less. */
static uint64_t allowance_for(uint32_t count)
{
    return 20000 + 800ull * (count < 20000 ? count : 20000) + 160ull * count;
}

static void triangulate(double (*at)[2], uint32_t *room, uint32_t count, uint32_t (*triangle)[3])
{
    struct clip clip = {.at = at, .side = grid_side(count), .allowance = allowance_for(count)};
    clip.next = room;
    clip.prev = clip.next + count;
    clip.item = clip.prev + count;
    clip.cell = clip.item + count;
    link_up(&clip, count);
    fill_grid(&clip, count);
    cut_all(&clip, count, triangle);
}

static void fan(uint32_t count, uint32_t (*triangle)[3])
{
    for (uint32_t i = 0; i + 2 < count; i++) {
        triangle[i][0] = 0;
        triangle[i][1] = i + 1;
        triangle[i][2] = i + 2;
    }
}

enum status polygon_triangulate(const struct vec *corner, uint32_t count, uint32_t (*triangle)[3],
                                struct job *job)
{
    double few[FEW][2];
    uint32_t few_room[3 * FEW + 2];
    if (count <= 3) {
        fan(count, triangle);
        return STATUS_OK;
    }
    double(*at)[2] = count < FEW ? few : scratch_new(count, sizeof *at);
    size_t words = 3 * (size_t)count + (size_t)grid_side(count) * grid_side(count) + 1;
    uint32_t *room = count < FEW ? few_room : scratch_new(words, sizeof *room);
    if (at && room) {
        project(corner, count, at);
        if (fan_fits((const double(*)[2])at, count))
            fan(count, triangle);
        else
            triangulate(at, room, count, triangle);
    }
    enum status status = at && room ? STATUS_OK : job_fail_memory(job, words * sizeof *room);
    if (count >= FEW) {
        scratch_free(at);
        scratch_free(room);
    }
    return status;
}
