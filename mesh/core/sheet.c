#include "core/sheet.h"

#include <stdlib.h>

#include "core/job.h"

enum { ALL = 255, FEW = 512 }; /* fewer nodes are not worth a second thread */

struct list { /* of cells or nodes */
    node_id *id;
    size_t count, room;
};

struct closer {
    struct grid *grid;
    const struct sheet_field *field; /* NULL: open */
    struct list now, next;           /* active cells to look at */
    struct list ask;                 /* nodes whose value is wanted */
    struct list turned;              /* nodes turned inward */
    struct job *job;
};

static bool push(struct list *list, node_id id)
{
    if (list->count == list->room) {
        size_t room = list->room ? 2 * list->room : 1024;
        node_id *grown = realloc(list->id, room * sizeof *grown);
        if (!grown)
            return false;
        list->id = grown;
        list->room = room;
    }
    list->id[list->count++] = id;
    return true;
}

/* --- cells ----------------------------------------------------------------------------------- */

/* Bit c: corner c has all these bits of state. */
static unsigned corner_bits(const struct grid *grid, const node_id corner[8], uint8_t state)
{
    unsigned bits = 0;
    for (int c = 0; c < 8; c++)
        if (corner[c] != NO_NODE &&
            (__atomic_load_n(node_state(grid, corner[c]), __ATOMIC_RELAXED) & state) == state)
            bits |= 1u << c;
    return bits;
}

/* The corners of each side of a cell, and those one step on along each axis. */
static const uint8_t face_bits[6] = {0x55, 0xAA, 0x33, 0xCC, 0x0F, 0xF0};

/* Whether an edge between two of the corners `among` has its ends on different sides. */
static bool crosses(unsigned inside, unsigned among)
{
    for (int d = 0; d < 3; d++) {
        unsigned low = face_bits[2 * d], step = 1u << d;
        unsigned both = among & among >> step & low;
        if ((inside ^ inside >> step) & both)
            return true;
    }
    return false;
}

/* --- what the nodes say -------------------------------------------------------------------- */

/* Marks cells of a block, and those that lack nodes a second time. */
static void mark_block(const struct closer *c, size_t b)
{
    for (node_id place = 0; place < BLOCK_CELLS; place++) {
        node_id cell = (node_id)b << 9 | place, corner[8];
        cell_corners(c->grid, cell, corner);
        unsigned data = corner_bits(c->grid, corner, NODE_DATA);
        if (data == 0 || (!c->field && data != ALL))
            continue;
        if (crosses(corner_bits(c->grid, corner, NODE_INSIDE), data))
            __atomic_fetch_or(node_state(c->grid, cell),
                              data == ALL ? CELL_ACTIVE : CELL_ACTIVE | CELL_MARKED,
                              __ATOMIC_RELAXED);
    }
}

