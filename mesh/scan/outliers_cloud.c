/* Stray points of a cloud. */
#include <string.h>

#include "core/eigen.h"
#include "core/job.h"
#include "core/tree.h"
#include "scan/outliers_parts.h"

enum { BLOCK = 512, ROUNDS = 16, ASKED_MOST = 2 * OUTLIERS_AROUND_MOST + 1 };
static const double
    thick = 0.04,    /* of the square of its width: what a neighbourhood may be thick as a sheet */
    sparsest = 4,    /* times as far apart as its neighbours: a sparse part beside a dense one */
    one_side = 0.88; /* of a point's distance: the middle of its neighbours when all lie one way */

struct crowd {
    const struct mesh *mesh;
    const struct tree *tree;
    unsigned around;
    float *far;     /* a point's mean distance to its neighbours */
    float *ratio;   /* the logarithm of its ratio; -INFINITY where there is none */
    uint8_t *keep;  /* not found to be a stray yet */
    double most;    /* of far, by the measure of all */
    double limit;   /* of ratio */
    uint32_t *list; /* the points to look at again */
    size_t listed;
    size_t strays;  /* found so far */
    uint8_t *again; /* one a point of the list: it is a stray after all */
    struct job *job;
};

/* The neighbours of vertex v, without itself and without strays; returns how many. */
static size_t neighbours(const struct crowd *c, size_t v, struct neighbour near[ASKED_MOST])
{
    struct vec at = point_vec(mesh_point(c->mesh)[v]);
    size_t asked = c->listed ? 2 * c->around + 1 : c->around + 1, n = 0;
    size_t count = tree_neighbours(c->tree, at, INFINITY, asked, near);
    for (size_t i = 0; i < count && n < c->around; i++)
        if (near[i].vertex != v && c->keep[near[i].vertex])
            near[n++] = near[i];
    return n;
}

static double mean_distance(const struct neighbour *near, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += sqrt(near[i].distance2);
    return n ? sum / (double)n : INFINITY;
}

static void measure(const struct crowd *c, size_t v)
{
    struct neighbour near[ASKED_MOST];
    c->far[v] = (float)mean_distance(near, neighbours(c, v, near));
}

/* Of the neighbours' own distances the one that a quarter of them stay below. */
static double usual_distance(const struct crowd *c, const struct neighbour *near, size_t n)
{
    float least[OUTLIERS_AROUND_MOST / 4 + 1];
    size_t quarter = n / 4 + 1, kept = 0;
    for (size_t i = 0; i < n; i++) { /* the smallest quarter, in order */
        float far = c->far[near[i].vertex];
        if (kept == quarter && far >= least[kept - 1])
            continue;
        size_t at = kept < quarter ? kept++ : kept - 1;
        for (; at > 0 && least[at - 1] > far; at--)
            least[at] = least[at - 1];
        least[at] = far;
    }
    return kept ? (double)least[kept - 1] : 0;
}

static void compare(const struct crowd *c, size_t v)
{
    struct neighbour near[ASKED_MOST];
    size_t n = neighbours(c, v, near);
    double usual = usual_distance(c, near, n);
    bool known = n == c->around && usual > 0;
    c->ratio[v] = known ? (float)log(mean_distance(near, n) / usual) : -INFINITY;
}

/* Whether the point lies in the sheet that its neighbours make, or at its rim, however far apart
 * they are: seen from it they lie about in a plane and not all one way. */
static bool is_in_sheet(const struct crowd *c, const struct neighbour *near, size_t n, size_t v)
{
    struct vec at = point_vec(mesh_point(c->mesh)[v]), middle = vec(0, 0, 0);
    double matrix[9] = {0}, value[3], vector[9], far = mean_distance(near, n);
    if (!(far > 0))
        return true;
    for (size_t i = 0; i < n; i++) {
        struct vec d = vec_sub(point_vec(mesh_point(c->mesh)[near[i].vertex]), at);
        d = vec_scale(d, 1 / far);
        middle = vec_along(middle, 1.0 / (double)n, d);
        const double x[3] = {d.x, d.y, d.z};
        for (int k = 0; k < 9; k++)
            matrix[k] += x[k / 3] * x[k % 3];
    }
    eigen_symmetric(3, matrix, value, vector);
    return value[0] <= thick * value[1] && vec_length(middle) <= one_side;
}

