/* Best fit of made-up scans whose true poses are known. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "scan/fit.h"
#include "scan/horn.h"
#include "tests/support/file_solids.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

Suite *suite_fit(void);

static const double degree = 3.14159265358979323846 / 180;

static const struct solid {
    const char *name;
    solid_distance distance;
} solids[] = {{"jug", solid_jug},         {"bracket", solid_bracket}, {"pebbles", solid_pebbles},
              {"mask", solid_mask},       {"steps", solid_steps},     {"nut", solid_nut},
              {"housing", solid_housing}, {"frame", solid_frame}};
enum { SOLIDS = sizeof solids / sizeof *solids };

static struct mesh *view(solid_distance solid, double around, double up, double spacing,
                         uint64_t seed)
{
    struct scanner scanner = {.spacing = spacing, .noise = 0.03, .radius = 80, .seed = seed};
    scanner.from = vec(cos(around * degree) * cos(up * degree),
                       sin(around * degree) * cos(up * degree), sin(up * degree));
    scanner.roll = 0.3 * (double)seed;
    return scanner_view(solid, &scanner);
}

/* Fits `moving` after it was knocked off its place; returns how far from it it ends, mm RMS. */
static double fit_error(const struct mesh *moving, const struct mesh *fixed,
                        const struct rigid *knocked, struct fit *fit)
{
    struct job job;
    job_init(&job);
    struct mesh *off = scanner_moved(moving, knocked);
    ck_assert_msg(fit_find(off, fixed, fit, &job) == STATUS_OK, "%s", job.message);
    struct rigid back = rigid_inverse(knocked);
    double error = scanner_error(off, &fit->motion, &back);
    mesh_free(off);
    job_release(&job);
    return error;
}

/* --- ordinary fits --------------------------------------------------------------------------- */

