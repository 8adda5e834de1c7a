#include "scan/fuse_edge.h"

#include "core/job.h"
#include "scan/fuse_bins.h"
#include "scan/fuse_grid.h"
#include "scan/fuse_height.h"

enum { FACES_MOST = 3, SEEDS = 24, LEAST = 5 };
enum { MIXED = 253, BEVEL, BEHIND }; /* of corner.taken, beside 1 + the face */

static const float edge_reach = 2.6f; /* samples->reach */

/* Cosines: normals of neighbouring vertices that may stand at an edge; of samples of one face; of
 * two faces that make an edge. */
static const double turns = 0.88, edge_turns = 0.82;
static const float one_face = 0.92f;

/* Faces that nearly face each other's backs make no edge: a thin wall. */
static const double back_to_back = -0.8;

/* A third face stands so far out of the plane of the other two's normals, at least. */
static const double out_of_plane = 0.35;

static const double face_share = 0.06; /* of the weight around, at least */
static const double gain = 0.8;  /* faces must leave so much less than one bent surface, RMS */
static const double pull = 0.02; /* of the vertex back to where it was, where faces do not say */

struct face {
    struct vec normal, through, middle;
    double weight;
};

struct corner { /* what is around one vertex */
    struct bins *bins;
    size_t count;
    uint8_t *taken; /* one a close sample: 1 + its face; 0: free */
    struct face face[FACES_MOST];
    int faces;
    struct vec at;
    double total, pure; /* weight: of all, of those that show a face */
};

static const struct fuse_sample *sample_of(const struct corner *c, size_t i)
{
    return c->bins->sample + c->bins->close[i].at;
}

static struct vec close_vec(const struct fuse_close *s)
{
    return vec((double)s->x, (double)s->y, (double)s->z);
}

/* --- finding faces --------------------------------------------------------------------------- */

/* The free samples that face as `n` does: their weight, and the mean of their normals. */
static double support(const struct corner *c, const float n[3], struct vec *mean)
{
    double weight = 0;
    float sum[3] = {0};
    for (size_t i = 0; i < c->count; i++) {
        const struct fuse_sample *s = sample_of(c, i);
        if (c->taken[i] || bins_facing(s, n) < one_face)
            continue;
        weight += (double)c->bins->close[i].weight;
        for (int d = 0; d < 3; d++)
            sum[d] += c->bins->close[i].weight * s->normal[d];
    }
    *mean = vec_unit(vec((double)sum[0], (double)sum[1], (double)sum[2]));
    return weight;
}

/* The direction that most of the free samples face. */
static double best_direction(const struct corner *c, struct vec *best)
{
    double most = 0;
    size_t step = c->count / SEEDS + 1;
    for (size_t i = 0; i < c->count; i += step) {
        struct vec mean = vec(0, 0, 0);
        double weight = c->taken[i] ? 0 : support(c, sample_of(c, i)->normal, &mean);
        if (weight > most) {
            most = weight;
            *best = mean;
        }
    }
    return most;
}

/* Takes the samples that face that way, as `as`; how many. */
static size_t take_face(struct corner *c, struct vec normal, uint8_t as)
{
    float n[3];
    size_t taken = 0;
    floats_of(n, normal);
    for (size_t i = 0; i < c->count; i++)
        if (!c->taken[i] && bins_facing(sample_of(c, i), n) >= one_face) {
            c->taken[i] = as;
            taken++;
        }
    return taken;
}

/* The plane, slightly bent, through the samples of the latest face. */
static bool fit_face(struct corner *c, struct vec normal)
{
    struct height_sums sums = {{0}, {0}};
    struct face *face = &c->face[c->faces];
    struct vec u, v, middle = vec(0, 0, 0);
    double h[HEIGHT_TERMS], per = 1 / (double)c->bins->reach, weight = 0;
    vec_frame(normal, &u, &v);
    for (size_t i = 0; i < c->count; i++) {
        if (c->taken[i] != c->faces + 1)
            continue;
        struct vec p = close_vec(&c->bins->close[i]);
        double w = (double)c->bins->close[i].weight;
        height_add(&sums, vec_dot(p, u) * per, vec_dot(p, v) * per, vec_dot(p, normal), w);
        middle = vec_along(middle, w, p);
        weight += w;
    }
    if (!height_solve(&sums, 6, 0.03, h))
        return false;
    struct vec slope = vec_along(vec_scale(u, h[1] * per), h[2] * per, v);
    *face = (struct face){vec_unit(vec_sub(normal, slope)), vec_scale(normal, h[0]),
                          vec_scale(middle, 1 / weight), weight};
    return true;
}

/* What samples that face that way belong to: the next face, the back of a thin wall, or a bevel,
 * whose direction lies between those of the faces it joins. */
static uint8_t kind_of(const struct corner *c, struct vec normal)
{
    for (int k = 0; k < c->faces; k++)
        if (vec_dot(c->face[k].normal, normal) < back_to_back)
            return BEHIND;
    bool apart = c->faces == 0 || vec_dot(c->face[0].normal, normal) < edge_turns;
    if (c->faces == 2) {
        struct vec edge = vec_unit(vec_cross(c->face[0].normal, c->face[1].normal));
        apart = fabs(vec_dot(edge, normal)) > out_of_plane;
    }
    return apart ? (uint8_t)(c->faces + 1) : BEVEL;
}

