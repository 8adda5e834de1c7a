#include "surface/fill_around.h"

#include <stdlib.h>
#include <string.h>

struct gathering {
    const struct mesh *mesh;
    const struct topology *topology;
    uint32_t *triangle; /* of the mesh */
    size_t triangles, room;
};

static bool gather(struct gathering *g, uint32_t half)
{
    if (!list_grow(&g->triangle, &g->room, g->triangles + 1, sizeof *g->triangle))
        return false;
    g->triangle[g->triangles++] = half / 3;
    return true;
}

/* Gathers the triangles round the two ends of a rim's edge, going away from the hole. */
static bool go_round(struct gathering *g, uint32_t half)
{
    if (!gather(g, half))
        return false;
    for (uint32_t h = half_across(g->topology, half_next(half)); h != NO_INDEX && h != half;
         h = half_across(g->topology, half_next(h))) /* round where the edge ends */
        if (!gather(g, h))
            return false;
    for (uint32_t h = half_across(g->topology, half_prev(half)); h != NO_INDEX && h != half;
         h = half_across(g->topology, half_prev(h))) /* round where it begins */
        if (!gather(g, h))
            return false;
    return true;
}

static int index_order(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return x < y ? -1 : x > y;
}

static size_t sort_unique(uint32_t *list, size_t count)
{
    size_t kept = 0;
    qsort(list, count, sizeof *list, index_order);
    for (size_t i = 0; i < count; i++)
        if (i == 0 || list[i] != list[i - 1])
            list[kept++] = list[i];
    return kept;
}

struct number { /* an old vertex and what it is called here */
    uint32_t old, number;
};

static int number_order(const void *a, const void *b)
{
    const struct number *x = a, *y = b;
    if (x->old != y->old)
        return x->old < y->old ? -1 : 1;
    return x->number < y->number ? -1 : x->number > y->number;
}

/* Numbers the corners: rim vertices as in the patch, others behind them. */
static bool number_corners(const struct gathering *g, const struct patch *patch,
                           struct around *around)
{
    size_t corners = 3 * g->triangles, count = 0;
    struct number *list = malloc((corners + patch->rim + 1) * sizeof *list);
    around->corner = malloc((corners + 1) * sizeof *around->corner);
    around->at = malloc((corners + 1) * sizeof *around->at);
    if (!list || !around->corner || !around->at) {
        free(list);
        return false;
    }
    for (uint32_t v = 0; v < patch->rim; v++)
        list[count++] = (struct number){patch->old[v], v};
    for (size_t i = 0; i < corners; i++) {
        uint32_t old = mesh_triangle(g->mesh)[g->triangle[i / 3]].v[i % 3];
        list[count++] = (struct number){old, (uint32_t)(patch->rim + i)};
    }
    qsort(list, count, sizeof *list, number_order);
    for (size_t i = 0, first = 0; i < count; i++) {
        if (list[i].old != list[first].old)
            first = i;
        if (i == first && list[i].number >= patch->rim) {
            around->at[around->vertices] = point_vec(mesh_point(g->mesh)[list[i].old]);
            around->corner[list[i].number - patch->rim] =
                (uint32_t)(patch->rim + around->vertices++);
        } else if (i != first) {
            uint32_t n = list[first].number;
            around->corner[list[i].number - patch->rim] =
                n < patch->rim ? n : around->corner[n - patch->rim];
        }
    }
    free(list);
    around->triangles = g->triangles;
    return true;
}

static struct vec place(const struct patch *patch, const struct around *around, uint32_t v)
{
    return v < patch->rim ? patch->at[v] : around->at[v - patch->rim];
}

/* An edge inside counts once for each of its triangles, one along the rim once. */
static bool measure_edges(struct patch *patch, const struct around *around)
{
    uint32_t *count = calloc(patch->rim + 1, sizeof *count);
    if (!count)
        return false;
    memset(patch->size, 0, patch->rim * sizeof *patch->size);
    for (size_t i = 0; i < 3 * around->triangles; i++) {
        uint32_t a = around->corner[i], b = around->corner[i % 3 == 2 ? i - 2 : i + 1];
        double length = vec_length(vec_sub(place(patch, around, a), place(patch, around, b)));
        for (int k = 0; k < 2; k++, a = b)
            if (a < patch->rim) {
                patch->size[a] += length;
                count[a]++;
            }
    }
    for (size_t v = 0; v < patch->rim; v++)
        patch->size[v] /= count[v] ? count[v] : 1;
    free(count);
    return true;
}

bool around_read(const struct mesh *mesh, const struct topology *topology, struct patch *patch,
                 struct around *around)
{
    struct gathering g = {.mesh = mesh, .topology = topology};
    const struct rims *rims = patch->rims;
    bool ok = true;
    *around = (struct around){0};
    for (uint32_t m = rims->hole_start[patch->hole]; m < rims->hole_start[patch->hole + 1]; m++) {
        uint32_t rim = rims->member[m];
        for (uint32_t i = rims->start[rim]; i < rims->start[rim + 1] && ok; i++)
            ok = go_round(&g, rims->half[i]);
    }
    if (ok && g.triangles)
        g.triangles = sort_unique(g.triangle, g.triangles);
    ok = ok && number_corners(&g, patch, around) && measure_edges(patch, around);
    free(g.triangle);
    return ok;
}

void around_release(struct around *around)
{
    free(around->at);
    free(around->corner);
    *around = (struct around){0};
}
