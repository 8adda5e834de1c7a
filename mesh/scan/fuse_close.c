#include "scan/fuse_close.h"

#include "core/job.h"
#include "core/sheet.h"
#include "scan/fuse_handles.h"
#include "scan/fuse_winding.h"

/* Whether it stands in the grid's outermost blocks, which nothing measured comes near. */
static bool is_outermost(const struct grid *grid, node_id id)
{
    uint32_t at[3];
    grid_index(grid_block(grid, id >> 9)->key, at);
    for (int d = 0; d < 3; d++)
        if (at[d] < 1 || at[d] + 1 >= grid->frame.blocks[d])
            return true;
    return false;
}

enum { TRIES = 4, PLACES_MOST = 64, AROUND = 4 }; /* around: cells beside a patch */

/* By how much the threshold differs, in turn. */
static const double shift_of[TRIES] = {0.05, -0.05, 0.12, -0.12};

struct place { /* where a patch has a handle */
    struct grid_box box;
    double shift, best;    /* of the threshold: now; with which it had the fewest handles, */
    size_t handles, least; /* now, and then */
    size_t parts, first;   /* of whole surfaces there: now, and at first */
};

struct closing {
    struct grid *grid;
    bool closed;
    struct winding winding;
    struct place *place;
    size_t places;
    struct net *net;
    struct open_patch *patch;
    size_t patches;
    bool coloured;
    struct job *job;
};

static double value_at(const struct grid *grid, node_id id, const void *context)
{
    const struct closing *c = context;
    double w = is_outermost(grid, id) ? 0 : winding_at(&c->winding, grid_place(grid, id));
    float value = (float)(c->winding.inside - w) * 2 * grid->frame.step;
    return (double)value;
}

/* What a place's shift makes of it. */
static double bias_at(const struct grid *grid, node_id id, const void *context)
{
    const struct closing *c = context;
    uint32_t at[3];
    if (c->places == 0)
        return 0;
    grid_indices(grid, id, at);
    for (size_t i = 0; i < c->places; i++)
        if (grid_box_holds(&c->place[i].box, at))
            return c->place[i].shift * 2 * (double)grid->frame.step;
    return 0;
}

/* The net through the sheet as it is with the places' present shifts. */
static enum status follow(struct closing *c)
{
    const struct sheet_field field = {value_at, c, bias_at};
    net_release(c->net);
    enum status status = sheet_find(c->grid, c->closed ? &field : NULL, c->job);
    return status == STATUS_OK ? net_make(c->grid, c->coloured, c->net, c->job) : status;
}

/* --- handles --------------------------------------------------------------------------------- */

static bool boxes_meet(const struct grid_box *a, const struct grid_box *b)
{
    bool meet = true;
    for (int d = 0; d < 3; d++)
        meet = meet && a->low[d] <= b->high[d] && b->low[d] <= a->high[d];
    return meet;
}

static void join_boxes(struct grid_box *a, const struct grid_box *b)
{
    for (int d = 0; d < 3; d++) {
        a->low[d] = b->low[d] < a->low[d] ? b->low[d] : a->low[d];
        a->high[d] = b->high[d] > a->high[d] ? b->high[d] : a->high[d];
    }
}

/* Adds the box to the places, as one with those that it meets. */
static void add_place(struct closing *c, struct grid_box box)
{
    for (size_t i = 0; i < c->places;)
        if (boxes_meet(&c->place[i].box, &box)) {
            join_boxes(&box, &c->place[i].box);
            c->place[i] = c->place[--c->places];
            i = 0;
        } else {
            i++;
        }
    c->place[c->places++] = (struct place){.box = box};
}

static void list_places(struct closing *c)
{
    for (size_t i = 0; i < c->patches && c->places < PLACES_MOST; i++) {
        struct grid_box box = c->patch[i].box;
        if (c->patch[i].handles == 0)
            continue;
        for (int d = 0; d < 3; d++) {
            box.low[d] = box.low[d] > AROUND ? box.low[d] - AROUND : 0;
            box.high[d] += AROUND;
        }
        add_place(c, box);
    }
}

