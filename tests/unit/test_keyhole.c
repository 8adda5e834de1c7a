/* Keyholes as one types them: what is cut, that two are level, and what is refused. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "solid/cutters.h"
#include "solid/screws.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

static const double pi = 3.14159265358979323846;

/* The solid that is left; both notes must have been told. width: entry and slot as measured. */
static struct mesh *cut(const struct scene *scene, const char *line, double width[2])
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    const char *told = strstr(job.notes, "measured back: ");
    ck_assert_ptr_nonnull(told);
    ck_assert_int_eq(sscanf(told, "measured back: entry %lf mm, slot %lf", &width[0], &width[1]),
                     2);
    ck_assert_ptr_nonnull(strstr(job.notes, "no load is rated"));
    ck_assert_ptr_nonnull(strstr(job.notes, "free above the part"));
    job_release(&job);
    struct mesh *mesh = mesh_share(out->piece[0]->mesh);
    scene_free(out);
    const char *fault = sound_fault(mesh);
    ck_assert_msg(!fault, "%s: %s", line, fault);
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    return mesh;
}

/* Least volume of a keyhole, its round parts being circles; facets add less than a 500th. */
static double least_volume(double entry, double slot, double travel, double lip, double pocket)
{
    double R = entry / 2, s = slot / 2;
    double under = s * sqrt(R * R - s * s) + R * R * asin(s / R);
    double front = pi * R * R + 2 * s * travel - under + pi * s * s / 2;
    return lip * front + pocket * (pi * R * R + entry * travel);
}

static void expect_volume(double is, double least)
{
    ck_assert_msg(is >= least * (1 - 1e-4) && is <= least * 1.002, "%g mm3, not %g", is, least);
}

/* Sizes by the rules of the trade (common practice, no source): entry = head + 1.25, slot = shank +
 * 0.5, lip 3, pocket = head height + 0.75, travel = entry. Heads: ISO 7045, secondary table. */
START_TEST(one_by_the_rules)
{
    struct scene *scene = steps_scene(shape_box(80, 20, 60, 4));
    double whole = shape_count(scene->piece[0]->mesh).volume;
    for (int s = SCREW_M2_5; s <= SCREW_M8; s++) {
        enum screw screw = (enum screw)s;
        char line[128];
        snprintf(line, sizeof line, "keyhole 40,0,25 screw=%s", screw_name(screw));
        double width[2], entry = screw_measure(screw, MEASURE_pan_head) + 1.25;
        double slot = screw_shank(screw) + 0.5, tall = screw_measure(screw, MEASURE_pan_height);
        struct mesh *mesh = cut(scene, line, width);
        ck_assert_double_eq_tol(width[0], entry, 0.01);
        ck_assert_double_eq_tol(width[1], slot, 0.01);
        expect_volume(whole - shape_count(mesh).volume,
                      least_volume(entry, slot, entry, 3, tall + 0.75));
        mesh_free(mesh);
    }
    scene_free(scene);
}
END_TEST

/* Flat heads of wood screws (ASME B18.6.1, from memory; 82 degrees, US inch practice). */
START_TEST(one_for_a_wood_screw)
{
    struct scene *scene = steps_scene(shape_box(80, 20, 60, 4));
    double whole = shape_count(scene->piece[0]->mesh).volume, width[2];
    struct mesh *mesh = cut(scene, "keyhole 40,0,25 screw=no8 along=y", width);
    double tall = (8.4 - 4.17) / 2 / tan(41 * pi / 180);
    ck_assert_double_eq_tol(width[0], 9.65, 0.01);
    ck_assert_double_eq_tol(width[1], 4.67, 0.01);
    expect_volume(whole - shape_count(mesh).volume, least_volume(9.65, 4.67, 9.65, 3, tall + 0.75));
    mesh_free(mesh);
    scene_free(scene);
}
END_TEST

START_TEST(one_for_a_measured_screw)
{
    struct scene *scene = steps_scene(shape_box(80, 20, 60, 4));
    double whole = shape_count(scene->piece[0]->mesh).volume, width[2];
    struct mesh *mesh = cut(scene, "keyhole 40,0,25 head=9 shank=4.2 tall=3", width);
    ck_assert_double_eq_tol(width[0], 10.25, 0.01);
    ck_assert_double_eq_tol(width[1], 4.7, 0.01);
    expect_volume(whole - shape_count(mesh).volume, least_volume(10.25, 4.7, 10.25, 3, 3.75));
    mesh_free(mesh);
    scene_free(scene);
}
END_TEST

static void expect_level(const struct scene *scene, const char *line)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    const struct fixing *f = out->piece[0]->fixings->item;
    struct vec between = vec_sub(f[1].at, f[0].at);
    ck_assert_double_eq_tol(fabs(vec_dot(between, f[0].up)), 0, 1e-4);
    ck_assert_double_eq_tol(fabs(vec_dot(between, f[1].up)), 0, 1e-4);
    ck_assert_double_eq_tol(vec_length(vec_cross(between, f[0].along)), 50, 1e-4);
    job_release(&job);
    scene_free(out);
}

/* Two stay level, and so far apart, where the way that is up leans against the surface, and where
 * that bends. */
START_TEST(two_are_level_on_a_slope)
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    expect_level(scene, "keyhole 50,0,25 spacing=50 up=0.3,3,1 along=0.02,1,0.03");
    scene_free(scene);
    scene = steps_scene(shape_sphere(250, 6));
    expect_level(scene, "keyhole 100,-200,90 spacing=50 up=0.3,-0.4,1");
    expect_level(scene, "keyhole 200,50,-110 spacing=50 up=2,1,1");
    scene_free(scene);
}
END_TEST

