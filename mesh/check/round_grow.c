#include "check/round.h"

#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/eigen.h"
#include "core/job.h"

/* Bits of a triangle's state. */
enum { INSIDE = ROUND_INSIDE, SEEN = ROUND_OTHERS, CLAIMED = 4, TRIED = 8, SEED = 16 };

enum {
    NEAR = 32,    /* triangles around a seed, which tell the axis */
    WINDOW = 600, /* triangles around a seed, in which a circle is looked for, at the most */
    ENOUGH = 64,  /* edges between facets, when they turn far enough */
    REFITS = 6,
    START_STEPS = 3,
    STEPS = 12,
    FEW = 256, /* points that are fitted while it grows; in the end */
    MANY = 4096,
    BINS = 72, /* around the axis */
    LOOK = 1024
};

static const double degree = 3.14159265358979323846 / 180;
static const double least_turn = 0.2; /* degrees: an edge that tells */
/* cosines of least_turn, slant and most_turn */
static const double flat = 0.99999390765, flattish = 0.994521895368, steep = 0.694658370459;
static const double edge_turn = 1;                    /* degrees: one that tells by itself */
static const double most_turn = 46;                   /* degrees: eight facets a circle */
static const double enough_turn = 15, wide_turn = 75; /* degrees: of a window */
static const double slant = 6; /* degrees: by which a wall's face may lean off its axis */
static const double least_arc = 100, hopeless = 70;         /* degrees of the circle */
static const double least_diameter = 1, most_diameter = 64; /* mm */
static const double loose = 0.025, looser = 0.01; /* of the radius, and mm: off the circle */
static const double alike = 0.978;                /* cosine of 12 degrees */
static const double sharp_edge = 0.906;           /* of 25: between surfaces rather than facets */
static const double as_square = 0.01; /* sine of the angle to the axis: like the seed's */
static const double straight = 0.1;   /* of the turning: how much the normals may leave one plane */

struct grower {
    struct rounds *rounds;
    uint8_t *state;
    uint32_t *queue;
    size_t queued, queue_room;
    struct vec *point; /* ends of the edges between facets */
    size_t points, points_room;
    struct job *job;
    enum status status; /* the first failure */
};

/* --- faces ---------------------------------------------------------------------------------- */

struct face round_face(const struct rounds *rounds, uint32_t triangle)
{
    const struct mesh *mesh = rounds->mesh;
    const uint32_t *v = mesh_triangle(mesh)[triangle].v;
    struct face f;
    for (int k = 0; k < 3; k++)
        f.corner[k] = point_vec(mesh_point(mesh)[v[k]]);
    struct vec a = vec_sub(f.corner[1], f.corner[0]), b = vec_sub(f.corner[2], f.corner[0]);
    struct vec cross = vec_cross(a, b);
    double twice = vec_length(cross);
    double longest = sqrt(fmax(vec_length2(vec_sub(b, a)), fmax(vec_length2(a), vec_length2(b))));
    f.area = twice / 2;
    f.normal = twice > 0 ? vec_scale(cross, 1 / twice) : vec(0, 0, 0);
    f.sure = twice > rounds->trust * longest;
    return f;
}

/* Whether the two lean towards each other, seen from outside. `from` is on the edge between. */
static bool leans(const struct face *a, const struct face *b, struct vec from)
{
    struct vec thrice = vec_add(b->corner[0], vec_add(b->corner[1], b->corner[2]));
    return vec_dot(a->normal, vec_along(thrice, -3, from)) >= 0;
}

/* The angle by which the surface turns at an edge, radians: more than 0 where they lean. */
static double turn_at(const struct face *a, const struct face *b, struct vec from)
{
    double cross = vec_length(vec_cross(a->normal, b->normal));
    double angle = atan2(cross, vec_dot(a->normal, b->normal));
    return leans(a, b, from) ? angle : -angle;
}

/* Whether they lean as two facets of a wall do, enough to be told from one. */
static bool bends(const struct face *a, const struct face *b, struct vec from)
{
    double cosine = vec_dot(a->normal, b->normal);
    return cosine < flat && cosine > steep && leans(a, b, from);
}

/* --- lists ---------------------------------------------------------------------------------- */

static bool no_memory(struct grower *g, size_t bytes)
{
    g->status = job_fail_memory(g->job, bytes);
    return false;
}

static bool push(struct grower *g, uint32_t triangle, uint8_t bit)
{
    if (g->queued == g->queue_room) {
        size_t room = 2 * g->queue_room + 4096;
        uint32_t *queue = realloc(g->queue, room * sizeof *queue);
        if (!queue)
            return no_memory(g, room * sizeof *queue);
        g->queue = queue;
        g->queue_room = room;
    }
    g->state[triangle] |= bit;
    g->queue[g->queued++] = triangle;
    return true;
}

