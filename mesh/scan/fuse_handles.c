#include "scan/fuse_handles.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/sets.h"
#include "scan/fuse_disc.h"
#include "scan/fuse_loops.h"
#include "scan/fuse_weak.h"

/* margin: cells around a disc that may change with it. */
enum {
    BLOCK = 16384,
    ROUNDS_MOST = 60,
    IDLE_MOST = 3,
    PLACES_MOST = 256,
    MARGIN = 4,
    LOOP_TINY = 4,
    LOOP_MOST = 400,
    PARTS_MOST = 16
};

/* This share of a loop may be shown by samples: of one about a single node or edge of the grid, of
 * another short one, of a longer one; the lids of a tube through what was not measured may be so
 * much larger than it. What is there and was measured has 0.73 or more, on made-up scans of open
 * files, and all but a few of the others less than 0.4. */
static const double measured_tiny = 0.75, measured_short = 0.5, measured_long = 0.35;
static const double lids_most = 1.1;

/* A tube is shown by more than this share of what was measured at its ends, if it faces as the
 * tube's walls do: by this cosine. */
static const double ends_most = 0.5, radial_least = 0.7;

static const double cells_an_area = 1.5; /* of step^2: the mean over all directions */

struct saved { /* a node before it was changed */
    node_id node;
    float value;
    uint8_t state;
};

struct place { /* where a handle is */
    struct disc disc;
    struct grid_box box; /* all that may change */
    struct saved *saved;
    size_t saves;
    long euler;             /* of the surface in the box, */
    size_t parts, measured; /* and how many whole surfaces pass it; of which something was measured:
                               before */
    struct loop loop;
    bool good; /* it is a handle less */
};

struct remover {
    struct grid *grid;
    const struct sheet_field *field;
    int relaxations;
    struct net *net;
    size_t blocks;     /* that the net knows */
    uint32_t *part;    /* disjoint sets of the net's vertices */
    uint8_t *measured; /* of the first of each: something of it was */
    uint8_t *open;
    uint32_t *queue; /* of vertices around a loop */
    uint8_t *queued;
    struct loops loops;
    node_id *cell; /* of each of loops.vertex; nets come and go */
    struct place *place;
    size_t places;
    int idle; /* rounds without a handle less; those in which none was tried count twice */
    struct handles *out;
    struct job *job;
};

/* Every BLOCK elements: whether to stop. */
static bool is_time(size_t i, const struct job *job)
{
    return i % BLOCK == 0 && job_cancelled(job);
}

/* --- the net --------------------------------------------------------------------------------- */

static enum status join_parts(struct remover *r)
{
    const struct net *net = r->net;
    scratch_free(r->part);
    scratch_free(r->measured);
    r->part = scratch_new(net->vertices, sizeof *r->part);
    r->measured = scratch_new(net->vertices, 1);
    if (!r->part || !r->measured)
        return job_fail_memory(r->job, net->vertices * (1 + sizeof *r->part));
    for (uint32_t v = 0; v < net->vertices; v++) {
        r->part[v] = v;
        r->measured[v] = 0;
    }
    for (uint32_t v = 0; v < net->vertices && !is_time(v, r->job); v++)
        for (int f = 0; f < LINKS; f += 2)
            if (net->link[v][f] != NO_INDEX)
                sets_unite(r->part, v, net->link[v][f]);
    for (uint32_t v = 0; v < net->vertices && !is_time(v, r->job); v++)
        if (*node_state(r->grid, net->cell[v]) & NODE_DATA)
            r->measured[sets_find(r->part, v)] = 1;
    return job_cancelled(r->job) ? job_fail_cancelled(r->job) : STATUS_OK;
}

static enum status remake(struct remover *r)
{
    bool coloured = r->net->colour != NULL;
    net_release(r->net);
    enum status status = sheet_find(r->grid, r->field, r->job);
    if (status == STATUS_OK)
        status = net_make(r->grid, coloured, r->net, r->job);
    r->blocks = r->grid->count;
    if (status == STATUS_OK)
        status = net_relax(r->net, r->relaxations, NULL, r->job);
    return status == STATUS_OK ? join_parts(r) : status;
}

static bool has_handles(const struct remover *r)
{
    long euler = (long)r->net->vertices - (long)r->net->quads; /* two links a quad */
    for (uint32_t v = 0; v < r->net->vertices; v++)
        euler -= r->part[v] == v ? 2 : 0;
    return euler < 0;
}

static uint32_t vertex_of(const struct remover *r, node_id cell)
{
    return cell == NO_NODE || cell >> 9 >= r->blocks ? NO_INDEX : net_vertex(r->net, cell);
}

