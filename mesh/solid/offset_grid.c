/* The grid near the offset surface, found by an octree. */
#include <string.h>

#include "core/topology.h"
#include "solid/offset_parts.h"

enum { MARGIN = 2 /* blocks around the surface */, AT_ONCE = 64, BLOCKS_MOST = 1500000 };

/* A cell is no longer than that, so nodes of a cell that the surface passes are no farther off. */
static const double cell = 1.7321 * 1.01; /* steps */
static const double root3 = 1.7321;

/* The field is evenly bent in a cube in whose corners it grows alike (the least cosine), and by as
 * much as that says, but for this share of the cube's length. */
static const double alike = 0.8, off = 0.06;

struct field_at field_find(const struct field *field, struct vec at, uint32_t guess)
{
    struct nearest near = tree_nearest_from(field->tree, at, INFINITY, guess);
    struct vec away = vec_sub(at, near.point), normal = tree_normal(field->tree, &near);
    double side = field->side * (vec_dot(away, normal) < 0 ? -1 : 1);
    struct vec up = vec_unit(away);
    if (vec_length2(up) == 0)
        up = vec_scale(normal, side * field->side);
    return (struct field_at){side * near.distance - field->by, vec_scale(up, side), near.triangle};
}

/* --- blocks ---------------------------------------------------------------------------------- */

struct cube { /* 2^level blocks on a side */
    uint32_t at[3], near;
};

struct search {
    struct offsetting *o;
    struct array *now, *next; /* struct cube; room for more than count */
    size_t count, found;
    int level;
};

static struct cube *cube(const struct array *list, size_t i)
{
    return (struct cube *)list->data + i;
}

/* Whether the surface may pass a cell that has a node in the cube. */
static bool may_pass(const struct offsetting *o, int level, struct cube *c)
{
    const struct grid_frame *f = &o->grid.frame;
    double step = (double)f->step, nodes = (double)(BLOCK_SIDE << level), half = (nodes - 1) / 2;
    double p[3];
    for (int d = 0; d < 3; d++)
        p[d] = (double)f->base[d] + step * (nodes * c->at[d] + half);
    struct field_at at = field_find(&o->field, vec(p[0], p[1], p[2]), c->near);
    c->near = at.triangle;
    return fabs(at.value) <= step * (half * root3 + cell);
}

static bool inside_frame(const struct grid_frame *f, int level, const uint32_t at[3])
{
    for (int d = 0; d < 3; d++)
        if ((uint64_t)at[d] << level >= f->blocks[d])
            return false;
    return true;
}

/* The children of a cube that the surface may pass, as bits, into child[8]. */
static unsigned look_into(const struct search *s, size_t i, struct cube child[8])
{
    unsigned bits = 0;
    for (unsigned k = 0; k < 8; k++) {
        child[k] = *cube(s->now, i);
        for (int d = 0; d < 3; d++)
            child[k].at[d] = 2 * child[k].at[d] + (k >> d & 1);
        if (!job_cancelled(s->o->job) && inside_frame(&s->o->grid.frame, s->level, child[k].at) &&
            may_pass(s->o, s->level, &child[k]))
            bits |= 1u << k;
    }
    return bits;
}

/* One level down; in the order of the grid's keys. */
static enum status descend(struct search *s)
{
    struct cube child[AT_ONCE][8];
    unsigned bits[AT_ONCE];
    s->found = 0;
    for (size_t from = 0; from < s->count; from += AT_ONCE) {
        size_t n = s->count - from < AT_ONCE ? s->count - from : AT_ONCE;
#pragma omp parallel for num_threads(job_threads(s->o->job)) schedule(dynamic, 4)
        for (size_t i = 0; i < n; i++)
            bits[i] = look_into(s, from + i, child[i]);
        if (job_cancelled(s->o->job))
            return job_fail_cancelled(s->o->job);
        size_t room = s->found + 8 * n;
        if (room > s->next->count && !array_grow(s->next, room + room / 2))
            return job_fail_memory(s->o->job, room * sizeof(struct cube));
        for (size_t i = 0; i < n; i++)
            for (int k = 0; k < 8; k++)
                if (bits[i] >> k & 1)
                    *cube(s->next, s->found++) = child[i][k];
    }
    if (s->found > BLOCKS_MOST)
        return job_fail(s->o->job, STATUS_REFUSED,
                        "a spacing of %.3g mm is too fine for this size; choose a larger one",
                        (double)s->o->grid.frame.step);
    struct array *swap = s->now;
    s->now = s->next;
    s->next = swap;
    s->count = s->found;
    return STATUS_OK;
}