static bool add_points(struct grower *g, struct vec a, struct vec b)
{
    if (g->points + 2 > g->points_room) {
        size_t room = 2 * g->points_room + 1024;
        struct vec *point = realloc(g->point, room * sizeof *point);
        if (!point)
            return no_memory(g, room * sizeof *point);
        g->point = point;
        g->points_room = room;
    }
    g->point[g->points++] = a;
    g->point[g->points++] = b;
    return true;
}

static void set_bits(struct grower *g, uint8_t bits)
{
    for (size_t i = 0; i < g->queued; i++)
        g->state[g->queue[i]] |= bits;
}

static void forget(struct grower *g, uint8_t bit)
{
    for (size_t i = 0; i < g->queued; i++)
        g->state[g->queue[i]] &= (uint8_t)~bit;
    g->queued = 0;
}

/* --- around a seed -------------------------------------------------------------------------- */

/* Whether a wall may go on from one face to the next: straight on, or bending towards its axis. */
static bool goes_on(const struct face *a, const struct face *b, struct vec from)
{
    if (!a->sure || !b->sure)
        return true;
    double cosine = vec_dot(a->normal, b->normal);
    return cosine > flattish || (cosine > steep && leans(a, b, from));
}

/* The axis that the faces near the seed leave: the direction square to their normals. False: there
 * is none, or they do not turn. *off: sine by which normals are off it. Those that face about as
 * the seed does need not be tried as seeds again: they see about the same. *sharp: there are edges
 * between. */
static bool near_axis(struct grower *g, uint32_t seed, struct vec *axis, double *off, bool *sharp)
{
    double matrix[9] = {0}, value[3], vector[9];
    struct face face[NEAR];
    face[0] = round_face(g->rounds, seed);
    if (!push(g, seed, SEEN))
        return false;
    for (size_t i = 0; i < g->queued; i++) {
        const struct face *f = &face[i];
        const double n[3] = {f->normal.x, f->normal.y, f->normal.z};
        for (int k = 0; k < 9 && f->sure; k++)
            matrix[k] += f->area * n[k / 3] * n[k % 3];
        for (uint32_t k = 0; k < 3 && g->queued < NEAR; k++) {
            uint32_t across = half_across(g->rounds->topology, 3 * g->queue[i] + k);
            if (across == NO_INDEX || g->state[across / 3] & SEEN)
                continue;
            face[g->queued] = round_face(g->rounds, across / 3);
            if (!goes_on(f, &face[g->queued], f->corner[k]))
                continue;
            *sharp = *sharp || vec_dot(f->normal, face[g->queued].normal) < sharp_edge;
            if (!push(g, across / 3, SEEN))
                return false;
        }
    }
    eigen_symmetric(3, matrix, value, vector);
    *axis = vec(vector[0], vector[1], vector[2]);
    *off = sqrt(fmax(value[0], 0) / (value[0] + value[1] + value[2] + DBL_MIN));
    double own = vec_dot(face[0].normal, *axis);
    for (size_t i = 0; i < g->queued; i++)
        if (vec_dot(face[i].normal, face[0].normal) > alike &&
            fabs(vec_dot(face[i].normal, *axis) - own) < as_square + 3 * *off)
            g->state[g->queue[i]] |= TRIED;
    return value[1] > 1e-5 * value[2] && value[0] < straight * value[1];
}

/* What is found in the window around a seed: as far as its faces are square to the axis and do not
 * turn too far. True: its edges between facets are in g->point and turn enough. */
static bool look_around(struct grower *g, uint32_t seed, struct vec axis, double off)
{
    struct face first = round_face(g->rounds, seed);
    struct vec side = vec_cross(axis, first.normal);
    double most = sin((1.5 + 4 * off / degree < 12 ? 1.5 + 4 * off / degree : 12) * degree);
    double low = 0, high = 0;
    g->points = 0;
    if (!push(g, seed, SEEN))
        return false;
    for (size_t i = 0; i < g->queued && g->queued < WINDOW; i++) {
        struct face f = round_face(g->rounds, g->queue[i]);
        if (g->points > 2 * ENOUGH && high - low > enough_turn * degree)
            break;
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(g->rounds->topology, 3 * g->queue[i] + k);
            if (across == NO_INDEX)
                continue;
            struct face next = round_face(g->rounds, across / 3);
            double angle = atan2(vec_dot(next.normal, side), vec_dot(next.normal, first.normal));
            if (!goes_on(&f, &next, f.corner[k]) ||
                (next.sure &&
                 (fabs(vec_dot(next.normal, axis)) > most || fabs(angle) > wide_turn * degree)))
                continue;
            if (f.sure && next.sure && bends(&f, &next, f.corner[k]) &&
                !add_points(g, f.corner[k], f.corner[(k + 1) % 3]))
                return false;
            low = next.sure ? fmin(low, angle) : low;
            high = next.sure ? fmax(high, angle) : high;
            if (!(g->state[across / 3] & SEEN) && !push(g, across / 3, SEEN))
                return false;
        }
    }
    forget(g, SEEN);
    return g->points >= 6 && high - low > enough_turn * degree;
}

