/* What a piece remembers of the holes and keyholes cut into it: they move with it, and go when they
 * are no longer there. And what is drawn of them before they are made. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static size_t has(const struct scene *scene)
{
    const struct fixings *fixings = scene->piece[0]->fixings;
    return fixings ? fixings->count : 0;
}

static struct scene *plate(void) /* with two keyholes and a bore */
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    scene = steps_after(scene, "keyhole 50,0,25 spacing=60");
    return steps_after(scene, "bore 50,0,15 screw=M3 depth=8");
}

static void expect_vec(struct vec is, double x, double y, double z)
{
    double off = vec_length(vec_sub(is, vec(x, y, z)));
    ck_assert_msg(off < 2e-4, "%g, %g, %g, not %g, %g, %g", is.x, is.y, is.z, x, y, z);
}

START_TEST(what_was_cut_is_known)
{
    struct scene *scene = plate();
    ck_assert_uint_eq(has(scene), 3);
    const struct fixing *f = scene->piece[0]->fixings->item;
    expect_vec(f[0].at, 80, 0, 25 + 9.25); /* the entry is the head's 8 and 1.25 mm, travel alike */
    expect_vec(f[1].at, 20, 0, 25 + 9.25);
    expect_vec(f[1].along, 0, 1, 0);
    expect_vec(f[1].up, 0, 0, 1);
    ck_assert_int_eq(f[1].kind, FIXING_KEYHOLE);
    ck_assert_str_eq(f[1].screw, "M4");
    ck_assert_double_eq_tol(f[1].head, 8, 1e-9);
    ck_assert_double_eq_tol(f[1].width, 4.5, 1e-9);
    expect_vec(f[2].at, 50, 0, 15);
    ck_assert_int_eq(f[2].kind, FIXING_BORE);
    ck_assert_str_eq(f[2].screw, "M3");
    scene_free(scene);
}
END_TEST

START_TEST(they_move_with_the_piece)
{
    struct scene *scene = steps_after(plate(), "turn axis=z by=90"); /* about the box's middle */
    scene = steps_after(scene, "move 10,0,5");
    const struct fixing *f = scene->piece[0]->fixings->item;
    expect_vec(f[0].along, -1, 0, 0);
    expect_vec(f[0].up, 0, 0, 1);
    ck_assert_double_eq_tol(f[0].at.x, 50 + 10 + 10, 1e-4); /* half its thickness from the middle */
    ck_assert_double_eq_tol(f[0].at.z, 25 + 9.25 + 5, 1e-4);
    ck_assert_double_eq_tol(vec_length(vec_sub(f[1].at, f[0].at)), 60, 1e-4);
    scene = steps_after(scene, "mirror x");
    expect_vec(scene->piece[0]->fixings->item[0].along, 1, 0, 0);
    ck_assert_uint_eq(has(scene), 3);
    scene = steps_after(scene, "weld"); /* and they are where they were cut: it looks */
    scene = steps_after(scene, "orient");
    scene = steps_after(scene, "decimate within=0.02");
    ck_assert_uint_eq(has(scene), 3);
    scene_free(scene);
}
END_TEST

START_TEST(what_is_enlarged_fits_no_screw)
{
    struct scene *scene = steps_told(plate(), "scale by=0.5", "fit their screws no longer");
    const struct fixing *f = scene->piece[0]->fixings->item;
    ck_assert_str_eq(f[0].screw, "");
    ck_assert_double_eq_tol(f[0].width, 2.25, 1e-9);
    ck_assert_double_eq_tol(f[0].head, 4, 1e-9);
    scene = steps_after(scene, "weld");
    ck_assert_uint_eq(has(scene), 3);
    scene_free(scene);
}
END_TEST

START_TEST(what_is_taken_away_is_forgotten)
{
    struct scene *scene = plate();
    scene = steps_told(scene, "cut through=60,0,0 normal=-1,0,0", "1 of the 3 holes and keyholes");
    ck_assert_uint_eq(has(scene), 2);
    ck_assert_double_eq_tol(scene->piece[0]->fixings->item[0].at.x, 20, 1e-4);
    scene = steps_told(scene, "cut through=0,0,30 normal=0,0,-1", "1 of the 2 holes and keyholes");
    ck_assert_uint_eq(has(scene), 1); /* the upper end of the slot went, where the shank rests */
    ck_assert_int_eq(scene->piece[0]->fixings->item[0].kind, FIXING_BORE);
    scene = steps_told(scene, "cut through=0,9,0 normal=0,1,0", "1 of the 1 holes and keyholes");
    ck_assert_uint_eq(has(scene), 0);
    scene_free(scene);
}
END_TEST

