/* Mending in large numbers: meshes broken at random in every way, soups, bodies through each other.
 */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "solid/boolean.h"
#include "tests/support/mended.h"
#include "tests/support/pairs.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/wrecks.h"

static const double pi = 3.14159265358979323846;

enum { ROUNDS = 2, MANY = 16, EACH = 25 };

enum { TETRAHEDRA = 60, SAMPLES = 20000 };

static bool in_tetrahedron(const struct mesh *mesh, size_t i, struct vec p)
{
    const struct point *at = mesh_point(mesh) + 4 * i;
    static const int face[4][3] = {{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}};
    for (int f = 0; f < 4; f++) {
        struct vec a = point_vec(at[face[f][0]]), b = point_vec(at[face[f][1]]);
        struct vec c = point_vec(at[face[f][2]]), n = vec_cross(vec_sub(b, a), vec_sub(c, a));
        if (vec_dot(n, vec_sub(p, a)) > 0)
            return false;
    }
    return true;
}

static struct mesh *tetrahedra(uint64_t seed)
{
    static const uint32_t face[4][3] = {{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}};
    struct mesh *mesh = mesh_new(4 * TETRAHEDRA, 4 * TETRAHEDRA);
    uint64_t state = seed + 17;
    for (uint32_t i = 0; i < 4 * TETRAHEDRA; i++) {
        float x = (float)shape_random(&state), y = (float)shape_random(&state);
        mesh_point_edit(mesh)[i] = (struct point){x, y, (float)shape_random(&state)};
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[i].v[k] = i / 4 * 4 + face[i % 4][k];
    }
    for (uint32_t i = 0; i < TETRAHEDRA; i++) { /* facing outward */
        const struct point *p = mesh_point(mesh) + 4 * i;
        struct vec a = point_vec(p[0]), b = vec_sub(point_vec(p[1]), a);
        struct vec c = vec_sub(point_vec(p[2]), a), d = vec_sub(point_vec(p[3]), a);
        struct point swap = p[0];
        if (vec_dot(d, vec_cross(b, c)) > 0)
            continue;
        mesh_point_edit(mesh)[4 * i] = p[1];
        mesh_point_edit(mesh)[4 * i + 1] = swap;
    }
    return mesh;
}

/* Many bodies through each other at once: points in any of them are counted at random, and so many
 * times the deviation of that count (the binomial's) allowed for. */
START_TEST(tetrahedra_through_each_other)
{
    struct mesh *mesh = tetrahedra((uint64_t)_i);
    struct mend_report report;
    struct mesh *out = mended(mesh, &report);
    expect_mended(out, "tetrahedra", _i);
    uint64_t state = 5;
    int in = 0;
    for (int i = 0; i < SAMPLES; i++) {
        double x = shape_random(&state), y = shape_random(&state);
        struct vec p = vec(x, y, shape_random(&state));
        bool any = false;
        for (size_t k = 0; k < TETRAHEDRA && !any; k++)
            any = in_tetrahedron(mesh, k, p);
        in += any;
    }
    double share = (double)in / SAMPLES, off = 4 * sqrt(share * (1 - share) / SAMPLES);
    ck_assert_double_eq_tol(shape_count(out).volume, share, off);
    mesh_free(out);
    mesh_free(mesh);
}
END_TEST

/* Two solids as one mesh, mended, are what the boolean makes of them: another way to the same. */
START_TEST(as_the_boolean_unites)
{
    for (int i = 0; i < EACH; i++) {
        int number = _i * EACH + i;
        struct mesh *pair[2], *united = NULL;
        struct mend_report report;
        struct boolean_report told;
        pair_make((uint64_t)number, pair);
        double all = shape_count(pair[0]).volume + shape_count(pair[1]).volume;
        double area = shape_count(pair[0]).area + shape_count(pair[1]).area;
        ck_assert_int_eq(boolean_mesh(pair[0], pair[1], BOOLEAN_UNITE, &united, &told, NULL),
                         STATUS_OK);
        struct mesh *both = mesh_two(pair[0], pair[1]), *out = mended(both, &report);
        expect_mended(out, "pair", number);
        double is = shape_count(out).volume, other = shape_count(united).volume;
        double tolerance = 1e-6 * all + (report.aside + told.aside) * area;
        ck_assert_msg(fabs(is - other) <= tolerance, "pair %d: %.9g, united %.9g", number, is,
                      other);
        mesh_free(out);
        mesh_free(both);
        mesh_free(united);
    }
}
END_TEST

START_TEST(broken_in_every_way)
{
    for (int i = 0; i < EACH; i++) {
        int number = _i * EACH + i;
        struct mesh *mesh = broken((uint64_t)number);
        struct mend_report report;
        struct mesh *out = mended(mesh, &report);
        expect_mended(out, "broken", number);
        ck_assert_uint_eq(report.left, 0);
        double ball = 4 * pi * 1000 / 3, is = shape_count(out).volume;
        ck_assert_msg(is > 0.85 * ball && is < 2 * ball + 1500, "broken %d: volume %g", number, is);
        mesh_free(out);
        mesh_free(mesh);
    }
}
END_TEST

/* Soups of few vertices: sound, or refused for having no inside. */
START_TEST(soups)
{
    for (int i = 0; i < EACH; i++) {
        int number = _i * EACH + i;
        struct mesh *mesh = wreck(number);
        struct mend_report report;
        char why[768];
        struct mesh *out =
            mended_so(mesh, &(struct mend_options){.shape = FILL_SMOOTH}, &report, 1, why);
        ck_assert_msg(out || strstr(why, "no inside"), "wreck %d: %s", number, why);
        if (out)
            expect_mended(out, "wreck", number);
        mesh_free(out);
        mesh_free(mesh);
    }
}
END_TEST

Suite *suite_mend_many(void);
Suite *suite_mend_many(void)
{
    Suite *suite = suite_create("mend_many");
    TCase *tests = tcase_create("mend many");
    int rounds = getenv("FETTLE_LONG") ? MANY : ROUNDS;
    tcase_set_timeout(tests, 120);
    tcase_add_loop_test(tests, tetrahedra_through_each_other, 0, 3 * rounds);
    tcase_add_loop_test(tests, broken_in_every_way, 0, rounds);
    tcase_add_loop_test(tests, soups, 0, rounds);
    tcase_add_loop_test(tests, as_the_boolean_unites, 0, rounds);
    suite_add_tcase(suite, tests);
    return suite;
}
