#include "surface/fill_fair.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_solve.h"

/* No triangle counts as thinner than this: cotangent of its angles. */
static const double cotangent_most = 20;

/* How much more an equation counts at the rim, where it holds the slope. Measured on surfaces with
 * noise: less leaves a crease, more takes the noise of the rim's triangles for the slope. */
static const double rim_strength = 2;

/* How far from the middle of the rim's box the surface may go, in diagonals of the box. */
static const double reach_most = 2;

/* All vertices here: the patch's, then those around. Equations: one a vertex of the patch, old or
 * new, saying that its Laplacian is zero. */
struct fairing {
    struct patch *patch;
    const struct around *around;
    uint32_t *start; /* patch vertices + 1: the neighbours of a vertex in `near` */
    uint32_t *used;  /* how many it has so far */
    uint32_t *near;
    double *weight; /* one a neighbour */
    double *area;   /* one a patch vertex: a third of its triangles' */
    struct squares squares;
    uint32_t *row_start, *unknown;
    double *factor, *strength, *right, *x;
};

static struct vec place(const struct fairing *f, uint32_t v)
{
    size_t vertices = f->patch->vertices;
    return v < vertices ? f->patch->at[v] : f->around->at[v - vertices];
}

/* Corner i of all triangles, the patch's first, then those around. */
static uint32_t corner(const struct fairing *f, size_t i)
{
    size_t own = 3 * f->patch->triangles;
    if (i < own)
        return f->patch->corner[i];
    uint32_t v = f->around->corner[i - own];
    return v < f->patch->rim ? v : (uint32_t)(v - f->patch->rim + f->patch->vertices);
}

static void add_weight(struct fairing *f, uint32_t v, uint32_t other, double weight)
{
    if (v >= f->patch->vertices)
        return;
    uint32_t i = f->start[v], end = i + f->used[v];
    while (i < end && f->near[i] != other)
        i++;
    if (i == end) {
        f->near[i] = other;
        f->weight[i] = 0;
        f->used[v]++;
    }
    f->weight[i] += weight;
}

static double cotangent(struct vec u, struct vec v)
{
    double sine = vec_length(vec_cross(u, v)), cosine = vec_dot(u, v);
    if (!(sine * cotangent_most > fabs(cosine)))
        return cosine < 0 ? -cotangent_most : cotangent_most;
    return cosine / sine;
}

static void add_triangle(struct fairing *f, size_t t)
{
    uint32_t v[3] = {corner(f, 3 * t), corner(f, 3 * t + 1), corner(f, 3 * t + 2)};
    struct vec p[3] = {place(f, v[0]), place(f, v[1]), place(f, v[2])};
    double area = vec_length(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]))) / 6;
    for (int k = 0; k < 3; k++) {
        int i = (k + 1) % 3, j = (k + 2) % 3;
        double w = cotangent(vec_sub(p[i], p[k]), vec_sub(p[j], p[k])) / 2;
        add_weight(f, v[i], v[j], w);
        add_weight(f, v[j], v[i], w);
        if (v[k] < f->patch->vertices)
            f->area[v[k]] += area;
    }
}

/* Weights of all neighbours of the patch's vertices. */
static bool weigh_neighbours(struct fairing *f)
{
    size_t vertices = f->patch->vertices, triangles = f->patch->triangles + f->around->triangles;
    f->start = calloc(vertices + 1, sizeof *f->start);
    f->used = calloc(vertices + 1, sizeof *f->used);
    f->area = calloc(vertices + 1, sizeof *f->area);
    if (!f->start || !f->used || !f->area)
        return false;
    for (size_t i = 0; i < 3 * triangles; i++)
        if (corner(f, i) < vertices)
            f->start[corner(f, i)] += 2; /* at most: two neighbours a triangle */
    uint32_t sum = 0;
    for (size_t v = 0; v <= vertices; v++) {
        uint32_t room = f->start[v];
        f->start[v] = sum;
        sum += room;
    }
    f->near = malloc((sum + 1) * sizeof *f->near);
    f->weight = malloc((sum + 1) * sizeof *f->weight);
    if (!f->near || !f->weight)
        return false;
    for (size_t t = 0; t < triangles; t++)
        add_triangle(f, t);
    return true;
}

