/* All pieces together from unknown poses: made-up scans whose true poses are known, and what must
 * be left out. A wrong pose is the worst that may happen: no test lets one pass. */
#include <check.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "op/op.h"
#include "scan/align.h"
#include "tests/support/cancelling.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"

Suite *suite_align(void);

enum { MOST = 8 };
static const double degree = 3.14159265358979323846 / 180;
static const char *const names[MOST] = {"one",  "two", "three", "four",
                                        "five", "six", "seven", "eight"};

struct table { /* pieces scattered over a table */
    struct mesh *seen[MOST], *moved[MOST];
    struct rigid pose[MOST]; /* from where it was seen to where it lies */
    size_t count;
};

static struct mesh *view(solid_distance solid, double around, double up, double spacing,
                         bool points, uint64_t seed)
{
    struct scanner scanner = {.spacing = spacing, .noise = 0.03, .radius = 80, .seed = seed};
    scanner.from = vec(cos(around * degree) * cos(up * degree),
                       sin(around * degree) * cos(up * degree), sin(up * degree));
    scanner.roll = 1.1 * (double)seed;
    scanner.points_only = points;
    return scanner_view(solid, &scanner);
}

/* Puts a mesh on the table in a random pose (the table takes it over). */
static void put(struct table *table, struct mesh *mesh, uint64_t *seed)
{
    size_t i = table->count++;
    table->seen[i] = mesh;
    table->pose[i] = scanner_pose(seed, 200);
    table->moved[i] = scanner_moved(mesh, &table->pose[i]);
}

static void clear(struct table *table)
{
    for (size_t i = 0; i < table->count; i++) {
        mesh_free(table->seen[i]);
        mesh_free(table->moved[i]);
    }
}

static struct alignment align(const struct table *table)
{
    struct alignment result;
    struct job job;
    job_init(&job);
    ck_assert_msg(align_find((const struct mesh *const *)table->moved, names, table->count, 0,
                             &result, &job) == STATUS_OK,
                  "%s", job.message);
    job_release(&job);
    return result;
}

/* How far a placed piece is from where it belongs beside the anchor, mm RMS. */
static double error_of(const struct table *table, const struct alignment *result, size_t i)
{
    struct rigid back = rigid_inverse(&table->pose[i]);
    struct rigid truth = rigid_then(&back, &table->pose[result->anchor]);
    return scanner_error(table->moved[i], &result->piece[i].motion, &truth);
}

static void expect_right(const struct table *table, const struct alignment *result, double within,
                         const char *what)
{
    for (size_t i = 0; i < result->pieces; i++) {
        if (!result->piece[i].placed)
            continue;
        double error = error_of(table, result, i);
        ck_assert_msg(error < within, "%s: piece %zu is %.4f mm off", what, i, error);
        ck_assert_str_eq(result->piece[i].why, "");
    }
}

/* --- what is placed -------------------------------------------------------------------------- */

static const struct {
    const char *name;
    solid_distance solid;
    double up[2];
} objects[] = {{"jug", solid_jug, {25, -15}},         {"bracket", solid_bracket, {30, 20}},
               {"pebbles", solid_pebbles, {25, -15}}, {"mask", solid_mask, {60, 45}},
               {"steps", solid_steps, {35, 25}},      {"ribs", solid_ribs, {55, 40}},
               {"nut", solid_nut, {50, 40}},          {"housing", solid_housing, {35, 20}},
               {"frame", solid_frame, {50, 35}}};
enum { OBJECTS = sizeof objects / sizeof *objects, QUICK = 2 };

static bool take_long(void) /* make check-long says so */
{
    return getenv("FETTLE_LONG") != NULL;
}

/* Four views a quarter turn apart, as fine as a scanner gives them (0.3 mm): every point within
 * 0.05 mm RMS of its place. What is made of flat faces may lack pieces: a quarter turn on, too
 * little may hold them. */