/* Of a point of the list, with what is known of strays so far. */
static void look_again(const struct crowd *c, size_t i)
{
    struct neighbour near[ASKED_MOST];
    size_t v = c->list[i], n = neighbours(c, v, near);
    double usual = usual_distance(c, near, n), far = mean_distance(near, n);
    c->again[i] = 0;
    if (n < c->around || !(usual > 0))
        return;
    bool much = far > c->most, more = log(far / usual) > c->limit;
    if (!(c->strays ? much && more : much || more)) /* one alone would peel sparse rims off */
        return;
    bool sparse = far <= sparsest * usual && far <= 2 * sparsest * c->most;
    c->again[i] = !sparse || !is_in_sheet(c, near, n, v);
}

static enum status each(const struct crowd *c, size_t count,
                        void (*visit)(const struct crowd *, size_t))
{
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        if (job_step(c->job, BLOCK))
            for (size_t i = from; i < count && i < from + BLOCK; i++)
                visit(c, i);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

/* --- strays ---------------------------------------------------------------------------------- */

/* The most that a point's distance may be by the measure of all. */
static enum status measure_all(struct crowd *c, double sigma)
{
    size_t count = mesh_vertices(c->mesh);
    double most = 0;
    enum status status = each(c, count, measure);
    for (size_t v = 0; v < count && status == STATUS_OK; v++)
        c->ratio[v] = c->far[v] > 0 ? logf(c->far[v]) : -INFINITY;
    if (status == STATUS_OK)
        status = outliers_limit(c->ratio, count, sigma, &most, c->job);
    c->most = exp(most);
    return status;
}

static void list_suspects(struct crowd *c)
{
    for (size_t v = 0; v < mesh_vertices(c->mesh); v++)
        if ((double)c->far[v] > c->most || (double)c->ratio[v] > c->limit)
            c->list[c->listed++] = (uint32_t)v;
}

/* Takes the strays of the list out of the crowd; lists who had them for neighbours, about. */
static void take_out(struct crowd *c)
{
    size_t strays = 0; /* of them, put in front */
    for (size_t i = 0; i < c->listed; i++)
        if (c->again[i]) {
            c->keep[c->list[i]] = 0;
            c->list[strays++] = c->list[i];
        }
    c->strays += strays;
    memset(c->again, 0, mesh_vertices(c->mesh)); /* now one a vertex: it is beside a stray */
    for (size_t i = 0; i < strays && (i % BLOCK || !job_cancelled(c->job)); i++) {
        struct neighbour near[ASKED_MOST];
        size_t n = neighbours(c, c->list[i], near);
        for (size_t k = 0; k < n; k++)
            c->again[near[k].vertex] = 1;
    }
    c->listed = 0;
    for (size_t v = 0; v < mesh_vertices(c->mesh) && strays; v++)
        if (c->again[v])
            c->list[c->listed++] = (uint32_t)v;
}

/* Strays that had strays for neighbours show when these are gone. */
static enum status find(struct crowd *c, double sigma)
{
    size_t count = mesh_vertices(c->mesh);
    job_phase(c->job, "measuring distances between points", 400, count);
    enum status status = measure_all(c, sigma);
    job_phase(c->job, "looking for stray points", 400, count);
    if (status == STATUS_OK)
        status = each(c, count, compare);
    if (status == STATUS_OK)
        status = outliers_limit(c->ratio, count, sigma, &c->limit, c->job);
    if (status == STATUS_OK)
        list_suspects(c);
    for (int i = 0; i < ROUNDS && c->listed && status == STATUS_OK; i++) {
        status = each(c, c->listed, look_again);
        if (status == STATUS_OK)
            take_out(c);
    }
    if (status == STATUS_OK && job_cancelled(c->job))
        status = job_fail_cancelled(c->job);
    return status;
}

enum status outliers_in_cloud(const struct mesh *mesh, const struct outliers_options *options,
                              uint8_t *keep, double *factor, struct job *job)
{
    size_t count = mesh_vertices(mesh);
    struct crowd c = {.mesh = mesh, .around = options->around, .keep = keep, .job = job};
    c.tree = mesh_tree(mesh, job);
    if (!c.tree)
        return job_status(job);
    memset(keep, 1, count);
    c.far = scratch_new(count, sizeof *c.far);
    c.ratio = scratch_new(count, sizeof *c.ratio);
    c.list = scratch_new(count, sizeof *c.list);
    c.again = scratch_new(count, 1);
    enum status status = c.far && c.ratio && c.list && c.again
                             ? find(&c, options->sigma)
                             : job_fail_memory(job, count * (sizeof *c.far + sizeof *c.list));
    *factor = exp(c.limit);
    scratch_free(c.far);
    scratch_free(c.ratio);
    scratch_free(c.list);
    scratch_free(c.again);
    return status;
}
