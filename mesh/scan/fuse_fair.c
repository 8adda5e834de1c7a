#include "scan/fuse_fair.h"

#include <string.h>

#include "core/job.h"
#include "scan/fuse_loose.h"

enum { RIM_PASSES = 4 };

/* The sine of the angle at which the membrane leaves the rim: a crease to be smoothed below, an
 * edge above; and how fast the weight of the rim's slope falls between. */
static const double crease = 0.5, edge = 0.75, fall = 4;

/* A rim is round when the square of the mean of its angles is so much of the mean of their squares.
 */
static const double alike = 0.8;

/* Edges (over 2 pi): how long waves are bent by what the rim says here and there; how long those of
 * the calm shape are. */
static const double local_length = 2.5, calm_length = 5;

/* A patch is too close to what was measured when more than this share of it, from so many edges off
 * the rim on, is within a cell of it. */
static const double close_share = 0.05;
enum { CLOSE_RING = 5, CLOSE_LEAST = 20, SMALL = 4096 };

/* --- the rim --------------------------------------------------------------------------------- */

/* From a rim vertex to the invented ones up to two edges off: the rim's own noise shows less. */
static struct vec towards_invented(const struct loose *f, uint32_t v)
{
    const struct net *net = f->net;
    struct vec sum = vec(0, 0, 0), at = point_vec(net->at[v]);
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = net->link[v][k];
        if (w == NO_INDEX || f->row[w] >= f->free)
            continue;
        sum = vec_add(sum, vec_sub(point_vec(net->at[w]), at));
        for (int j = 0; j < LINKS; j++) {
            uint32_t x = net->link[w][j];
            if (x != NO_INDEX && f->row[x] < f->free)
                sum = vec_add(sum, vec_sub(point_vec(net->at[x]), at));
        }
    }
    return sum;
}

/* From the measured ones beside it. */
static struct vec from_measured(const struct loose *f, uint32_t v)
{
    const struct net *net = f->net;
    struct vec sum = vec(0, 0, 0);
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = net->link[v][k];
        if (w != NO_INDEX && net->trust[w] != TRUST_NONE)
            sum = vec_add(sum, vec_sub(point_vec(net->at[v]), point_vec(net->at[w])));
    }
    return sum;
}

/* The sine of the angle at which the invented surface leaves a measured vertex's tangent plane,
 * negative inward; -1 where it turns back. */
static double turn_at(const struct loose *f, size_t row)
{
    uint32_t v = f->vertex[row];
    struct vec on = towards_invented(f, v);
    double length = vec_length(on);
    if (vec_dot(on, from_measured(f, v)) < 0)
        return -1;
    return length > 0 ? vec_dot(point_vec(f->net->normal[v]), on) / length : 0;
}

/* Means of value[] at the rim rows with those beside them, so many times; next[] has the same room.
 */
static void smooth_rim(const struct loose *f, double *value, double *next)
{
    size_t rim = f->rows - f->free;
    for (int pass = 0; pass < RIM_PASSES; pass++) {
        for (size_t i = 0; i < rim; i++) {
            double sum = value[i], count = 1;
            for (int k = 0; k < LINKS; k++) {
                uint32_t w = f->net->link[f->vertex[f->free + i]][k];
                uint32_t row = w == NO_INDEX ? NO_INDEX : f->row[w];
                if (row == NO_INDEX || row < f->free)
                    continue;
                sum += value[row - f->free];
                count++;
            }
            next[i] = sum / count;
        }
        memcpy(value, next, rim * sizeof *value);
    }
}

/* What each rim vertex's bending counts: 1 where the membrane goes on about as the rim does. */
static void weigh_rim(struct loose *f, const double *turn)
{
    for (size_t i = 0; i < f->rows - f->free; i++) {
        double beyond = fmax((fabs(turn[i]) - crease) / (edge - crease), 0);
        f->say[f->free + i] = beyond < 1 ? (float)pow(10, -fall * beyond) : 0;
    }
}

/* The patch of a loose vertex beside a rim row. */
static uint32_t patch_beside(const struct loose *f, size_t row)
{
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = f->net->link[f->vertex[row]][k];
        if (w != NO_INDEX && f->row[w] < f->free)
            return f->of[f->row[w]];
    }
    return 0;
}

struct lean { /* of the rim of a patch, where there is no edge */
    double sum, square, count;
};