static enum status find_blocks(struct search *s)
{
    const uint32_t *blocks = s->o->grid.frame.blocks;
    uint32_t most = blocks[0] > blocks[1] ? blocks[0] : blocks[1];
    most = most > blocks[2] ? most : blocks[2];
    enum status status = STATUS_OK;
    for (s->level = 0; 1u << s->level < most;)
        s->level++;
    *cube(s->now, 0) = (struct cube){{0, 0, 0}, NO_INDEX};
    s->count = 1;
    while (s->level-- > 0 && status == STATUS_OK)
        status = descend(s);
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++) {
        const struct cube *c = cube(s->now, i);
        uint32_t b = grid_add(&s->o->grid, grid_key(c->at[0], c->at[1], c->at[2]));
        if (b == NO_INDEX)
            status = job_fail_memory(s->o->job, sizeof(struct grid_nodes));
        else
            grid_block(&s->o->grid, b)->first = c->near;
    }
    return status;
}

/* --- nodes ----------------------------------------------------------------------------------- */

static void set_node(const struct offsetting *o, size_t b, const uint32_t at[3], double value)
{
    struct grid_nodes *nodes = grid_nodes(&o->grid, b);
    uint32_t place = at[0] | at[1] << 3 | at[2] << 6;
    nodes->value[place] = (float)value;
    nodes->state[place] = NODE_KNOWN | NODE_DATA;
    if (nodes->value[place] < 0)
        nodes->state[place] |= NODE_INSIDE;
}

enum { ALONG = BLOCK_SIDE + 1 };

struct filling { /* of one block */
    const struct offsetting *o;
    size_t b;
    uint32_t side; /* of the largest cubes that may be evenly bent, nodes; 0: none */
    uint32_t near; /* the triangle found last */
    uint64_t asked[ALONG * ALONG * ALONG / 64 + 1]; /* bits: which nodes' fields are known */
    struct field_at node[ALONG * ALONG * ALONG];    /* the block's and those beside its end */
};

static struct vec place_in(const struct filling *f, double i, double j, double k)
{
    double step = (double)f->o->grid.frame.step;
    return vec_add(grid_place(&f->o->grid, (node_id)f->b << 9), vec(i * step, j * step, k * step));
}

static const struct field_at *field_at(struct filling *f, uint32_t i, uint32_t j, uint32_t k)
{
    uint32_t n = i + ALONG * (j + ALONG * k);
    if (!(f->asked[n / 64] >> n % 64 & 1)) {
        f->node[n] = field_find(&f->o->field, place_in(f, i, j, k), f->near);
        f->near = f->node[n].triangle;
        f->asked[n / 64] |= (uint64_t)1 << n % 64;
    }
    return &f->node[n];
}

static void fill_nodes_of(const struct filling *f, const uint32_t from[3], uint32_t side,
                          const double value[8])
{
    for (uint32_t i = 0; i < side * side * side; i++) {
        const uint32_t in[3] = {i % side, i / side % side, i / side / side};
        const uint32_t at[3] = {from[0] + in[0], from[1] + in[1], from[2] + in[2]};
        double sum = 0;
        for (int c = 0; c < 8; c++) {
            double weight = 1;
            for (int d = 0; d < 3; d++)
                weight *= corner_step(c, d) ? in[d] / (double)side : 1 - in[d] / (double)side;
            sum += weight * value[c];
        }
        set_node(f->o, f->b, at, sum);
    }
}

/* Whether the surface may pass a cube with these values at its corners: the middle of it is
 * farthest from all of them. */
static bool may_cross(const double value[8], double length)
{
    double least = INFINITY;
    bool inside = value[0] < 0, same = true;
    for (int c = 0; c < 8; c++) {
        least = fmin(least, fabs(value[c]));
        same = same && (value[c] < 0) == inside;
    }
    return !same || least <= root3 * length / 2;
}

/* Gives the nodes of a cube that the surface does not pass, or in which the field is but evenly
 * bent, their values from its corners'. */
static bool fill_even(struct filling *f, const uint32_t from[3], uint32_t side)
{
    double value[8], length = side * (double)f->o->grid.frame.step;
    const struct field_at *first = field_at(f, from[0], from[1], from[2]);
    bool even = true;
    for (uint32_t c = 0; c < 8; c++) {
        const struct field_at *at =
            field_at(f, from[0] + (c & 1 ? side : 0), from[1] + (c & 2 ? side : 0),
                     from[2] + (c & 4 ? side : 0));
        struct vec up = vec_add(at->up, first->up);
        double rise = (c & 1 ? up.x : 0) + (c & 2 ? up.y : 0) + (c & 4 ? up.z : 0);
        value[c] = at->value;
        even = even && vec_dot(at->up, first->up) >= alike &&
               fabs(value[c] - first->value - rise * length / 2) <= off * length;
    }
    if (!even && may_cross(value, length))
        return false;
    fill_nodes_of(f, from, side, value);
    return true;
}

