#include "scan/fuse_fair.h"

#include <string.h>

#include "core/job.h"

enum { BLOCK = 1024, ROUNDS_MOST = 400, ROUNDS_LEAST = 60, WORK = 20000000 };
enum { SMALL = 30000 }; /* rows: threads would wait for each other more than work */

/* Waves of the shape so many edges long (over 2 pi) bend as is best; longer ones stay as they are.
 */
static const double bend_length = 5;

static const double good_enough = 1e-5; /* of the residual at the start */

/* The vertices that move come first, then the measured ones beside them, whose bending counts. */
struct fairing {
    struct net *net;
    uint32_t *row;    /* one a vertex of the net: its place here, or NO_INDEX */
    uint32_t *vertex; /* of each place */
    size_t free, rows;
    struct vec *move, *residual, *along, *bend, *image; /* one a row */
    double *sum;                                        /* of each block of rows */
    int threads;
    struct job *job;
};

static void add_row(struct fairing *f, uint32_t v)
{
    if (f->row[v] != NO_INDEX)
        return;
    f->row[v] = (uint32_t)f->rows;
    f->vertex[f->rows++] = v;
}

static enum status list_rows(struct fairing *f)
{
    struct net *net = f->net;
    size_t n = net->vertices;
    f->row = scratch_new(n, sizeof *f->row);
    f->vertex = scratch_new(n, sizeof *f->vertex);
    if (!f->row || !f->vertex)
        return job_fail_memory(f->job, n * 8);
    memset(f->row, 255, n * sizeof *f->row);
    for (uint32_t v = 0; v < n; v++)
        if (net->trust[v] == TRUST_NONE)
            add_row(f, v);
    f->free = f->rows;
    for (size_t i = 0; i < f->free; i++)
        for (int k = 0; k < LINKS; k++)
            if (net->link[f->vertex[i]][k] != NO_INDEX)
                add_row(f, net->link[f->vertex[i]][k]);
    return STATUS_OK;
}

static enum status make_room(struct fairing *f)
{
    size_t n = f->rows;
    f->move = scratch_new(n, sizeof *f->move);
    f->residual = scratch_new(n, sizeof *f->residual);
    f->along = scratch_new(n, sizeof *f->along);
    f->bend = scratch_new(n, sizeof *f->bend);
    f->image = scratch_new(n, sizeof *f->image);
    f->sum = scratch_new(n / BLOCK + 1, sizeof *f->sum);
    if (f->move && f->residual && f->along && f->bend && f->image && f->sum)
        return STATUS_OK;
    return job_fail_memory(f->job, n * 5 * sizeof *f->move);
}

static void release(struct fairing *f)
{
    scratch_free(f->row);
    scratch_free(f->vertex);
    scratch_free(f->move);
    scratch_free(f->residual);
    scratch_free(f->along);
    scratch_free(f->bend);
    scratch_free(f->image);
    scratch_free(f->sum);
}

/* --- the operator ---------------------------------------------------------------------------- */

static int degree(const struct net *net, uint32_t v)
{
    int count = 0;
    for (int k = 0; k < LINKS; k++)
        count += net->link[v][k] != NO_INDEX;
    return count;
}

/* The umbrella vector at a row: the mean of the neighbours less the vertex. Of places when `along`
 * is NULL, else of moves, which are zero for what is measured. */
static struct vec umbrella(const struct fairing *f, size_t row, const struct vec *along)
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
 * was. An umbrella is about a quarter of the square of a wave's frequency. */
static struct vec slope(const struct fairing *f, size_t row, const struct vec *along)
{
    const struct net *net = f->net;
    uint32_t v = f->vertex[row];
    struct vec sum = vec_scale(f->bend[row], -1);
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = net->link[v][k];
        if (w != NO_INDEX)
            sum = vec_along(sum, 1.0 / degree(net, w), f->bend[f->row[w]]);
    }
    double pull = 1 / (16 * bend_length * bend_length * bend_length * bend_length);
    return along ? vec_along(sum, pull, along[row]) : sum;
}

/* image = slope of the energy at `along` (NULL: at the places as they are). */
static void apply(struct fairing *f, const struct vec *along)
{
#pragma omp parallel num_threads(f->threads)
    {
#pragma omp for schedule(static)
        for (size_t i = 0; i < f->rows; i++)
            f->bend[i] = umbrella(f, i, along);
#pragma omp for schedule(static)
        for (size_t i = 0; i < f->free; i++)
            f->image[i] = slope(f, i, along);
    }
}

/* Blocks are summed by any thread, but added in their order. */
static double product(struct fairing *f, const struct vec *a, const struct vec *b)
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

static void step(struct fairing *f, struct vec *to, double factor, const struct vec *by)
{
#pragma omp parallel for num_threads(f->threads) schedule(static)
    for (size_t i = 0; i < f->free; i++)
        to[i] = vec_along(to[i], factor, by[i]);
}

