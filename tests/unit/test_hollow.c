/* Hollowing and shells as one types them: what is left, whether it drains, what is told. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/turn_over.h"
#include "op/op.h"
#include "solid/boolean.h"
#include "solid/place.h"
#include "tests/support/blocks.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

static const double pi = 3.14159265358979323846;

static struct scene *scene_of(struct mesh *mesh)
{
    struct scene *scene = scene_new();
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "part"), NULL), STATUS_OK);
    return scene;
}

static enum status run(struct mesh *mesh, const char *line, struct mesh **out, struct job *job)
{
    struct scene *scene = scene_of(mesh_share(mesh)), *next = NULL;
    enum status status = steps_run(scene, line, &next, job);
    if (status == STATUS_OK)
        *out = mesh_share(next->piece[0]->mesh);
    scene_free(next);
    scene_free(scene);
    return status;
}

/* The result, a solid without crossings; the notes into `notes`. */
static struct mesh *made(struct mesh *mesh, const char *line, char notes[4096])
{
    struct mesh *out = NULL;
    struct job job;
    ck_assert_msg(run(mesh, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    snprintf(notes, 4096, "%s", job.notes);
    job_release(&job);
    const char *fault = sound_fault(out);
    ck_assert_msg(!fault, "%s: %s", line, fault);
    ck_assert_uint_eq(sound_crossings(out), 0);
    return out;
}

static void refused(struct mesh *mesh, const char *line, const char *why)
{
    struct mesh *out = NULL;
    struct job job;
    ck_assert_int_eq(run(mesh, line, &out, &job), STATUS_REFUSED);
    ck_assert_msg(strstr(job.message, why) != NULL, "%s: %s", line, job.message);
    job_release(&job);
}

static void says(const char *notes, const char *what)
{
    ck_assert_msg(strstr(notes, what) != NULL, "not said: %s\n%s", what, notes);
}

static double volume_of(const struct mesh *mesh)
{
    return shape_count(mesh).volume;
}

/* --- hollow ---------------------------------------------------------------------------------- */

START_TEST(a_box)
{
    char notes[4096];
    struct mesh *box = shape_box(60, 40, 30, 1);
    struct mesh *out = made(box, "hollow wall=2mm drain=4mm material=pla", notes);
    double wall = 72000 - 56 * 36 * 26 - 2 * pi * 4 * 2;
    ck_assert_double_eq_tol(volume_of(out), wall, 0.5);
    ck_assert_int_eq(shape_count(out).euler, 0); /* two tubes between two spheres */
    says(notes, "52.466 cm3 of 72 cm3 saved, 72.9 %");
    says(notes, "89.28 g before, 24.222 g now, at 1.24 g/cm3 (pla)");
    says(notes, "a drain of 4 mm where it is lowest");
    says(notes, "a drain of 4 mm where it is highest");
    says(notes, "it drains");
    for (const char *p = notes; (p = strstr(p, "measured back: ")); p++)
        ck_assert_double_eq_tol(atof(p + strlen("measured back: ")), 4, 0.01);
    says(notes, "binder jet (5 mm)");
    says(notes, "uncured resin irritates");
    mesh_free(out);
    mesh_free(box);
}
END_TEST

static int triangle_order(const void *x, const void *y)
{
    return memcmp(x, y, 3 * sizeof(struct point));
}

static struct point (*corners_of(const struct mesh *mesh))[3]
{
    struct point(*list)[3] = malloc(mesh_triangles(mesh) * sizeof *list);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++)
            list[t][k] = mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]];
    return list;
}

START_TEST(the_outside_stays_bit_for_bit)
{
    char notes[4096];
    struct mesh *sphere = shape_sphere(30, 5);
    struct mesh *out = made(sphere, "hollow 1.5 drain=5", notes);
    struct point(*now)[3] = corners_of(out), (*old)[3] = corners_of(sphere);
    const uint8_t *origin = mesh_attribute(out, ATTRIBUTE_origin);
    size_t measured = 0, gone = 0;
    for (size_t t = 0; t < mesh_triangles(out); t++)
        measured += origin[t] == ORIGIN_MEASURED;
    qsort(now, mesh_triangles(out), sizeof *now, triangle_order);
    for (size_t t = 0; t < mesh_triangles(sphere); t++) {
        if (bsearch(old[t], now, mesh_triangles(out), sizeof *now, triangle_order))
            continue;
        gone++;
        for (int k = 0; k < 3; k++) /* at a hole, at either end */
            ck_assert_double_le(hypot((double)old[t][k].x, (double)old[t][k].y), 6);
    }
    ck_assert_uint_gt(gone, 0);
    ck_assert_uint_lt(gone, mesh_triangles(sphere) / 20);
    ck_assert_uint_ge(measured, mesh_triangles(sphere) - gone);
    ck_assert_uint_lt(measured, mesh_triangles(sphere) + 400);
    free(now);
    free(old);
    mesh_free(out);
    mesh_free(sphere);
}
END_TEST