/* The whole surfaces that the patches at a place are part of. Patches are listed by their parts'
 * numbers' first use; a place has few. */
static size_t parts_at(const struct closing *c, const struct grid_box *box)
{
    size_t parts = 0;
    for (size_t i = 0; i < c->patches; i++) {
        bool is_new = boxes_meet(&c->patch[i].box, box);
        for (size_t j = 0; j < i && is_new; j++)
            is_new = c->patch[j].part != c->patch[i].part || !boxes_meet(&c->patch[j].box, box);
        parts += is_new;
    }
    return parts;
}

static enum status look(struct closing *c)
{
    scratch_free(c->patch);
    c->patch = NULL;
    enum status status = handles_find(c->net, &c->patch, &c->patches, c->job);
    if (status == STATUS_OK && c->places == 0)
        list_places(c);
    for (size_t p = 0; p < c->places && status == STATUS_OK; p++) {
        struct place *place = &c->place[p];
        place->handles = 0;
        for (size_t i = 0; i < c->patches; i++)
            if (boxes_meet(&c->patch[i].box, &place->box))
                place->handles += c->patch[i].handles;
        place->parts = parts_at(c, &place->box);
    }
    return status;
}

/* Gives a place its shift for the next try. False: it has it already. */
static bool shift(struct closing *c, struct place *place, double to)
{
    if (place->shift == to)
        return false;
    place->shift = to;
    sheet_forget(c->grid, &place->box);
    return true;
}

static enum status try_all(struct closing *c)
{
    enum status status = STATUS_OK;
    for (int t = 0; t < TRIES && status == STATUS_OK; t++) {
        bool any = false;
        for (size_t i = 0; i < c->places; i++)
            any |= c->place[i].least && shift(c, &c->place[i], shift_of[t]);
        if (!any)
            return STATUS_OK;
        status = follow(c);
        if (status == STATUS_OK)
            status = look(c);
        for (size_t i = 0; i < c->places && status == STATUS_OK; i++) {
            struct place *p = &c->place[i];
            if (p->handles < p->least && p->parts <= p->first) {
                p->least = p->handles;
                p->best = p->shift;
            }
        }
    }
    return status;
}

static enum status without_handles(struct closing *c, size_t *handles)
{
    bool any = false;
    c->place = scratch_new(PLACES_MOST, sizeof *c->place);
    enum status status =
        c->place ? look(c) : job_fail_memory(c->job, PLACES_MOST * sizeof *c->place);
    size_t before = 0, after = 0;
    for (size_t i = 0; i < c->places && status == STATUS_OK; i++) {
        c->place[i].least = c->place[i].handles;
        c->place[i].first = c->place[i].parts;
        before += c->place[i].handles;
    }
    if (status == STATUS_OK)
        status = try_all(c);
    for (size_t i = 0; i < c->places && status == STATUS_OK; i++) {
        any |= shift(c, &c->place[i], c->place[i].best);
        after += c->place[i].least;
    }
    *handles = before - after;
    return any ? follow(c) : status;
}

enum status close_surface(struct grid *grid, bool closed, struct net *net, size_t *handles,
                          struct job *job)
{
    struct closing c = {.grid = grid, .closed = closed, .net = net, .job = job};
    c.coloured = grid_samples(grid)->colour != NULL;
    *net = (struct net){0};
    *handles = 0;
    enum status status = closed ? winding_make(grid, &c.winding, job) : STATUS_OK;
    if (status == STATUS_OK)
        status = follow(&c);
    if (status == STATUS_OK && closed && net->quads)
        status = without_handles(&c, handles);
    winding_release(&c.winding);
    scratch_free(c.place);
    scratch_free(c.patch);
    if (status != STATUS_OK)
        net_release(net);
    return status;
}
