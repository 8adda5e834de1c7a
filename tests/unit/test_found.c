/* Fixing features found again in a file, as one types it: the list, which screw each suits, and
 * that balance and template say the same of the file as of the session that cut them. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "op/found.h"
#include "op/sketch.h"
#include "op/suits.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"
#include "tests/support/turned.h"

static char *folder;

static void make_folder(void)
{
    folder = folder_new();
}
static void remove_folder(void)
{
    folder_remove(folder);
}

/* What the line notes; *scene is the one after it then. The caller frees the text. */
static char *run(struct scene **scene, const char *line)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(*scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    char *notes = strdup(job.notes ? job.notes : "");
    job_release(&job);
    scene_free(*scene);
    *scene = out;
    return notes;
}

static struct scene *plate(void) /* with two keyholes, a blind hole and two through */
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    scene = steps_after(scene, "keyhole 50,0,25 spacing=60");
    scene = steps_after(scene, "bore 50,0,15 screw=M3 insert=6");
    scene = steps_after(scene, "bore 50,20,45 screw=M5 head=countersunk");
    scene = steps_after(scene, "bore 30,20,50 screw=M4 head=counterbore fit=fine");
    scene = steps_after(scene, "turn axis=3,1,2 by=50");
    return scene;
}

START_TEST(what_was_cut_is_found_again)
{
    struct scene *scene = plate(), *read = steps_reopened(scene);
    ck_assert_ptr_null(read->piece[0]->fixings);
    char *told = run(&read, "fixings");
    ck_assert_ptr_nonnull(strstr(told, "1: a keyhole for M4: entry 9.25 mm, slot 4.5 mm"));
    ck_assert_ptr_nonnull(strstr(told, "a hole of 4 mm for M3 (heat-set insert), deep 7 mm"));
    ck_assert_ptr_nonnull(strstr(
        told, "a hole of 5.5 mm for M5 (ISO 273 medium), through 20 mm, countersunk 10.4 mm wide, "
              "2.45 mm deep (ISO 15065)"));
    ck_assert_ptr_nonnull(strstr(told, "M4 (ISO 273 fine), through 20 mm, counterbored 8 mm wide, "
                                       "4.4 mm deep (DIN 974-1)"));
    const struct fixings *was = scene->piece[0]->fixings, *is = read->piece[0]->fixings;
    ck_assert_uint_eq(is->count, was->count);
    for (size_t i = 0; i < was->count; i++) {
        const struct fixing *cut = &was->item[i], *same = NULL;
        for (size_t k = 0; k < is->count; k++)
            if (fixing_same(cut, &is->item[k]))
                same = &is->item[k];
        ck_assert_msg(same != NULL, "number %zu is not found", i);
        ck_assert_str_eq(same->screw, cut->screw);
        ck_assert_double_eq_tol(same->shank, cut->shank, 1e-9);
        ck_assert_double_eq_tol(same->head, cut->head, 1e-9);
        ck_assert_int_eq(same->through, cut->through);
        ck_assert_int_eq(same->clear, cut->clear);
        ck_assert_double_eq_tol(same->mouth, cut->mouth, 0.01);
        ck_assert_int_eq(same->cone, cut->cone);
        ck_assert_ptr_eq(same->by, cut->by);
        ck_assert_ptr_eq(same->recess_by, cut->recess_by);
    }
    free(told);
    scene_free(read);
    scene_free(scene);
}
END_TEST

/* What the session knows is not found a second time; what it does not know joins it. Found ones
 * move with the piece and are looked for as others are. */
START_TEST(found_and_cut_are_one_list)
{
    struct scene *scene = plate();
    scene = steps_after(scene, "fixings");
    ck_assert_uint_eq(scene->piece[0]->fixings->count, 5);
    struct scene *read = steps_reopened(scene);
    read = steps_after(read, "turn axis=3,1,2 by=-50");
    const struct vec min = mesh_bounds(read->piece[0]->mesh, NULL)->min;
    char line[120];
    snprintf(line, sizeof line, "bore %g,%g,%g screw=M6", min.x + 80, min.y, min.z + 10);
    read = steps_after(read, line);
    ck_assert_uint_eq(read->piece[0]->fixings->count, 1);
    read = steps_after(read, "fixings");
    ck_assert_uint_eq(read->piece[0]->fixings->count, 6);
    ck_assert_str_eq(read->piece[0]->fixings->item[0].screw, "M6");
    read = steps_after(read, "turn axis=1,0,0 by=90");
    read = steps_after(read, "weld");
    read = steps_after(read, "fixings");
    ck_assert_uint_eq(read->piece[0]->fixings->count, 6);
    snprintf(line, sizeof line, "cut through=%g,0,0 normal=1,0,0", min.x + 60);
    char *told = run(&read, line);
    ck_assert_msg(strstr(told, "of the 6 holes and keyholes") != NULL, "%s", told);
    free(told);
    scene_free(read);
    scene_free(scene);
}
END_TEST

