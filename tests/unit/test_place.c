/* Moving as a whole: lengths, volumes and directions after it; nothing lost far from zero. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "core/topology.h"
#include "solid/place.h"
#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

static struct vec size_of(const struct mesh *mesh)
{
    return mesh_bounds(mesh, NULL)->size;
}

START_TEST(scaling_cubes_the_volume)
{
    struct mesh *ball = shape_sphere(50, 3);
    struct motion motion = motion_scale(0.5, vec(0, 0, 0));
    struct mesh *half = motion_mesh(&motion, ball, NULL);
    double before = shape_count(ball).volume, after = shape_count(half).volume;
    ck_assert_double_eq_tol(after, before / 8, 1e-6 * before);
    ck_assert_ptr_eq(half->triangle, ball->triangle);
    mesh_free(half);
    mesh_free(ball);
}
END_TEST

START_TEST(a_quarter_turn_swaps_sides)
{
    struct mesh *box = shape_box(30, 20, 10, 2);
    struct motion motion = motion_turn(vec(0, 0, 1), pi / 2, vec(15, 10, 5));
    struct mesh *turned = motion_mesh(&motion, box, NULL);
    struct vec size = size_of(turned), centre = mesh_bounds(turned, NULL)->centre;
    ck_assert_double_eq_tol(size.x, 20, 1e-5);
    ck_assert_double_eq_tol(size.y, 30, 1e-5);
    ck_assert_double_eq_tol(size.z, 10, 1e-5);
    ck_assert_double_eq_tol(vec_length(vec_sub(centre, vec(15, 10, 5))), 0, 1e-5);
    ck_assert_double_eq_tol(shape_count(turned).volume, 6000, 1e-2);
    /* counter-clockwise: x goes to y */
    struct vec x = motion_direction(&motion, vec(1, 0, 0));
    ck_assert_double_eq_tol(x.y, 1, 1e-15);
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

START_TEST(one_after_the_other_is_both)
{
    struct motion a = motion_turn(vec_unit(vec(1, 2, 3)), 0.7, vec(4, 5, 6));
    struct motion b = motion_scale(1.7, vec(-3, 1, 2)), c = motion_shift(vec(9, -8, 7));
    struct motion ab = motion_then(&a, &b), abc = motion_then(&ab, &c);
    struct vec p = vec(12.5, -3.25, 8);
    struct vec stepwise = motion_apply(&c, motion_apply(&b, motion_apply(&a, p)));
    ck_assert_double_lt(vec_length(vec_sub(motion_apply(&abc, p), stepwise)), 1e-12);
}
END_TEST

START_TEST(directions_turn_along)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    struct point *normal = mesh_attribute_new(box, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(box); v++)
        normal[v] = (struct point){1, 0, 0};
    struct motion motion = motion_turn(vec(0, 0, 1), pi / 2, vec(0, 0, 0));
    struct motion scaled = motion_scale(5, vec(0, 0, 0)), both = motion_then(&motion, &scaled);
    struct mesh *turned = motion_mesh(&both, box, NULL);
    const struct point *after = mesh_attribute(turned, ATTRIBUTE_normal);
    for (size_t v = 0; v < mesh_vertices(turned); v++) {
        ck_assert_double_eq_tol(after[v].x, 0, 1e-6);
        ck_assert_double_eq_tol(after[v].y, 1, 1e-6); /* unit still, whatever the scale */
    }
    mesh_free(turned);
    mesh_free(box);
}
END_TEST

/* A wedge without any symmetry, with something different at every place an attribute can have. */
static struct mesh *dressed(void)
{
    const double point[4][3] = {{0, 0, 0}, {7, 0, 0}, {1, 4, 0}, {2, 1, 3}};
    const uint32_t face[4][3] = {{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}};
    struct mesh *mesh = shape_make(point, 4, face, 4);
    uint64_t seed = 5;
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        const struct attribute_row *row = attribute_row(i);
        char *data = mesh_attribute_new(mesh, i);
        for (size_t n = 0; n < mesh_domain(mesh, row->domain) * row->components; n++)
            if (row->element == ELEMENT_float)
                ((float *)data)[n] = (float)shape_random(&seed);
            else
                memset(data + n * row->stride / row->components, (int)(250 * shape_random(&seed)),
                       row->stride / row->components);
    }
    return mesh;
}