/* A table on two legs: the legs' cavities, 16 mm wide and high up to the floor of the top's at 22,
 * hold what is poured in, and the arc at the leg's inner edge a little more; one of them drains. */
static struct mesh *table(void)
{
    struct mesh *top = blocks_box(0, 0, 20, 60, 20, 20);
    return blocks_united(blocks_united(top, blocks_box(0, 0, 0, 20, 20, 25)),
                         blocks_box(40, 0, 0, 20, 20, 25));
}

START_TEST(what_does_not_drain_is_told)
{
    char notes[4096];
    struct mesh *mesh = table();
    struct mesh *out = made(mesh, "hollow wall=2mm drain=4mm", notes);
    const char *told = strstr(notes, "standing as it does ");
    ck_assert_msg(told != NULL, "%s", notes);
    double pool = 16 * (16 * 20 + 4 - pi) / 1000;
    ck_assert_double_eq_tol(atof(told + strlen("standing as it does ")), pool, 0.02 * pool);
    double x, y, z;
    const char *bottom = strstr(told, "bottom is at ");
    ck_assert_int_eq(sscanf(bottom + strlen("bottom is at "), "%lf, %lf, %lf", &x, &y, &z), 3);
    ck_assert_double_eq_tol(z, 2, 0.01);
    mesh_free(out);
    char line[512]; /* what it says to type does it */
    snprintf(line, sizeof line, "hollow wall=2mm drain=4mm %s", strstr(bottom, "at="));
    line[strcspn(line, "\n")] = '\0';
    out = made(mesh, line, notes);
    says(notes, "it drains");
    mesh_free(out);
    out = made(mesh, "hollow wall=2mm drain=4mm at=10,10,0;50,10,0;30,10,40", notes);
    says(notes, "as picked, at 10, 10, 0");
    says(notes, "as picked, at 50, 10, 0");
    says(notes, "it drains");
    mesh_free(out);
    mesh_free(mesh);
}
END_TEST

START_TEST(each_cavity_gets_its_drains)
{
    char notes[4096];
    struct mesh *bell = blocks_united(
        blocks_united(blocks_box(0, 0, 0, 20, 20, 20), blocks_box(40, 0, 0, 20, 20, 20)),
        blocks_box(10, 8, 8, 40, 3, 3));
    struct mesh *out = made(bell, "hollow wall=2mm drain=4mm", notes);
    says(notes, "2 cavities");
    int holes = 0;
    for (const char *p = notes; (p = strstr(p, "a drain of 4 mm")); p++)
        holes++;
    ck_assert_int_eq(holes, 4);
    says(notes, "it drains");
    mesh_free(out);
    out = made(bell, "hollow wall=2mm drain=4mm at=0,10,10", notes); /* one of the two */
    const char *told = strstr(notes, "standing as it does ");
    ck_assert_msg(told != NULL, "%s", notes);
    double stays = 16 * 16 * 16 + 16 * 16 * 6; /* below the hole, and all of the other */
    ck_assert_double_eq_tol(atof(told + strlen("standing as it does ")), stays / 1000,
                            0.05 * stays / 1000);
    mesh_free(out);
    mesh_free(bell);
}
END_TEST

START_TEST(small_cavities_stay_solid)
{
    char notes[4096];
    struct mesh *bell =
        blocks_united(blocks_united(blocks_box(0, 0, 0, 30, 30, 30), blocks_box(40, 0, 0, 8, 8, 8)),
                      blocks_box(10, 2, 2, 32, 3, 3));
    struct mesh *out = made(bell, "hollow wall=2mm drain=4mm", notes);
    says(notes, "1 cavity");
    says(notes, "left solid: 1 cavity too small to be worth a hole; together");
    mesh_free(out);
    mesh_free(bell);
}
END_TEST

/* The bar's cavity is large enough, but no hole of 4 mm goes into its 3 mm. */
START_TEST(narrow_cavities_stay_solid)
{
    char notes[4096];
    struct mesh *bar = shape_box(60, 7, 7, 1), *box = shape_box(30, 30, 30, 1);
    const struct mesh *const both[3] = {bar, box, bar};
    const double move[3][3] = {{0, 0, 0}, {0, 20, 0}, {0, 60, 0}};
    struct mesh *all = shape_join(both, move, 3);
    struct mesh *out = made(all, "hollow wall=2mm drain=4mm", notes);
    says(notes, "1 cavity");
    says(notes, "left solid: 2 cavities without a place for a hole; together");
    says(notes, "a drain of 4 mm where it is lowest, at 1");
    double solid = 2 * 60 * 49 + 27000 - 26 * 26 * 26 - 2 * pi * 4 * 2;
    ck_assert_double_eq_tol(volume_of(out), solid, 1e-3 * solid);
    mesh_free(out);
    mesh_free(all);
    mesh_free(bar);
    mesh_free(box);
}
END_TEST