/* Patches whose rim leans alike all round: it is the shape that bends, not what is on it. */
static void choose_round(const struct loose *f, const double *turn, struct lean *lean,
                         uint8_t *is_round)
{
    memset(lean, 0, f->patches * sizeof *lean);
    for (size_t i = 0; i < f->rows - f->free; i++) {
        struct lean *l = &lean[patch_beside(f, f->free + i)];
        if (!(f->say[f->free + i] > 0))
            continue;
        l->sum += turn[i];
        l->square += turn[i] * turn[i];
        l->count++;
    }
    for (size_t p = 0; p < f->patches; p++)
        is_round[p] = lean[p].sum * lean[p].sum > alike * lean[p].square * lean[p].count;
}

/* The membrane, bent. The rim's slope tells how the surface goes on for a few edges; farther only
 * if all of the rim says the same. */
static enum status spread_and_bend(struct loose *f)
{
    size_t rim = f->rows - f->free;
    double *turn = scratch_new(rim, sizeof *turn), *next = scratch_new(rim, sizeof *next);
    struct lean *lean = scratch_new(f->patches, sizeof *lean);
    uint8_t *is_round = scratch_new(f->patches, 1);
    bool ok = turn && next && lean && is_round;
    if (ok) {
        loose_spread(f, NULL);
        for (size_t i = 0; i < rim; i++)
            turn[i] = turn_at(f, f->free + i);
        smooth_rim(f, turn, next);
        weigh_rim(f, turn);
        choose_round(f, turn, lean, is_round);
        loose_bend(f, is_round);
        for (size_t p = 0; p < f->patches; p++)
            is_round[p] = !is_round[p];
        loose_soften(f, is_round, local_length);
    }
    scratch_free(turn);
    scratch_free(next);
    scratch_free(lean);
    scratch_free(is_round);
    return ok ? STATUS_OK : job_fail_memory(f->job, rim * 2 * sizeof *turn);
}

/* --- keeping apart --------------------------------------------------------------------------- */

static bool is_close(const struct net *net, uint32_t v)
{
    const struct grid_frame *s = &net->grid->frame;
    const struct point p = net->at[v];
    const float at[3] = {p.x, p.y, p.z};
    uint32_t index[3];
    for (int d = 0; d < 3; d++)
        index[d] = (uint32_t)fminf(fmaxf(floorf((at[d] - s->base[d]) / s->step), 1), GRID_MOST - 2);
    node_id middle = grid_find(net->grid, index[0], index[1], index[2]);
    for (int k = 0; k < 27 && middle != NO_NODE; k++) {
        uint32_t w =
            net_vertex(net, grid_beside(net->grid, middle, k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1));
        if (w != NO_INDEX && net->trust[w] != TRUST_NONE &&
            vec_length(vec_sub(point_vec(net->at[w]), point_vec(p))) < (double)s->step)
            return true;
    }
    return false;
}

/* Which patches are too close to what was measured. */
static void find_close(const struct net *net, const struct fair_shape *s, uint8_t *close,
                       const struct job *job)
{
    for (size_t p = 0; p < s->patches; p++) {
        size_t far = 0, touching = 0;
        int threads = s->patch[p].end - s->patch[p].first < SMALL ? 1 : job_threads(job);
#pragma omp parallel for num_threads(threads) schedule(static) reduction(+ : far, touching)
        for (uint32_t i = s->patch[p].first; i < s->patch[p].end; i++)
            if (s->ring[i] >= CLOSE_RING && !job_cancelled(job)) {
                far++;
                touching += is_close(net, s->vertex[i]);
            }
        close[p] = touching > CLOSE_LEAST && (double)touching > close_share * (double)far;
    }
}

static enum status keep_apart(struct net *net, struct fair_shape *shape, struct job *job)
{
    uint8_t *close = scratch_new(shape->patches, 1);
    if (!close)
        return job_fail_memory(job, shape->patches);
    enum status status = STATUS_OK;
    for (bool any = true; any && status == STATUS_OK;) {
        find_close(net, shape, close, job);
        status = job_cancelled(job) ? job_fail_cancelled(job)
                                    : fair_retreat(net, shape, close, &any, job);
    }
    scratch_free(close);
    return status;
}

/* --- what is kept of it ---------------------------------------------------------------------- */

static void take_points(const struct fair_shape *s, const struct net *net, struct point *out)
{
    for (size_t i = 0; i < s->count; i++)
        out[i] = net->at[s->vertex[i]];
}

static void put_points(const struct fair_shape *s, struct net *net, const struct point *at)
{
    for (size_t i = 0; i < s->count; i++)
        net->at[s->vertex[i]] = at[i];
}

