#include "scan/fuse_loose.h"

#include <string.h>

#include "core/job.h"

enum { BLOCK = 1024, SMALL = 30000 }; /* rows: threads would wait for each other more than work */

/* Of the energy's excess at the start, square root; of a step: a round's move, root mean square. */
static const double good_enough = 1e-4, hardly = 2e-4;

/* --- rows ------------------------------------------------------------------------------------ */

/* Lists the unknown vertices that hang together with `first`; false: none is beside a measured one.
 */
static bool list_patch(struct loose *f, uint32_t first)
{
    const struct net *net = f->net;
    size_t from = f->rows;
    bool hangs = false;
    f->row[first] = (uint32_t)f->rows;
    f->vertex[f->rows++] = first;
    for (size_t i = from; i < f->rows; i++)
        for (int k = 0; k < LINKS; k++) {
            uint32_t w = net->link[f->vertex[i]][k];
            if (w == NO_INDEX)
                continue;
            hangs = hangs || net->trust[w] != TRUST_NONE;
            if (net->trust[w] == TRUST_NONE && f->row[w] == NO_INDEX) {
                f->row[w] = (uint32_t)f->rows;
                f->vertex[f->rows++] = w;
            }
        }
    return hangs;
}

/* Patch by patch. One that hangs on nothing has no shape to take, and its vertices stay. */
static enum status list_free(struct loose *f)
{
    const struct net *net = f->net;
    for (uint32_t v = 0; v < net->vertices; v++) {
        size_t from = f->rows;
        if (net->trust[v] != TRUST_NONE || f->row[v] != NO_INDEX)
            continue;
        if (job_cancelled(f->job))
            return job_fail_cancelled(f->job);
        if (!list_patch(f, v)) {
            f->rows = from;
            continue;
        }
        for (size_t i = from; i < f->rows; i++)
            f->of[i] = (uint32_t)f->patches;
        f->patches++;
    }
    f->free = f->rows;
    return STATUS_OK;
}

static void list_rim(struct loose *f)
{
    for (size_t i = 0; i < f->free; i++)
        for (int k = 0; k < LINKS; k++) {
            uint32_t w = f->net->link[f->vertex[i]][k];
            if (w != NO_INDEX && f->row[w] == NO_INDEX) {
                f->row[w] = (uint32_t)f->rows;
                f->vertex[f->rows++] = w;
            }
        }
}

static enum status list_rows(struct loose *f)
{
    size_t n = f->net->vertices;
    f->row = scratch_new(n, sizeof *f->row);
    f->vertex = scratch_new(n, sizeof *f->vertex);
    f->of = scratch_new(n, sizeof *f->of);
    if (!f->row || !f->vertex || !f->of)
        return job_fail_memory(f->job, n * 12);
    memset(f->row, 255, n * sizeof *f->row);
    enum status status = list_free(f);
    if (status == STATUS_OK)
        list_rim(f);
    return status;
}

static enum status make_room(struct loose *f)
{
    size_t n = f->rows;
    f->say = scratch_new(n, sizeof *f->say);
    f->move = scratch_new(n, sizeof *f->move);
    f->residual = scratch_new(n, sizeof *f->residual);
    f->along = scratch_new(n, sizeof *f->along);
    f->bend = scratch_new(n, sizeof *f->bend);
    f->image = scratch_new(n, sizeof *f->image);
    f->eased = scratch_new(n, sizeof *f->eased);
    f->sum = scratch_new(n / BLOCK + 1, sizeof *f->sum);
    f->threads = n < SMALL ? 1 : job_threads(f->job);
    if (f->say && f->move && f->residual && f->along && f->bend && f->image && f->eased && f->sum)
        return STATUS_OK;
    return job_fail_memory(f->job, n * 6 * sizeof *f->move);
}

void loose_release(struct loose *f)
{
    void *part[] = {f->row,   f->vertex, f->of,    f->say,   f->move, f->residual,
                    f->along, f->bend,   f->image, f->eased, f->sum};
    for (size_t i = 0; i < sizeof part / sizeof *part; i++)
        scratch_free(part[i]);
    ladder_release(&f->ladder);
}

static int degree(const struct net *net, uint32_t v)
{
    int count = 0;
    for (int k = 0; k < LINKS; k++)
        count += net->link[v][k] != NO_INDEX;
    return count;
}

/* --- the membrane's ladder ------------------------------------------------------------------- */