/* What the mesh has of the attribute at a vertex, as seen from the triangle that has it. */
static const char *at_corner(const struct mesh *mesh, enum attribute i, size_t t, uint32_t vertex)
{
    const struct attribute_row *row = attribute_row(i);
    const struct triangle *triangle = mesh_triangle(mesh) + t;
    size_t k = triangle->v[0] == vertex ? 0 : triangle->v[1] == vertex ? 1 : 2;
    ck_assert_uint_eq(triangle->v[k], vertex);
    size_t at = row->domain == DOMAIN_VERTEX   ? vertex
                : row->domain == DOMAIN_CORNER ? 3 * t + k
                                               : t;
    return (const char *)mesh_attribute(mesh, i) + at * row->stride;
}

START_TEST(a_mirror_keeps_the_outside_and_all_attributes)
{
    struct mesh *mesh = dressed();
    struct vec normal = vec_unit(vec(1, -2, 0.5));
    struct motion motion = motion_mirror(normal, vec(3, 2, 1));
    struct mesh *image = motion_mesh(&motion, mesh, NULL);
    ck_assert(motion_mirrors(&motion));
    ck_assert_double_eq_tol(shape_count(image).volume, shape_count(mesh).volume, 1e-5);
    ck_assert_double_gt(shape_count(image).volume, 0);
    for (size_t t = 0; t < 4; t++)
        for (int k = 0; k < 3; k++)
            for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
                uint32_t v = mesh_triangle(mesh)[t].v[k];
                const char *was = at_corner(mesh, i, t, v), *is = at_corner(image, i, t, v);
                if (attribute_row(i)->blend != BLEND_UNIT) { /* no direction */
                    ck_assert_mem_eq(was, is, attribute_row(i)->stride);
                    continue;
                }
                const struct point *a = (const void *)was, *b = (const void *)is;
                struct vec half = vec_sub(point_vec(*b), point_vec(*a)); /* goes along the normal */
                ck_assert_double_lt(vec_length(vec_cross(half, normal)), 1e-6);
                ck_assert_double_eq_tol(vec_dot(point_vec(*b), normal),
                                        -vec_dot(point_vec(*a), normal), 1e-6);
            }
    mesh_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(mirrored_twice_is_the_same)
{
    struct mesh *mesh = dressed();
    struct motion motion = motion_mirror(vec(0, 1, 0), vec(0, 0, 0));
    struct motion twice = motion_then(&motion, &motion);
    ck_assert(!motion_mirrors(&twice));
    struct mesh *image = motion_mesh(&motion, mesh, NULL), *back = motion_mesh(&motion, image, NULL);
    ck_assert_mem_eq(back->triangle->data, mesh->triangle->data, array_bytes(mesh->triangle));
    for (size_t v = 0; v < mesh_vertices(mesh); v++) { /* -0 is 0 */
        ck_assert(mesh_point(back)[v].x == mesh_point(mesh)[v].x);
        ck_assert(mesh_point(back)[v].y == mesh_point(mesh)[v].y);
        ck_assert(mesh_point(image)[v].y == -mesh_point(mesh)[v].y);
    }
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        ck_assert_mem_eq(back->attribute[i]->data, mesh->attribute[i]->data,
                         array_bytes(mesh->attribute[i]));
    mesh_free(back);
    mesh_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(far_from_zero_nothing_is_lost)
{
    struct mesh *ball = shape_sphere(50, 3);
    ball->origin[0] = 4.5e9; /* a geo-referenced scan, mm */
    ball->origin[1] = 5.3e9;
    struct motion motion = motion_shift(vec(1.25, 2.5, -3));
    struct mesh *moved = motion_mesh(&motion, ball, NULL);
    ck_assert(memcmp(mesh_point(moved), mesh_point(ball), mesh_vertices(ball) * sizeof(struct point)) == 0);
    ck_assert_double_eq(moved->origin[0], 4.5e9 + 1.25);
    ck_assert_double_eq_tol(shape_count(moved).volume, shape_count(ball).volume, 1e-9);
    mesh_free(moved);
    mesh_free(ball);
}
END_TEST

Suite *suite_place(void);

Suite *suite_place(void)
{
    Suite *suite = suite_create("place");
    TCase *tests = tcase_create("place");
    tcase_add_test(tests, scaling_cubes_the_volume);
    tcase_add_test(tests, a_quarter_turn_swaps_sides);
    tcase_add_test(tests, one_after_the_other_is_both);
    tcase_add_test(tests, directions_turn_along);
    tcase_add_test(tests, a_mirror_keeps_the_outside_and_all_attributes);
    tcase_add_test(tests, mirrored_twice_is_the_same);
    tcase_add_test(tests, far_from_zero_nothing_is_lost);
    suite_add_tcase(suite, tests);
    return suite;
}
