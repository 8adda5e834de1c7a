#include "scan/together.h"

#include "core/job.h"

enum {
    SAMPLES_MOST = 15000,
    SAMPLES_FIRST = 4000,
    SAMPLES_LEAST = 1000,
    LINKS_MOST = 400000,
    ROUNDS = 15
};

struct pair_links { /* from points of scan a to scan b */
    size_t a, b;
    struct links links;
};

struct together {
    const struct surfels *const *scan;
    size_t count, fixed; /* the first ones are fixed */
    double reach, spacing;
    double within; /* as in struct icp_rule */
    struct rigid *pose;
    struct pair_links *pair; /* all ordered pairs but those of two fixed ones */
    size_t pairs;
    double *matrix,
        *right; /* of 6 (count - fixed) unknowns: turn and shift of each scan that moves */
    struct job *job;
};

static size_t unknowns(const struct together *t)
{
    return 6 * (t->count - t->fixed);
}

/* --- links ----------------------------------------------------------------------------------- */

/* How many points of each pair, so that all links together are not too many. */
static size_t samples_for(size_t scans)
{
    size_t samples = LINKS_MOST / (scans * (scans - 1));
    samples = samples < SAMPLES_LEAST ? SAMPLES_LEAST : samples;
    return samples > SAMPLES_MOST ? SAMPLES_MOST : samples;
}

static void release_links(struct together *t)
{
    for (size_t k = 0; k < t->pairs; k++)
        links_release(&t->pair[k].links);
    t->pairs = 0;
}

static enum status make_links(struct together *t, size_t samples)
{
    size_t made = 0;
    release_links(t);
    for (size_t a = 0; a < t->count; a++)
        for (size_t b = 0; b < t->count; b++) {
            if (a == b || (a < t->fixed && b < t->fixed))
                continue;
            t->pair[made] = (struct pair_links){.a = a, .b = b};
            enum status status = links_make(t->scan[a], samples, &t->pair[made].links, t->job);
            if (status != STATUS_OK)
                return status;
            t->pairs = ++made;
        }
    return STATUS_OK;
}

/* The motion from scan a's coordinates to scan b's. */
static struct rigid between(const struct together *t, size_t a, size_t b)
{
    struct rigid back = rigid_inverse(&t->pose[b]);
    return rigid_then(&t->pose[a], &back);
}

/* --- equations ------------------------------------------------------------------------------- */

/* Sums of one pair of scans: of products of their twelve unknowns' factors. */
struct block {
    double matrix[12][12], right[12];
};

static void add_link(struct block *block, struct vec p, struct vec q, struct vec n, double weight)
{
    struct vec turn_p = vec_cross(p, n), turn_q = vec_cross(q, n);
    const double row[12] = {turn_p.x,  turn_p.y,  turn_p.z,  n.x,  n.y,  n.z,
                            -turn_q.x, -turn_q.y, -turn_q.z, -n.x, -n.y, -n.z};
    double off = -vec_dot(vec_sub(p, q), n);
    for (int i = 0; i < 12; i++) {
        for (int j = i; j < 12; j++)
            block->matrix[i][j] += weight * row[i] * row[j];
        block->right[i] += weight * row[i] * off;
    }
}

static void sum_pair(const struct together *t, const struct pair_links *pair, double limit,
                     struct block *block)
{
    const struct surfels *a = t->scan[pair->a], *b = t->scan[pair->b];
    const struct rigid *pose_a = &t->pose[pair->a], *pose_b = &t->pose[pair->b];
    for (size_t i = 0; i < pair->links.count; i++) {
        const struct link *link = &pair->links.link[i];
        if (link->kind != LINK_FACING || fabs((double)link->distance) > limit)
            continue;
        struct vec p = rigid_apply(pose_a, surfels_at(a, link->from));
        struct vec q = rigid_apply(pose_b, surfels_at(b, link->to));
        struct vec n = vec_add(rigid_direction(pose_a, surfels_normal(a, link->from)),
                               rigid_direction(pose_b, surfels_normal(b, link->to)));
        add_link(block, p, q, n, links_weight(link, a, b));
    }
}

/* Adds a pair's sums to the system; fixed scans have no unknowns. */
static void add_block(struct together *t, const struct pair_links *pair, const struct block *block)
{
    size_t n = unknowns(t);
    const size_t scan[2] = {pair->a, pair->b};
    for (size_t i = 0; i < 12; i++) {
        if (scan[i / 6] < t->fixed)
            continue;
        size_t row = 6 * (scan[i / 6] - t->fixed) + i % 6;
        t->right[row] += block->right[i];
        for (size_t j = 0; j < 12; j++)
            if (scan[j / 6] >= t->fixed)
                t->matrix[row * n + 6 * (scan[j / 6] - t->fixed) + j % 6] +=
                    i <= j ? block->matrix[i][j] : block->matrix[j][i];
    }
}

