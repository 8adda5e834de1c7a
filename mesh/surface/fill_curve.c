#include "surface/fill_curve.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_solve.h"

enum { SWEEPS = 20 }; /* of averaging along the rim: it takes out the noise of single vertices */

/* An edge holds its ends' values together at least so strongly (cotangents may be negative). */
static const double weight_least = 0.05;

struct spreading {
    struct patch *patch;
    struct laplace laplace;
    bool *fixed;      /* one a vertex: next to the rim, keeps its value */
    uint32_t *number; /* one a vertex: which unknown it is */
    size_t unknowns;
    struct vec *place;
    uint32_t *start, *unknown;
    double *factor, *weight, *right, *x, *last;
};

/* Unit normals of the patch's vertices, from the triangles around them, by area. */
static void vertex_normals(const struct laplace *l, struct vec *normal)
{
    size_t vertices = l->patch->vertices, triangles = l->patch->triangles + l->around->triangles;
    for (size_t v = 0; v < vertices; v++)
        normal[v] = vec(0, 0, 0);
    for (size_t t = 0; t < triangles; t++) {
        uint32_t v[3];
        for (size_t k = 0; k < 3; k++)
            v[k] = laplace_corner(l, 3 * t + k);
        struct vec a = laplace_place(l, v[0]);
        struct vec n =
            vec_cross(vec_sub(laplace_place(l, v[1]), a), vec_sub(laplace_place(l, v[2]), a));
        for (int k = 0; k < 3; k++)
            if (v[k] < vertices)
                normal[v[k]] = vec_add(normal[v[k]], n);
    }
    for (size_t v = 0; v < vertices; v++)
        normal[v] = vec_unit(normal[v]);
}

void curve_ask(const struct laplace *l, struct vec *asked)
{
    vertex_normals(l, asked);
    for (size_t v = 0; v < l->patch->vertices; v++)
        asked[v] = vec_scale(asked[v], l->patch->curve[v] * l->area[v]);
}

/* The curvature there is: the Laplacian's part along the normal. */
static void measure(struct spreading *s, const struct vec *normal)
{
    const struct laplace *l = &s->laplace;
    for (uint32_t v = 0; v < s->patch->vertices; v++) {
        struct vec sum = vec(0, 0, 0), at = s->patch->at[v];
        for (uint32_t i = l->start[v]; i < l->start[v] + l->count[v]; i++)
            sum = vec_along(sum, l->weight[i], vec_sub(laplace_place(l, l->near[i]), at));
        s->patch->curve[v] = l->area[v] > 0 ? vec_dot(sum, normal[v]) / l->area[v] : 0;
    }
}

/* Mean of the neighbours that are new and, if asked, next to the rim. */
static double mean_near(const struct spreading *s, const double *value, uint32_t v, double sum,
                        size_t count, bool fixed)
{
    const struct laplace *l = &s->laplace;
    for (uint32_t i = l->start[v]; i < l->start[v] + l->count[v]; i++)
        if (laplace_is_new(l, l->near[i]) && (!fixed || s->fixed[l->near[i]])) {
            sum += value[l->near[i]];
            count++;
        }
    return count ? sum / (double)count : 0;
}

/* Finds the vertices next to the rim and evens their values out; numbers the others. */
static void even_rim(struct spreading *s)
{
    const struct laplace *l = &s->laplace;
    size_t rim = s->patch->rim, vertices = s->patch->vertices;
    for (uint32_t v = 0; v < rim; v++)
        for (uint32_t i = l->start[v]; i < l->start[v] + l->count[v]; i++)
            if (laplace_is_new(l, l->near[i]))
                s->fixed[l->near[i]] = true;
    for (uint32_t v = (uint32_t)rim; v < vertices; v++)
        if (!s->fixed[v]) {
            s->place[s->unknowns] = s->patch->at[v];
            s->number[v] = (uint32_t)s->unknowns++;
        }
    for (int sweep = 0; sweep < SWEEPS; sweep++) {
        memcpy(s->last, s->patch->curve, vertices * sizeof *s->last);
        for (uint32_t v = (uint32_t)rim; v < vertices; v++)
            if (s->fixed[v])
                s->patch->curve[v] = mean_near(s, s->last, v, s->last[v], 1, true);
    }
}

