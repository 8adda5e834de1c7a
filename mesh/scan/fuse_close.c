#include "scan/fuse_close.h"

#include <stdlib.h>

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

enum { TRIES = 5, PLACES_MOST = 64, AROUND = 4 }; /* around: cells beside a patch */
enum { LID_RADII = 4, RIM_MOST = 400 };           /* edges */

/* In turn: lids on rims, then by how much the threshold differs. */
static const double lids_most = 1.1; /* beside what was open */
static const double shift_of[TRIES] = {0, 0.05, -0.05, 0.12, -0.12};

struct place { /* where a patch has a handle */
    struct grid_box box;
    double shift, best;    /* of the threshold: now; with which it had the fewest handles, */
    bool lids, best_lids;  /* whether rims have lids; */
    size_t handles, least; /* now, and then */
    size_t parts, first;   /* of whole surfaces there: now, and at first */
    size_t vertices, size; /* open ones there: now, and at first */
};

struct lid {                  /* on a rim: a fan of triangles about its middle */
    size_t place, first, end; /* of found.edge as it was at first: `edge` */
    struct vec middle;
    double radius;
};

struct closing {
    struct grid *grid;
    bool closed;
    struct winding winding;
    struct place *place;
    size_t places;
    struct net *net;
    struct handles found;
    struct rim_edge *edge;
    struct lid *lid;
    size_t lids;
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

/* The solid angle of a triangle (van Oosterom & Strackee 1983), positive from behind. */
static double triangle_angle(struct vec a, struct vec b, struct vec c)
{
    double la = vec_length(a), lb = vec_length(b), lc = vec_length(c);
    double det = vec_dot(a, vec_cross(b, c));
    double side = la * lb * lc + vec_dot(a, b) * lc + vec_dot(b, c) * la + vec_dot(c, a) * lb;
    return 2 * atan2(det, side);
}

static double lid_at(const struct closing *c, const struct lid *lid, struct vec at)
{
    double sum = 0;
    struct vec middle = vec_sub(lid->middle, at);
    for (size_t i = lid->first; i < lid->end; i++)
        sum += triangle_angle(middle, vec_sub(point_vec(c->edge[i].a), at),
                              vec_sub(point_vec(c->edge[i].b), at));
    return sum / 12.566370614359172;
}

/* How often the lids of a place wind around a point that is not far from them: four radii off it is
 * a sixtieth at the most. */
static double lids_at(const struct closing *c, size_t place, struct vec at)
{
    double sum = 0;
    for (const struct lid *lid = c->lid; lid < c->lid + c->lids; lid++)
        if (lid->place == place && vec_length(vec_sub(lid->middle, at)) < LID_RADII * lid->radius)
            sum += lid_at(c, lid, at);
    return sum;
}

/* What a place's shift and lids make of it. */
static double bias_at(const struct grid *grid, node_id id, const void *context)
{
    const struct closing *c = context;
    uint32_t at[3];
    if (c->places == 0)
        return 0;
    grid_indices(grid, id, at);
    for (size_t i = 0; i < c->places; i++) {
        const struct place *p = &c->place[i];
        if (!grid_box_holds(&p->box, at))
            continue;
        double lids = p->lids ? lids_at(c, i, grid_place(grid, id)) : 0;
        return (p->shift - lids) * 2 * (double)grid->frame.step;
    }
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
    for (size_t i = 0; i < c->found.patches && c->places < PLACES_MOST; i++) {
        struct grid_box box = c->found.patch[i].box;
        if (c->found.patch[i].handles == 0)
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
    for (size_t i = 0; i < c->found.patches; i++) {
        bool is_new = boxes_meet(&c->found.patch[i].box, box);
        for (size_t j = 0; j < i && is_new; j++)
            is_new = c->found.patch[j].part != c->found.patch[i].part ||
                     !boxes_meet(&c->found.patch[j].box, box);
        parts += is_new;
    }
    return parts;
}

static enum status look(struct closing *c)
{
    handles_release(&c->found);
    enum status status = handles_find(c->net, &c->found, c->job);
    if (status == STATUS_OK && c->places == 0)
        list_places(c);
    for (size_t p = 0; p < c->places && status == STATUS_OK; p++) {
        struct place *place = &c->place[p];
        place->handles = place->vertices = 0;
        for (size_t i = 0; i < c->found.patches; i++)
            if (boxes_meet(&c->found.patch[i].box, &place->box)) {
                place->handles += c->found.patch[i].handles;
                place->vertices += c->found.patch[i].vertices;
            }
        place->parts = parts_at(c, &place->box);
    }
    return status;
}

/* --- lids ------------------------------------------------------------------------------------ */

static bool one_rim(const struct rim_edge *a, const struct rim_edge *b)
{
    return a->patch == b->patch && a->region == b->region && a->rim == b->rim;
}

static bool one_region(const struct rim_edge *a, const struct rim_edge *b)
{
    return a->patch == b->patch && a->region == b->region;
}

/* The place that a patch is at. */
static size_t place_of(const struct closing *c, uint32_t patch)
{
    size_t place = 0;
    for (size_t p = 0; p < c->places; p++)
        if (boxes_meet(&c->found.patch[patch].box, &c->place[p].box))
            place = p;
    return place;
}

static struct lid lid_on(const struct closing *c, size_t first, size_t end)
{
    struct lid lid = {place_of(c, c->edge[first].patch), first, end, vec(0, 0, 0), 0};
    for (size_t i = first; i < end; i++)
        lid.middle = vec_along(lid.middle, 1 / (double)(end - first), point_vec(c->edge[i].a));
    for (size_t i = first; i < end; i++)
        lid.radius = fmax(lid.radius, vec_length(vec_sub(point_vec(c->edge[i].a), lid.middle)));
    return lid;
}

/* Of the rims that a patch has on one region all get a lid but the longest, and those that are too
 * long to be a tube's. */
static void add_lids(struct closing *c, size_t from, size_t end)
{
    size_t longest = 0, most = 0, stop;
    for (int pass = 0; pass < 2; pass++)
        for (size_t rim = from; rim < end; rim = stop) {
            for (stop = rim; stop < end && one_rim(&c->edge[rim], &c->edge[stop]);)
                stop++;
            if (pass == 0 && stop - rim > most) {
                most = stop - rim;
                longest = rim;
            }
            if (pass == 1 && rim != longest && stop - rim <= RIM_MOST)
                c->lid[c->lids++] = lid_on(c, rim, stop);
        }
}

static enum status make_lids(struct closing *c)
{
    size_t n = c->found.edges, rims = 0;
    c->edge = c->found.edge; /* the next look gets another */
    c->found.edge = NULL;
    for (size_t i = 0; i < n; i++)
        rims += i == 0 || !one_rim(&c->edge[i - 1], &c->edge[i]);
    c->lid = scratch_new(rims, sizeof *c->lid);
    if (!c->lid)
        return job_fail_memory(c->job, rims * sizeof *c->lid);
    for (size_t from = 0, end; from < n; from = end) {
        for (end = from; end < n && one_region(&c->edge[from], &c->edge[end]);)
            end++;
        add_lids(c, from, end);
    }
    return STATUS_OK;
}

/* --- trying ---------------------------------------------------------------------------------- */

/* Gives a place its shift and lids for the next try. False: it has them already. */
static bool change(struct closing *c, struct place *place, double shift, bool lids)
{
    if (place->shift == shift && place->lids == lids)
        return false;
    place->shift = shift;
    place->lids = lids;
    sheet_forget(c->grid, &place->box, c->job);
    return true;
}

/* Lids are worth it only where they are hardly more to invent than the tubes that they shut: the
 * inside of a torus is not. */
static bool is_better(const struct place *p)
{
    return p->handles < p->least && p->parts <= p->first &&
           (!p->lids || (double)p->vertices <= lids_most * (double)p->size);
}

static enum status try_all(struct closing *c)
{
    enum status status = STATUS_OK;
    for (int t = 0; t < TRIES && status == STATUS_OK; t++) {
        bool any = false;
        for (size_t i = 0; i < c->places; i++)
            any |= c->place[i].least &&
                   change(c, &c->place[i], shift_of[t], t == 0 || c->place[i].best_lids);
        if (!any)
            return STATUS_OK;
        status = follow(c);
        if (status == STATUS_OK)
            status = look(c);
        for (size_t i = 0; i < c->places && status == STATUS_OK; i++) {
            struct place *p = &c->place[i];
            if (!is_better(p))
                continue;
            p->least = p->handles;
            p->best = p->shift;
            p->best_lids = p->lids;
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
        c->place[i].size = c->place[i].vertices;
        before += c->place[i].handles;
    }
    if (status == STATUS_OK && c->places)
        status = make_lids(c);
    if (status == STATUS_OK)
        status = try_all(c);
    for (size_t i = 0; i < c->places && status == STATUS_OK; i++) {
        any |= change(c, &c->place[i], c->place[i].best, c->place[i].best_lids);
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
    handles_release(&c.found);
    scratch_free(c.lid);
    free(c.edge);
    if (status != STATUS_OK)
        net_release(net);
    return status;
}
