/* Locked pieces, and pieces put back to the pose their file has. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

Suite *suite_lock(void);

static struct scene *two_boxes(void)
{
    return steps_pair(shape_box(30, 20, 10, 4), shape_box(30, 20, 10, 4));
}

/* --- lock ------------------------------------------------------------------------------------ */

/* What moves pieces as a whole, each of two of which one is locked. */
static const char *const moves[] = {
    "move 5,0,0", "turn by=30", "scale by=2", "mirror x",
    "centre",     "stand",      "put-back",   "pairs at=0,0,0:1,0,0;9,0,0:10,0,0;0,9,0:1,9,0",
    "fit"};

START_TEST(a_locked_piece_is_not_moved)
{
    struct scene *scene = steps_after(two_boxes(), "move 3,0,0 piece=2");
    scene = steps_after(scene, "lock 2");
    ck_assert(scene->piece[1]->locked && !scene->piece[0]->locked);
    steps_refused(scene, moves[_i], "piece 2 is locked; unlock it first");
    scene = steps_after(scene, "unlock 2");
    scene_free(steps_after(scene, moves[_i]));
}
END_TEST

/* The other one may move, also onto the locked one; what changes the shape may too. */
START_TEST(lock_holds_the_pose_only)
{
    struct scene *scene = steps_after(two_boxes(), "lock 1");
    scene = steps_after(scene, "fit moving=2 fixed=1");
    scene = steps_after(scene, "move 3,0,0 piece=2");
    scene = steps_after(scene, "cut through=0,0,5 piece=1");
    ck_assert(scene->piece[0]->locked); /* and stays locked through it */
    steps_refused(scene, "move 1,0,0 piece=1", "piece 1 is locked");
    scene = steps_after(scene, "lock all");
    steps_refused(scene, "align", "all pieces are locked");
    scene = steps_after(scene, "unlock all");
    ck_assert(!scene->piece[0]->locked && !scene->piece[1]->locked);
    scene_free(scene);
}
END_TEST

/* --- put-back -------------------------------------------------------------------------------- */

/* The largest distance between points of the same number, of b scaled and shifted. */
static double apart(const struct mesh *a, const struct mesh *b, double scale, struct vec shift)
{
    double most = 0;
    ck_assert_uint_eq(mesh_vertices(a), mesh_vertices(b));
    for (size_t v = 0; v < mesh_vertices(a); v++) {
        struct vec p = mesh_world(a, point_vec(mesh_point(a)[v]));
        struct vec q = mesh_world(b, point_vec(mesh_point(b)[v]));
        most = fmax(most, vec_length(vec_sub(p, vec_along(shift, scale, q))));
    }
    return most;
}

START_TEST(all_moves_are_taken_back)
{
    static const char *const lines[] = {"move 13,-7,200 piece=2",
                                        "turn 77 axis=1,2,3 piece=2",
                                        "stand on=15,10,-5 piece=2",
                                        "centre piece=2",
                                        "pairs at=0,0,0:1,0,0;9,0,0:1,9,0;0,9,0:-8,0,0",
                                        "turn -20 axis=x about=100,100,100 piece=2"};
    struct scene *scene = two_boxes();
    struct mesh *was = mesh_share(scene->piece[1]->mesh);
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        scene = steps_after(scene, lines[i]);
    ck_assert_double_gt(apart(scene->piece[1]->mesh, was, 1, vec(0, 0, 0)), 1);
    scene = steps_after(scene, "put-back 2");
    /* six moves within 250 mm: each rounds by up to 2^-24 of that along each axis */
    ck_assert_double_lt(apart(scene->piece[1]->mesh, was, 1, vec(0, 0, 0)),
                        7 * 250 * 1.8 / (1 << 24));
    struct rigid rest = rigid_rest();
    ck_assert_mem_eq(&scene->piece[1]->pose, &rest, sizeof rest);
    scene = steps_after(scene, "put-back 2"); /* nothing is left to do */
    mesh_free(was);
    scene_free(scene);
}
END_TEST

/* A scaled piece goes back scaled: about that point of its file which lay at the world's zero when
 * it was scaled there, here -50,-60,-70. */
START_TEST(what_changes_the_shape_stays)
{
    struct scene *scene = two_boxes();
    struct mesh *was = mesh_share(scene->piece[0]->mesh);
    scene = steps_after(scene, "move 50,60,70 piece=1");
    scene = steps_after(scene, "turn 90 about=0,0,0 piece=1");
    scene = steps_after(scene, "scale by=3 piece=1");
    scene = steps_after(scene, "put-back 1");
    ck_assert_double_lt(apart(scene->piece[0]->mesh, was, 3, vec(100, 120, 140)), 1e-4);
    mesh_free(was);
    scene_free(scene);
}
END_TEST

/* Far from zero (a survey's metres, in mm) the way back is as exact as the way there. */
START_TEST(far_pieces_come_back)
{
    struct scene *scene = two_boxes();
    const double far[3] = {4.5e9, -5.3e9, 1e6};
    for (int k = 0; k < 3; k++)
        scene->piece[0]->mesh->origin[k] = far[k];
    struct mesh *was = mesh_share(scene->piece[0]->mesh);
    scene = steps_after(scene, "turn 33 piece=1");
    scene = steps_after(scene, "move 1000,0,0 piece=1");
    scene = steps_after(scene, "put-back 1");
    ck_assert_double_lt(apart(scene->piece[0]->mesh, was, 1, vec(0, 0, 0)), 1e-4);
    mesh_free(was);
    scene_free(scene);
}
END_TEST

Suite *suite_lock(void)
{
    Suite *suite = suite_create("lock");
    TCase *tests = tcase_create("lock");
    tcase_set_timeout(tests, 30);
    tcase_add_loop_test(tests, a_locked_piece_is_not_moved, 0, sizeof moves / sizeof *moves);
    tcase_add_test(tests, lock_holds_the_pose_only);
    tcase_add_test(tests, all_moves_are_taken_back);
    tcase_add_test(tests, what_changes_the_shape_stays);
    tcase_add_test(tests, far_pieces_come_back);
    suite_add_tcase(suite, tests);
    return suite;
}