static void set_system(struct together *t)
{
    size_t n = unknowns(t);
    for (size_t i = 0; i < n * n; i++)
        t->matrix[i] = 0;
    for (size_t i = 0; i < n; i++)
        t->right[i] = 0;
    for (size_t k = 0; k < t->pairs && !job_cancelled(t->job); k++) {
        struct pair_links *pair = &t->pair[k];
        struct rigid pose = between(t, pair->a, pair->b);
        links_find(&pair->links, t->scan[pair->a], t->scan[pair->b], &pose, t->reach,
                   job_threads(t->job));
        double limit = links_limit(&pair->links);
        limit = limit > 0 ? fmax(limit, t->within) : 0;
        struct block block = {{{0}}, {0}};
        if (limit > 0) {
            sum_pair(t, pair, limit, &block);
            add_block(t, pair, &block);
        }
    }
}

/* Solves the system in place by Cholesky; what nothing holds is damped. False: it is singular. */
static bool solve(struct together *t)
{
    size_t n = unknowns(t);
    double *a = t->matrix, *x = t->right, like = 0;
    for (size_t i = 0; i < n; i++)
        like = fmax(like, a[i * n + i]);
    for (size_t j = 0; j < n; j++) {
        a[j * n + j] += 1e-12 * like + 1e-6 * a[j * n + j];
        for (size_t k = 0; k < j; k++)
            a[j * n + j] -= a[j * n + k] * a[j * n + k];
        if (!(a[j * n + j] > 0))
            return false;
        a[j * n + j] = sqrt(a[j * n + j]);
        for (size_t i = j + 1; i < n; i++) {
            for (size_t k = 0; k < j; k++)
                a[i * n + j] -= a[i * n + k] * a[j * n + k];
            a[i * n + j] /= a[j * n + j];
        }
    }
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            x[i] -= a[i * n + k] * x[k];
        x[i] /= a[i * n + i];
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            x[i] -= a[k * n + i] * x[k];
        x[i] /= a[i * n + i];
    }
    return true;
}

/* Moves all scans by the solution; returns the farthest that any moved, mm. */
static double move_all(struct together *t)
{
    double most = 0;
    for (size_t i = t->fixed; i < t->count; i++) {
        const double *x = t->right + 6 * (i - t->fixed);
        struct rigid by = rigid_turn(vec(x[0], x[1], x[2]));
        by.shift = vec(x[3], x[4], x[5]);
        struct vec before = t->pose[i].shift;
        struct rigid moved = rigid_then(&t->pose[i], &by);
        t->pose[i] = rigid_tidy(&moved);
        double angle = vec_length(vec(x[0], x[1], x[2]));
        most = fmax(most,
                    vec_length(vec_sub(t->pose[i].shift, before)) + angle * t->scan[i]->size / 2);
    }
    return most;
}

static enum status run(struct together *t, double still)
{
    double moved = INFINITY;
    for (int round = 0; round < ROUNDS && moved > still; round++) {
        set_system(t);
        if (job_cancelled(t->job))
            return job_fail_cancelled(t->job);
        if (!solve(t))
            break;
        moved = move_all(t);
        t->reach = fmax(3 * t->spacing, fmin(t->reach, 10 * moved));
    }
    return STATUS_OK;
}

static enum status fit_all(struct together *t)
{
    size_t samples = samples_for(t->count);
    enum status status = make_links(t, samples < SAMPLES_FIRST ? samples : SAMPLES_FIRST);
    t->within = t->spacing;
    if (status == STATUS_OK)
        status = run(t, 0.01 * t->spacing);
    t->within = 0;
    if (status == STATUS_OK)
        status = make_links(t, samples);
    if (status == STATUS_OK)
        status = run(t, 2e-3 * t->spacing);
    return status;
}

enum status together_fit(const struct surfels *const *scan, size_t count, size_t fixed,
                         double reach, struct rigid *pose, struct job *job)
{
    struct together t = {scan, count, fixed, .reach = reach, .pose = pose, .job = job};
    if (count <= fixed)
        return STATUS_OK;
    size_t n = unknowns(&t);
    for (size_t i = 0; i < count; i++)
        t.spacing = fmax(t.spacing, scan[i]->spacing);
    t.pair = scratch_new(count * (count - 1), sizeof *t.pair);
    t.matrix = scratch_new(n * n, sizeof *t.matrix);
    t.right = scratch_new(n, sizeof *t.right);
    enum status status = t.pair && t.matrix && t.right
                             ? fit_all(&t)
                             : job_fail_memory(job, n * n * sizeof *t.matrix);
    release_links(&t);
    scratch_free(t.pair);
    scratch_free(t.matrix);
    scratch_free(t.right);
    return status;
}
