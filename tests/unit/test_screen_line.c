/* The screen over a slow line, and on terminals that say little. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"
#include "tests/support/screens.h"
#include "tests/support/shapes.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_line(void);

/* Over a slow line: while a picture is on its way no other is made, however many keys are typed. */
START_TEST(pictures_wait_for_a_slow_line)
{
    struct terminal *t = screens_begin_box();
    terminal_rest(t);
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    size_t begun = terminal_bytes(t);
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    size_t picture = terminal_bytes(t) - begun;
    terminal_hold(t, true); /* one more goes out, and those after it wait */
    begun = terminal_bytes(t);
    for (int i = 0; i < 10; i++) {
        terminal_key(t, TERMINAL_LEFT);
        terminal_rest(t);
    }
    size_t held = terminal_bytes(t) - begun;
    ck_assert_msg(held < 2 * picture, "%zu bytes while held, a picture takes %zu", held, picture);
    char *before = terminal_text(t);
    terminal_hold(t, false);
    terminal_rest(t);
    char *after = terminal_text(t);
    ck_assert_str_ne(before, after); /* all ten have counted */
    for (int i = 0; i < 10; i++)
        terminal_key(t, TERMINAL_RIGHT);
    for (int i = 0; i < 10; i++)
        terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    free(before);
    before = terminal_text(t);
    ck_assert_str_eq(before, after);
    free(before);
    free(after);
    terminal_free(t);
}
END_TEST

/* However slow the line, what is typed ahead means the picture that is to come. */
START_TEST(points_are_put_on_what_will_be_seen)
{
    struct terminal *t = screens_begin_box();
    terminal_rest(t);
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    terminal_hold(t, true);
    terminal_key(t, TERMINAL_LEFT); /* this one goes out, and is not answered */
    terminal_rest(t);
    terminal_type(t, "/+++++p\033OD\033ODz\r"); /* from above, and close up beside the middle */
    WAIT(t, "point @ = ");
    terminal_rest(t);
    double at[3];
    const char *line = strstr(terminal_line(t, 22), "= ");
    ck_assert(line && sscanf(line, "= %lf, %lf, %lf", &at[0], &at[1], &at[2]) == 3);
    ck_assert_double_eq_tol(at[2], 10, 0.01); /* on top */
    ck_assert_msg(at[0] < 15 && at[0] > 13, "at %g", at[0]);
    ck_assert_double_eq_tol(at[1], 10, 1);
    terminal_free(t);
}
END_TEST

static struct mesh *large_cloud(void)
{
    enum { POINTS = 4000000 };
    struct mesh *cloud = mesh_new(POINTS, 0);
    uint64_t state = 3;
    for (size_t i = 0; i < POINTS; i++) {
        double u = 6.283 * shape_random(&state), z = 2 * shape_random(&state) - 1;
        double r = 20 * sqrt(1 - z * z);
        mesh_point_edit(cloud)[i] = vec_point(vec(r * cos(u), 1.5 * r * sin(u), 20 * z));
    }
    return cloud;
}

/* Turns it by a key, after another that shows how slow the line is: what is seen first, while the
 * line holds up what follows, then at rest; how many cells differ. */
static int turn(struct terminal *t, char **first, char **last)
{
    int differ = 0;
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    terminal_hold(t, true);
    terminal_key(t, TERMINAL_LEFT);
    terminal_rest(t);
    *first = terminal_text(t);
    terminal_hold(t, false);
    terminal_rest(t);
    *last = terminal_text(t);
    for (size_t i = 0; (*first)[i] && (*last)[i]; i++)
        differ += (*first)[i] != (*last)[i];
    return differ;
}

/* A cloud too large to be drawn at every key moves as a thinned one, and comes to rest as it is. On
 * a line that was slow the last time it is drawn at once, and so it is where the machine was: then
 * there is but one picture, and the next key is looked at. */
START_TEST(a_large_cloud_moves_at_once)
{
    enum { KEYS = 10 };
    folder_mesh(screens_folder, "cloud.ply", large_cloud());
    struct terminal *t =
        screens_begin(24, 80, (const char *const[]){"--threads", "1", "cloud.ply", NULL});
    char *thinned = NULL, *whole = NULL;
    int differ = 0, outline = 0;
    WAIT(t, "points only, no surface");
    terminal_rest(t);
    for (int i = 0; i < KEYS && !differ; i++) {
        free(thinned);
        free(whole);
        differ = turn(t, &thinned, &whole);
    }
    for (size_t i = 0; thinned[i] && whole[i]; i++)
        outline += (thinned[i] == ' ') != (whole[i] == ' ');
    ck_assert_int_gt(differ, 0); /* there were two */
    ck_assert_msg(outline < 40, "%d cells are not alike:\n%s\n%s", outline, thinned, whole);
    free(thinned);
    free(whole);
    terminal_free(t);
}
END_TEST

enum { TOP = 3, BOTTOM = 20, WIDE = 50, CELLS = (BOTTOM - TOP) * WIDE };

/* What is seen of the part, beside all words. */
static void look(struct terminal *t, char picture[CELLS + 1])
{
    for (int row = TOP; row < BOTTOM; row++)
        snprintf(picture + (row - TOP) * WIDE, WIDE + 1, "%-*.*s", WIDE, WIDE,
                 terminal_line(t, row));
}

static bool looks_like(struct terminal *t, const char *picture)
{
    char now[CELLS + 1];
    look(t, now);
    return strcmp(now, picture) == 0;
}

/* A terminal that never answers is drawn on all the same, and left without delay. */
START_TEST(a_terminal_need_not_answer)
{
    char before[CELLS + 1];
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", NULL});
    terminal_hold(t, true);
    WAIT(t, "sound");
    terminal_rest(t);
    for (int i = 0; i < 2; i++) {
        look(t, before);
        terminal_key(t, TERMINAL_LEFT);
        TERMINAL_UNTIL(t, !looks_like(t, before), "another picture");
    }
    terminal_type(t, "q");
    ck_assert_int_eq(terminal_wait_end(t), 0);
    terminal_free(t);
}
END_TEST

Suite *suite_screen_line(void)
{
    Suite *suite = suite_create("screen_line");
    TCase *tests = tcase_create("screen_line");
    tcase_set_timeout(tests, 90);
    tcase_add_checked_fixture(tests, screens_set_up, screens_tear_down);
    tcase_add_test(tests, pictures_wait_for_a_slow_line);
    tcase_add_test(tests, points_are_put_on_what_will_be_seen);
    tcase_add_test(tests, a_large_cloud_moves_at_once);
    tcase_add_test(tests, a_terminal_need_not_answer);
    suite_add_tcase(suite, tests);
    return suite;
}