START_TEST(four_views_come_together)
{
    struct table table = {.count = 0};
    uint64_t seed = 40 + (uint64_t)_i;
    bool may_lack = objects[_i].solid == solid_steps || objects[_i].solid == solid_ribs;
    for (int i = 0; i < 4; i++)
        put(&table,
            view(objects[_i].solid, 90 * i + 20, objects[_i].up[i % 2], 0.3, false, (uint64_t)i),
            &seed);
    struct alignment result = align(&table);
    ck_assert_msg(result.placed == 4 || (may_lack && result.placed >= 2), "%s: %zu placed",
                  objects[_i].name, result.placed);
    expect_right(&table, &result, 0.05, objects[_i].name);
    struct rigid rest = rigid_rest();
    ck_assert_mem_eq(&result.piece[result.anchor].motion, &rest, sizeof rest);
    ck_assert_uint_eq(result.pairs, 6);
    align_release(&result);
    clear(&table);
}
END_TEST

/* What is promised: of 20 objects 19 come together whole, four views 75 to 90 degrees apart, as
 * fine and as noisy as a scanner gives them, and no piece is ever farther than 0.05 mm RMS from its
 * place. The thresholds were set on seeds 1 to 4; the long run takes others too. */
START_TEST(of_twenty_objects_nineteen_come_whole)
{
    uint64_t first = take_long() ? 1 : 6, last = take_long() ? 8 : 6;
    size_t right = 0, tried = 0;
    for (uint64_t seed = first; seed <= last; seed++)
        for (int object = 0; object < OBJECTS; object++) {
            bool quick =
                objects[object].solid == solid_steps || objects[object].solid == solid_ribs;
            struct table table = {.count = 0};
            uint64_t random = 1000 * seed + (uint64_t)object;
            if (!quick && !take_long())
                continue;
            solids_vary(seed);
            for (int i = 0; i < 4; i++) {
                double apart = 75 + 5 * (double)(seed % 4), around = apart * i + 40 * (double)seed;
                put(&table,
                    view(objects[object].solid, around + 20, objects[object].up[i % 2], 0.3, false,
                         random + (uint64_t)i),
                    &random);
            }
            struct alignment result = align(&table);
            expect_right(&table, &result, 0.05, objects[object].name);
            for (size_t i = 0; i < result.pieces; i++)
                if (!result.piece[i].placed)
                    printf("align: %s, seed %d, piece %zu: %s\n", objects[object].name, (int)seed,
                           i, result.piece[i].why);
            tried++;
            right += result.placed == table.count;
            align_release(&result);
            clear(&table);
        }
    printf("align: %zu of %zu objects whole\n", right, tried);
    ck_assert_msg(20 * right >= 19 * tried, "%zu of %zu objects whole", right, tried);
}
END_TEST

/* Two locked pieces stay as they lie, a little off where they would be fitted best, and the others
 * come to them; no others are moved. */
START_TEST(locked_pieces_stay_as_they_lie)
{
    struct table table = {.count = 0};
    uint64_t seed = 61;
    for (int i = 0; i < 4; i++)
        put(&table, view(solid_jug, 90 * i + 20, objects[0].up[i % 2], 0.8, false, (uint64_t)i),
            &seed);
    struct rigid off = rigid_rest();
    off.shift = vec(0.2, 0, 0);
    for (int i = 0; i < 2; i++) { /* the first two in their true places, but for 0.2 mm */
        mesh_free(table.moved[i]);
        table.pose[i] = i ? off : rigid_rest();
        table.moved[i] = scanner_moved(table.seen[i], &table.pose[i]);
    }
    struct alignment result;
    struct rigid rest = rigid_rest();
    ck_assert_int_eq(
        align_find((const struct mesh *const *)table.moved, names, 4, 2, &result, NULL), STATUS_OK);
    ck_assert_uint_eq(result.placed, 4);
    for (int i = 0; i < 2; i++)
        ck_assert_mem_eq(&result.piece[i].motion, &rest, sizeof rest);
    for (size_t i = 2; i < 4; i++)
        ck_assert_double_lt(error_of(&table, &result, i), 0.25); /* between the two */
    align_release(&result);
    clear(&table);
}
END_TEST

