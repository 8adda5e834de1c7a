#include "surface/decimate_spot.h"

#include <string.h>

#include "core/closest.h"

void ground_corners(const struct ground *g, uint32_t triangle, struct vec corner[3])
{
    const uint32_t *v = mesh_triangle(g->mesh)[triangle].v;
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(g->mesh)[v[k]]);
}

struct spot spot_none(void)
{
    return (struct spot){.triangle = NO_INDEX, .distance2 = INFINITY};
}

void spot_try(const struct ground *g, struct vec p, uint32_t triangle, struct spot *spot)
{
    struct vec corner[3];
    double weight[3];
    ground_corners(g, triangle, corner);
    closest_of_triangle(p, corner, weight);
    double d = vec_length2(vec_sub(p, closest_point(corner, weight)));
    if (!(d < spot->distance2))
        return;
    spot->triangle = triangle;
    spot->distance2 = d;
    memcpy(spot->weight, weight, sizeof weight);
}

void spot_try_ring(const struct ground *g, struct vec p, uint32_t vertex, struct spot *spot)
{
    uint32_t first = g->topology->fan[vertex], h = first;
    while (h != NO_INDEX) {
        spot_try(g, p, h / 3, spot);
        h = half_across(g->topology, half_prev(h));
        if (h == first)
            break;
    }
}

void spot_walk(const struct ground *g, struct vec p, struct spot *spot)
{
    uint32_t from = NO_INDEX;
    while (from != spot->triangle) {
        from = spot->triangle;
        const double w[3] = {spot->weight[0], spot->weight[1], spot->weight[2]};
        for (uint32_t k = 0; k < 3; k++) {
            if (w[k] >= 1)
                spot_try_ring(g, p, mesh_triangle(g->mesh)[from].v[k], spot);
            uint32_t across = half_across(g->topology, 3 * from + (k + 1) % 3);
            if (w[k] <= 0 && across != NO_INDEX) /* it lies on the side across from corner k */
                spot_try(g, p, across / 3, spot);
        }
    }
}

struct vec spot_offset(const struct ground *g, struct vec p, const struct spot *spot)
{
    struct vec corner[3];
    ground_corners(g, spot->triangle, corner);
    return vec_sub(p, closest_point(corner, spot->weight));
}

bool spot_is_aside(const struct ground *g, struct vec p, const struct spot *spot)
{
    struct vec c[3];
    ground_corners(g, spot->triangle, c);
    struct vec n = vec_unit(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
    double above = vec_dot(n, vec_sub(p, closest_point(c, spot->weight)));
    return above * above < 0.5 * spot->distance2;
}

struct spot spot_find(const struct ground *g, struct vec p, const uint32_t *vertex, int count)
{
    struct spot spot = spot_none();
    spot_try_ring(g, p, vertex[0], &spot);
    if (spot.triangle == NO_INDEX)
        return spot;
    spot_walk(g, p, &spot);
    if (!spot_is_aside(g, p, &spot))
        return spot;
    for (int i = 1; i < count; i++)
        spot_try_ring(g, p, vertex[i], &spot);
    const uint32_t *around = mesh_triangle(g->mesh)[spot.triangle].v;
    for (int k = 0; k < 3; k++)
        spot_try_ring(g, p, around[k], &spot);
    spot_walk(g, p, &spot);
    return spot;
}