/* Samples that face against the vertex are of another sheet; those with a mixed normal stand at the
 * edge itself, and show no face. */
static void start_free(struct corner *c, struct vec normal)
{
    float n[3];
    floats_of(n, normal);
    c->faces = 0;
    c->total = c->pure = 0;
    for (size_t i = 0; i < c->count; i++) {
        uint32_t number = c->bins->number[c->bins->close[i].at];
        c->taken[i] = grid_samples(c->bins->grid)->mixed[number] ? MIXED : 0;
        if (bins_facing(sample_of(c, i), n) < (float)back_to_back)
            c->taken[i] = BEHIND;
        if (c->taken[i] != BEHIND)
            c->total += (double)c->bins->close[i].weight;
        if (c->taken[i] == 0)
            c->pure += (double)c->bins->close[i].weight;
    }
}

static void find_faces(struct corner *c)
{
    for (int tries = 0; tries < 2 * FACES_MOST && c->faces < FACES_MOST; tries++) {
        struct vec normal = vec(0, 0, 0);
        double weight = best_direction(c, &normal);
        if (weight < face_share * c->pure)
            return;
        uint8_t kind = kind_of(c, normal);
        size_t taken = take_face(c, normal, kind);
        if (kind == c->faces + 1 && (taken < LEAST || !fit_face(c, normal)))
            return;
        c->faces += kind == c->faces + 1;
    }
}

/* --- judging --------------------------------------------------------------------------------- */

static double off_face(const struct face *f, struct vec p)
{
    return vec_dot(f->normal, vec_sub(p, f->through));
}

/* Weighted mean of squares of how far the samples lie off the nearest face. */
static double off_faces(const struct corner *c)
{
    double sum = 0;
    for (size_t i = 0; i < c->count; i++) {
        double best = c->taken[i] == BEHIND ? 0 : INFINITY;
        for (int k = 0; k < c->faces; k++)
            best = fmin(best, fabs(off_face(&c->face[k], close_vec(&c->bins->close[i]))));
        sum += (double)c->bins->close[i].weight * best * best;
    }
    return sum / c->total;
}

/* The same off one bent surface through all. */
static double off_bent(const struct corner *c)
{
    struct height_sums sums = {{0}, {0}};
    struct vec normal = vec(0, 0, 0), u, v;
    double h[HEIGHT_TERMS], per = 1 / (double)c->bins->reach, sum = 0;
    for (int k = 0; k < c->faces; k++)
        normal = vec_add(normal, c->face[k].normal);
    normal = vec_unit(normal);
    vec_frame(normal, &u, &v);
    for (int pass = 0; pass < 2; pass++)
        for (size_t i = 0; i < c->count; i++) {
            struct vec p = close_vec(&c->bins->close[i]);
            double x = vec_dot(p, u) * per;
            double w = c->taken[i] == BEHIND ? 0 : (double)c->bins->close[i].weight;
            double y = vec_dot(p, v) * per, z = vec_dot(p, normal);
            if (pass == 0) {
                height_add(&sums, x, y, z, w);
                continue;
            }
            if (i == 0 && !height_solve(&sums, 6, 1e-5, h))
                return 0;
            double off = z - height_at(h, x, y);
            sum += w * off * off;
        }
    return sum / c->total;
}

/* --- moving ---------------------------------------------------------------------------------- */

/* The place nearest to all faces, and to the vertex (zero) where they do not say. */
static struct vec meeting(const struct corner *c)
{
    double a[6] = {pull, 0, pull, 0, 0, pull}, b[3] = {0}; /* the lower half, row by row */
    for (int k = 0; k < c->faces; k++) {
        const struct vec n = c->face[k].normal;
        const double e[3] = {n.x, n.y, n.z}, off = vec_dot(n, c->face[k].through);
        for (int i = 0, at = 0; i < 3; i++) {
            b[i] += e[i] * off;
            for (int j = 0; j <= i; j++)
                a[at++] += e[i] * e[j];
        }
    }
    /* Cramer's rule; `pull` keeps the determinant away from zero. */
    struct vec r0 = vec(a[0], a[1], a[3]), r1 = vec(a[1], a[2], a[4]), r2 = vec(a[3], a[4], a[5]);
    struct vec c0 = vec_cross(r1, r2), c1 = vec_cross(r2, r0), c2 = vec_cross(r0, r1);
    struct vec sum = vec_along(vec_along(vec_scale(c0, b[0]), b[1], c1), b[2], c2);
    return vec_scale(sum, 1 / vec_dot(r0, c0));
}

/* Whether the edge of two faces stands out (its faces fall away from it). */
static bool stands_out(const struct face *a, const struct face *b)
{
    return vec_dot(a->normal, vec_sub(b->middle, a->middle)) < 0;
}

/* The face that is the vertex's own: the outermost where they fall away from each other, the
 * innermost where they rise. -1: they do both. */