/* Over objects of many proportions and random poses, views 45 degrees apart, 0.7 mm as they are far
 * fewer points, a cloud among them: of 20 objects 19 are right in all their pieces, and no piece is
 * ever wrong (farther off than a seventh of the spacing): it is left out and told why. */
START_TEST(sweep)
{
    enum { SEEDS = 8 };
    size_t right = 0, tried = 0, placed = 0;
    for (uint64_t seed = 100; seed < 100 + SEEDS; seed++)
        for (int object = 0; object < OBJECTS; object++) {
            struct table table = {.count = 0};
            uint64_t random = 1000 * seed + (uint64_t)object;
            solids_vary(seed);
            for (int i = 0; i < 4; i++) {
                double around = 45 * i + 40 * (double)seed, up = objects[object].up[i % 2];
                put(&table,
                    view(objects[object].solid, around, up, 0.7, i == 2 && seed % 2,
                         random + (uint64_t)i),
                    &random);
            }
            struct alignment result = align(&table);
            expect_right(&table, &result, 0.1, objects[object].name);
            for (size_t i = 0; i < result.pieces; i++)
                ck_assert(result.piece[i].placed || result.piece[i].why[0]);
            tried++;
            placed += result.placed;
            right += result.placed == table.count;
            if (result.placed < table.count)
                printf("align: %s, seed %d: %zu of 4 placed\n", objects[object].name, (int)seed,
                       result.placed);
            align_release(&result);
            clear(&table);
        }
    printf("align: %zu of %zu objects right, %zu of %zu pieces\n", right, tried, placed, 4 * tried);
    ck_assert_msg(20 * right >= 19 * tried, "%zu of %zu objects right", right, tried);
}
END_TEST

/* One mesh, one cloud without normals, one with strays: a mixed bag. */
START_TEST(meshes_clouds_and_strays_mix)
{
    struct table table = {.count = 0};
    uint64_t seed = 5;
    for (int i = 0; i < 4; i++) {
        struct mesh *seen = view(solid_jug, 50 * i, 20, 0.6, i % 2, (uint64_t)i);
        struct mesh *strayed = scanner_stray(seen, i < 2 ? 0.01 : 0.3, &seed);
        put(&table, strayed, &seed);
        mesh_free(seen);
    }
    struct alignment result = align(&table);
    ck_assert_uint_eq(result.placed, 4);
    expect_right(&table, &result, 0.05, "mixed");
    align_release(&result);
    clear(&table);
}
END_TEST

START_TEST(the_same_piece_twice)
{
    struct table table = {.count = 0};
    uint64_t seed = 6;
    put(&table, view(solid_pebbles, 0, 20, 0.8, false, 1), &seed);
    put(&table, view(solid_pebbles, 0, 20, 0.8, false, 1), &seed);
    struct alignment result = align(&table);
    ck_assert_uint_eq(result.placed, 2);
    expect_right(&table, &result, 0.005, "twice");
    ck_assert_double_gt(result.pair[0].overlap, 0.98);
    align_release(&result);
    clear(&table);
}
END_TEST

START_TEST(any_number_of_threads_gives_the_same_alignment)
{
    struct table table = {.count = 0};
    uint64_t seed = 7;
    for (int i = 0; i < 3; i++)
        put(&table, view(solid_jug, 40 * i, 20, 1, false, (uint64_t)i), &seed);
    struct alignment result[2];
    for (int k = 0; k < 2; k++) {
        struct job job;
        job_init(&job);
        job.threads = 1 + 2 * k;
        ck_assert_int_eq(
            align_find((const struct mesh *const *)table.moved, names, 3, 0, &result[k], &job),
            STATUS_OK);
        job_release(&job);
    }
    ck_assert_uint_eq(result[0].placed, 3);
    ck_assert_mem_eq(result[0].piece, result[1].piece, 3 * sizeof *result[0].piece);
    align_release(&result[0]);
    align_release(&result[1]);
    clear(&table);
}
END_TEST

/* --- what is left out ------------------------------------------------------------------------ */

