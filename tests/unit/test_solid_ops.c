/* The operations of this room as one types them: what becomes of the scene, and what they tell. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "op/op.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

static struct scene *scene_of(struct mesh *mesh, const char *name)
{
    struct scene *scene = scene_new();
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, name), NULL), STATUS_OK);
    return scene;
}

static double volume_of(const struct scene *scene, size_t i)
{
    ck_assert_ptr_null(sound_fault(scene->piece[i]->mesh));
    return shape_count(scene->piece[i]->mesh).volume;
}

START_TEST(cut_keeps_a_side)
{
    struct scene *scene = scene_of(shape_box(10, 10, 10, 2), "block");
    scene = steps_told(scene, "cut through=0,0,4", "1 contour capped, 100 mm2");
    ck_assert_uint_eq(scene->count, 1);
    ck_assert_double_eq_tol(volume_of(scene, 0), 600, 1e-3);
    scene = steps_told(scene, "cut through=0,0,0.6cm normal=-z", "cut off");
    ck_assert_double_eq_tol(volume_of(scene, 0), 200, 1e-3);
    scene = steps_told(scene, "cut through=0,0,9 normal=-z", "cuts nothing off");
    scene = steps_told(scene, "cut through=5,0,0 normal=1,0,0 cap=no", "left open");
    ck_assert_uint_gt(shape_count(scene->piece[0]->mesh).boundary, 0);
    scene_free(scene);
}
END_TEST

START_TEST(cut_keeps_both)
{
    struct scene *scene = scene_of(shape_sphere(50, 3), "ball");
    double whole = volume_of(scene, 0);
    scene = steps_told(scene, "cut through=3,2,1 normal=1,2,3 keep=both", "capped");
    ck_assert_uint_eq(scene->count, 2);
    ck_assert_double_eq_tol(volume_of(scene, 0) + volume_of(scene, 1), whole, 1e-6 * whole);
    ck_assert_str_ne(scene->piece[0]->name, scene->piece[1]->name);
    /* past all of it: nothing more to keep */
    scene = steps_told(scene, "cut through=0,0,-60 keep=both piece=all", "cuts nothing off");
    ck_assert_uint_eq(scene->count, 2);
    scene_free(scene);
}
END_TEST

START_TEST(orient_weld_stand)
{
    struct mesh *box = shape_box(10, 20, 30, 1),
                *loose = mesh_new(3 * mesh_triangles(box), mesh_triangles(box));
    for (uint32_t c = 0; c < 3 * mesh_triangles(box); c++) {
        mesh_point_edit(loose)[c] = mesh_point(box)[mesh_triangle(box)[c / 3].v[c % 3]];
        mesh_triangle_edit(loose)[c / 3].v[(c + c / 3 % 2) % 3] =
            c; /* every other one turned by a corner */
    }
    mesh_free(box);
    struct scene *scene = scene_of(loose, "box");
    scene = steps_told(scene, "weld", "28 vertices joined");
    scene = steps_told(scene, "weld 0", "no vertices to join");
    uint32_t *v = mesh_triangle_edit(scene->piece[0]->mesh)[0].v, swap = v[0];
    v[0] = v[1]; /* nobody else holds it, nothing was derived from it */
    v[1] = swap;
    scene = steps_told(scene, "orient", "1 triangle turned");
    ck_assert_double_eq_tol(volume_of(scene, 0), 6000, 1e-9);
    scene = steps_told(scene, "stand", "stands on 600 mm2");
    scene = steps_told(scene, "stand on=0,0,1000", "centre of mass (of its volume) 5 mm up");
    scene_free(scene);
}
END_TEST

static void add(struct scene *scene, struct mesh *mesh, const char *name)
{
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, name), NULL), STATUS_OK);
}

static void has_box(const struct scene *scene, struct vec min, struct vec max)
{
    const struct bounds *b = mesh_bounds(scene->piece[0]->mesh, NULL);
    ck_assert_double_lt(vec_length(vec_sub(b->min, min)), 1e-4);
    ck_assert_double_lt(vec_length(vec_sub(b->max, max)), 1e-4);
}