START_TEST(what_is_filled_is_forgotten)
{
    char *folder = folder_new();
    struct mesh *plug = shape_box(100, 3, 20, 1);
    plug->origin[2] = 25;
    folder_mesh(folder, "plug.stl", plug);
    char *path = folder_path(folder, "plug.stl"), line[512];
    snprintf(line, sizeof line, "unite \"%s\"", path);
    struct scene *scene =
        steps_told(plate(), line, "2 of the 3 holes and keyholes cut before are gone");
    ck_assert_uint_eq(has(scene), 1);
    scene_free(scene);
    free(path);
    folder_remove(folder);
}
END_TEST

START_TEST(both_halves_keep_theirs)
{
    struct scene *scene = steps_after(plate(), "cut through=60,0,0 normal=1,0,0 keep=both");
    ck_assert_uint_eq(scene->count, 2);
    ck_assert_uint_eq(has(scene), 1);
    ck_assert_uint_eq(scene->piece[1]->fixings->count, 2);
    scene_free(scene);
}
END_TEST

/* A plate with keyholes is put onto a block: the block hangs by them then. */
START_TEST(one_solid_of_two_has_those_of_both)
{
    struct scene *scene = plate();
    struct mesh *block = shape_box(40, 30, 30, 2);
    block->joined = true;
    block->origin[0] = 30, block->origin[1] = 15, block->origin[2] = 15;
    ck_assert_int_eq(scene_add(scene, piece_new(block, "block"), NULL), STATUS_OK);
    scene = steps_after(scene, "unite tool=1 piece=2");
    ck_assert_uint_eq(scene->count, 1);
    ck_assert_str_eq(scene->piece[0]->name, "block");
    ck_assert_uint_eq(has(scene), 3);
    scene_free(scene);
}
END_TEST

/* --- what is drawn before it is made --------------------------------------------------------- */

static enum status sketch_of(const struct scene *scene, const char *line, struct sketch *sketch,
                             struct job *job)
{
    struct step step;
    job_init(job);
    ck_assert_msg(step_parse(line, &step, job) == STATUS_OK, "%s", job->message);
    enum status status = step_sketch(&step, scene, sketch, job);
    step_release(&step);
    return status;
}

START_TEST(a_bore_is_drawn_where_it_would_be)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 25, 3));
    struct sketch sketch;
    struct job job;
    ck_assert_int_eq(sketch_of(scene, "bore 30,20,25 depth=12 screw=M5", &sketch, &job), STATUS_OK);
    ck_assert_ptr_nonnull(strstr(job.notes, "a hole of 5.5 mm (ISO 273 medium), deep 12 mm"));
    ck_assert_uint_gt(sketch.lines, 40);
    double deepest = INFINITY;
    for (size_t i = 0; i + 1 < sketch.lines; i++) { /* the last one is its axis */
        struct vec p = sketch.line[i].from;
        double radius = hypot(p.x - 30, p.y - 20);
        ck_assert_msg(radius > 2.745 && radius < 2.76, "%g", radius);
        deepest = fmin(deepest, p.z);
    }
    ck_assert_double_eq_tol(deepest, 13, 1e-4);
    sketch_release(&sketch);
    job_release(&job);
    ck_assert_int_eq(sketch_of(scene, "bore 30,20,25 depth=24.8", &sketch, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "0.2 mm of wall"));
    ck_assert_uint_gt(sketch.lines, 40); /* one sees where it is, too */
    sketch_release(&sketch);
    job_release(&job);
    ck_assert_int_eq(sketch_of(scene, "weld", &sketch, &job), STATUS_OK);
    ck_assert_uint_eq(sketch.lines, 0);
    job_release(&job);
    scene_free(scene);
}
END_TEST

START_TEST(two_keyholes_are_drawn)
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    struct sketch sketch;
    struct job job;
    double least = INFINITY, most = 0;
    ck_assert_int_eq(sketch_of(scene, "keyhole 50,0,25 spacing=60", &sketch, &job), STATUS_OK);
    for (size_t i = 0; i < sketch.lines; i++) {
        least = fmin(least, sketch.line[i].from.x);
        most = fmax(most, sketch.line[i].from.x);
    }
    ck_assert_double_eq_tol(least, 20 - 9.25 / 2, 0.01);
    ck_assert_double_eq_tol(most, 80 + 9.25 / 2, 0.01);
    sketch_release(&sketch);
    job_release(&job);
    scene_free(scene);
}
END_TEST

Suite *suite_fixings(void);
Suite *suite_fixings(void)
{
    Suite *suite = suite_create("fixings");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_test(all, what_was_cut_is_known);
    tcase_add_test(all, they_move_with_the_piece);
    tcase_add_test(all, what_is_enlarged_fits_no_screw);
    tcase_add_test(all, what_is_taken_away_is_forgotten);
    tcase_add_test(all, what_is_filled_is_forgotten);
    tcase_add_test(all, both_halves_keep_theirs);
    tcase_add_test(all, one_solid_of_two_has_those_of_both);
    tcase_add_test(all, a_bore_is_drawn_where_it_would_be);
    tcase_add_test(all, two_keyholes_are_drawn);
    suite_add_tcase(suite, all);
    return suite;
}