/* --- the wall ------------------------------------------------------------------------------- */

static double slack(const struct cylinder *c)
{
    return loose * c->radius + looser;
}

/* Whether it is as wide as a hole for a screw may be, `about`: times too large or small. */
static bool of_size(const struct cylinder *c, double about)
{
    double diameter = 2 * c->radius;
    return diameter > least_diameter / about && diameter < most_diameter * about;
}

struct shape {    /* what a wall's faces are like */
    double facet; /* radians by which neighbouring facets turn, at the most */
    double slant; /* sine by which a face may be off the axis */
};

/* Whether the face lies on the cylinder. */
static bool lies_on(const struct cylinder *c, const struct shape *like, const struct face *f)
{
    double facet = like->facet;
    double most = slack(c), least = c->radius * (1 - cos(facet / 2)) + most;
    struct vec middle = vec(0, 0, 0);
    for (int k = 0; k < 3; k++) {
        double off = cylinder_polar(c, f->corner[k]).radius - c->radius;
        if (!(off < most && off > -least))
            return false;
        middle = vec_along(middle, 1.0 / 3, f->corner[k]);
    }
    if (!f->sure)
        return true;
    struct vec out = cylinder_polar(c, middle).out;
    return fabs(vec_dot(f->normal, c->axis)) < like->slant &&
           -vec_dot(f->normal, out) > cos(fmin(facet / 2 + slant * degree, 1));
}

/* All that hangs together with the seed and lies on the cylinder, into the queue. */
static bool flood(struct grower *g, uint32_t seed, const struct cylinder *c,
                  const struct shape *like)
{
    struct face first = round_face(g->rounds, seed);
    if (!lies_on(c, like, &first) || !push(g, seed, INSIDE))
        return false;
    for (size_t i = 0; i < g->queued; i++) {
        if (i % LOOK == 0 && job_cancelled(g->job)) {
            g->status = job_fail_cancelled(g->job);
            return false;
        }
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(g->rounds->topology, 3 * g->queue[i] + k);
            if (across == NO_INDEX || g->state[across / 3] & (INSIDE | CLAIMED))
                continue;
            struct face next = round_face(g->rounds, across / 3);
            if (lies_on(c, like, &next) && !push(g, across / 3, INSIDE))
                return false;
        }
    }
    return true;
}

/* Leaves about `most` points, evenly. */
static void thin_out(struct grower *g, size_t most)
{
    size_t every = 2 * (g->points / most / 2) + 1, kept = 0; /* odd: of both ends of edges */
    for (size_t i = 0; i < g->points; i += every)
        g->point[kept++] = g->point[i];
    g->points = kept;
}

/* The edges between facets of what was flooded, into g->point, and what its faces are like: smooth
 * ones are square to the axis but for rounding, and what leans beside them (a rounded rim) is not
 * of the wall. */
static bool gather(struct grower *g, struct vec axis, struct shape *like)
{
    double lean = 0, area = 0;
    g->points = 0;
    like->facet = 0;
    for (size_t i = 0; i < g->queued; i++) {
        if (i % LOOK == 0 && job_cancelled(g->job)) {
            g->status = job_fail_cancelled(g->job);
            return false;
        }
        struct face f = round_face(g->rounds, g->queue[i]);
        for (uint32_t k = 0; k < 3 && f.sure; k++) {
            uint32_t across = half_across(g->rounds->topology, 3 * g->queue[i] + k);
            if (across == NO_INDEX || across / 3 < g->queue[i] || !(g->state[across / 3] & INSIDE))
                continue;
            struct face next = round_face(g->rounds, across / 3);
            double turn = next.sure ? turn_at(&f, &next, f.corner[k]) : 0;
            like->facet = fmax(like->facet, turn);
            if (turn > least_turn * degree && !add_points(g, f.corner[k], f.corner[(k + 1) % 3]))
                return false;
        }
        lean += f.sure ? f.area * fabs(vec_dot(f.normal, axis)) : 0;
        area += f.sure ? f.area : 0;
    }
    double mean = area > 0 ? lean / area : 0;
    like->slant = fmin(sin(degree) + 5 * mean, sin(slant * degree));
    return true;
}