static enum status make_ladder(struct loose *f)
{
    struct rung *r = &f->ladder.rung[0];
    f->ladder.threads = job_threads(f->job);
    r->count = f->free;
    r->start = scratch_new(f->free + 1, sizeof *r->start);
    r->other = scratch_new(f->free * LINKS, sizeof *r->other);
    r->tie = scratch_new(f->free * LINKS, sizeof *r->tie);
    r->whole = scratch_new(f->free, sizeof *r->whole);
    if (!r->start || !r->other || !r->tie || !r->whole)
        return job_fail_memory(f->job, f->free * LINKS * 8);
    uint32_t entries = 0;
    for (size_t i = 0; i < f->free; i++) {
        uint32_t v = f->vertex[i];
        r->start[i] = entries;
        r->whole[i] = (float)degree(f->net, v);
        for (int k = 0; k < LINKS; k++) {
            uint32_t w = f->net->link[v][k];
            if (w == NO_INDEX || f->row[w] >= f->free)
                continue;
            r->other[entries] = f->row[w];
            r->tie[entries++] = 1;
        }
    }
    r->start[f->free] = entries;
    return ladder_make(&f->ladder, f->job);
}

/* --- the operators --------------------------------------------------------------------------- */

/* The umbrella vector at a row: the mean of the neighbours less the vertex. Of places when `along`
 * is NULL, else of moves, which are zero for what is measured. */
static struct vec umbrella(const struct loose *f, size_t row, const struct vec *along)
{
    const struct net *net = f->net;
    uint32_t v = f->vertex[row];
    struct vec sum = vec(0, 0, 0), at = vec(0, 0, 0);
    int count = degree(net, v);
    for (int k = 0; k < LINKS && count; k++) {
        uint32_t w = net->link[v][k];
        if (w == NO_INDEX)
            continue;
        if (!along)
            sum = vec_add(sum, point_vec(net->at[w]));
        else if (f->row[w] < f->free)
            sum = vec_add(sum, along[f->row[w]]);
    }
    if (!along)
        at = point_vec(net->at[v]);
    else if (row < f->free)
        at = along[row];
    return count ? vec_sub(vec_scale(sum, 1.0 / count), at) : vec(0, 0, 0);
}

/* What the energy's slope is at a free row: umbrellas of umbrellas, and the pull back to where it
 * was. */
static struct vec slope(const struct loose *f, size_t row, const struct vec *along)
{
    const struct net *net = f->net;
    uint32_t v = f->vertex[row];
    struct vec sum = vec_scale(f->bend[row], -1);
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = net->link[v][k];
        if (w != NO_INDEX)
            sum = vec_along(sum, 1.0 / degree(net, w), f->bend[f->row[w]]);
    }
    return along ? vec_along(sum, f->pull, along[row]) : sum;
}

/* image = slope of the bending energy at `along` (NULL: at the places as they are). */
static void apply_bending(struct loose *f, const struct vec *along)
{
#pragma omp parallel num_threads(f->threads)
    {
#pragma omp for schedule(static)
        for (size_t i = 0; i < f->rows; i++)
            f->bend[i] = vec_scale(umbrella(f, i, along), (double)f->say[i]);
#pragma omp for schedule(static)
        for (size_t i = 0; i < f->free; i++)
            f->image[i] = slope(f, i, along);
    }
}

/* The same of the membrane's energy. */
static void apply_spread(struct loose *f, const struct vec *along)
{
    if (along) {
        ladder_apply(&f->ladder, along, f->image);
        return;
    }
#pragma omp parallel for num_threads(f->threads) schedule(static)
    for (size_t i = 0; i < f->free; i++)
        f->image[i] = vec_scale(umbrella(f, i, NULL), -(double)degree(f->net, f->vertex[i]));
}

/* eased = about the inverse of the operator times residual. Without the rim's slope bending is the
 * membrane's operator twice, with the squares of the degrees between. */
static void ease_bending(struct loose *f)
{
    if (f->pull > 0) {
        memcpy(f->eased, f->residual, f->free * sizeof *f->eased);
        return;
    }
    ladder_solve(&f->ladder, f->residual, f->eased);
    if (job_cancelled(f->job))
        return;
    for (size_t i = 0; i < f->free; i++) {
        double d = degree(f->net, f->vertex[i]);
        f->eased[i] = vec_scale(f->eased[i], d * d);
    }
    ladder_solve(&f->ladder, f->eased, f->eased);
}

static void ease_spread(struct loose *f)
{
    ladder_solve(&f->ladder, f->residual, f->eased);
}