START_TEST(a_small_knock_is_put_right)
{
    const struct solid *solid = &solids[_i];
    uint64_t seed = 20 + (uint64_t)_i;
    struct mesh *fixed = view(solid->distance, 0, 20, 0.6, 1),
                *moving = view(solid->distance, 40, 25, 0.6, 2);
    struct rigid off = scanner_knock(10, 5, &seed);
    struct fit fit;
    double error = fit_error(moving, fixed, &off, &fit);
    ck_assert_msg(error < 0.02, "%s: %.4f mm off", solid->name, error);
    ck_assert_double_gt(fit.touch.overlap, 0.3);
    ck_assert_double_gt(fit.touch.agreement, 0.9);
    ck_assert_double_lt(fit.touch.rms, 0.07);
    ck_assert_int_eq(fit.slide.free, 0);
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

START_TEST(a_big_knock_is_put_right)
{
    const struct solid *solid = &solids[_i % SOLIDS];
    uint64_t seed = 300 + (uint64_t)_i;
    struct mesh *fixed = view(solid->distance, 0, 20, 1, 1),
                *moving = view(solid->distance, 35, 30, 1, 2);
    struct rigid off = scanner_knock(30, 15, &seed);
    struct fit fit;
    double error = fit_error(moving, fixed, &off, &fit);
    ck_assert_msg(error < 0.05, "%s, knock %d: %.4f mm off", solid->name, _i, error);
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

static const struct {
    const char *name;
    uint64_t knock;
} files[] = {{"cheese.off", 217}, {"fandisk.off", 248}, {"knot1.off", 124}, {"knot2.off", 155}};
enum { FILES = sizeof files / sizeof *files };

/* Solids that nobody here made, the first two of flat faces, knocked so that best fit settles in a
 * wrong place unless it looks around. */
START_TEST(a_big_knock_of_any_shape_is_put_right)
{
    struct mesh *solid = file_solid(files[_i].name), *seen[2];
    for (int k = 0; k < 2; k++) {
        double around = 0.7 + 0.7 * k;
        const struct scanner scanner = {.from = vec(0.9 * cos(around), 0.9 * sin(around), 0.4359),
                                        .spacing = 0.4,
                                        .noise = 0.03,
                                        .roll = k,
                                        .radius = 58,
                                        .seed = 5 + (uint64_t)k,
                                        .surface = solid};
        seen[k] = scanner_view(NULL, &scanner);
    }
    uint64_t seed = files[_i].knock;
    struct rigid off = scanner_knock(30, 15, &seed);
    struct fit fit;
    double error = fit_error(seen[1], seen[0], &off, &fit);
    ck_assert_msg(error < 0.05, "%s: %.4f mm off", files[_i].name, error);
    ck_assert_double_lt(fit.misses, 0.02);
    mesh_free(seen[0]);
    mesh_free(seen[1]);
    mesh_free(solid);
}
END_TEST

/* Ribs whose ends the fixed scan does not see: along them only edges and bores hold, and beside the
 * edges the moving scan's ends lie next to nothing of the fixed one. At a scanner's 0.3 mm. */
START_TEST(what_one_scan_sees_over_an_edge_does_not_pull)
{
    uint64_t seed = 400 + (uint64_t)_i;
    solids_vary(117 + 17 * (uint64_t)_i);
    struct mesh *fixed = view(solid_ribs, 0, 20, 0.3, 1),
                *moving = view(solid_ribs, 35, 30, 0.3, 2);
    struct rigid off = scanner_knock(20, 10, &seed);
    struct fit fit;
    double error = fit_error(moving, fixed, &off, &fit);
    ck_assert_msg(error < 0.01, "%.4f mm off", error);
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

START_TEST(a_fifth_of_overlap_is_enough)
{
    uint64_t seed = 9;
    struct mesh *fixed = view(solid_pebbles, 0, 10, 0.7, 1),
                *moving = view(solid_pebbles, 110, 10, 0.7, 2);
    struct rigid off = scanner_knock(8, 4, &seed);
    struct fit fit;
    double error = fit_error(moving, fixed, &off, &fit);
    ck_assert_msg(error < 0.05, "%.4f mm off", error);
    ck_assert_double_lt(fit.touch.overlap, 0.3);
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

START_TEST(stray_points_do_not_matter)
{
    uint64_t seed = 31;
    for (int kind = 0; kind < 4; kind++) { /* meshes, clouds; 1 %, 30 % */
        struct scanner scanner = {.from = vec(1, 0.2, 0.3),
                                  .spacing = 0.8,
                                  .noise = 0.03,
                                  .roll = 0.2,
                                  .radius = 80,
                                  .points_only = kind % 2,
                                  .seed = 1};
        struct mesh *clean = scanner_view(solid_jug, &scanner);
        scanner.from = vec(0.8, 0.8, 0.4);
        scanner.roll = 0.9;
        scanner.seed = 2;
        struct mesh *moving = scanner_view(solid_jug, &scanner);
        struct mesh *fixed = scanner_stray(clean, kind / 2 ? 0.3 : 0.01, &seed);
        struct mesh *strayed = scanner_stray(moving, kind / 2 ? 0.3 : 0.01, &seed);
        struct rigid off = scanner_knock(10, 5, &seed);
        struct fit fit;
        double error = fit_error(strayed, fixed, &off, &fit);
        ck_assert_msg(error < 0.05, "kind %d: %.4f mm off", kind, error);
        mesh_free(clean);
        mesh_free(moving);
        mesh_free(fixed);
        mesh_free(strayed);
    }
}
END_TEST

START_TEST(far_from_zero_it_is_the_same)
{
    struct mesh *fixed = view(solid_jug, 0, 20, 1, 1), *moving = view(solid_jug, 40, 20, 1, 2);
    const double far[3] = {4.5e9, -5.3e9, 1e6};
    for (int k = 0; k < 3; k++)
        fixed->origin[k] = moving->origin[k] = far[k];
    struct fit fit;
    ck_assert_int_eq(fit_find(moving, fixed, &fit, NULL),
                     STATUS_OK); /* it is in its place already */
    struct vec p = vec(far[0] + 10, far[1] - 10, far[2] + 20);
    ck_assert_double_lt(vec_length(vec_sub(rigid_apply(&fit.motion, p), p)), 0.03);
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

START_TEST(any_number_of_threads_gives_the_same_fit)
{
    uint64_t seed = 8;
    struct mesh *fixed = view(solid_mask, 60, 50, 0.8, 1),
                *moving = view(solid_mask, 100, 60, 0.8, 2);
    struct rigid off = scanner_knock(12, 4, &seed);
    struct mesh *knocked = scanner_moved(moving, &off);
    struct fit fit[2];
    for (int i = 0; i < 2; i++) {
        struct job job;
        job_init(&job);
        job.threads = 1 + 3 * i;
        ck_assert_int_eq(fit_find(knocked, fixed, &fit[i], &job), STATUS_OK);
        job_release(&job);
    }
    ck_assert_mem_eq(&fit[0].motion, &fit[1].motion, sizeof fit[0].motion);
    ck_assert_mem_eq(&fit[0].touch, &fit[1].touch, sizeof fit[0].touch);
    mesh_free(fixed);
    mesh_free(moving);
    mesh_free(knocked);
}
END_TEST

/* --- artefacts ------------------------------------------------------------------------------- */

static const double bar_spacing = 70, ball_radius = 15;

static double solid_bar(struct vec p)
{
    struct vec half = vec(bar_spacing / 2, 0, 0);
    return fmin(vec_length(vec_sub(p, half)), vec_length(vec_add(p, half))) - ball_radius;
}

/* The ball through the mesh's points on one side, by linear least squares: |p|^2 = 2 c p + k. */
static struct vec ball_centre(const struct mesh *mesh, double side)
{
    double a[4][5] = {{0}};
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        if (p.x * side < 20)
            continue;
        const double row[5] = {2 * p.x, 2 * p.y, 2 * p.z, 1, vec_length2(p)};
        for (int i = 0; i < 4; i++)
            for (int j = 0; j < 5; j++)
                a[i][j] += row[i] * row[j];
    }
    for (int i = 0; i < 4; i++)
        for (int r = 0; r < 4; r++) {
            double f = r == i ? 0 : a[r][i] / a[i][i];
            for (int j = i; j < 5; j++)
                a[r][j] -= f * a[i][j];
        }
    return vec(a[0][4] / a[0][0], a[1][4] / a[1][1], a[2][4] / a[2][2]);
}

struct ball_form {         /* of a ball in both views as they were registered */
    double radius, spread; /* mm: mean distance from the middle, and standard deviation about it */
};

static struct ball_form ball_form(const struct mesh *fixed, const struct mesh *moving,
                                  const struct rigid *motion, double side, struct vec middle)
{
    const struct mesh *mesh[2] = {fixed, moving};
    double sum = 0, squares = 0, count = 0;
    for (int i = 0; i < 2; i++)
        for (size_t v = 0; v < mesh_vertices(mesh[i]); v++) {
            struct vec p = point_vec(mesh_point(mesh[i])[v]);
            if (p.x * side < 20)
                continue;
            double r = vec_length(vec_sub(i ? rigid_apply(motion, p) : p, middle));
            sum += r;
            squares += r * r;
            count++;
        }
    double mean = sum / count;
    return (struct ball_form){mean, sqrt(squares / count - mean * mean)};
}

/* A ball bar (as ISO 10360-13 uses; probing error of size and form, sphere-spacing error: VDI/VDE
 * 2634): each ball's centre seen in two registered views is one place,
 * and their spacing is that of the bar, measured across the views. */
START_TEST(ball_bar)
{
    uint64_t seed = 4;
    struct mesh *fixed = view(solid_bar, 80, 30, 0.4, 1),
                *moving = view(solid_bar, 130, 40, 0.4, 2);
    struct rigid off = scanner_knock(10, 5, &seed);
    struct fit fit;
    fit_error(moving, fixed, &off, &fit);
    ck_assert_str_eq(fit.slide.text, "may turn about x: nearly round");
    struct rigid registered = rigid_then(&off, &fit.motion);
    struct vec centre[2][2];
    for (int side = 0; side < 2; side++) {
        centre[0][side] = ball_centre(fixed, side ? 1 : -1);
        centre[1][side] = rigid_apply(&registered, ball_centre(moving, side ? 1 : -1));
        ck_assert_double_lt(vec_length(vec_sub(centre[0][side], centre[1][side])), 0.02);
    }
    double seen = vec_length(vec_sub(centre[0][0], centre[0][1]));
    double across = vec_length(vec_sub(centre[0][0], centre[1][1]));
    ck_assert_double_eq_tol(seen, bar_spacing, 0.01);
    ck_assert_double_eq_tol(across, bar_spacing, 0.01);
    for (int side = 0; side < 2; side++) { /* size and form of both views together */
        struct vec middle = vec_scale(vec_add(centre[0][side], centre[1][side]), 0.5);
        struct ball_form form = ball_form(fixed, moving, &registered, side ? 1 : -1, middle);
        ck_assert_double_eq_tol(form.radius, ball_radius, 0.01);
        ck_assert_double_lt(form.spread, 1.1 * 0.03);
    }
    mesh_free(fixed);
    mesh_free(moving);
}
END_TEST

static double flat(double x, double y)
{
    (void)x;
    (void)y;
    return 0;
}

/* What a shape does not hold is said. */
START_TEST(sliding_is_named)
{
    struct fit fit;
    struct mesh *ball[2] = {view(solid_ball, 0, 20, 0.8, 1), view(solid_ball, 30, 20, 0.8, 2)};
    ck_assert_int_eq(fit_find(ball[1], ball[0], &fit, NULL), STATUS_OK);
    ck_assert_int_eq(fit.slide.free, 3);
    ck_assert_ptr_nonnull(strstr(fit.slide.text, "nearly a ball"));
    struct mesh *rod[2] = {view(solid_rod, 0, 0, 0.8, 1), view(solid_rod, 30, 0, 0.8, 2)};
    ck_assert_int_eq(fit_find(rod[1], rod[0], &fit, NULL), STATUS_OK);
    ck_assert_int_eq(fit.slide.free, 2);
    ck_assert_str_eq(fit.slide.text, "may slide along z and turn about it: nearly a cylinder");
    struct mesh *sheet[2] = {shape_patch(80, 100, flat), shape_patch(60, 80, flat)};
    ck_assert_int_eq(fit_find(sheet[1], sheet[0], &fit, NULL), STATUS_OK);
    ck_assert_int_eq(fit.slide.free, 3);
    ck_assert_ptr_nonnull(strstr(fit.slide.text, "and turn about z: nearly flat"));
    for (int i = 0; i < 2; i++) {
        mesh_free(ball[i]);
        mesh_free(rod[i]);
        mesh_free(sheet[i]);
    }
}
END_TEST

/* --- refusals -------------------------------------------------------------------------------- */

static void expect_refused(const struct mesh *moving, const struct mesh *fixed, const char *why)
{
    struct job job;
    struct fit fit;
    job_init(&job);
    ck_assert_int_eq(fit_find(moving, fixed, &fit, &job), STATUS_REFUSED);
    ck_assert_msg(strstr(job.message, why), "%s", job.message);
    job_release(&job);
}

START_TEST(nothing_to_fit)
{
    struct mesh *some = view(solid_jug, 0, 20, 1.5, 1), *none = mesh_new(0, 0);
    struct mesh *three = mesh_new(3, 0), *far = mesh_new_like(some), *one = shape_patch(1, 1, NULL);
    for (int i = 0; i < 3; i++)
        mesh_point_edit(three)[i] = (struct point){(float)(i == 1), (float)(i == 2), 0};
    far->origin[0] = 1e5;
    expect_refused(none, some, "too little surface");
    expect_refused(some, none, "too little surface");
    expect_refused(three, some, "too little surface");
    expect_refused(one, some, "do not lie on each other");
    expect_refused(far, some, "do not lie on each other");
    mesh_free(some);
    mesh_free(none);
    mesh_free(three);
    mesh_free(far);
    mesh_free(one);
}
END_TEST

START_TEST(a_cancelled_fit)
{
    struct job job;
    struct fit fit;
    job_init(&job);
    job.cancel = true;
    struct mesh *some = view(solid_jug, 0, 20, 1.5, 1);
    ck_assert_int_eq(fit_find(some, some, &fit, &job), STATUS_CANCELLED);
    job_release(&job);
    mesh_free(some);
}
END_TEST

/* --- the operations -------------------------------------------------------------------------- */

static void expect_line(const char *line, const struct scene *in, enum status wanted,
                        const char *why)
{
    struct scene *out = NULL;
    struct job job;
    enum status status = steps_run(in, line, &out, &job);
    ck_assert_msg(status == wanted, "%s: %s", line, job.message);
    const char *said = status == STATUS_OK ? job.notes : job.message;
    ck_assert_msg(strstr(said, why), "%s: %s", line, said);
    if (status == STATUS_OK)
        scene_free(out);
    job_release(&job);
}

START_TEST(pairs_then_fit)
{
    uint64_t seed = 77;
    struct rigid pose = scanner_pose(&seed, 300);
    struct mesh *seen = view(solid_jug, 40, 20, 0.8, 2);
    struct scene *in = steps_pair(view(solid_jug, 0, 20, 0.8, 1), scanner_moved(seen, &pose)),
                 *rough, *fitted;
    struct vec place[4] = {{24, 0, 30}, {0, 26, 0}, {20, 10, -30}, {44, 3, 40}};
    char line[600] = "pairs at=";
    for (int i = 0; i < 4; i++) { /* picked by hand: a millimetre or two off */
        struct vec on = rigid_apply(&pose, vec_add(place[i], scanner_pose(&seed, 2).shift));
        snprintf(line + strlen(line), sizeof line - strlen(line), "%.2f,%.2f,%.2f:%.2f,%.2f,%.2f;",
                 on.x, on.y, on.z, place[i].x, place[i].y, place[i].z);
    }
    struct job job;
    ck_assert_msg(steps_run(in, line, &rough, &job) == STATUS_OK, "%s", job.message);
    ck_assert_ptr_nonnull(strstr(job.notes, "pair 4: "));
    job_release(&job);
    ck_assert_msg(steps_run(rough, "fit", &fitted, &job) == STATUS_OK, "%s", job.message);
    ck_assert_ptr_nonnull(strstr(job.notes, "\"part\" onto \"base\": RMS "));
    ck_assert_ptr_eq(fitted->piece[0]->mesh, in->piece[0]->mesh);
    double sum = 0;
    for (size_t v = 0; v < mesh_vertices(seen); v++) {
        struct vec p =
            mesh_world(fitted->piece[1]->mesh, point_vec(mesh_point(fitted->piece[1]->mesh)[v]));
        sum += vec_length2(vec_sub(p, point_vec(mesh_point(seen)[v])));
    }
    ck_assert_double_lt(sqrt(sum / (double)mesh_vertices(seen)), 0.03);
    job_release(&job);
    scene_free(in);
    scene_free(rough);
    scene_free(fitted);
    mesh_free(seen);
}
END_TEST

START_TEST(what_the_operations_refuse)
{
    struct scene *in = steps_pair(shape_box(30, 20, 10, 4), shape_box(30, 20, 10, 4));
    expect_line("pairs at=0,0,0:1,0,0;9,0,0:10,0,0", in, STATUS_REFUSED, "2 pairs are given");
    expect_line("pairs at=0,0,0:1,0,0;9,0,0:10,0,0;5,0,0:6,0,0", in, STATUS_REFUSED,
                "points on the moving piece lie on one line");
    expect_line("pairs at=0,0,0:1,0,0;9,0,0:9,1,0;0,9,0:17,2,0", in, STATUS_REFUSED,
                "points on the fixed piece lie on one line");
    expect_line("pairs at=1,2,3:1,0,0;1,2,3:9,1,0;1,2,3:1,9,0", in, STATUS_REFUSED,
                "points on the moving piece are all the same; put them far apart");
    expect_line("pairs at=1,0,0:4,5,6;9,1,0:4,5,6;1,9,0:4,5,6", in, STATUS_REFUSED,
                "points on the fixed piece are all the same");
    expect_line("pairs at=0,0,0:0,0,0;9,0,0:9,0,0;0,5,0:0,5,0;0,0,7:0,0,-7", in, STATUS_REFUSED,
                "mirror");
    expect_line("pairs at=0,0,0:0,0,0;9,0,0:90,0,0;0,5,0:0,50,0", in, STATUS_REFUSED, "10 times");
    expect_line("pairs at=0,0,0:0,0,0;9,0,0:0,9,0;0,5,0:5,5,5;40,0,0:5,9,5", in, STATUS_REFUSED,
                "pair");
    expect_line("pairs at=0,0,0:1,0,0;9,0,0:10,0,0;0,9,0:1,9,0", in, STATUS_OK, "moved by 1 mm");
    expect_line("pairs at=0,0,0:0,0,0;30,0,0:30,0,0;0,20,0:0,20,0;30,20,0:30,20,0;30,0,10:24,0,10",
                in, STATUS_OK, "look at pair 5: without it the others fit to ");
    expect_line("pairs at=0,0,0:0,0,0;30,0,0:30,0,0;0,20,0:0,20,0;30,20,0:30,20,0;30,0,10:0,-20,0",
                in, STATUS_REFUSED, "without pair 5; leave that pair out, or put it anew");
    expect_line("pairs at=0,0,0:1,0", in, STATUS_USAGE, "must be pairs of points");
    expect_line("pairs at=x", in, STATUS_USAGE, "must be pairs of points");
    expect_line("pairs", in, STATUS_USAGE, "at");
    expect_line("fit moving=1 fixed=1", in, STATUS_USAGE, "cannot be fitted to itself");
    expect_line("fit moving=all", in, STATUS_USAGE, "one piece's number");
    expect_line("fit moving=3", in, STATUS_REFUSED, "there are only 2");
    scene_free(in);
}
END_TEST

/* Of another object a scan may lie on the first one here and there; the cameras saw that there is
 * nothing. */
START_TEST(a_scan_of_another_object_is_seen_through)
{
    const struct solid *one = &solids[_i], *other = &solids[(_i + 3) % SOLIDS];
    struct scene *in =
        steps_pair(view(one->distance, 0, 20, 0.8, 1), view(other->distance, 30, 20, 0.8, 2));
    struct scene *out;
    struct job job;
    enum status status = steps_run(in, "fit", &out, &job);
    const char *said = status == STATUS_OK ? job.notes : job.message;
    ck_assert_msg(strstr(said, status == STATUS_OK ? "would have looked through"
                                                   : "no good fit near this pose"),
                  "%s on %s: %s", other->name, one->name, said);
    if (status == STATUS_OK)
        scene_free(out);
    job_release(&job);
    scene_free(in);
}
END_TEST

Suite *suite_fit(void)
{
    Suite *suite = suite_create("fit");
    TCase *all = tcase_create("fit");
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, a_small_knock_is_put_right, 0, SOLIDS);
    tcase_add_loop_test(all, a_big_knock_is_put_right, 0, 2 * SOLIDS);
    tcase_add_loop_test(all, a_big_knock_of_any_shape_is_put_right, 0, FILES);
    tcase_add_loop_test(all, what_one_scan_sees_over_an_edge_does_not_pull, 0, 2);
    tcase_add_loop_test(all, a_scan_of_another_object_is_seen_through, 0, SOLIDS);
    tcase_add_test(all, a_fifth_of_overlap_is_enough);
    tcase_add_test(all, stray_points_do_not_matter);
    tcase_add_test(all, far_from_zero_it_is_the_same);
    tcase_add_test(all, any_number_of_threads_gives_the_same_fit);
    tcase_add_test(all, ball_bar);
    tcase_add_test(all, sliding_is_named);
    tcase_add_test(all, nothing_to_fit);
    tcase_add_test(all, a_cancelled_fit);
    tcase_add_test(all, pairs_then_fit);
    tcase_add_test(all, what_the_operations_refuse);
    suite_add_tcase(suite, all);
    return suite;
}