/* About how far round the flooded goes, degrees: all but the widest gap between its corners. */
static double goes_round(const struct grower *g, const struct cylinder *c)
{
    bool taken[BINS] = {false};
    struct vec u, v;
    int gap = 0, run = 0;
    vec_frame(c->axis, &u, &v);
    for (size_t i = 0; i < g->queued; i++) {
        struct face f = round_face(g->rounds, g->queue[i]);
        for (int k = 0; k < 3; k++) {
            struct vec out = vec_sub(f.corner[k], c->at);
            double turns = atan2(vec_dot(out, v), vec_dot(out, u)) / (360 * degree) + 0.5;
            taken[(int)fmin(BINS * turns, BINS - 1)] = true;
        }
    }
    for (int i = 0; i < 2 * BINS; i++) {
        run = taken[i % BINS] ? 0 : run + 1;
        gap = run > gap && run <= BINS ? run : gap;
    }
    return 360 - gap * 360.0 / BINS;
}

/* Grows from the seed and fits in turn, until nothing more comes. Leaves the wall in the queue. */
static bool grow(struct grower *g, uint32_t seed, struct round *round)
{
    struct shape like = {most_turn * degree, sin(slant * degree)};
    size_t before = 0;
    for (int i = 0; i < REFITS; i++) {
        forget(g, INSIDE);
        if (!flood(g, seed, &round->on, &like))
            return false;
        if (g->queued == before)
            break;
        if (i == 1 && goes_round(g, &round->on) < hopeless) {
            set_bits(g, TRIED);
            return false;
        }
        before = g->queued;
        if (!gather(g, round->on.axis, &like) || g->points < 6)
            return false;
        thin_out(g, FEW);
        if (!cylinder_fit(g->point, g->points, START_STEPS, &round->on))
            return false;
    }
    if (!gather(g, round->on.axis, &like) || g->points < 6)
        return false;
    thin_out(g, MANY);
    if (!cylinder_fit(g->point, g->points, STEPS, &round->on))
        return false;
    round->facet = like.facet;
    round->off = cylinder_off(g->point, g->points, &round->on);
    return of_size(&round->on, 1) && round->off < slack(&round->on) / 2;
}

static int by_number(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return (x > y) - (x < y);
}

static bool make_room(struct grower *g)
{
    struct rounds *r = g->rounds;
    if (r->count == r->room) {
        size_t room = 2 * r->room + 64;
        struct round *item = realloc(r->item, room * sizeof *item);
        if (!item)
            return no_memory(g, room * sizeof *item);
        r->item = item;
        r->room = room;
    }
    if (r->members + g->queued > r->members_room) {
        size_t room = 2 * r->members_room + g->queued;
        uint32_t *member = realloc(r->member, room * sizeof *member);
        if (!member)
            return no_memory(g, room * sizeof *member);
        r->member = member;
        r->members_room = room;
    }
    return true;
}

/* What lies in the queue is a wall, and belongs to no other, when it goes round far enough; else it
 * is only not tried again. */
static bool keep(struct grower *g, struct round *round)
{
    struct rounds *r = g->rounds;
    if (!make_room(g))
        return false;
    qsort(g->queue, g->queued, sizeof *g->queue, by_number);
    memcpy(r->member + r->members, g->queue, g->queued * sizeof *g->queue);
    round->first = (uint32_t)r->members;
    round->count = (uint32_t)g->queued;
    round_look(r, round);
    bool far = round->arc >= least_arc;
    set_bits(g, far ? CLAIMED : TRIED);
    if (!far)
        return false;
    r->members += g->queued;
    r->item[r->count++] = *round;
    return true;
}

/* The cylinder through what is in g->point. */
static bool start(const struct grower *g, struct vec axis, struct cylinder *on)
{
    if (!cylinder_start(g->point, g->points, axis, on) || !of_size(on, 1.5) ||
        cylinder_off(g->point, g->points, on) > 3 * slack(on))
        return false;
    return cylinder_fit(g->point, g->points, START_STEPS, on) &&
           cylinder_off(g->point, g->points, on) < slack(on);
}

static bool try_axis(struct grower *g, uint32_t seed, struct vec axis, double off)
{
    struct round round = {0};
    bool good = look_around(g, seed, axis, off);
    forget(g, SEEN);
    good = good && start(g, axis, &round.on) && grow(g, seed, &round) && keep(g, &round);
    forget(g, INSIDE);
    return good;
}