/* Gives the nodes of a cube in a block, `side` of them long, their values: one by one where the
 * surface may be near and is not even, else what is known from one place, the middle or, of cubes
 * that may be even, a corner. */
static void fill_cube(struct filling *f, const uint32_t from[3], uint32_t side)
{
    double step = (double)f->o->grid.frame.step, half = (side - 1) / 2.0, value, known;
    if (side <= f->side || side == 1) {
        value = field_at(f, from[0], from[1], from[2])->value;
        known = fabs(value) - (side - 1) * root3 * step;
    } else {
        struct vec middle = place_in(f, from[0] + half, from[1] + half, from[2] + half);
        struct field_at at = field_find(&f->o->field, middle, f->near);
        f->near = at.triangle;
        value = at.value;
        known = fabs(value) - half * root3 * step;
    }
    if (side > 1 && known <= cell * step) {
        if (side <= f->side && fill_even(f, from, side))
            return;
        for (uint32_t k = 0; k < 8; k++) {
            uint32_t to[3];
            for (int d = 0; d < 3; d++)
                to[d] = from[d] + side / 2 * (k >> d & 1);
            fill_cube(f, to, side / 2);
        }
        return;
    }
    known = value < 0 ? -known : known;
    fill_nodes_of(f, from, side,
                  (const double[8]){known, known, known, known, known, known, known, known});
}

static void fill_block(const struct offsetting *o, size_t b)
{
    static const uint32_t zero[3] = {0, 0, 0};
    struct filling f;
    f.o = o;
    f.b = b;
    f.near = grid_block(&o->grid, b)->first;
    memset(f.asked, 0, sizeof f.asked);
    f.side = o->levels > 1 ? 1u << o->levels : 0;
    fill_cube(&f, zero, BLOCK_SIDE);
}

static enum status fill_nodes(struct offsetting *o)
{
    job_phase(o->job, "measuring distances", 80, o->grid.count);
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 4)
    for (size_t b = 0; b < o->grid.count; b++)
        if (!job_cancelled(o->job)) {
            fill_block(o, b);
            job_step(o->job, 1);
        }
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

/* --- all ------------------------------------------------------------------------------------- */

static enum status set_frame(const struct offsetting *o, double spacing, struct grid_frame *out)
{
    const struct bounds *bounds = mesh_bounds(o->solid, o->job);
    if (!bounds)
        return job_status(o->job);
    struct grid_frame frame = {.step = (float)spacing};
    memcpy(frame.origin, o->solid->origin, sizeof frame.origin);
    struct vec min = mesh_local(o->solid, bounds->min), max = mesh_local(o->solid, bounds->max);
    double side = BLOCK_SIDE * spacing, grow = o->field.side > 0 ? o->field.by : 0;
    const double low[3] = {min.x, min.y, min.z}, high[3] = {max.x, max.y, max.z};
    for (int d = 0; d < 3; d++) {
        /* beside round numbers: faces of parts lie there more often than elsewhere */
        frame.base[d] = (float)(low[d] - grow - side * MARGIN - 0.381966 * spacing);
        double blocks = ceil((high[d] + grow - (double)frame.base[d]) / side) + MARGIN;
        if (!(blocks < GRID_MOST / 16))
            return job_fail(o->job, STATUS_REFUSED,
                            "a spacing of %.3g mm is too fine for this size; choose a larger one",
                            spacing);
        frame.blocks[d] = (uint32_t)blocks;
    }
    *out = frame;
    return STATUS_OK;
}

enum status offset_grid(struct offsetting *o, double spacing)
{
    struct grid_frame frame;
    enum status status = set_frame(o, spacing, &frame);
    if (status == STATUS_OK)
        status = grid_begin(&frame, NULL, 64, &o->grid, o->job);
    if (status != STATUS_OK)
        return status;
    job_phase(o->job, "looking for the surface", 20, 0);
    struct search s = {.o = o, .now = array_new(64, sizeof(struct cube))};
    s.next = array_new(64, sizeof(struct cube));
    status = s.now && s.next ? find_blocks(&s) : job_fail_memory(o->job, sizeof(struct cube) * 64);
    array_free(s.now);
    array_free(s.next);
    return status == STATUS_OK ? fill_nodes(o) : status;
}