/* Among two that belong together, one that does not is left out and told why. */
static void expect_left_out(struct mesh *odd, const char *what, const char *why)
{
    struct table table = {.count = 0};
    uint64_t seed = 8;
    put(&table, view(solid_jug, 0, 20, 1.1, false, 1), &seed);
    put(&table, odd, &seed);
    put(&table, view(solid_jug, 50, 20, 1.1, false, 2), &seed);
    struct alignment result = align(&table);
    ck_assert_msg(!result.piece[1].placed, "%s was placed", what);
    ck_assert_msg(result.piece[1].why[0] && strstr(result.piece[1].why, why), "%s: %s", what,
                  result.piece[1].why);
    ck_assert_msg(result.placed == 2, "%s: %zu placed", what, result.placed);
    expect_right(&table, &result, 0.03, what);
    align_release(&result);
    clear(&table);
}

static struct mesh *stretched(struct mesh *mesh, double x, double y, double z)
{
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        *p = (struct point){(float)x * p->x, (float)y * p->y, (float)z * p->z};
    }
    for (size_t t = 0; t < mesh_triangles(mesh) && x * y * z < 0; t++) {
        uint32_t *v = mesh_triangle_edit(mesh)[t].v, w = v[0];
        v[0] = v[1];
        v[1] = w;
    }
    return mesh;
}

static struct mesh *jug_made(double x, double y, double z)
{
    return stretched(view(solid_jug, 30, 20, 1.1, false, 3), x, y, z);
}

static double flat(double x, double y)
{
    (void)x;
    (void)y;
    return 0;
}

static struct mesh *three_points(void)
{
    struct mesh *three = mesh_new(3, 0);
    for (int i = 0; i < 3; i++)
        mesh_point_edit(three)[i] = (struct point){(float)(5 * (i == 1)), (float)(5 * (i == 2)), 0};
    return three;
}

START_TEST(what_does_not_belong_is_left_out)
{
    switch (_i) { /* the first always, the others when FETTLE_LONG is set */
    case 0:
        expect_left_out(three_points(), "a piece of three points", "too little surface");
        break;
    case 1:
        expect_left_out(mesh_new(0, 0), "an empty piece", "too little surface");
        break;
    case 2:
        expect_left_out(jug_made(-1, 1, 1), "a mirrored piece", "mirror image would fit");
        break;
    case 3:
        expect_left_out(jug_made(1.1, 1.1, 1.1), "a scaled piece", "scaled by 0.909");
        break;
    case 4:
        expect_left_out(jug_made(1 / 25.4, 1 / 25.4, 1 / 25.4), "inches", "when scaled by 25.4");
        break;
    case 5:
        expect_left_out(view(solid_ball, 0, 20, 1.1, false, 3), "a ball", "");
        break;
    case 6:
        expect_left_out(view(solid_rod, 0, 0, 1.1, false, 3), "a rod", "");
        break;
    case 7:
        expect_left_out(shape_patch(70, 90, flat), "a plate", "");
        break;
    case 8:
        expect_left_out(view(solid_pebbles, 0, 20, 1.1, false, 3), "another object", "");
        break;
    case 9:
        expect_left_out(view(solid_bracket, 0, 30, 1.1, false, 3), "a bracket", "");
        break;
    case 10:
        expect_left_out(jug_made(0.73, 0.73, 0.73), "a shrunk piece", "by 1.369");
        break;
    default:
        expect_left_out(jug_made(1.01, 1.01, 1.01), "one 1% too large", "by 0.990");
    }
}
END_TEST
enum { BELONG_NOT = 12, BELONG_NOT_QUICK = 5 };

static void expect_none_placed(struct mesh *a, struct mesh *b, const char *why)
{
    struct table table = {.count = 0};
    uint64_t seed = 9;
    put(&table, a, &seed);
    put(&table, b, &seed);
    struct alignment result = align(&table);
    ck_assert_uint_eq(result.placed, 0);
    ck_assert_msg(result.piece[1].why[0] && strstr(result.piece[1].why, why), "%s: %s", why,
                  result.piece[1].why);
    align_release(&result);
    clear(&table);
}

