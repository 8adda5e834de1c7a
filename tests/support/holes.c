#include "tests/support/holes.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "tests/support/shapes.h"

struct mesh *holes_filled(struct mesh *mesh, enum fill_shape shape, double longest,
                          struct fill_report *report)
{
    const struct fill_options options = {.longest = longest, .shape = shape};
    struct mesh *out = NULL;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(fill_holes(mesh, &options, &out, report, &job), STATUS_OK);
    ck_assert_ptr_nonnull(out);
    job_release(&job);
    mesh_free(mesh);
    return out;
}

struct mesh *holes_cut(struct mesh *mesh, bool (*drop)(const struct mesh *mesh, size_t t))
{
    struct mesh *rest = shape_without(mesh, drop);
    mesh_free(mesh);
    return rest;
}

struct vec holes_corner(const struct mesh *mesh, size_t t, int k)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

struct vec holes_centre(const struct mesh *mesh, size_t t)
{
    struct vec sum = vec_add(holes_corner(mesh, t, 0),
                             vec_add(holes_corner(mesh, t, 1), holes_corner(mesh, t, 2)));
    return vec_scale(sum, 1.0 / 3);
}

void holes_expect_closed(const struct mesh *mesh, long euler)
{
    struct shape_count count = shape_count(mesh);
    ck_assert_uint_eq(count.boundary, 0);
    ck_assert_uint_eq(count.nonmanifold, 0);
    ck_assert_uint_eq(count.misoriented, 0);
    ck_assert_uint_eq(count.degenerate, 0);
    ck_assert_int_eq(count.euler, euler);
}

static int index_order(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return x < y ? -1 : x > y;
}

static int triangle_order(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(struct triangle));
}

size_t holes_doubles(const struct mesh *mesh)
{
    size_t count = mesh_triangles(mesh), found = 0;
    struct triangle *list = malloc((count + 1) * sizeof *list);
    memcpy(list, mesh_triangle(mesh), count * sizeof *list);
    for (size_t t = 0; t < count; t++)
        qsort(list[t].v, 3, sizeof *list[t].v, index_order);
    qsort(list, count, sizeof *list, triangle_order);
    for (size_t t = 1; t < count; t++)
        found += triangle_order(list + t, list + t - 1) == 0;
    free(list);
    return found;
}

bool holes_in_cap(const struct mesh *mesh, size_t t)
{
    return vec_unit(holes_centre(mesh, t)).z > cos(0.3);
}

bool holes_in_middle(const struct mesh *mesh, size_t t)
{
    struct vec c = holes_centre(mesh, t);
    return hypot(c.x - 5, c.y - 5) < 2;
}

double holes_wave(double x, double y)
{
    return 0.3 * sin(x) * cos(y);
}
