#include "tests/support/wrecks.h"

#include <string.h>

#include "tests/support/shapes.h"

struct mesh *wreck_soup(uint64_t number, size_t vertices, size_t triangles)
{
    struct mesh *mesh = mesh_new(vertices, triangles);
    uint64_t state = number * 7919 + 1;
    for (size_t v = 0; v < vertices; v++) {
        float x = (float)shape_random(&state), y = (float)shape_random(&state);
        mesh_point_edit(mesh)[v] = (struct point){x, y, (float)shape_random(&state)};
    }
    for (size_t t = 0; t < triangles; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[t].v[k] = (uint32_t)(shape_random(&state) * (double)vertices);
    return mesh;
}

struct mesh *wreck_sphere(uint64_t number, double lost, double flipped)
{
    struct mesh *sphere = shape_sphere(10, 3);
    uint64_t state = number + 99;
    struct mesh *mesh = mesh_new(mesh_vertices(sphere), mesh_triangles(sphere));
    size_t count = 0;
    memcpy(mesh_point_edit(mesh), mesh_point(sphere), array_bytes(sphere->point));
    for (size_t t = 0; t < mesh_triangles(sphere); t++) {
        if (shape_random(&state) < lost)
            continue;
        struct triangle triangle = mesh_triangle(sphere)[t];
        if (shape_random(&state) < flipped)
            triangle = (struct triangle){{triangle.v[0], triangle.v[2], triangle.v[1]}};
        mesh_triangle_edit(mesh)[count++] = triangle;
    }
    array_shrink(mesh->triangle, count);
    mesh_free(sphere);
    return mesh;
}

struct mesh *wreck(int number)
{
    uint64_t n = (uint64_t)number;
    if (number % 3 == 0)
        return wreck_sphere(n, 0.3, 0);
    if (number % 3 == 1)
        return wreck_sphere(n, 0.15, 0.1);
    return wreck_soup(n, 6 + n % 20, 4 + n % 60);
}
