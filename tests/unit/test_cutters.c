/* Tools for fixing features: their volumes in closed form, and that they are solids. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "core/job.h"
#include "solid/cutters.h"
#include "solid/screws.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

static const double pi = 3.14159265358979323846;

static const struct cutter_place places[] = {
    {{0, 0, 0}, {0, 0, -1}, {0, 1, 0}, {0, 0, 0}},
    {{10, -20, 31}, {0.48, 0.6, 0.64}, {0.8, 0, -0.6}, {0, 0, 0}},
    {{500010, 200, 7}, {1, 0, 0}, {0, 0.6, 0.8}, {500000, 200, 0}},
};
enum { PLACES = 3 };

static void expect_solid(const struct mesh *mesh)
{
    const char *fault = sound_fault(mesh);
    ck_assert_msg(!fault, "%s", fault);
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    ck_assert_uint_eq(shape_count(mesh).degenerate, 0);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
}

/* Area of the regular polygon of n facets around a circle of radius r: n r^2 tan(pi / n). */
static double facets_area(double r, uint32_t n)
{
    return n * r * r * tan(pi / n);
}

/* Prisms and, for the countersink, a frustum: h / 3 (A + sqrt(A B) + B). */
static double bore_volume(const struct bore *b, uint32_t n)
{
    double hole = facets_area(b->diameter / 2, n), mouth = facets_area(b->mouth / 2, n);
    double deep = b->depth;
    if (b->head == BORE_NONE)
        return hole * (b->above + deep);
    if (b->head == BORE_COUNTERBORE)
        return mouth * (b->above + b->seat) + hole * (deep - b->seat);
    double h = (b->mouth - b->diameter) / 2;
    return mouth * b->above + h / 3 * (mouth + sqrt(mouth * hole) + hole) + hole * (deep - h);
}

static void expect_bore(const struct bore *bore, const struct cutter_place *place)
{
    struct mesh *mesh = NULL;
    ck_assert_int_eq(bore_cutter(bore, place, &mesh, NULL), STATUS_OK);
    expect_solid(mesh);
    double wide = bore->head == BORE_NONE ? bore->diameter : bore->mouth;
    double wanted = bore_volume(bore, cutter_facets(wide / 2));
    ck_assert_double_eq_tol(shape_count(mesh).volume, wanted, 1e-5 * wanted);
    mesh_free(mesh);
}

START_TEST(bores)
{
    for (int s = 0; s < SCREW_COUNT; s++) {
        enum screw screw = (enum screw)s;
        double hole = screw_measure(screw, MEASURE_medium);
        if (hole <= 0)
            continue;
        struct bore bore = {.diameter = hole, .above = 1, .depth = 25};
        expect_bore(&bore, &places[_i]);
        bore.head = BORE_COUNTERBORE;
        bore.mouth = screw_measure(screw, MEASURE_counterbore);
        bore.seat = screw_measure(screw, MEASURE_cap_height);
        expect_bore(&bore, &places[_i]);
        bore.head = BORE_COUNTERSUNK;
        bore.mouth = screw_measure(screw, MEASURE_sink);
        if (bore.mouth > 0)
            expect_bore(&bore, &places[_i]);
    }
}
END_TEST

/* The narrowest width is the nominal one, the widest no more than the excess over it. */
START_TEST(facets_keep_the_diameter)
{
    for (double d = 0.5; d < 400; d *= 1.37) {
        struct bore bore = {.diameter = d, .above = 1, .depth = 5};
        struct mesh *mesh = NULL;
        ck_assert_int_eq(bore_cutter(&bore, &places[0], &mesh, NULL), STATUS_OK);
        uint32_t n = cutter_facets(d / 2);
        ck_assert_uint_eq(n % 4, 0);
        const struct point *p = mesh_point(mesh);
        double narrow = INFINITY, wide = 0;
        for (uint32_t i = 0; i < n; i++) {
            uint32_t j = (i + 1) % n;
            double mx = (p[i].x + p[j].x) / 2.0, my = (p[i].y + p[j].y) / 2.0;
            narrow = fmin(narrow, 2 * hypot(mx, my));
            wide = fmax(wide, 2 * hypot(p[i].x, p[i].y));
        }
        double rounding = 1e-6 * d;
        ck_assert_double_eq_tol(narrow, d, rounding);
        ck_assert_double_le(wide, d + CUTTER_EXCESS + rounding);
        mesh_free(mesh);
    }
}
END_TEST

