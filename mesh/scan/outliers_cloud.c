/* Ratios of a cloud's points. */
#include "core/eigen.h"
#include "core/job.h"
#include "core/tree.h"
#include "scan/outliers_parts.h"

enum { BLOCK = 512 };
static const double
    thick = 0.04,    /* of the square of its width: what a neighbourhood may be thick as a sheet */
    one_side = 0.88; /* of a point's distance: the middle of its neighbours when all lie one way */

struct crowd {
    const struct mesh *mesh;
    const struct tree *tree;
    unsigned around;
    float *far; /* a point's mean distance to its neighbours */
    float *ratio;
    uint8_t *verdict;
    double most; /* of far, by the measure of all */
    struct job *job;
};

/* The neighbours of vertex v without itself; returns how many. */
static size_t neighbours(const struct crowd *c, size_t v, struct neighbour *near)
{
    struct vec at = point_vec(mesh_point(c->mesh)[v]);
    size_t count = tree_neighbours(c->tree, at, INFINITY, c->around + 1, near), n = 0;
    for (size_t i = 0; i < count; i++)
        if (near[i].vertex != v && n < c->around)
            near[n++] = near[i];
    return n;
}

static void measure(const struct crowd *c, size_t v)
{
    struct neighbour near[OUTLIERS_AROUND_MOST + 1];
    size_t n = neighbours(c, v, near);
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += sqrt(near[i].distance2);
    c->far[v] = n ? (float)(sum / (double)n) : INFINITY;
}

/* Whether the point lies in the sheet that its neighbours make, or at its rim, however far apart
 * they are: seen from it they lie about in a plane and not all one way. */
static bool is_in_sheet(const struct crowd *c, const struct neighbour *near, size_t n, size_t v)
{
    struct vec at = point_vec(mesh_point(c->mesh)[v]), middle = vec(0, 0, 0);
    double matrix[9] = {0}, value[3], vector[9], far = (double)c->far[v];
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

static void judge(const struct crowd *c, size_t v)
{
    struct neighbour near[OUTLIERS_AROUND_MOST + 1];
    float least[OUTLIERS_AROUND_MOST / 4 + 1];
    size_t n = neighbours(c, v, near), quarter = n / 4 + 1, kept = 0;
    for (size_t i = 0; i < n; i++) { /* the smallest quarter, in order */
        float far = c->far[near[i].vertex];
        if (kept == quarter && far >= least[kept - 1])
            continue;
        size_t at = kept < quarter ? kept++ : kept - 1;
        for (; at > 0 && least[at - 1] > far; at--)
            least[at] = least[at - 1];
        least[at] = far;
    }
    double least_far = kept ? (double)least[kept - 1] : 0;
    bool known = n == c->around && least_far > 0;
    c->ratio[v] = known ? (float)log((double)c->far[v] / least_far) : -INFINITY;
    c->verdict[v] = !known || is_in_sheet(c, near, n, v) ? STAYS
                    : (double)c->far[v] > c->most        ? GOES
                                                         : BY_RATIO;
}

static enum status each_point(const struct crowd *c, void (*visit)(const struct crowd *, size_t))
{
    size_t count = mesh_vertices(c->mesh);
#pragma omp parallel for num_threads(job_threads(c->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        if (job_step(c->job, BLOCK))
            for (size_t v = from; v < count && v < from + BLOCK; v++)
                visit(c, v);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

/* The most that a point's distance may be by the measure of all: `sigma` spreads of the logarithms
 * above their median. */
static enum status measure_all(struct crowd *c, double sigma)
{
    size_t count = mesh_vertices(c->mesh);
    struct middle middle;
    for (size_t v = 0; v < count; v++)
        c->ratio[v] = c->far[v] > 0 ? logf(c->far[v]) : -INFINITY;
    enum status status = outliers_middle(c->ratio, count, &middle, c->job);
    c->most = exp(middle.median + sigma * fmax(middle.spread, 0.2));
    return status;
}

enum status outliers_in_cloud(const struct mesh *mesh, const struct outliers_options *options,
                              float *ratio, uint8_t *verdict, struct job *job)
{
    size_t count = mesh_vertices(mesh);
    struct crowd c = {.mesh = mesh, .around = options->around, .ratio = ratio, .verdict = verdict};
    c.job = job;
    c.tree = mesh_tree(mesh, job);
    if (!c.tree)
        return job_status(job);
    c.far = scratch_new(count, sizeof *c.far);
    enum status status = c.far ? STATUS_OK : job_fail_memory(job, count * sizeof *c.far);
    job_phase(job, "measuring distances between points", 450, count);
    if (status == STATUS_OK)
        status = each_point(&c, measure);
    if (status == STATUS_OK)
        status = measure_all(&c, options->sigma);
    job_phase(job, "looking for stray points", 450, count);
    if (status == STATUS_OK)
        status = each_point(&c, judge);
    scratch_free(c.far);
    return status;
}