/* The slot runs up: what was made lies above the entry, not below it. */
START_TEST(up_is_up)
{
    static const struct {
        const char *line;
        int axis;
        double least, most; /* of what was made along that axis: entry 10, travel 12, slot 4.5 */
    } ways[] = {{"keyhole 40,0,25 entry=10 travel=12", 2, 20, 42},
                {"keyhole 40,20,25 entry=10 travel=12", 2, 20, 42},
                {"keyhole 40,0,35 up=-z entry=10 travel=12", 2, 18, 40},
                {"keyhole 40,0,25 up=x entry=10 travel=12", 0, 35, 57},
                {"keyhole 40,0,25 up=1,5,0 entry=10 travel=12", 0, 35, 57}};
    struct scene *scene = steps_scene(shape_box(80, 20, 60, 1));
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++) {
        double width[2], least = INFINITY, most = -INFINITY;
        struct mesh *mesh = cut(scene, ways[i].line, width);
        const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
        ck_assert_ptr_nonnull(origin);
        for (size_t t = 0; t < 3 * mesh_triangles(mesh); t++) {
            struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t / 3].v[t % 3]];
            double x = ways[i].axis == 2 ? p.z : p.x;
            if (origin[t / 3] != ORIGIN_MADE)
                continue;
            least = fmin(least, x);
            most = fmax(most, x);
        }
        ck_assert_msg(fabs(least - ways[i].least) < 0.01 && fabs(most - ways[i].most) < 0.01,
                      "%s: %g to %g", ways[i].line, least, most);
        mesh_free(mesh);
    }
    scene_free(scene);
}
END_TEST

START_TEST(two_are_level)
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    double whole = shape_count(scene->piece[0]->mesh).volume, width[2];
    struct mesh *mesh = cut(scene, "keyhole 50,0,25 spacing=60mm", width);
    expect_volume(whole - shape_count(mesh).volume, 2 * least_volume(9.25, 4.5, 9.25, 3, 3.85));
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    double low[2] = {INFINITY, INFINITY}, min[2] = {INFINITY, INFINITY}, max[2] = {0};
    for (size_t t = 0; t < 3 * mesh_triangles(mesh); t++) {
        struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t / 3].v[t % 3]];
        if (origin[t / 3] != ORIGIN_MADE)
            continue;
        int which = p.x > 50;
        low[which] = fmin(low[which], p.z);
        min[which] = fmin(min[which], p.x);
        max[which] = fmax(max[which], p.x);
    }
    ck_assert_double_eq_tol(low[0], low[1], 1e-5);
    ck_assert_double_eq_tol((min[1] + max[1] - min[0] - max[0]) / 2, 60, 1e-4);
    mesh_free(mesh);
    scene_free(scene);
}
END_TEST

START_TEST(what_speaks_against_it)
{
    struct scene *plate = steps_scene(shape_box(80, 7, 60, 2));
    steps_refused(plate, "keyhole 40,0,25", "leaves 0.15 mm of wall behind it");
    steps_refused(plate, "keyhole 40,0,25 screw=M2", "overlaps the head by 0.75 mm");
    steps_refused(plate, "keyhole 40,-30,25",
                  "30 mm off the surface, the nearest of which is at 40,0,25");
    steps_refused(plate, "keyhole 40,3,60", "which way its slot is to run, such as up=y");
    steps_refused(plate, "keyhole 40,0,25 up=y spacing=20", "which way its slot is to run");
    steps_refused(plate, "keyhole 40,0,25 slot=7", "overlaps the head by 0.5 mm");
    steps_refused(plate, "keyhole 40,0,25 entry=7",
                  "a head of 8 mm does not pass an entry of 7 mm");
    steps_refused(plate, "keyhole 40,0,25 slot=3", "a shank of 4 mm does not pass a slot of 3 mm");
    steps_refused(plate, "keyhole 40,0,25 pocket=2", "a head 3.1 mm high has no room");
    steps_refused(plate, "keyhole 40,0,25 spacing=10", "need a spacing of 10.25 mm");
    steps_refused(plate, "keyhole 40,0,25 travel=5 lip=1", "does not leave the entry");
    steps_refused(plate, "keyhole 40,0,55 lip=1", "over an edge");
    steps_refused(plate, "keyhole 5.1,0,25 lip=1", "mm of wall are left beside it");
    struct scene *thick = steps_scene(shape_box(80, 40, 60, 2));
    steps_refused(thick, "keyhole 40,0,25 along=0,1,0.5", "at the thinnest, not 3 mm");
    scene_free(thick);
    struct scene *out = NULL;
    struct job job;
    ck_assert_int_eq(steps_run(plate, "keyhole 40,0,25 anyway=yes", &out, &job), STATUS_OK);
    ck_assert_ptr_nonnull(strstr(job.notes, "cut anyway"));
    ck_assert_ptr_null(sound_fault(out->piece[0]->mesh));
    job_release(&job);
    scene_free(out);
    scene_free(plate);
}
END_TEST

Suite *suite_keyhole(void);
Suite *suite_keyhole(void)
{
    Suite *suite = suite_create("keyhole");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_test(all, one_by_the_rules);
    tcase_add_test(all, one_for_a_wood_screw);
    tcase_add_test(all, one_for_a_measured_screw);
    tcase_add_test(all, two_are_level_on_a_slope);
    tcase_add_test(all, up_is_up);
    tcase_add_test(all, two_are_level);
    tcase_add_test(all, what_speaks_against_it);
    suite_add_tcase(suite, all);
    return suite;
}