/* By the axis that all near it leave; where other surfaces are as near (a countersink), by that of
 * an edge at which it meets the next facet. */
static void try_seed(struct grower *g, uint32_t seed)
{
    struct vec axis;
    double off;
    bool sharp = false, good = near_axis(g, seed, &axis, &off, &sharp);
    forget(g, SEEN);
    if ((good && try_axis(g, seed, axis, off)) || !sharp)
        return;
    struct face f = round_face(g->rounds, seed);
    for (uint32_t k = 0; k < 3 && g->status == STATUS_OK; k++) {
        uint32_t across = half_across(g->rounds->topology, 3 * seed + k);
        struct face next = across == NO_INDEX ? f : round_face(g->rounds, across / 3);
        double turn = next.sure ? turn_at(&f, &next, f.corner[k]) / degree : 0;
        struct vec edge = vec_unit(vec_sub(f.corner[(k + 1) % 3], f.corner[k]));
        if (turn > edge_turn && turn < most_turn && try_axis(g, seed, edge, 0))
            return;
    }
}

/* --- all of them ---------------------------------------------------------------------------- */

/* Whether the surface bends towards the outside at a side of the face, as walls of holes do. */
static bool is_seed(const struct rounds *rounds, uint32_t triangle)
{
    struct face f = round_face(rounds, triangle);
    for (uint32_t k = 0; k < 3 && f.sure; k++) {
        uint32_t across = half_across(rounds->topology, 3 * triangle + k);
        if (across == NO_INDEX)
            continue;
        struct face next = round_face(rounds, across / 3);
        if (next.sure && bends(&f, &next, f.corner[k]))
            return true;
    }
    return false;
}

/* What rounding may have moved, and some; a file may have been rounded beside the world's zero. */
static double trust_of(const struct mesh *mesh, struct job *job)
{
    const struct bounds *b = mesh_bounds(mesh, job);
    double local = 0, world = 0;
    for (int k = 0; b && k < 3; k++) {
        double low = (&b->min.x)[k], high = (&b->max.x)[k];
        local = fmax(local, fmax(fabs(low - mesh->origin[k]), fabs(high - mesh->origin[k])));
        world = fmax(world, fmax(fabs(low), fabs(high)));
    }
    return fmax(fmax(64 * local * FLT_EPSILON, fmin(64 * world * FLT_EPSILON, 0.02)), 1e-4);
}

static enum status find_seeds(struct grower *g)
{
    const struct rounds *rounds = g->rounds;
    uint8_t *state = g->state;
    size_t count = mesh_triangles(rounds->mesh), blocks = (count + LOOK - 1) / LOOK;
    job_phase(g->job, "looking for round walls", 300, blocks);
#pragma omp parallel for num_threads(job_threads(g->job)) schedule(dynamic, 16)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = (b + 1) * LOOK < count ? (b + 1) * LOOK : count;
        for (size_t t = b * LOOK; t < end && !job_cancelled(g->job); t++)
            state[t] = is_seed(rounds, (uint32_t)t) ? SEED : 0;
        job_step(g->job, 1);
    }
    return job_cancelled(g->job) ? job_fail_cancelled(g->job) : STATUS_OK;
}

static enum status walk(struct grower *g)
{
    size_t count = mesh_triangles(g->rounds->mesh);
    job_phase(g->job, "following round walls", 600, count);
    for (uint32_t t = 0; t < count; t++) {
        if (t % LOOK == 0 && !job_step(g->job, LOOK))
            return job_fail_cancelled(g->job);
        if ((g->state[t] & (SEED | CLAIMED | TRIED)) == SEED)
            try_seed(g, t);
        if (g->status != STATUS_OK)
            return g->status;
    }
    return STATUS_OK;
}

enum status rounds_find(const struct mesh *mesh, struct rounds *out, struct job *job)
{
    *out = (struct rounds){.mesh = mesh};
    if (mesh_triangles(mesh) == 0)
        return STATUS_OK;
    out->topology = mesh_topology(mesh, job);
    if (!out->topology)
        return job_status(job);
    out->trust = trust_of(mesh, job);
    struct grower g = {.rounds = out, .job = job};
    out->state = g.state = scratch_new(mesh_triangles(mesh), 1);
    if (!g.state)
        return job_fail_memory(job, mesh_triangles(mesh));
    enum status status = find_seeds(&g);
    if (status == STATUS_OK)
        status = walk(&g);
    free(g.queue);
    free(g.point);
    return status;
}

void rounds_release(struct rounds *rounds)
{
    free(rounds->item);
    free(rounds->member);
    scratch_free(rounds->state);
    *rounds = (struct rounds){0};
}