START_TEST(scale_by_to_and_fit)
{
    struct scene *scene = scene_of(shape_box(30, 20, 10, 2), "block");
    steps_refused(scene, "scale", "give one of by=");
    steps_refused(scene, "scale by=2 to=5", "give one of by=");
    /* of edges 5 5 10 10 sqrt(125) 15 15 ... the middle one */
    scene = steps_told(scene, "scale by=2", "its smallest detail is about 22.4 mm now");
    scene = steps_told(scene, "scale to=30 along=x", "0.5 times as large: 30 x 20 x 10 mm");
    /* 20 lies along y, where there is room for 10 */
    scene = steps_told(scene, "scale fit=100x10x100", "0.5 times as large: 15 x 10 x 5 mm");
    has_box(scene, vec(0, 0, 0), vec(15, 10, 5));
    scene = steps_told(scene, "scale fit=15x10x5", "1 times as large: 15 x 10 x 5 mm");
    scene =
        steps_told(scene, "scale fit=150x150x150", "enlarge=yes would make it 10 times as large");
    has_box(scene, vec(0, 0, 0), vec(15, 10, 5));
    scene =
        steps_told(scene, "scale fit=30x30x30 enlarge=yes", "2 times as large: 30 x 20 x 10 mm");
    scene = steps_told(scene, "scale fit=10x20x30", "quarter turns could lay it so that 1 times");
    has_box(scene, vec(0, 0, 0), vec(10, 20.0 / 3, 10.0 / 3));
    scene_free(scene);
}
END_TEST

START_TEST(mirror_in_place_and_elsewhere)
{
    struct mesh *box = shape_box(30, 20, 10, 2);
    mesh_point_edit(box)[0].x = -10; /* a corner drawn out: no symmetry is left */
    struct scene *scene = scene_of(box, "block");
    double whole = volume_of(scene, 0);
    steps_refused(scene, "mirror plane=z normal=1,1,1", "not both");
    scene = steps_told(scene, "mirror", "mirrored in the plane x = 10 mm");
    has_box(scene, vec(-10, 0, 0), vec(30, 20, 10));
    ck_assert_double_eq_tol(volume_of(scene, 0), whole, 1e-6 * whole);
    ck_assert_float_eq(mesh_point(scene->piece[0]->mesh)[0].x, 30);
    scene = steps_told(scene, "mirror z through=0,0,0", "in the plane z = 0 mm");
    has_box(scene, vec(-10, 0, -10), vec(30, 20, 0));
    scene = steps_told(scene, "mirror normal=1,1,0 through=0,0,0", "square to 0.7071, 0.7071, 0");
    has_box(scene, vec(-20, -30, -10), vec(0, 10, 0));
    ck_assert_double_eq_tol(volume_of(scene, 0), whole, 1e-5 * whole);
    scene_free(scene);
}
END_TEST

START_TEST(booleans_with_a_file)
{
    char *folder = folder_new(), line[600];
    folder_mesh(folder, "tool.stl", shape_box(10, 10, 5, 1));
    static const struct {
        const char *op;
        double volume;
    } cases[] = {{"subtract", 500}, {"unite", 1000}, {"common", 500}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct scene *scene = scene_of(shape_box(10, 10, 10, 1), "block");
        snprintf(line, sizeof line, "%s \"%s/tool.stl\"", cases[i].op, folder);
        scene = steps_told(scene, line, "triangles");
        ck_assert_uint_eq(scene->count, 1);
        ck_assert_str_eq(scene->piece[0]->name, "block");
        ck_assert_double_eq_tol(volume_of(scene, 0), cases[i].volume, 1e-9);
        snprintf(line, sizeof line, "%s/tool.stl", folder);
        ck_assert(scene_is_original(scene, line)); /* not to be saved over unasked */
        scene_free(scene);
    }
    struct scene *scene = scene_of(shape_box(300, 300, 300, 1), "block");
    snprintf(line, sizeof line, "subtract \"%s/tool.stl\" unit=cm", folder);
    scene = steps_told(scene, line, "cut through"); /* 100 x 100 x 50 mm out of a corner */
    ck_assert_double_eq_tol(volume_of(scene, 0), 27e6 - 0.5e6, 1e-3);
    steps_refused(scene, "subtract \"no such.stl\"", "no such.stl");
    scene_free(scene);
    folder_remove(folder);
}
END_TEST