/* How many edges each vertex is from the rim. */
static void find_rings(const struct loose *f, struct fair_shape *s)
{
    memset(s->ring, 255, s->count);
    for (uint8_t ring = 1, any = 1; any && ring < CLOSE_RING && !job_cancelled(f->job); ring++) {
        any = 0;
        for (size_t i = 0; i < s->count; i++)
            for (int k = 0; k < LINKS && s->ring[i] == 255; k++) {
                uint32_t w = f->net->link[s->vertex[i]][k];
                uint32_t row = w == NO_INDEX ? NO_INDEX : f->row[w];
                bool nearer = row != NO_INDEX && (row >= f->free ? ring == 1 : s->ring[row] < ring);
                if (nearer) {
                    s->ring[i] = ring;
                    any = 1;
                }
            }
    }
}

static enum status start_shape(const struct loose *f, struct fair_shape *s)
{
    size_t n = f->free, patches = f->patches;
    s->count = n;
    s->vertex = scratch_new(n, sizeof *s->vertex);
    s->of = scratch_new(n, sizeof *s->of);
    s->ring = scratch_new(n, 1);
    s->patch = scratch_new(patches, sizeof *s->patch);
    s->raw = scratch_new(n, sizeof *s->raw);
    s->spread = scratch_new(n, sizeof *s->spread);
    if (!s->vertex || !s->of || !s->ring || !s->patch || !s->raw || !s->spread)
        return job_fail_memory(f->job, n * 36);
    memcpy(s->vertex, f->vertex, n * sizeof *s->vertex);
    memcpy(s->of, f->of, n * sizeof *s->of);
    memset(s->patch, 0, patches * sizeof *s->patch);
    s->patches = patches;
    for (size_t i = n; i-- > 0;)
        s->patch[s->of[i]].first = (uint32_t)i;
    for (size_t i = 0; i < n; i++)
        s->patch[s->of[i]].end = (uint32_t)i + 1;
    find_rings(f, s);
    take_points(s, f->net, s->raw);
    return STATUS_OK;
}

enum status fair_net(struct net *net, struct fair_shape *out, struct job *job)
{
    struct loose loose;
    *out = (struct fair_shape){0};
    enum status status = loose_list(net, &loose, job);
    if (status == STATUS_OK && loose.free > 0)
        status = start_shape(&loose, out);
    if (status == STATUS_OK && loose.free > 0)
        status = spread_and_bend(&loose);
    if (status == STATUS_OK && loose.free > 0)
        take_points(out, net, out->spread);
    loose_release(&loose);
    if (status == STATUS_OK && job_cancelled(job))
        return job_fail_cancelled(job);
    return status == STATUS_OK && out->count ? keep_apart(net, out, job) : status;
}

/* --- retreating ------------------------------------------------------------------------------ */

/* The winding number's shape, smoothed; the net is left as it was. */
static enum status calm_down(struct net *net, struct fair_shape *s, struct job *job)
{
    struct loose loose;
    struct point *now = scratch_new(s->count, sizeof *now);
    s->calm = scratch_new(s->count, sizeof *s->calm);
    if (!now || !s->calm) {
        scratch_free(now);
        return job_fail_memory(job, s->count * sizeof *now);
    }
    take_points(s, net, now);
    put_points(s, net, s->raw);
    enum status status = loose_list(net, &loose, job);
    if (status == STATUS_OK)
        loose_soften(&loose, NULL, calm_length);
    loose_release(&loose);
    take_points(s, net, s->calm);
    put_points(s, net, now);
    scratch_free(now);
    if (status == STATUS_OK && job_cancelled(job))
        return job_fail_cancelled(job);
    return status;
}

/* Half the way, a quarter, none of it. */
static void place_patch(struct net *net, const struct fair_shape *s, const struct fair_patch *patch)
{
    double share = patch->retreats < RETREATS_MOST ? 1.0 / (1 << patch->retreats) : 0;
    for (uint32_t i = patch->first; i < patch->end; i++) {
        struct vec calm = point_vec(s->calm[i]);
        net->at[s->vertex[i]] =
            vec_point(vec_along(calm, share, vec_sub(point_vec(s->spread[i]), calm)));
    }
}

enum status fair_retreat(struct net *net, struct fair_shape *s, const uint8_t *gives_way, bool *any,
                         struct job *job)
{
    *any = false;
    for (size_t p = 0; p < s->patches; p++) {
        struct fair_patch *patch = &s->patch[p];
        if (!gives_way[p] || patch->retreats == RETREATS_MOST)
            continue;
        enum status status = s->calm ? STATUS_OK : calm_down(net, s, job);
        if (status != STATUS_OK)
            return status;
        patch->retreats++;
        place_patch(net, s, patch);
        *any = true;
    }
    return STATUS_OK;
}

void fair_release(struct fair_shape *s)
{
    scratch_free(s->vertex);
    scratch_free(s->of);
    scratch_free(s->ring);
    scratch_free(s->patch);
    scratch_free(s->raw);
    scratch_free(s->spread);
    scratch_free(s->calm);
    *s = (struct fair_shape){0};
}