/* --- what is in a box ------------------------------------------------------------------------ */

/* Shows the nodes of a box, or the cells, where the grid has blocks. */
static void each_cell(const struct grid *grid, const struct grid_box *box,
                      void (*visit)(node_id, void *), void *context)
{
    uint32_t b[3], at[3];
    for (b[2] = box->low[2] >> 3; b[2] <= box->high[2] >> 3; b[2]++)
        for (b[1] = box->low[1] >> 3; b[1] <= box->high[1] >> 3; b[1]++)
            for (b[0] = box->low[0] >> 3; b[0] <= box->high[0] >> 3; b[0]++) {
                node_id first = grid_find(grid, b[0] << 3, b[1] << 3, b[2] << 3);
                for (node_id k = 0; k < BLOCK_CELLS && first != NO_NODE; k++) {
                    grid_indices(grid, first | k, at);
                    if (grid_box_holds(box, at))
                        visit(first | k, context);
                }
            }
}

struct tally {
    const struct remover *remover;
    long euler;
    uint32_t part[PARTS_MOST];
    size_t parts, measured;
};

/* A vertex counts in its own cell, a link in the lower cell of two, a quad in the cell whose lowest
 * corner the edge begins at. */
static void count_cell(node_id cell, void *context)
{
    struct tally *tally = context;
    const struct remover *r = tally->remover;
    uint32_t v = vertex_of(r, cell);
    if (v == NO_INDEX)
        return;
    tally->euler++;
    bool in = *node_state(r->grid, cell) & NODE_INSIDE;
    for (int d = 0; d < 3; d++) {
        node_id next = grid_beside(r->grid, cell, d == 0, d == 1, d == 2);
        tally->euler -= r->net->link[v][2 * d + 1] != NO_INDEX;
        tally->euler += next != NO_NODE && in != !!(*node_state(r->grid, next) & NODE_INSIDE);
    }
    uint32_t part = sets_find(r->part, v);
    for (size_t i = 0; i < tally->parts; i++)
        if (tally->part[i] == part)
            return;
    if (tally->parts == PARTS_MOST)
        return;
    tally->part[tally->parts++] = part;
    tally->measured += r->measured[part];
}

static struct tally count_in(const struct remover *r, const struct grid_box *box)
{
    struct tally tally = {.remover = r};
    each_cell(r->grid, box, count_cell, &tally);
    return tally;
}

/* --- saving and putting back ----------------------------------------------------------------- */

struct saving {
    const struct grid *grid;
    struct saved *saved; /* NULL: they are counted */
    size_t saves;
};

static void save_node(node_id node, void *context)
{
    struct saving *s = context;
    if (s->saved)
        s->saved[s->saves] =
            (struct saved){node, *node_value(s->grid, node), *node_state(s->grid, node)};
    s->saves++;
}

static enum status save(struct remover *r, struct place *p)
{
    struct saving saving = {.grid = r->grid};
    each_cell(r->grid, &p->box, save_node, &saving);
    p->saved = scratch_new(saving.saves, sizeof *p->saved);
    p->saves = saving.saves;
    if (!p->saved)
        return job_fail_memory(r->job, saving.saves * sizeof *p->saved);
    saving = (struct saving){r->grid, p->saved, 0};
    each_cell(r->grid, &p->box, save_node, &saving);
    return STATUS_OK;
}

static void forget_node(node_id node, void *context)
{
    *node_state(context, node) = 0;
}

/* The nodes as they were, those that came since unknown; what is active is followed again. */
static void put_back(struct remover *r, const struct place *p)
{
    each_cell(r->grid, &p->box, forget_node, r->grid);
    for (size_t i = 0; i < p->saves; i++) {
        const struct saved *s = &p->saved[i];
        *node_value(r->grid, s->node) = s->value;
        *node_state(r->grid, s->node) =
            (uint8_t)(s->state | (s->state & CELL_ACTIVE ? CELL_MARKED : 0));
    }
}

/* Not to be tried again. */
static void refuse(struct remover *r, const struct loop *loop)
{
    for (size_t i = loop->first; i < loop->end; i++)
        *node_state(r->grid, r->cell[i]) |= CELL_KEPT;
}

/* --- choosing -------------------------------------------------------------------------------- */

/* What lies around a loop, no farther than half its length over weak vertices. */
struct around {
    size_t weak;         /* vertices: those of a tube, if it is one */
    size_t ends, radial; /* measured ones where it ends; those that face as its walls would */
};

