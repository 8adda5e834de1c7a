#include "scan/fuse_fair.h"

#include <string.h>

#include "core/job.h"
#include "scan/fuse_loose.h"

enum { RIM_PASSES = 4 };

/* The sine of the angle at which the membrane leaves the rim: a crease to be smoothed below, an
 * edge above; and how fast the weight of the rim's slope falls between. */
static const double crease = 0.5, edge = 0.75, fall = 4;

/* A patch is too close to what was measured when more than this share of it, from so many edges off
 * the rim on, is within a cell of it. */
static const double close_share = 0.05;
enum { CLOSE_RING = 5, CLOSE_LEAST = 20 };

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

/* The sine of the angle at which the invented surface leaves a measured vertex's tangent plane; 1
 * where it turns back. */
static double turn_at(const struct loose *f, size_t row)
{
    uint32_t v = f->vertex[row];
    struct vec on = towards_invented(f, v);
    double length = vec_length(on);
    if (vec_dot(on, from_measured(f, v)) < 0)
        return 1;
    return length > 0 ? fabs(vec_dot(point_vec(f->net->normal[v]), on)) / length : 0;
}

/* The mean of what stands in value[] at a rim row and at those beside it. */
static double rim_mean(const struct loose *f, size_t row, const double *value)
{
    double sum = value[row - f->free], count = 1;
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = f->net->link[f->vertex[row]][k];
        if (w == NO_INDEX || f->row[w] == NO_INDEX || f->row[w] < f->free)
            continue;
        sum += value[f->row[w] - f->free];
        count++;
    }
    return sum / count;
}

/* What each rim vertex's bending counts: 1 where the membrane goes on about as the rim does. *any:
 * whether one counts. */
static enum status weigh_rim(struct loose *f, bool *any)
{
    size_t rim = f->rows - f->free;
    double *turn = scratch_new(rim, sizeof *turn), *next = scratch_new(rim, sizeof *next);
    *any = false;
    if (turn && next) {
        for (size_t i = 0; i < rim; i++)
            turn[i] = turn_at(f, f->free + i);
        for (int pass = 0; pass < RIM_PASSES; pass++) {
            for (size_t i = 0; i < rim; i++)
                next[i] = rim_mean(f, f->free + i, turn);
            memcpy(turn, next, rim * sizeof *turn);
        }
        for (size_t i = 0; i < rim; i++) {
            double beyond = fmax((turn[i] - crease) / (edge - crease), 0);
            f->say[f->free + i] = beyond < 1 ? (float)pow(10, -fall * beyond) : 0;
            *any = *any || beyond < 1;
        }
    }
    bool ok = turn && next;
    scratch_free(turn);
    scratch_free(next);
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
    for (int k = 0; k < 27; k++) {
        node_id cell =
            grid_find(net->grid, index[0] + (uint32_t)(k % 3) - 1,
                      index[1] + (uint32_t)(k / 3 % 3) - 1, index[2] + (uint32_t)(k / 9) - 1);
        uint32_t w = net_vertex(net, cell);
        if (w != NO_INDEX && net->trust[w] != TRUST_NONE &&
            vec_length(vec_sub(point_vec(net->at[w]), point_vec(p))) < (double)s->step)
            return true;
    }
    return false;
}

/* Which patches are too close to what was measured. */
static void find_close(const struct net *net, const struct fair_shape *s, uint8_t *close)
{
    for (size_t p = 0; p < s->patches; p++) {
        size_t far = 0, touching = 0;
        for (uint32_t i = s->patch[p].first; i < s->patch[p].end; i++)
            if (s->ring[i] >= CLOSE_RING) {
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
        find_close(net, shape, close);
        status = fair_retreat(net, shape, close, &any, job);
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
    for (uint8_t ring = 1, any = 1; any && ring < CLOSE_RING; ring++) {
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
    bool bends = false;
    *out = (struct fair_shape){0};
    enum status status = loose_list(net, &loose, job);
    if (status == STATUS_OK && loose.free > 0)
        status = start_shape(&loose, out);
    if (status == STATUS_OK && loose.free > 0) {
        loose_spread(&loose);
        status = weigh_rim(&loose, &bends);
    }
    if (status == STATUS_OK && loose.free > 0) {
        if (bends)
            loose_bend(&loose);
        take_points(out, net, out->spread);
    }
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
        loose_calm(&loose);
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