static void add_end(struct spreading *s, uint32_t v, double sign, size_t row, uint32_t *terms)
{
    if (s->fixed[v]) {
        s->right[row] -= sign * s->patch->curve[v];
    } else {
        s->unknown[*terms] = s->number[v];
        s->factor[(*terms)++] = sign;
    }
}

/* One equation an edge: its ends have the same curvature. */
static size_t write_edges(struct spreading *s)
{
    const struct laplace *l = &s->laplace;
    size_t rows = 0;
    uint32_t terms = 0;
    for (uint32_t v = (uint32_t)s->patch->rim; v < s->patch->vertices; v++)
        for (uint32_t i = l->start[v]; i < l->start[v] + l->count[v]; i++) {
            uint32_t n = l->near[i];
            if (n < v || !laplace_is_new(l, n) || (s->fixed[v] && s->fixed[n]))
                continue;
            s->start[rows] = terms;
            s->right[rows] = 0;
            s->weight[rows] = fmax(l->weight[i], weight_least);
            add_end(s, v, 1, rows, &terms);
            add_end(s, n, -1, rows, &terms);
            rows++;
        }
    s->start[rows] = terms;
    return rows;
}

static bool make_room(struct spreading *s)
{
    size_t vertices = s->patch->vertices, edges = s->laplace.start[vertices];
    s->fixed = calloc(vertices + 1, sizeof *s->fixed);
    s->number = malloc((vertices + 1) * sizeof *s->number);
    s->place = malloc((vertices + 1) * sizeof *s->place);
    s->start = malloc((edges + 1) * sizeof *s->start);
    s->unknown = malloc((2 * edges + 1) * sizeof *s->unknown);
    s->factor = malloc((2 * edges + 1) * sizeof *s->factor);
    s->weight = malloc((edges + 1) * sizeof *s->weight);
    s->right = malloc((edges + 1) * sizeof *s->right);
    s->x = malloc((vertices + 1) * sizeof *s->x);
    s->last = malloc((vertices + 1) * sizeof *s->last);
    return s->fixed && s->number && s->place && s->start && s->unknown && s->factor && s->weight &&
           s->right && s->x && s->last;
}

static enum status spread(struct spreading *s, const struct job *job)
{
    struct patch *patch = s->patch;
    vertex_normals(&s->laplace, s->place); /* lent */
    measure(s, s->place);
    even_rim(s);
    const struct squares squares = {.unknowns = s->unknowns,
                                    .rows = write_edges(s),
                                    .columns = 1,
                                    .start = s->start,
                                    .unknown = s->unknown,
                                    .factor = s->factor,
                                    .weight = s->weight,
                                    .right = s->right,
                                    .place = s->place};
    enum status status = squares_solve(&squares, s->x, job);
    for (size_t v = patch->rim; v < patch->vertices && status == STATUS_OK; v++)
        if (!s->fixed[v])
            patch->curve[v] = s->x[s->number[v]];
    for (uint32_t v = 0; v < patch->rim; v++)
        patch->curve[v] = mean_near(s, patch->curve, v, 0, 0, false);
    return status;
}

enum status curve_spread(struct patch *patch, const struct around *around, const struct job *job)
{
    struct spreading s = {.patch = patch};
    if (!laplace_make(patch, around, &s.laplace))
        return STATUS_MEMORY;
    enum status status = make_room(&s) ? spread(&s, job) : STATUS_MEMORY;
    laplace_release(&s.laplace);
    free(s.fixed);
    free(s.number);
    free(s.place);
    free(s.start);
    free(s.unknown);
    free(s.factor);
    free(s.weight);
    free(s.right);
    free(s.x);
    free(s.last);
    return status;
}