/* --- conjugate gradients --------------------------------------------------------------------- */

/* Blocks are summed by any thread, but added in their order. */
static double product(struct loose *f, const struct vec *a, const struct vec *b)
{
    size_t blocks = (f->free + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(f->threads) schedule(static)
    for (size_t block = 0; block < blocks; block++) {
        size_t end = (block + 1) * BLOCK < f->free ? (block + 1) * BLOCK : f->free;
        f->sum[block] = 0;
        for (size_t i = block * BLOCK; i < end; i++)
            f->sum[block] += vec_dot(a[i], b[i]);
    }
    double sum = 0;
    for (size_t block = 0; block < blocks; block++)
        sum += f->sum[block];
    return sum;
}

static void step(struct loose *f, struct vec *to, double factor, const struct vec *by)
{
#pragma omp parallel for num_threads(f->threads) schedule(static)
    for (size_t i = 0; i < f->free; i++)
        to[i] = vec_along(to[i], factor, by[i]);
}

struct energy {
    void (*apply)(struct loose *f, const struct vec *along);
    void (*ease)(struct loose *f);
    size_t least, most, work; /* rounds; work: rounds times vertices */
};

static const struct energy spreading = {apply_spread, ease_spread, 25, 60, 30000000},
                           bending = {apply_bending, ease_bending, 12, 150, 6000000},
                           softening = {apply_bending, ease_bending, 60, 400, 20000000};

static size_t rounds_for(const struct energy *energy, size_t rows)
{
    size_t rounds = energy->work / rows;
    return rounds < energy->least ? energy->least : rounds > energy->most ? energy->most : rounds;
}

/* Moves the free vertices to where the energy is least, about. Patches share no energy: one whose
 * residual is zero stays. */
static void minimise(struct loose *f, const struct energy *energy, const uint8_t *chosen)
{
    energy->apply(f, NULL);
    if (job_cancelled(f->job))
        return;
    for (size_t i = 0; i < f->free; i++) {
        f->move[i] = vec(0, 0, 0);
        f->residual[i] = vec_scale(f->image[i], chosen && !chosen[f->of[i]] ? 0 : -1);
    }
    if (job_cancelled(f->job))
        return;
    energy->ease(f);
    if (job_cancelled(f->job))
        return;
    memcpy(f->along, f->eased, f->free * sizeof *f->along);
    double left = product(f, f->residual, f->eased), first = left, moved = INFINITY;
    double still = hardly * (double)f->net->grid->frame.step;
    for (size_t round = rounds_for(energy, f->free);
         round && left > good_enough * good_enough * first && moved > still; round--) {
        energy->apply(f, f->along);
        double curve = product(f, f->along, f->image);
        if (!(curve > 0) || !job_step(f->job, 1))
            break;
        moved = left / curve * sqrt(product(f, f->along, f->along) / (double)f->free);
        step(f, f->move, left / curve, f->along);
        step(f, f->residual, -left / curve, f->image);
        if (job_cancelled(f->job))
            break;
        energy->ease(f);
        if (job_cancelled(f->job))
            break;
        double now = product(f, f->residual, f->eased);
        for (size_t i = 0; i < f->free; i++)
            f->along[i] = vec_along(f->eased[i], now / left, f->along[i]);
        left = now;
    }
    for (size_t i = 0; i < f->free; i++) {
        struct point *at = &f->net->at[f->vertex[i]];
        *at = vec_point(vec_add(point_vec(*at), f->move[i]));
    }
}

/* --- from outside ---------------------------------------------------------------------------- */

enum status loose_list(struct net *net, struct loose *out, struct job *job)
{
    *out = (struct loose){.net = net, .job = job};
    enum status status = list_rows(out);
    if (status == STATUS_OK && out->free > 0)
        status = make_room(out);
    if (status == STATUS_OK && out->free > 0)
        status = make_ladder(out);
    for (size_t i = 0; i < out->rows && status == STATUS_OK && out->say; i++)
        out->say[i] = 1;
    return status;
}

void loose_spread(struct loose *f, const uint8_t *chosen)
{
    minimise(f, &spreading, chosen);
}

void loose_bend(struct loose *f, const uint8_t *chosen)
{
    minimise(f, &bending, chosen);
}

void loose_soften(struct loose *f, const uint8_t *chosen, double length)
{
    /* an umbrella is about a quarter of the square of a wave's frequency */
    f->pull = 1 / (16 * length * length * length * length);
    minimise(f, &softening, chosen);
    f->pull = 0;
}