/* Row v: sum over its neighbours of weight * (neighbour - v) = 0; what stays goes to the right. */
static void write_row(struct fairing *f, uint32_t v, size_t *terms)
{
    size_t rim = f->patch->rim, vertices = f->patch->vertices;
    struct vec fixed = vec(0, 0, 0);
    double sum = 0;
    f->row_start[v] = (uint32_t)*terms;
    for (uint32_t i = f->start[v]; i < f->start[v] + f->used[v]; i++) {
        uint32_t n = f->near[i];
        sum += f->weight[i];
        if (n >= rim && n < vertices) {
            f->unknown[*terms] = (uint32_t)(n - rim);
            f->factor[(*terms)++] = f->weight[i];
        } else {
            fixed = vec_along(fixed, f->weight[i], place(f, n));
        }
    }
    if (v >= rim) {
        f->unknown[*terms] = (uint32_t)(v - rim);
        f->factor[(*terms)++] = -sum;
    } else {
        fixed = vec_along(fixed, -sum, f->patch->at[v]);
    }
    memcpy(f->right + (size_t)3 * v, (double[3]){-fixed.x, -fixed.y, -fixed.z}, 3 * sizeof(double));
    f->strength[v] = (v < rim ? rim_strength : 1) / (f->area[v] > 0 ? f->area[v] : 1);
}

static bool write_rows(struct fairing *f)
{
    size_t rim = f->patch->rim, vertices = f->patch->vertices;
    size_t terms = f->start[vertices] + vertices + 1;
    f->row_start = malloc((vertices + 1) * sizeof *f->row_start);
    f->unknown = malloc(terms * sizeof *f->unknown);
    f->factor = malloc(terms * sizeof *f->factor);
    f->strength = malloc((vertices + 1) * sizeof *f->strength);
    f->right = malloc((3 * vertices + 1) * sizeof *f->right);
    f->x = malloc((3 * (vertices - rim) + 1) * sizeof *f->x);
    if (!f->row_start || !f->unknown || !f->factor || !f->strength || !f->right || !f->x)
        return false;
    terms = 0;
    for (uint32_t v = 0; v < vertices; v++)
        write_row(f, v, &terms);
    f->row_start[vertices] = (uint32_t)terms;
    f->squares = (struct squares){.unknowns = vertices - rim,
                                  .rows = vertices,
                                  .columns = 3,
                                  .start = f->row_start,
                                  .unknown = f->unknown,
                                  .factor = f->factor,
                                  .weight = f->strength,
                                  .right = f->right,
                                  .place = f->patch->at + rim};
    return true;
}

/* A surface that goes far beyond its rim is no filling: the rim has no shape that could be
 * continued (it doubles back, or its triangles lie any way). */
static bool stays_near(const struct fairing *f)
{
    const struct patch *p = f->patch;
    struct vec low = p->at[0], high = low;
    for (size_t v = 1; v < p->rim; v++) {
        struct vec a = p->at[v];
        low = vec(fmin(low.x, a.x), fmin(low.y, a.y), fmin(low.z, a.z));
        high = vec(fmax(high.x, a.x), fmax(high.y, a.y), fmax(high.z, a.z));
    }
    struct vec middle = vec_scale(vec_add(low, high), 0.5);
    double reach2 = reach_most * reach_most * vec_length2(vec_sub(high, low));
    for (size_t v = 0; v < p->vertices - p->rim; v++) {
        const double *x = f->x + 3 * v;
        if (!(vec_length2(vec_sub(vec(x[0], x[1], x[2]), middle)) <= reach2))
            return false;
    }
    return true;
}

static void release(struct fairing *f)
{
    free(f->start);
    free(f->used);
    free(f->near);
    free(f->weight);
    free(f->area);
    free(f->row_start);
    free(f->unknown);
    free(f->factor);
    free(f->strength);
    free(f->right);
    free(f->x);
}

enum status fair_patch(struct patch *patch, const struct around *around, const struct job *job)
{
    struct fairing f = {.patch = patch, .around = around};
    enum status status = STATUS_MEMORY;
    if (weigh_neighbours(&f) && write_rows(&f))
        status = squares_solve(&f.squares, f.x, job);
    if (status == STATUS_OK && !stays_near(&f))
        status = STATUS_REFUSED;
    for (size_t v = patch->rim; v < patch->vertices && status == STATUS_OK; v++) {
        const double *x = f.x + 3 * (v - patch->rim);
        patch->at[v] = vec(x[0], x[1], x[2]);
    }
    release(&f);
    return status;
}