/* Whether a measured vertex faces the disc's axis, where it fills; away from it, where it cuts. */
static bool is_radial(const struct remover *r, uint32_t v, const struct disc *disc)
{
    struct vec from = vec_sub(net_middle(r->net, v), disc->middle);
    from = vec_unit(vec_along(from, -vec_dot(from, disc->axis), disc->axis));
    double facing = vec_dot(vec_unit(point_vec(r->net->normal[v])), from);
    return (disc->fills ? -facing : facing) > radial_least;
}

static struct around look_around(struct remover *r, const struct loop *loop,
                                 const struct disc *disc)
{
    struct around around = {0, 0, 0};
    size_t count = 0, next = 0, most = (loop->end - loop->first) / 2;
    for (size_t i = loop->first; i < loop->end; i++) {
        r->queue[count++] = r->loops.vertex[i];
        r->queued[r->loops.vertex[i]] = 1;
    }
    for (size_t away = 0, end; away < most && next < count; away++)
        for (end = count; next < end; next++) {
            uint32_t v = r->queue[next];
            for (int f = 0; f < LINKS && r->open[v] == OPEN_WEAK; f++) {
                uint32_t w = r->net->link[v][f];
                if (w == NO_INDEX || r->queued[w])
                    continue;
                r->queued[w] = 1;
                r->queue[count++] = w;
            }
        }
    for (size_t i = 0; i < count; i++) {
        uint32_t v = r->queue[i];
        r->queued[v] = 0;
        around.weak += r->open[v] == OPEN_WEAK;
        around.ends += r->open[v] == OPEN_MEASURED;
        around.radial += r->open[v] == OPEN_MEASURED && is_radial(r, v, disc);
    }
    return around;
}

static bool is_weak(const struct remover *r, const struct loop *loop)
{
    for (size_t i = loop->first; i < loop->end; i++)
        if (r->open[r->loops.vertex[i]] != OPEN_WEAK)
            return false;
    return true;
}

/* Whether nothing measured asks for the handle that the loop is about. */
static bool is_wanted(struct remover *r, const struct loop *loop, const struct disc *disc)
{
    size_t length = loop->end - loop->first;
    double step = (double)r->grid->frame.step;
    if (disc->count == 0 || length > LOOP_MOST)
        return false;
    if (length <= LOOP_SHORT)
        return disc->measured <= (length <= LOOP_TINY ? measured_tiny : measured_short);
    struct around around = look_around(r, loop, disc);
    double tube = (double)around.weak * step * step / cells_an_area;
    if ((double)around.radial > ends_most * (double)around.ends)
        return false;
    return (length <= LOOP_LONG && disc->measured <= measured_long) ||
           (is_weak(r, loop) && 2 * disc->area <= lids_most * tube);
}

static bool boxes_meet(const struct grid_box *a, const struct grid_box *b)
{
    bool meet = true;
    for (int d = 0; d < 3; d++)
        meet = meet && a->low[d] <= b->high[d] && b->low[d] <= a->high[d];
    return meet;
}

static bool is_free(const struct remover *r, const struct grid_box *box)
{
    for (size_t i = 0; i < r->places; i++)
        if (boxes_meet(&r->place[i].box, box))
            return false;
    return true;
}

static struct grid_box widened(const struct grid_box *box)
{
    struct grid_box wide = *box;
    for (int d = 0; d < 3; d++) {
        wide.low[d] = wide.low[d] > MARGIN ? wide.low[d] - MARGIN : 0;
        wide.high[d] += MARGIN;
    }
    return wide;
}

/* Makes a place of the loop if it is to go and no other place is too near. */
static enum status add_place(struct remover *r, const struct loop *loop)
{
    struct place *p = &r->place[r->places];
    *p = (struct place){.loop = *loop};
    enum status status = disc_make(r->grid, r->net, r->loops.vertex + loop->first,
                                   loop->end - loop->first, &p->disc, r->job);
    if (status != STATUS_OK)
        return status;
    p->box = widened(&p->disc.box);
    if (!is_wanted(r, loop, &p->disc)) {
    } else if (is_free(r, &p->box)) {
        struct tally tally = count_in(r, &p->box);
        p->euler = tally.euler;
        p->parts = tally.parts;
        p->measured = tally.measured;
        r->places++;
        return save(r, p);
    }
    disc_release(&p->disc);
    return STATUS_OK;
}

static void drop_places(struct remover *r)
{
    for (size_t i = 0; i < r->places; i++) {
        disc_release(&r->place[i].disc);
        scratch_free(r->place[i].saved);
    }
    r->places = 0;
    scratch_free(r->cell);
    r->cell = NULL;
    loops_release(&r->loops);
}