/* A post with four arms and a knob: turned by 90 degrees it is the same. */
static double four_arms(struct vec p)
{
    double d = hypot(hypot(p.x, p.y), p.z - fmin(fmax(p.z, -25), 25)) - 13;
    double along = fmax(fabs(p.x), fabs(p.y)), across = fmin(fabs(p.x), fabs(p.y));
    d = fmin(d, hypot(hypot(fmax(along - 34, 0), across), p.z) - 8);
    return 0.8 * fmin(d, vec_length(vec_sub(p, vec(0, 0, 24))) - 17);
}

/* Balls, rods and plates slide; two pieces of one object that do not overlap have nothing to go by;
 * and what looks the same turned fits in several ways, of which the wrong ones may overlap most:
 * here views 100 degrees apart lie on each other best 10 degrees apart. */
START_TEST(what_nothing_tells_is_not_placed)
{
    switch (_i) { /* as above */
    case 0:
        expect_none_placed(view(solid_ball, 0, 20, 1.5, false, 1),
                           view(solid_ball, 30, 20, 1.5, false, 2), "ball");
        break;
    case 1:
        expect_none_placed(view(solid_rod, 0, 0, 1.5, false, 1),
                           view(solid_rod, 30, 0, 1.5, false, 2), "slide");
        break;
    case 2:
        expect_none_placed(shape_patch(80, 100, flat), shape_patch(60, 80, flat), "nearly flat");
        break;
    case 3:
        expect_none_placed(view(solid_jug, 0, 20, 1.5, false, 1),
                           view(solid_jug, 180, 20, 1.5, false, 2), "");
        break;
    case 4:
        expect_none_placed(view(four_arms, 20, 25, 1.2, false, 1),
                           view(four_arms, 120, 25, 1.2, false, 2), "");
        break;
    default:
        expect_none_placed(view(solid_jug, 0, 20, 0.8, false, 1),
                           view(solid_pebbles, 0, 20, 0.8, false, 1), "");
    }
}
END_TEST
enum { TOLD_BY_NOTHING = 6, TOLD_BY_NOTHING_QUICK = 5 };

START_TEST(none_and_one)
{
    struct alignment result;
    ck_assert_int_eq(align_find(NULL, NULL, 0, 0, &result, NULL), STATUS_OK);
    ck_assert_uint_eq(result.placed, 0);
    align_release(&result);
    struct mesh *ball = shape_sphere(10, 3);
    ck_assert_int_eq(align_find((const struct mesh *const *)&ball, names, 1, 0, &result, NULL),
                     STATUS_OK);
    ck_assert_uint_eq(result.placed, 0);
    align_release(&result);
    mesh_free(ball);
}
END_TEST

/* --- the operation --------------------------------------------------------------------------- */

static enum status run_align(const struct scene *in, struct scene **out, struct job *job)
{
    struct step step;
    ck_assert_int_eq(step_parse("align", &step, job), STATUS_OK);
    enum status status = step_run(&step, in, out, job);
    step_release(&step);
    return status;
}