START_TEST(radius_follows_the_depth)
{
    struct bore b = {
        .diameter = 4.5, .head = BORE_COUNTERSUNK, .mouth = 9.4, .depth = 20, .above = 1};
    ck_assert_double_eq_tol(bore_recess(&b), 2.45, 1e-12); /* 90 degrees: half the difference */
    ck_assert_double_eq_tol(bore_radius(&b, 0), 4.7, 1e-12);
    ck_assert_double_eq_tol(bore_radius(&b, 1), 3.7, 1e-12);
    ck_assert_double_eq_tol(bore_radius(&b, 19), 2.25, 1e-12);
    b.head = BORE_COUNTERBORE;
    b.seat = 4;
    ck_assert_double_eq_tol(bore_radius(&b, 3.9), 4.7, 1e-12);
    ck_assert_double_eq_tol(bore_radius(&b, 4.1), 2.25, 1e-12);
}
END_TEST

/* The area of a circle of radius R joined with a strip of half width s that goes up to t and ends
 * round: what the strip has beyond the circle, by integrating t - sqrt(R^2 - x^2) over it. */
static double keyhole_area(double R, double s, double t)
{
    double under = s * sqrt(R * R - s * s) + R * R * asin(s / R);
    return pi * R * R + 2 * s * t - under + pi * s * s / 2;
}

static void expect_keyhole(const struct keyhole *k, const struct cutter_place *place)
{
    struct mesh *mesh = NULL;
    ck_assert_int_eq(keyhole_cutter(k, place, &mesh, NULL), STATUS_OK);
    expect_solid(mesh);
    uint32_t n = cutter_facets(k->entry / 2);
    double R = k->entry / 2, s = k->slot / 2, is = shape_count(mesh).volume;
    double pocket = (facets_area(R, n) + k->entry * k->travel) * k->pocket;
    double least = pocket + keyhole_area(R, s, k->travel) * (k->above + k->lip);
    /* facets stand out from both circles by no more than this */
    double more = (n * tan(pi / n) - pi) * (R * R + s * s / 2) * (k->above + k->lip);
    ck_assert_msg(is >= least * (1 - 1e-5) && is <= (least + more) * (1 + 1e-5),
                  "volume %.9g, should be %.9g to %.9g", is, least, least + more);
    mesh_free(mesh);
}

START_TEST(keyholes)
{
    for (double entry = 5; entry < 25; entry *= 1.23)
        for (double slot = 0.2; slot < 0.95; slot += 0.09) {
            struct keyhole k = {entry, slot * entry, entry * (1 + slot), 2.5, 4, 1};
            expect_keyhole(&k, &places[_i]);
        }
}
END_TEST

START_TEST(measures_that_make_no_tool)
{
    struct job job;
    struct mesh *mesh = NULL;
    struct bore narrow = {4.5, BORE_COUNTERSUNK, 4.5, 0, 1, 20};
    struct bore shallow = {4.5, BORE_COUNTERBORE, 8, 4, 1, 4};
    struct keyhole wide = {9, 9, 9, 2.5, 3, 1}, near = {9, 4.5, 4, 2.5, 3, 1};
    job_init(&job);
    ck_assert_int_eq(bore_cutter(&narrow, &places[0], &mesh, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "no wider than the hole"));
    job_forgive(&job);
    ck_assert_int_eq(bore_cutter(&shallow, &places[0], &mesh, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "4 mm deep"));
    job_forgive(&job);
    ck_assert_int_eq(keyhole_cutter(&wide, &places[0], &mesh, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "nothing would hold the head"));
    job_forgive(&job);
    ck_assert_int_eq(keyhole_cutter(&near, &places[0], &mesh, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "does not leave the entry"));
    job_release(&job);
    ck_assert_ptr_null(mesh);
}
END_TEST

Suite *suite_cutters(void);
Suite *suite_cutters(void)
{
    Suite *suite = suite_create("cutters");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 20);
    tcase_add_loop_test(all, bores, 0, PLACES);
    tcase_add_test(all, facets_keep_the_diameter);
    tcase_add_test(all, radius_follows_the_depth);
    tcase_add_loop_test(all, keyholes, 0, PLACES);
    tcase_add_test(all, measures_that_make_no_tool);
    suite_add_tcase(suite, all);
    return suite;
}