/* The part of the notes that tells how it hangs. */
static char *hangs(struct scene **scene)
{
    char *told = run(scene, "balance bronze"), *from = strstr(told, "hung by");
    ck_assert_msg(from != NULL, "%s", told);
    char *end = strstr(from, "prints creep");
    ck_assert_ptr_nonnull(end);
    *end = '\0';
    char *part = strdup(from);
    free(told);
    return part;
}

START_TEST(it_hangs_the_same)
{
    static const char *const cuts[] = {"keyhole 40,0,40 spacing=60", "keyhole 45,0,40 screw=M5",
                                       "keyhole 50,0,30 spacing=50 screw=no8"};
    for (int i = 0; i < 3; i++) {
        struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
        scene = steps_after(scene, cuts[i]);
        scene = steps_after(scene, "turn axis=1,2,-3 by=77");
        struct scene *read = steps_reopened(scene);
        char *cut = hangs(&scene), *found = hangs(&read);
        ck_assert_str_eq(found, cut);
        free(cut);
        free(found);
        scene_free(read);
        scene_free(scene);
    }
}
END_TEST

/* The words of a page's drawing one by one; NULL at the end. */
static char *next_word(char **at, bool *inside)
{
    for (char *word; (word = strsep(at, " \n\r"));) {
        if (strcmp(word, "stream") == 0 || strcmp(word, "endstream") == 0)
            *inside = word[0] == 's';
        else if (*inside && *word)
            return word;
    }
    return NULL;
}

/* What is drawn is the same, to a thousandth of a mm (a page is measured in points of 1/72 inch).
 */
static void expect_same_drawing(char *a, char *b)
{
    bool in_a = false, in_b = false;
    size_t words = 0;
    for (char *x, *y; (x = next_word(&a, &in_a)) && (y = next_word(&b, &in_b)); words++) {
        char *end_x, *end_y;
        double is = strtod(x, &end_x), other = strtod(y, &end_y);
        bool numbers = !*end_x && !*end_y;
        ck_assert_msg(numbers ? fabs(is - other) < 0.001 / 25.4 * 72 : strcmp(x, y) == 0,
                      "%s, not %s", y, x);
    }
    ck_assert_uint_gt(words, 500);
    ck_assert(!next_word(&a, &in_a) && !next_word(&b, &in_b));
}

START_TEST(the_template_is_the_same)
{
    static const char *const words[] = {"", "by=bores up=y", "by=both", "only=1,4"};
    struct scene *scene = plate(), *read = steps_reopened(scene);
    for (int i = 0; i < 4; i++) {
        char line[600], *path[2] = {folder_path(folder, "cut.pdf"), folder_path(folder, "own.pdf")},
                        *bytes[2];
        for (int k = 0; k < 2; k++) {
            snprintf(line, sizeof line, "template \"%s\" %s", path[k], words[i]);
            free(run(k ? &read : &scene, line));
            bytes[k] = folder_read(path[k], NULL);
        }
        expect_same_drawing(bytes[0], bytes[1]);
        for (int k = 0; k < 2; k++) {
            free(bytes[k]);
            free(path[k]);
        }
    }
    scene_free(read);
    scene_free(scene);
}
END_TEST

/* --- which screw ---------------------------------------------------------------------------- */

static struct suits bore_suits(double mm, bool through)
{
    const struct screw_hole hole = {
        .kind = SCREW_HOLE_BORE, .width = mm, .corners = mm + 0.008, .through = through};
    return suits_find(&hole);
}

/* ISO 273, secondary tables: each of its holes is for its screw. */
START_TEST(clearance_holes_are_known)
{
    for (int s = SCREW_M2; s <= SCREW_M10; s++)
        for (int m = MEASURE_fine; m <= MEASURE_coarse; m++) {
            double mm = screw_measure((enum screw)s, (enum measure)m);
            struct suits suits = bore_suits(mm, true);
            ck_assert(suits.any && suits.by);
            ck_assert_msg((int)suits.screw == s, "%g mm: %s, not %s", mm, screw_name(suits.screw),
                          screw_name((enum screw)s));
            ck_assert_ptr_eq(suits.by, measure_row((enum measure)m));
        }
    for (int s = SCREW_M3; s <= SCREW_M8; s++) /* makers' figures */
        ck_assert_int_eq((int)bore_suits(screw_measure((enum screw)s, MEASURE_insert), false).screw,
                         s);
}
END_TEST

START_TEST(others_let_one_through)
{
    struct suits suits = bore_suits(5.0, true); /* between coarse for M4 and fine for M5 */
    ck_assert(suits.any && !suits.by);
    ck_assert_str_eq(screw_name(suits.screw), "no10"); /* 4.83 mm */
    ck_assert(!bore_suits(25, true).any);
    ck_assert(!bore_suits(1.2, true).any);
}
END_TEST