static enum status open_vertices(struct remover *r)
{
    const struct net *net = r->net;
    enum status status = weak_find(r->net, r->open, r->job);
    for (size_t v = 0; v < net->vertices && status == STATUS_OK; v++)
        r->open[v] = *node_state(r->grid, net->cell[v]) & CELL_KEPT ? OPEN_NOT
                     : r->open[v]                                   ? OPEN_WEAK
                                                                    : OPEN_MEASURED;
    return status;
}

static enum status choose(struct remover *r)
{
    size_t n = r->net->vertices;
    r->open = scratch_new(n, 1);
    r->queue = scratch_new(n, sizeof *r->queue);
    r->queued = scratch_new(n, 1);
    enum status status = r->open && r->queue && r->queued
                             ? open_vertices(r)
                             : job_fail_memory(r->job, n * (2 + sizeof *r->queue));
    if (status == STATUS_OK)
        status = loops_find(r->net, r->open, &r->loops, r->job);
    if (status == STATUS_OK && !(r->cell = scratch_new(r->loops.vertices, sizeof *r->cell)))
        status = job_fail_memory(r->job, r->loops.vertices * sizeof *r->cell);
    for (size_t i = 0; i < r->loops.vertices && status == STATUS_OK; i++)
        r->cell[i] = r->net->cell[r->loops.vertex[i]];
    if (status == STATUS_OK)
        memset(r->queued, 0, n);
    for (size_t i = 0; i < r->loops.count && status == STATUS_OK && r->places < PLACES_MOST; i++)
        status = add_place(r, &r->loops.loop[i]);
    scratch_free(r->open);
    scratch_free(r->queue);
    scratch_free(r->queued);
    r->open = r->queued = NULL;
    r->queue = NULL;
    return status;
}

/* --- trying ---------------------------------------------------------------------------------- */

/* Puts the discs in. A place whose disc cannot be is as it was, and not good. */
static enum status try_places(struct remover *r)
{
    for (size_t i = 0; i < r->places; i++) {
        struct place *p = &r->place[i];
        p->good = disc_apply(r->grid, &p->disc);
        if (!p->good)
            put_back(r, p);
    }
    return remake(r);
}

/* Counts what became of the places; *bad: whether some are to be as they were. */
static void judge_places(struct remover *r, bool *bad)
{
    *bad = false;
    for (size_t i = 0; i < r->places; i++) {
        struct place *p = &r->place[i];
        struct tally tally = count_in(r, &p->box);
        long handles = 2 * (long)tally.parts - tally.euler, before = 2 * (long)p->parts - p->euler;
        bool good = p->good && handles < before && tally.measured <= p->measured;
        if (p->good && !good)
            put_back(r, p);
        *bad |= p->good && !good;
        if (!good)
            refuse(r, &p->loop);
        *(p->disc.fills ? &r->out->filled : &r->out->cut) += good ? 1 : 0;
    }
}

/* Looks for handles and tries to be rid of them; *on: whether to look again. */
static enum status play_round(struct remover *r, bool *on)
{
    bool bad = false;
    size_t before = r->out->cut + r->out->filled;
    enum status status = choose(r);
    bool any = r->loops.count > 0, tried = r->places > 0;
    if (status == STATUS_OK && r->places) {
        status = try_places(r);
        if (status == STATUS_OK)
            judge_places(r, &bad);
    }
    drop_places(r);
    if (status == STATUS_OK && bad)
        status = remake(r);
    r->idle = r->out->cut + r->out->filled > before ? 0 : r->idle + (tried ? 1 : 2);
    *on = any && r->idle < IDLE_MOST;
    return status;
}

enum status handles_remove(struct grid *grid, const struct sheet_field *field, int relaxations,
                           struct net *net, struct handles *out, struct job *job)
{
    struct remover r = {.grid = grid,
                        .field = field,
                        .relaxations = relaxations,
                        .net = net,
                        .blocks = grid->count,
                        .out = out,
                        .job = job};
    bool on = true;
    *out = (struct handles){0};
    r.place = scratch_new(PLACES_MOST, sizeof *r.place);
    enum status status =
        r.place ? join_parts(&r) : job_fail_memory(job, PLACES_MOST * sizeof *r.place);
    for (int round = 0; round < ROUNDS_MOST && on && status == STATUS_OK && has_handles(&r);
         round++)
        status = play_round(&r, &on);
    scratch_free(r.place);
    scratch_free(r.part);
    scratch_free(r.measured);
    return status;
}
