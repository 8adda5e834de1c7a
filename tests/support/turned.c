#include "tests/support/turned.h"

#include <check.h>

static uint32_t corner(const double (*outline)[2], const uint32_t *first, uint32_t i, uint32_t k)
{
    return outline[i][0] > 0 ? first[i] + k : first[i];
}

struct mesh *turned(const double (*outline)[2], uint32_t count, uint32_t n, double phase)
{
    uint32_t first[16], vertices = 0, triangles = 0;
    ck_assert_uint_le(count, 16);
    struct mesh *mesh = mesh_new((size_t)count * n, 2 * (size_t)count * n);
    for (uint32_t i = 0; i < count; i++) {
        first[i] = vertices;
        for (uint32_t k = 0; k < (outline[i][0] > 0 ? n : 1); k++) {
            double a = phase + 2 * 3.14159265358979323846 * k / n, r = outline[i][0];
            mesh_point_edit(mesh)[vertices++] =
                vec_point(vec(r * cos(a), r * sin(a), outline[i][1]));
        }
    }
    for (uint32_t i = 0; i < count; i++)
        for (uint32_t k = 0; k < n; k++) {
            uint32_t next = (i + 1) % count, on = (k + 1) % n;
            uint32_t a = corner(outline, first, i, k), b = corner(outline, first, i, on),
                     c = corner(outline, first, next, on), d = corner(outline, first, next, k);
            if (a != b)
                mesh_triangle_edit(mesh)[triangles++] = (struct triangle){{a, b, c}};
            if (c != d)
                mesh_triangle_edit(mesh)[triangles++] = (struct triangle){{a, c, d}};
        }
    array_shrink(mesh->point, vertices);
    array_shrink(mesh->triangle, triangles);
    mesh->joined = true;
    return mesh;
}