START_TEST(the_operation)
{
    struct table table = {.count = 0};
    struct scene *in = scene_new(), *out;
    struct job job;
    job_init(&job);
    uint64_t seed = 12;
    put(&table, view(solid_jug, 0, 20, 1.1, false, 1), &seed);
    put(&table, view(solid_ball, 50, 20, 1.5, false, 2), &seed);
    put(&table, view(solid_jug, 40, 20, 1.1, false, 2), &seed);
    for (size_t i = 0; i < 3; i++)
        ck_assert_int_eq(scene_add(in, piece_new(mesh_share(table.moved[i]), names[i]), NULL),
                         STATUS_OK);
    ck_assert_msg(run_align(in, &out, &job) == STATUS_OK, "%s", job.message);
    ck_assert_ptr_nonnull(strstr(job.notes, "2 of 3 pieces placed; one stays where it is"));
    ck_assert_ptr_nonnull(strstr(job.notes, "three on one: fits; overlap "));
    ck_assert_ptr_nonnull(strstr(job.notes, "left out: two: "));
    ck_assert_ptr_eq(out->piece[0]->mesh, in->piece[0]->mesh);
    ck_assert_ptr_eq(out->piece[1]->mesh, in->piece[1]->mesh);
    ck_assert_ptr_ne(out->piece[2]->mesh, in->piece[2]->mesh);
    scene_free(out);
    scene_remove(in, 2);
    ck_assert_int_eq(run_align(in, &out, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(
        strstr(job.message, "no two pieces could be placed with confidence (one: "));
    job_forgive(&job);
    ck_assert_int_eq(scene_hide(in, 1, true, NULL), STATUS_OK);
    ck_assert_int_eq(run_align(in, &out, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "only one piece"));
    job_release(&job);
    scene_free(in);
    clear(&table);
}
END_TEST

START_TEST(a_cancelled_alignment)
{
    struct job job;
    struct alignment result;
    job_init(&job);
    job.cancel = true;
    struct mesh *some[2] = {view(solid_jug, 0, 20, 1.5, false, 1),
                            view(solid_jug, 30, 20, 1.5, false, 1)};
    ck_assert_int_eq(align_find((const struct mesh *const *)some, names, 2, 0, &result, &job),
                     STATUS_CANCELLED);
    align_release(&result);
    job_release(&job);
    mesh_free(some[0]);
    mesh_free(some[1]);
}
END_TEST

START_TEST(cancel_is_answered_soon)
{
    struct mesh *some[3] = {view(solid_jug, 0, 20, 0.5, false, 1),
                            view(solid_jug, 60, 20, 0.5, true, 2),
                            view(solid_bracket, 0, 20, 0.5, false, 3)};
    struct alignment result;
    struct job job;
    struct cancelling c = {.job = &job, .from = 0.02 + 0.12 * _i};
    while (cancelling_again(&c)) {
        ck_assert_int_eq(align_find((const struct mesh *const *)some, names, 3, 0, &result, &job),
                         STATUS_CANCELLED);
        align_release(&result);
    }
    for (int i = 0; i < 3; i++)
        mesh_free(some[i]);
}
END_TEST

Suite *suite_align(void)
{
    Suite *suite = suite_create("align");
    TCase *placed = tcase_create("placed"), *left = tcase_create("left out");
    TCase *operation = tcase_create("operation"), *cancel = tcase_create("cancel");
    tcase_set_timeout(placed, take_long() ? 3600 : 300);
    tcase_set_timeout(left, take_long() ? 3600 : 300);
    tcase_set_timeout(operation, 300);
    tcase_set_timeout(cancel, 300);
    tcase_add_loop_test(placed, four_views_come_together, 0, take_long() ? OBJECTS : QUICK);
    tcase_add_test(placed, of_twenty_objects_nineteen_come_whole);
    tcase_add_test(placed, locked_pieces_stay_as_they_lie);
    if (take_long())
        tcase_add_test(placed, sweep);
    tcase_add_test(placed, meshes_clouds_and_strays_mix);
    tcase_add_test(placed, the_same_piece_twice);
    tcase_add_test(placed, any_number_of_threads_gives_the_same_alignment);
    tcase_add_loop_test(left, what_does_not_belong_is_left_out, 0,
                        take_long() ? BELONG_NOT : BELONG_NOT_QUICK);
    tcase_add_loop_test(left, what_nothing_tells_is_not_placed, 0,
                        take_long() ? TOLD_BY_NOTHING : TOLD_BY_NOTHING_QUICK);
    tcase_add_test(left, none_and_one);
    tcase_add_test(operation, the_operation);
    tcase_add_test(cancel, a_cancelled_alignment);
    tcase_add_loop_test(cancel, cancel_is_answered_soon, 0, 8);
    suite_add_tcase(suite, placed);
    suite_add_tcase(suite, left);
    suite_add_tcase(suite, operation);
    suite_add_tcase(suite, cancel);
    return suite;
}