START_TEST(booleans_with_a_piece)
{
    struct scene *scene = scene_of(shape_box(10, 10, 10, 1), "block");
    add(scene, shape_box(10, 10, 5, 1), "tool");
    add(scene, shape_box(10, 10, 8, 1), "other");
    steps_refused(scene, "subtract", "second solid");
    steps_refused(scene, "unite tool=7", "7");
    steps_refused(scene, "unite tool=all", "tool= is 1 to 3");
    steps_refused(scene, "common tool=2 piece=2", "its own tool");
    steps_refused(scene, "subtract tool=1 piece=2", "nothing would be left");
    scene = steps_told(scene, "subtract tool=2", "triangles"); /* out of both others; it goes */
    ck_assert_uint_eq(scene->count, 2);
    ck_assert_double_eq_tol(volume_of(scene, 0), 500, 1e-9);
    ck_assert_double_eq_tol(volume_of(scene, 1), 300, 1e-9);
    scene = steps_told(scene, "unite tool=2 piece=1", "triangles");
    ck_assert_uint_eq(scene->count, 1);
    ck_assert_double_eq_tol(volume_of(scene, 0), 500, 1e-9);
    scene_free(scene);
}
END_TEST

START_TEST(centre_and_balance)
{
    struct scene *scene = scene_of(shape_box(30, 20, 10, 2), "block");
    scene = steps_told(scene, "balance", "7.44 g: 6 cm3 at 1.24 g/cm3 (pla), the material within");
    scene = steps_told(scene, "balance bronze", "rule of thumb");
    scene = steps_told(scene, "balance density=2", "12 g: 6 cm3 at 2 g/cm3 (as given)");
    /* 12 g / 12 (b^2 + c^2), cm */
    scene = steps_told(scene, "balance density=2", "about its axes: 5, 10, 13 g cm2");
    scene = steps_told(scene, "balance", "the axis of the greatest: 0, 0, 1");
    scene = steps_told(scene, "balance", "centre of mass at 15, 10, 5 mm");
    scene =
        steps_told(scene, "balance", "tips over when tilted by 63.4 degrees: 10 mm from the edge");
    has_box(scene, vec(0, 0, 0), vec(30, 20, 10));
    scene = steps_told(scene, "centre",
                       "shifted by -15, -10, 0 mm: now from -15, -10, 0 to 15, 10, 10");
    scene = steps_told(scene, "centre zero", "shifted by 0, 0, -5 mm");
    scene = steps_told(scene, "turn axis=x by=30", "");
    scene = steps_told(scene, "balance", "touches the floor z = -9.33013 in a line only");
    scene = steps_told(scene, "cut through=0,0,0 normal=0,0,1 cap=no", "left open");
    scene = steps_told(scene, "balance", "no mass: it is not a closed solid");
    scene = steps_told(scene, "centre of=mass", "the centre of mass is that of its surface");
    scene_free(scene);
}
END_TEST

/* A closed hollow weighs nothing: 20^3 less 10^3 mm3, and no claim that it is solid. */
START_TEST(balance_of_a_hollow_part)
{
    struct scene *scene = scene_of(shape_box(20, 20, 20, 1), "case");
    add(scene, shape_box(10, 10, 10, 1), "core");
    scene = steps_told(scene, "centre zero piece=1", "shifted by");
    scene = steps_told(scene, "centre zero piece=2", "shifted by");
    scene = steps_told(scene, "subtract tool=2", "triangles");
    scene = steps_told(scene, "balance density=1",
                       "7 g: 7 cm3 at 1 g/cm3 (as given), the material within its walls taken as "
                       "printed full");
    scene_free(scene);
}
END_TEST

Suite *suite_solid_ops(void);

Suite *suite_solid_ops(void)
{
    Suite *suite = suite_create("solid_ops");
    TCase *all = tcase_create("all");
    tcase_add_test(all, cut_keeps_a_side);
    tcase_add_test(all, cut_keeps_both);
    tcase_add_test(all, orient_weld_stand);
    tcase_add_test(all, scale_by_to_and_fit);
    tcase_add_test(all, mirror_in_place_and_elsewhere);
    tcase_add_test(all, booleans_with_a_file);
    tcase_add_test(all, booleans_with_a_piece);
    tcase_add_test(all, centre_and_balance);
    tcase_add_test(all, balance_of_a_hollow_part);
    suite_add_tcase(suite, all);
    return suite;
}
