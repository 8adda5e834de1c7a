/* Positions are rounded when they become floats, and nothing may carry on with the unrounded ones:
 * what exact predicates see must be what is stored. gcc 12 at -O2 loses the rounding when it turns
 * neighbouring statements into vectors, which is why the Makefile forbids that. */
#include <check.h>

#include "core/mesh.h"
#include "tests/support/shapes.h"

Suite *suite_rounding(void);

__attribute__((noinline)) static bool same(struct vec seen, const struct point *stored)
{
    return seen.x == (double)stored->x && seen.y == (double)stored->y &&
           seen.z == (double)stored->z;
}

__attribute__((noinline)) static double next(uint64_t *state)
{
    return shape_random(state);
}

START_TEST(stored_is_seen)
{
    struct mesh *mesh = mesh_new(1000, 0);
    uint64_t state = 1;
    int wrong = 0;
    for (int i = 0; i < 1000; i++) {
        double x = 16 * next(&state) - 4, y = 16 * next(&state) - 4;
        struct point p = vec_point(vec(x, y, 16 * next(&state) - 4));
        mesh_point_edit(mesh)[i] = p;
        wrong += !same(point_vec(p), mesh_point(mesh) + i);
    }
    ck_assert_int_eq(wrong, 0);
    mesh_free(mesh);
}
END_TEST

Suite *suite_rounding(void)
{
    Suite *suite = suite_create("rounding");
    TCase *tests = tcase_create("rounding");
    tcase_add_test(tests, stored_is_seen);
    suite_add_tcase(suite, tests);
    return suite;
}
