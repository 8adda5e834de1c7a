#include "scan/cells.h"

#include "core/job.h"

enum { BLOCK = 4096, SLOTS_LEAST = 1024, FARTHEST = 1 << 20 };

struct cell_slot {
    uint64_t key; /* of the cube; 0: the slot is free */
    uint32_t cell;
};

static uint64_t coordinate(float x, double side, int step)
{
    double at = floor((double)x / side) + step;
    at = fmin(fmax(at, -FARTHEST + 1), FARTHEST - 1);
    return (uint64_t)((int64_t)at + FARTHEST);
}

static uint64_t key_of(struct point p, double side, int dx, int dy, int dz)
{
    return coordinate(p.x, side, dx) << 42 | coordinate(p.y, side, dy) << 21 |
           coordinate(p.z, side, dz);
}

/* The slot that has the key, or the free one where it would go. */
static size_t slot_for(const struct cells *cells, uint64_t key)
{
    uint64_t mixed = key * UINT64_C(0x9E3779B97F4A7C15);
    size_t i = (size_t)(mixed ^ mixed >> 32) & (cells->slots - 1);
    while (cells->slot[i].key && cells->slot[i].key != key)
        i = (i + 1) & (cells->slots - 1);
    return i;
}

static bool set_slots(struct cells *cells, size_t slots)
{
    cells->slot = scratch_new(slots, sizeof *cells->slot);
    cells->slots = slots;
    for (size_t i = 0; cells->slot && i < slots; i++)
        cells->slot[i] = (struct cell_slot){0, 0};
    return cells->slot;
}

/* Doubles the table; false when there is no memory: it is then as it was. */
static bool grow(struct cells *cells)
{
    struct cells larger = *cells;
    if (!set_slots(&larger, 2 * cells->slots))
        return false;
    for (size_t i = 0; i < cells->slots; i++)
        if (cells->slot[i].key)
            larger.slot[slot_for(&larger, cells->slot[i].key)] = cells->slot[i];
    scratch_free(cells->slot);
    *cells = larger;
    return true;
}

/* Numbers the cubes; cell[i] is that of point i. */
static enum status number_cells(struct cells *cells, const struct point *point, size_t count,
                                uint32_t *cell, struct job *job)
{
    for (size_t i = 0; i < count; i++) {
        if (i % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        if (2 * cells->count > cells->slots && !grow(cells))
            return job_fail_memory(job, 2 * cells->slots * sizeof *cells->slot);
        uint64_t key = key_of(point[i], cells->side, 0, 0, 0);
        struct cell_slot *slot = &cells->slot[slot_for(cells, key)];
        if (!slot->key)
            *slot = (struct cell_slot){key, (uint32_t)cells->count++};
        cell[i] = slot->cell;
    }
    return STATUS_OK;
}

static void sort_items(struct cells *cells, const uint32_t *cell, size_t count)
{
    for (size_t i = 0; i <= cells->count; i++)
        cells->start[i] = 0;
    for (size_t i = 0; i < count; i++)
        cells->start[cell[i] + 1]++;
    for (size_t i = 0; i < cells->count; i++)
        cells->start[i + 1] += cells->start[i];
    for (size_t i = 0; i < count; i++)
        cells->item[cells->start[cell[i]]++] = (uint32_t)i;
    for (size_t i = cells->count; i > 0; i--)
        cells->start[i] = cells->start[i - 1];
    cells->start[0] = 0;
}

enum status cells_make(const struct point *point, size_t count, double side, struct cells *out,
                       struct job *job)
{
    *out = (struct cells){.side = side};
    uint32_t *cell = scratch_new(count, sizeof *cell);
    out->item = scratch_new(count, sizeof *out->item);
    enum status status = cell && out->item && set_slots(out, SLOTS_LEAST)
                             ? number_cells(out, point, count, cell, job)
                             : job_fail_memory(job, 2 * count * sizeof *cell);
    if (status == STATUS_OK) {
        out->start = scratch_new(out->count + 1, sizeof *out->start);
        if (!out->start)
            status = job_fail_memory(job, out->count * sizeof *out->start);
    }
    if (status == STATUS_OK)
        sort_items(out, cell, count);
    else
        cells_release(out);
    scratch_free(cell);
    return status;
}

void cells_release(struct cells *cells)
{
    scratch_free(cells->start);
    scratch_free(cells->item);
    scratch_free(cells->slot);
    *cells = (struct cells){0};
}

uint32_t cells_near(const struct cells *cells, struct point p, int dx, int dy, int dz)
{
    if (!cells->slots)
        return NO_INDEX;
    const struct cell_slot *slot =
        &cells->slot[slot_for(cells, key_of(p, cells->side, dx, dy, dz))];
    return slot->key ? slot->cell : NO_INDEX;
}