START_TEST(without_drains)
{
    char notes[4096];
    struct mesh *box = shape_box(60, 40, 30, 1);
    struct mesh *out = made(box, "hollow 3 drain=0", notes);
    ck_assert_double_eq_tol(volume_of(out), 72000 - 54 * 34 * 24, 0.5);
    ck_assert_uint_eq(mesh_components(out, NULL)->count, 2);
    says(notes, "no drains");
    mesh_free(out);
    mesh_free(box);
}
END_TEST

START_TEST(older_cavities_float)
{
    char notes[4096];
    struct mesh *sphere = shape_sphere(30, 5), *hole = shape_sphere(8, 4), *with = NULL;
    ck_assert_int_eq(boolean_mesh(sphere, hole, BOOLEAN_SUBTRACT, &with, NULL, NULL), STATUS_OK);
    struct mesh *out = made(with, "hollow 2", notes);
    says(notes, "1 older cavity is inside");
    double solid = 4.0 / 3 * pi * (27000 - 28 * 28 * 28 + 1000 - 512);
    ck_assert_double_eq_tol(volume_of(out), solid, 0.02 * solid);
    mesh_free(out);
    mesh_free(with);
    mesh_free(hole);
    mesh_free(sphere);
}
END_TEST

START_TEST(what_cannot_be_hollowed)
{
    struct mesh *box = shape_box(60, 40, 30, 1), *patch = shape_patch(10, 3, NULL);
    refused(box, "hollow wall=16", "mm thick at most, so the wall must be thinner than 1");
    refused(box, "hollow wall=14 drain=10", "leaves no cavity large enough");
    refused(box, "hollow 2 at=30,20,0;31,20,0", "next to each other");
    refused(box, "hollow 2 at=0,0,0", "no hole of 4 mm goes into a cavity at 0, 0, 0");
    refused(patch, "hollow 2", "it is open along 12 edges; \"fill\"");
    refused(patch, "shell 2", "it is open along 12 edges; \"fill\"");
    mesh_free(box);
    mesh_free(patch);
}
END_TEST

/* Vertices given twice, as STL has them, are joined first. */
START_TEST(unjoined)
{
    char notes[4096];
    struct mesh *box = shape_box(40, 30, 20, 2),
                *soup = mesh_new(3 * mesh_triangles(box), mesh_triangles(box));
    for (size_t t = 0; t < mesh_triangles(box); t++)
        for (uint32_t k = 0; k < 3; k++) {
            mesh_point_edit(soup)[3 * t + k] = mesh_point(box)[mesh_triangle(box)[t].v[k]];
            mesh_triangle_edit(soup)[t].v[k] = (uint32_t)(3 * t) + k;
        }
    struct mesh *out = made(soup, "hollow 2", notes);
    ck_assert_double_eq_tol(volume_of(out), 24000 - 36 * 26 * 16 - 2 * pi * 4 * 2, 0.5);
    mesh_free(out);
    mesh_free(soup);
    mesh_free(box);
}
END_TEST

/* --- shells ---------------------------------------------------------------------------------- */

START_TEST(shells)
{
    char notes[4096];
    struct mesh *box = shape_box(60, 40, 30, 1);
    double grown = 72000 + 10800 * 2 + 520 * pi + 4.0 / 3 * pi * 8; /* Steiner */
    const struct {
        const char *line;
        double volume;
    } shell[] = {{"shell 2mm", grown},
                 {"shell by=2mm side=inward", 52416},
                 {"shell 2mm as=skin", grown - 72000},
                 {"shell 2mm as=skin side=inward", 72000 - 52416}};
    for (size_t i = 0; i < sizeof shell / sizeof *shell; i++) {
        struct mesh *out = made(box, shell[i].line, notes);
        ck_assert_double_eq_tol(volume_of(out), shell[i].volume, 5e-4 * grown);
        says(notes, "nowhere nearer than 1.99 mm");
        mesh_free(out);
    }
    refused(box, "shell 16 side=inward", "the part is ");
    mesh_free(box);
}
END_TEST

Suite *suite_hollow(void);
Suite *suite_hollow(void)
{
    Suite *suite = suite_create("hollow");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 240);
    tcase_add_test(all, a_box);
    tcase_add_test(all, the_outside_stays_bit_for_bit);
    tcase_add_test(all, what_does_not_drain_is_told);
    tcase_add_test(all, each_cavity_gets_its_drains);
    tcase_add_test(all, small_cavities_stay_solid);
    tcase_add_test(all, narrow_cavities_stay_solid);
    tcase_add_test(all, without_drains);
    tcase_add_test(all, older_cavities_float);
    tcase_add_test(all, what_cannot_be_hollowed);
    tcase_add_test(all, unjoined);
    tcase_add_test(all, shells);
    suite_add_tcase(suite, all);
    return suite;
}
