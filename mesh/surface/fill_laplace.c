#include "surface/fill_laplace.h"

#include <stdlib.h>

/* No triangle counts as thinner than this: cotangent of its angles. */
static const double cotangent_most = 20;

struct vec laplace_place(const struct laplace *l, uint32_t v)
{
    size_t vertices = l->patch->vertices;
    return v < vertices ? l->patch->at[v] : l->around->at[v - vertices];
}

uint32_t laplace_corner(const struct laplace *l, size_t i)
{
    size_t own = 3 * l->patch->triangles;
    if (i < own)
        return l->patch->corner[i];
    uint32_t v = l->around->corner[i - own];
    return v < l->patch->rim ? v : (uint32_t)(v - l->patch->rim + l->patch->vertices);
}

static void add_weight(struct laplace *l, uint32_t v, uint32_t other, double weight)
{
    if (v >= l->patch->vertices)
        return;
    uint32_t i = l->start[v], end = i + l->count[v];
    while (i < end && l->near[i] != other)
        i++;
    if (i == end) {
        l->near[i] = other;
        l->weight[i] = 0;
        l->count[v]++;
    }
    l->weight[i] += weight;
}

static double cotangent(struct vec u, struct vec v)
{
    double sine = vec_length(vec_cross(u, v)), cosine = vec_dot(u, v);
    if (!(sine * cotangent_most > fabs(cosine)))
        return cosine < 0 ? -cotangent_most : cotangent_most;
    return cosine / sine;
}

static void add_triangle(struct laplace *l, size_t t)
{
    uint32_t v[3];
    struct vec p[3];
    for (size_t k = 0; k < 3; k++) {
        v[k] = laplace_corner(l, 3 * t + k);
        p[k] = laplace_place(l, v[k]);
    }
    double area = vec_length(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]))) / 6;
    for (int k = 0; k < 3; k++) {
        int i = (k + 1) % 3, j = (k + 2) % 3;
        double w = cotangent(vec_sub(p[i], p[k]), vec_sub(p[j], p[k])) / 2;
        add_weight(l, v[i], v[j], w);
        add_weight(l, v[j], v[i], w);
        if (v[k] < l->patch->vertices)
            l->area[v[k]] += area;
    }
}

/* Room for neighbours: no more than two a triangle. */
static uint32_t make_room(struct laplace *l, size_t triangles)
{
    size_t vertices = l->patch->vertices;
    for (size_t i = 0; i < 3 * triangles; i++)
        if (laplace_corner(l, i) < vertices)
            l->start[laplace_corner(l, i)] += 2;
    uint32_t sum = 0;
    for (size_t v = 0; v <= vertices; v++) {
        uint32_t room = l->start[v];
        l->start[v] = sum;
        sum += room;
    }
    return sum;
}

bool laplace_make(const struct patch *patch, const struct around *around, struct laplace *out)
{
    size_t vertices = patch->vertices, triangles = patch->triangles + around->triangles;
    struct laplace l = {.patch = patch, .around = around};
    l.start = calloc(vertices + 1, sizeof *l.start);
    l.count = calloc(vertices + 1, sizeof *l.count);
    l.area = calloc(vertices + 1, sizeof *l.area);
    bool ok = l.start && l.count && l.area;
    if (ok) {
        uint32_t room = make_room(&l, triangles);
        l.near = malloc((room + 1) * sizeof *l.near);
        l.weight = malloc((room + 1) * sizeof *l.weight);
        ok = l.near && l.weight;
    }
    for (size_t t = 0; t < triangles && ok; t++)
        add_triangle(&l, t);
    if (!ok)
        laplace_release(&l);
    *out = l;
    return ok;
}

void laplace_release(struct laplace *l)
{
    free(l->start);
    free(l->count);
    free(l->near);
    free(l->weight);
    free(l->area);
    *l = (struct laplace){0};
}