static int own_face(const struct corner *c)
{
    int out = 0, pairs = 0, best = 0;
    for (int i = 0; i < c->faces; i++)
        for (int j = 0; j < i; j++, pairs++)
            out += stands_out(&c->face[i], &c->face[j]);
    if (out != 0 && out != pairs)
        return -1;
    for (int k = 1; k < c->faces; k++) {
        double d = off_face(&c->face[k], vec(0, 0, 0)), e = off_face(&c->face[best], vec(0, 0, 0));
        if (out ? d > e : d < e)
            best = k;
    }
    return best;
}

static bool in_cell(const struct net *net, size_t v, struct vec at)
{
    struct vec d = vec_sub(at, net_middle(net, v));
    double half = 0.55 * (double)net->grid->frame.step;
    return fabs(d.x) <= half && fabs(d.y) <= half && fabs(d.z) <= half;
}

static void sharpen_vertex(struct corner *c, struct net *net, size_t v)
{
    float place[3], nearest2;
    uint32_t nearest;
    c->at = point_vec(net->at[v]);
    floats_of(place, c->at);
    c->count = bins_near(c->bins, place, &nearest, &nearest2);
    if (c->count < 2 * LEAST)
        return;
    start_free(c, point_vec(net->normal[v]));
    find_faces(c);
    if (c->faces < 2 || !(off_faces(c) < gain * gain * off_bent(c)))
        return;
    struct vec move = meeting(c);
    if (in_cell(net, v, vec_add(c->at, move))) {
        net->sharp[v] = (uint8_t)c->faces;
    } else {
        int own = own_face(c);
        if (own < 0)
            return;
        move = vec_scale(c->face[own].normal, -off_face(&c->face[own], vec(0, 0, 0)));
        net->normal[v] = vec_point(c->face[own].normal);
    }
    double step = (double)net->grid->frame.step;
    if (vec_length2(move) <= step * step)
        net->at[v] = vec_point(vec_add(c->at, move));
    else
        net->sharp[v] = 0;
}

/* --- all of them ----------------------------------------------------------------------------- */

static bool turns_beside(const struct net *net, size_t v)
{
    struct vec n = point_vec(net->normal[v]);
    for (int k = 0; k < LINKS && net->trust[v]; k++) {
        uint32_t w = net->link[v][k];
        if (w != NO_INDEX && net->trust[w] && vec_dot(n, point_vec(net->normal[w])) < turns)
            return true;
    }
    return false;
}

/* Marks the vertices to look at: where the net turns, and those beside them. */
static void mark_turns(struct net *net, uint8_t *marked, const struct job *job)
{
#pragma omp parallel num_threads(job_threads(job))
    {
#pragma omp for schedule(static)
        for (size_t v = 0; v < net->vertices; v++) {
            net->sharp[v] = 0;
            marked[v] = turns_beside(net, v);
        }
#pragma omp for schedule(static)
        for (size_t v = 0; v < net->vertices; v++)
            for (int k = 0; k < LINKS && !marked[v] && net->trust[v]; k++)
                if (net->link[v][k] != NO_INDEX &&
                    __atomic_load_n(&marked[net->link[v][k]], __ATOMIC_RELAXED) == 1)
                    __atomic_store_n(&marked[v], 2, __ATOMIC_RELAXED);
    }
}

static bool any_marked(const struct net *net, size_t b, const uint8_t *marked)
{
    for (size_t v = net->block[b].base; v < net->block[b + 1].base; v++)
        if (marked[v])
            return true;
    return false;
}

static bool sharpen_block(struct corner *c, struct net *net, size_t b, const uint8_t *marked,
                          size_t *room, const struct job *job)
{
    if (!bins_fill(c->bins, b))
        return false;
    if (c->bins->room > *room) {
        scratch_free(c->taken);
        *room = c->bins->room;
        c->taken = scratch_new(*room, 1);
        if (!c->taken)
            return false;
    }
    for (size_t v = net->block[b].base; v < net->block[b + 1].base && !job_cancelled(job); v++)
        if (marked[v])
            sharpen_vertex(c, net, v);
    return true;
}

enum status sharpen_net(struct net *net, struct job *job)
{
    uint8_t *marked = scratch_new(net->vertices, 1);
    bool failed = false;
    if (!marked)
        return job_fail_memory(job, net->vertices);
    mark_turns(net, marked, job);
#pragma omp parallel num_threads(job_threads(job)) reduction(|| : failed)
    {
        struct corner c = {
            .bins = bins_new(net->grid, edge_reach * (float)grid_samples(net->grid)->reach)};
        size_t room = 0;
        failed = !c.bins;
#pragma omp for schedule(dynamic, 4)
        for (size_t b = 0; b < net->grid->count; b++)
            if (!failed && job_step(job, 1) && any_marked(net, b, marked))
                failed = !sharpen_block(&c, net, b, marked, &room, job);
        bins_free(c.bins);
        scratch_free(c.taken);
    }
    scratch_free(marked);
    if (failed)
        return job_fail_memory(job, net->vertices);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