/* Each of the keyholes that "keyhole" cuts by itself is for its screw. */
START_TEST(keyholes_are_known)
{
    for (int s = SCREW_M3; s < SCREW_COUNT; s++) {
        enum screw screw = (enum screw)s;
        double head = suits_head(screw), shank = screw_shank(screw);
        const struct screw_hole hole = {.kind = SCREW_HOLE_KEYHOLE,
                                        .width = shank + 0.5,
                                        .entry = head + 1.25,
                                        .room = head + 1.25,
                                        .pocket = 9};
        struct suits suits = suits_find(&hole);
        ck_assert_msg(suits.any && suits.screw == screw, "%s", screw_name(screw));
        struct screw_hole shallow = hole;
        shallow.pocket = 0.5;
        ck_assert(!suits_find(&shallow).any);
    }
}
END_TEST

/* --- what is told and drawn ------------------------------------------------------------------ */

START_TEST(numbers_are_drawn)
{
    struct scene *scene = plate(), *read = steps_reopened(scene);
    struct step step;
    struct sketch sketch;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(step_parse("fixings", &step, &job), STATUS_OK);
    ck_assert_int_eq(step_sketch(&step, read, &sketch, &job), STATUS_OK);
    ck_assert_uint_eq(sketch.marks, 5);
    for (size_t i = 0; i < 5; i++)
        ck_assert_int_eq(sketch.mark[i].glyph, '1' + (int)i);
    ck_assert_ptr_nonnull(strstr(job.notes, "5: a hole of"));
    ck_assert_ptr_null(read->piece[0]->fixings);
    sketch_release(&sketch);
    step_release(&step);
    job_release(&job);
    scene_free(read);
    scene_free(scene);
}
END_TEST

START_TEST(nothing_found_is_told)
{
    struct scene *scene = steps_scene(shape_sphere(20, 4));
    char *told = run(&scene, "fixings");
    ck_assert_ptr_nonnull(strstr(told, "no round holes and no keyholes"));
    free(told);
    told = run(&scene, "balance");
    ck_assert_ptr_null(strstr(told, "hole"));
    free(told);
    scene_free(scene);
}
END_TEST

/* A hole into a hollow is through, but no screw goes on to the wall. */
START_TEST(holes_for_draining)
{
    struct scene *scene = steps_scene(shape_box(60, 40, 50, 3)), *out = NULL;
    struct job job;
    scene = steps_after(scene, "hollow wall=3 drain=0");
    scene = steps_after(scene, "bore 30,0,25 screw=M4");
    struct scene *read = steps_reopened(scene);
    char *told = run(&read, "fixings");
    ck_assert_msg(strstr(told, "a hole of 4.5 mm for M4") != NULL, "%s", told);
    ck_assert_ptr_nonnull(strstr(told, ", through 3 mm"));
    free(told);
    told = run(&read, "balance");
    ck_assert_ptr_null(strstr(told, "screwed on"));
    free(told);
    ck_assert_int_eq(steps_run(read, "template x.pdf", &out, &job), STATUS_REFUSED);
    job_release(&job);
    scene_free(read);
    scene_free(scene);
}
END_TEST

/* A wide hole is told, and is no screw's. */
START_TEST(a_hole_for_no_screw)
{
    const double outline[4][2] = {{10, 0}, {15, 0}, {15, 8}, {10, 8}};
    struct scene *scene = steps_scene(turned(outline, 4, 90, 0)), *out = NULL;
    struct job job;
    char *told = run(&scene, "fixings");
    ck_assert_msg(strstr(told, "1: a hole of 19.99 mm, for no screw of the tables, through 8 mm"),
                  "%s", told);
    free(told);
    ck_assert_int_eq(steps_run(scene, "template x.pdf", &out, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "no holes for screws"));
    job_release(&job);
    scene_free(scene);
}
END_TEST

Suite *suite_found(void);
Suite *suite_found(void)
{
    Suite *suite = suite_create("found");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_unchecked_fixture(all, make_folder, remove_folder);
    tcase_add_test(all, what_was_cut_is_found_again);
    tcase_add_test(all, found_and_cut_are_one_list);
    tcase_add_test(all, it_hangs_the_same);
    tcase_add_test(all, the_template_is_the_same);
    tcase_add_test(all, clearance_holes_are_known);
    tcase_add_test(all, others_let_one_through);
    tcase_add_test(all, keyholes_are_known);
    tcase_add_test(all, numbers_are_drawn);
    tcase_add_test(all, nothing_found_is_told);
    tcase_add_test(all, holes_for_draining);
    tcase_add_test(all, a_hole_for_no_screw);
    suite_add_tcase(suite, all);
    return suite;
}