static void solve(struct fairing *f)
{
    size_t rounds = WORK / f->free;
    rounds = rounds > ROUNDS_MOST ? ROUNDS_MOST : rounds < ROUNDS_LEAST ? ROUNDS_LEAST : rounds;
    f->threads = f->rows < SMALL ? 1 : job_threads(f->job);
    apply(f, NULL);
    for (size_t i = 0; i < f->free; i++) {
        f->move[i] = vec(0, 0, 0);
        f->residual[i] = f->along[i] = vec_scale(f->image[i], -1);
    }
    double left = product(f, f->residual, f->residual), first = left;
    for (size_t round = 0; round < rounds && left > good_enough * good_enough * first; round++) {
        apply(f, f->along);
        double curve = product(f, f->along, f->image);
        if (!(curve > 0) || !job_step(f->job, 1))
            break;
        step(f, f->move, left / curve, f->along);
        step(f, f->residual, -left / curve, f->image);
        double now = product(f, f->residual, f->residual);
        for (size_t i = 0; i < f->free; i++)
            f->along[i] = vec_along(f->residual[i], now / left, f->along[i]);
        left = now;
    }
}

enum status fair_net(struct net *net, struct job *job)
{
    struct fairing f = {.net = net, .job = job};
    enum status status = list_rows(&f);
    if (status == STATUS_OK && f.free > 0)
        status = make_room(&f);
    if (status == STATUS_OK && f.free > 0) {
        solve(&f);
        for (size_t i = 0; i < f.free; i++) {
            struct point *at = &net->at[f.vertex[i]];
            *at = vec_point(vec_add(point_vec(*at), f.move[i]));
        }
    }
    release(&f);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    return status;
}

/* --- colours --------------------------------------------------------------------------------- */

struct painting {
    struct net *net;
    uint32_t *list; /* vertices that had no colour, the nearer to one that has the earlier */
    uint8_t *done;
    float (*mixed)[4];
    size_t count;
    struct job *job;
};

/* The mean of the colours beside a vertex; false when none there is done. */
static bool mix_beside(const struct painting *p, uint32_t v, float out[4])
{
    float sum[4] = {0};
    int count = 0;
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = p->net->link[v][k];
        if (w == NO_INDEX || !p->done[w])
            continue;
        for (int c = 0; c < 4; c++)
            sum[c] += p->mixed[w][c];
        count++;
    }
    for (int c = 0; c < 4 && count; c++)
        out[c] = sum[c] / (float)count;
    return count > 0;
}

static void list_beside(struct painting *p, uint32_t v)
{
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = p->net->link[v][k];
        if (w != NO_INDEX && p->done[w] == 0) {
            p->done[w] = 2; /* listed */
            p->list[p->count++] = w;
        }
    }
}

/* Ring by ring: a ring's colours come from the rings before. */
static void paint_rings(struct painting *p)
{
    struct net *net = p->net;
    for (uint32_t v = 0; v < net->vertices; v++)
        if (net->trust[v] == TRUST_COLOURED)
            list_beside(p, v);
    for (size_t from = 0, end = p->count; from < end && !job_cancelled(p->job);) {
        for (size_t i = from; i < end; i++)
            p->done[p->list[i]] = 0;
        for (size_t i = from; i < end; i++)
            mix_beside(p, p->list[i], p->mixed[p->list[i]]);
        for (size_t i = from; i < end; i++)
            p->done[p->list[i]] = 1;
        for (size_t i = from; i < end; i++)
            list_beside(p, p->list[i]);
        from = end;
        end = p->count;
    }
}

enum { SOFTENINGS = 30 };

static void soften(struct painting *p)
{
    for (int pass = 0; pass < SOFTENINGS && !job_cancelled(p->job); pass++)
        for (size_t i = 0; i < p->count; i++)
            mix_beside(p, p->list[i], p->mixed[p->list[i]]);
}

enum status fair_colours(struct net *net, struct job *job)
{
    size_t n = net->vertices;
    if (!net->colour)
        return STATUS_OK;
    struct painting p = {.net = net, .job = job};
    p.list = scratch_new(n, sizeof *p.list);
    p.done = scratch_new(n, sizeof *p.done);
    p.mixed = scratch_new(n, sizeof *p.mixed);
    bool ok = p.list && p.done && p.mixed;
    for (size_t v = 0; v < n && ok; v++) {
        p.done[v] = net->trust[v] == TRUST_COLOURED;
        for (int c = 0; c < 4; c++)
            p.mixed[v][c] = p.done[v] ? (float)net->colour[v][c] : 255;
    }
    if (ok) {
        paint_rings(&p);
        soften(&p);
        for (size_t v = 0; v < n; v++)
            for (int c = 0; c < 4; c++)
                net->colour[v][c] = (uint8_t)(p.mixed[v][c] + 0.5f);
    }
    scratch_free(p.list);
    scratch_free(p.done);
    scratch_free(p.mixed);
    if (!ok)
        return job_fail_memory(job, n * 21);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