/* Cells that lack corners are listed: the surface is followed from there. */
static enum status mark_all(struct closer *c)
{
    struct grid *grid = c->grid;
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(dynamic, 8)
    for (size_t b = 0; b < grid->count; b++)
        if (!job_cancelled(c->job))
            mark_block(c, b);
    for (size_t b = 0; b < grid->count && c->field && !job_cancelled(c->job); b++)
        for (node_id place = 0; place < BLOCK_CELLS; place++)
            if (grid_nodes(grid, b)->state[place] & CELL_MARKED) {
                grid_nodes(grid, b)->state[place] &= (uint8_t)~CELL_MARKED;
                if (!push(&c->now, (node_id)b << 9 | place))
                    return job_fail_memory(c->job, c->now.room * 16);
            }
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

/* --- following the surface ------------------------------------------------------------------- */

static void value_node(const struct closer *c, node_id id)
{
    const struct sheet_field *field = c->field;
    uint8_t *state = node_state(c->grid, id);
    *node_value(c->grid, id) = (float)field->value(c->grid, id, field->context);
    *state |= *node_value(c->grid, id) < 0 ? NODE_KNOWN | NODE_INSIDE : NODE_KNOWN;
}

/* Gives the nodes that the cells of `now` lack their values. */
static enum status value_corners(struct closer *c)
{
    c->ask.count = 0;
    for (size_t i = 0; i < c->now.count && !job_cancelled(c->job); i++)
        for (int k = 0; k < 8; k++) {
            node_id id = grid_reach(c->grid, c->now.id[i], k & 1, k >> 1 & 1, k >> 2);
            if (id == NO_NODE)
                return job_fail_memory(c->job, sizeof(struct grid_nodes));
            uint8_t *state = node_state(c->grid, id);
            if (*state & NODE_KNOWN)
                continue;
            *state |= NODE_KNOWN; /* so that it is asked for once */
            if (!push(&c->ask, id))
                return job_fail_memory(c->job, c->ask.room * 16);
        }
    int threads = c->ask.count < FEW ? 1 : job_threads(c->job);
#pragma omp parallel for num_threads(threads) schedule(dynamic, 64)
    for (size_t i = 0; i < c->ask.count; i++)
        if (!job_cancelled(c->job))
            value_node(c, c->ask.id[i]);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

/* Puts the cell among the active ones and on the list, if it is not there. */
static bool activate(struct closer *c, node_id cell)
{
    uint8_t *state = node_state(c->grid, cell);
    if (*state & CELL_ACTIVE)
        return true;
    *state |= CELL_ACTIVE;
    return push(&c->next, cell);
}

/* The surface leaves an active cell through the sides that have corners of both kinds. */
static bool go_on(struct closer *c, node_id cell)
{
    node_id corner[8];
    cell_corners(c->grid, cell, corner);
    unsigned inside = corner_bits(c->grid, corner, NODE_INSIDE);
    for (int f = 0; f < 6; f++) {
        unsigned on = inside & face_bits[f];
        if (on == 0 || on == face_bits[f])
            continue;
        int step = f & 1 ? 1 : -1, d = f / 2;
        node_id other =
            grid_reach(c->grid, cell, d == 0 ? step : 0, d == 1 ? step : 0, d == 2 ? step : 0);
        if (other == NO_NODE || !activate(c, other))
            return false;
    }
    return true;
}

static enum status follow(struct closer *c)
{
    while (c->now.count) {
        enum status status = value_corners(c);
        if (status != STATUS_OK)
            return status;
        c->next.count = 0;
        for (size_t i = 0; i < c->now.count && !job_cancelled(c->job); i++)
            if (!go_on(c, c->now.id[i]))
                return job_fail_memory(c->job, sizeof(struct grid_nodes));
        struct list swap = c->now;
        c->now = c->next;
        c->next = swap;
        job_step(c->job, c->now.count);
    }
    return STATUS_OK;
}

/* --- signs that make one sheet --------------------------------------------------------------- */

unsigned sheet_faults(unsigned inside)
{
    for (int f = 0; f < 6; f++) {
        unsigned on = inside & face_bits[f];
        int first = __builtin_ctz(face_bits[f]);
        unsigned diagonal = 1u << first | 1u << (31 - __builtin_clz(face_bits[f]));
        if (on == diagonal || on == (face_bits[f] ^ diagonal))
            return face_bits[f] ^ on;
    }
    for (int c = 0; c < 4; c++) {
        unsigned diagonal = 1u << c | 1u << (7 - c);
        if (inside == diagonal || inside == (ALL ^ diagonal))
            return ALL ^ inside;
    }
    return 0;
}

/* Turns the corner nearest to the surface; the lowest of those equally near. */
static bool mend_cell(struct closer *c, node_id cell)
{
    node_id corner[8];
    cell_corners(c->grid, cell, corner);
    if (corner_bits(c->grid, corner, NODE_KNOWN) != ALL)
        return true;
    unsigned turn = sheet_faults(corner_bits(c->grid, corner, NODE_INSIDE));
    int best = -1;
    for (int k = 0; k < 8; k++)
        if (turn >> k & 1 &&
            (best < 0 || *node_value(c->grid, corner[k]) < *node_value(c->grid, corner[best])))
            best = k;
    if (best < 0)
        return true;
    uint8_t *state = node_state(c->grid, corner[best]);
    *state = (uint8_t)(*state | NODE_INSIDE | NODE_TURNED);
    *node_value(c->grid, corner[best]) = -1e-3f * c->grid->frame.step;
    return push(&c->turned, corner[best]);
}

/* The cells around a turned node: the surface may pass through them now. */
static bool look_around(struct closer *c, node_id node, struct list *out)
{
    for (int k = 0; k < 8; k++) {
        node_id cell = c->field ? grid_reach(c->grid, node, -(k & 1), -(k >> 1 & 1), -(k >> 2))
                                : grid_beside(c->grid, node, -(k & 1), -(k >> 1 & 1), -(k >> 2));
        if (cell == NO_NODE && c->field)
            return false;
        if (cell == NO_NODE)
            continue;
        node_id corner[8];
        cell_corners(c->grid, cell, corner);
        uint8_t *state = node_state(c->grid, cell);
        bool whole = corner_bits(c->grid, corner, NODE_DATA) == ALL;
        if ((c->field || whole) && !(*state & CELL_ACTIVE)) {
            *state |= CELL_ACTIVE;
            if (c->field && !push(&c->now, cell))
                return false;
        }
        if (*state & CELL_ACTIVE && !push(out, cell))
            return false;
    }
    return true;
}

static enum status mend_list(struct closer *c, struct list *cells)
{
    while (cells->count && !job_cancelled(c->job)) {
        c->turned.count = 0;
        for (size_t i = 0; i < cells->count; i++)
            if (!mend_cell(c, cells->id[i]))
                return job_fail_memory(c->job, c->turned.room * 16);
        cells->count = 0;
        c->now.count = 0;
        for (size_t i = 0; i < c->turned.count; i++)
            if (!look_around(c, c->turned.id[i], cells))
                return job_fail_memory(c->job, cells->room * 16);
        size_t before = c->now.count;
        for (size_t i = 0; i < before; i++)
            if (!push(cells, c->now.id[i]))
                return job_fail_memory(c->job, cells->room * 16);
        enum status status = c->field ? follow(c) : STATUS_OK;
        if (status != STATUS_OK)
            return status;
    }
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

static bool needs_mending(const struct grid *grid, node_id cell)
{
    node_id corner[8];
    if (!(*node_state(grid, cell) & CELL_ACTIVE))
        return false;
    cell_corners(grid, cell, corner);
    return sheet_faults(corner_bits(grid, corner, NODE_INSIDE)) != 0;
}

/* Until no active cell needs it. Turning goes one way only, so it ends. */
static enum status mend_all(struct closer *c, struct list *cells, bool *any)
{
    struct grid *grid = c->grid;
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(dynamic, 8)
    for (size_t b = 0; b < grid->count; b++)
        for (node_id place = 0; place < BLOCK_CELLS && !job_cancelled(c->job); place++)
            if (needs_mending(grid, (node_id)b << 9 | place))
                __atomic_fetch_or(node_state(grid, (node_id)b << 9 | place), CELL_MARKED,
                                  __ATOMIC_RELAXED);
    cells->count = 0;
    for (size_t b = 0; b < grid->count && !job_cancelled(c->job); b++)
        for (node_id place = 0; place < BLOCK_CELLS; place++)
            if (grid_nodes(grid, b)->state[place] & CELL_MARKED) {
                grid_nodes(grid, b)->state[place] &= (uint8_t)~CELL_MARKED;
                if (!push(cells, (node_id)b << 9 | place))
                    return job_fail_memory(c->job, cells->room * 16);
            }
    *any = cells->count > 0;
    return mend_list(c, cells);
}

enum status sheet_find(struct grid *grid, const struct sheet_field *field, struct job *job)
{
    struct closer c = {.grid = grid, .field = field, .job = job};
    struct list cells = {0};
    enum status status = mark_all(&c);
    if (status == STATUS_OK && field)
        status = follow(&c);
    for (bool any = true; any && status == STATUS_OK;)
        status = mend_all(&c, &cells, &any);
    free(c.now.id);
    free(c.next.id);
    free(c.ask.id);
    free(c.turned.id);
    free(cells.id);
    return status;
}
