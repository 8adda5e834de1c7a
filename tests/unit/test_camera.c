#include <check.h>
#include <stdlib.h>

#include "raster/camera.h"
#include "tests/support/shapes.h"

static void near(struct vec a, struct vec b, double within)
{
    ck_assert_msg(vec_length(vec_sub(a, b)) <= within, "(%g %g %g) is not (%g %g %g)", a.x, a.y,
                  a.z, b.x, b.y, b.z);
}

/* Right, up and towards the viewer, by what the header says of each side. */
START_TEST(sides)
{
    static const struct {
        enum camera_side side;
        double right[3], up[3], toward[3];
    } want[] = {
        {CAMERA_FRONT, {1, 0, 0}, {0, 0, 1}, {0, -1, 0}},
        {CAMERA_BACK, {-1, 0, 0}, {0, 0, 1}, {0, 1, 0}},
        {CAMERA_LEFT, {0, -1, 0}, {0, 0, 1}, {-1, 0, 0}},
        {CAMERA_RIGHT, {0, 1, 0}, {0, 0, 1}, {1, 0, 0}},
        {CAMERA_TOP, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
        {CAMERA_BOTTOM, {1, 0, 0}, {0, -1, 0}, {0, 0, -1}},
    };
    struct camera camera;
    camera_frame(&camera, vec(0, 0, 0), vec(1, 1, 1), 1);
    struct vec right, up, toward;
    camera_look(&camera, want[_i].side);
    camera_axes(&camera, &right, &up, &toward);
    near(right, vec(want[_i].right[0], want[_i].right[1], want[_i].right[2]), 1e-6);
    near(up, vec(want[_i].up[0], want[_i].up[1], want[_i].up[2]), 1e-6);
    near(toward, vec(want[_i].toward[0], want[_i].toward[1], want[_i].toward[2]), 1e-6);
}
END_TEST

START_TEST(corner_is_front_right_above)
{
    struct camera camera;
    camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    struct vec toward, up;
    camera_axes(&camera, NULL, &up, &toward);
    ck_assert(toward.x > 0.2 && toward.y < -0.2 && toward.z > 0.2);
    ck_assert(up.z > 0.5);
}
END_TEST

/* The near side goes where the header says. */
START_TEST(turning)
{
    struct camera camera;
    camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    camera_look(&camera, CAMERA_FRONT);
    struct vec nearest = vec(0, -1, 0), at;
    struct camera turned = camera;
    camera_turn(&turned, 0.1, 0, 0);
    ck_assert(camera_project(&turned, 100, 100, 1, nearest, &at));
    ck_assert_double_gt(at.x, 51);
    ck_assert_double_eq_tol(at.y, 50, 1e-3);
    turned = camera;
    camera_turn(&turned, 0, 0.1, 0);
    ck_assert(camera_project(&turned, 100, 100, 1, nearest, &at));
    ck_assert_double_lt(at.y, 49);
    ck_assert_double_eq_tol(at.x, 50, 1e-3);
    turned = camera;
    camera_turn(&turned, 0, 0, 0.1);
    ck_assert(camera_project(&turned, 100, 100, 1, vec(0, 0, 1), &at)); /* the top */
    ck_assert_double_gt(at.x, 51);
    /* A full round in many small steps comes back. */
    turned = camera;
    for (int i = 0; i < 3600; i++)
        camera_turn(&turned, 2 * 3.14159265358979 / 3600, 0, 0);
    struct vec toward;
    camera_axes(&turned, NULL, NULL, &toward);
    near(toward, vec(0, -1, 0), 1e-3);
}
END_TEST

START_TEST(moving)
{
    struct camera camera;
    camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    struct vec was, is;
    ck_assert(camera_project(&camera, 200, 100, 1, vec(0.3, 0.2, 0.1), &was));
    camera_pan(&camera, 0.25, 0.5);
    ck_assert(camera_project(&camera, 200, 100, 1, vec(0.3, 0.2, 0.1), &is));
    ck_assert_double_eq_tol(is.x - was.x, 25, 1e-4);
    ck_assert_double_eq_tol(is.y - was.y, -50, 1e-4);
    double height = camera.height;
    camera_zoom(&camera, 2);
    ck_assert_double_eq_tol(camera.height, height / 2, 1e-12);
    ck_assert_double_eq_tol(camera_sample_size(&camera, 100), height / 200, 1e-12);
    camera_zoom(&camera, 1e300);
    camera_zoom(&camera, 1e300);
    ck_assert(camera.height > 0);
    camera_zoom(&camera, 0); /* refused */
    camera_zoom(&camera, 1e-300);
    ck_assert(isfinite(camera.height));
}
END_TEST

/* From the corner the part is seen from above, a little more of its front than of its side. */
START_TEST(the_corner)
{
    struct camera camera;
    struct vec toward, up;
    camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    camera_axes(&camera, NULL, &up, &toward);
    ck_assert_double_gt(toward.x, 0.4);
    ck_assert_double_gt(-toward.y, toward.x);
    ck_assert_double_gt(toward.z, 0.4);
    ck_assert_double_gt(up.z, 0.7);
}
END_TEST

/* Round it to either hand, from the corner and from a side itself; from above to the front. */
START_TEST(sides_follow_one_another)
{
    static const enum camera_side right[] = {CAMERA_RIGHT, CAMERA_BACK, CAMERA_LEFT, CAMERA_FRONT,
                                             CAMERA_RIGHT};
    static const enum camera_side left[] = {CAMERA_FRONT, CAMERA_LEFT, CAMERA_BACK, CAMERA_RIGHT,
                                            CAMERA_FRONT};
    for (int way = -1; way <= 1; way += 2) {
        struct camera camera;
        camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
        for (int i = 0; i < 5; i++) {
            enum camera_side side = camera_next_side(&camera, way);
            ck_assert_int_eq(side, way > 0 ? right[i] : left[i]);
            camera_look(&camera, side);
        }
        camera_look(&camera, CAMERA_TOP);
        ck_assert_int_eq(camera_next_side(&camera, way), CAMERA_FRONT);
    }
}
END_TEST

/* Every corner of the box is in the picture, and the picture is not much too large. */
START_TEST(fitting)
{
    static const double aspects[] = {1, 2.5, 0.4};
    struct vec min = vec(-3, 10, 1000), max = vec(20, 12, 1007);
    for (int perspective = 0; perspective < 2; perspective++)
        for (int side = 0; side < CAMERA_SIDES; side++) {
            struct camera camera;
            double most = 0;
            int width = (int)(400 * aspects[_i]);
            camera_frame(&camera, min, max, aspects[_i]);
            camera.perspective = perspective;
            camera_look(&camera, (enum camera_side)side);
            camera_fit(&camera, min, max, aspects[_i]);
            for (int i = 0; i < 8; i++) {
                struct vec at, corner = vec(i & 1 ? min.x : max.x, i & 2 ? min.y : max.y,
                                            i & 4 ? min.z : max.z);
                ck_assert(camera_project(&camera, width, 400, 1, corner, &at));
                ck_assert(at.x >= 0 && at.x <= width && at.y >= 0 && at.y <= 400);
                most = fmax(most, fmax(fabs(at.x / width - 0.5), fabs(at.y / 400 - 0.5)));
            }
            ck_assert_double_gt(most, 0.42);
        }
}
END_TEST

START_TEST(nothing_to_fit)
{
    struct camera camera;
    camera_frame(&camera, vec(5, 5, 5), vec(5, 5, 5), 1);
    ck_assert_double_eq(camera.height, 1);
    camera_frame(&camera, vec(0, 0, 0), vec(INFINITY, 0, 0), 1);
    ck_assert(isfinite(camera.height) && camera.height > 0);
}
END_TEST

/* A ray through where a point is seen meets the point, far from zero too. */
START_TEST(rays)
{
    static const double base[] = {0, 1e7};
    for (int perspective = 0; perspective < 2; perspective++)
        for (int b = 0; b < 2; b++) {
            struct vec min = vec(base[b] - 50, -base[b] - 40, base[b] - 30);
            struct vec max = vec(base[b] + 50, -base[b] + 40, base[b] + 30);
            struct vec p = vec(base[b] + 13.7, -base[b] - 31.2, base[b] + 5.5), at, from, along;
            struct camera camera;
            camera_frame(&camera, min, max, 1.5);
            camera.perspective = perspective;
            camera_fit(&camera, min, max, 1.5);
            camera_turn(&camera, 0.3, -0.2, 0.1);
            ck_assert(camera_project(&camera, 360, 480, 2, p, &at));
            camera_ray(&camera, 360, 480, 2, at.x, at.y, &from, &along);
            ck_assert_double_eq_tol(vec_length(along), 1, 1e-12);
            struct vec off = vec_cross(vec_sub(p, from), along);
            ck_assert_double_le(vec_length(off), 1e-4); /* 1e-6 of the picture's height */
        }
}
END_TEST

START_TEST(behind_the_viewer)
{
    struct camera camera;
    struct vec toward, at;
    camera_frame(&camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    camera.perspective = true;
    camera_axes(&camera, NULL, NULL, &toward);
    ck_assert(!camera_project(&camera, 10, 10, 1, vec_scale(toward, 100), &at));
    ck_assert(camera_project(&camera, 10, 10, 1, vec_scale(toward, -100), &at));
    ck_assert_double_eq_tol(at.z, 100, 1e-4);
}
END_TEST

/* What it zooms about stays where it is seen, in perspective too, and the zoom is undone exactly.
 */
START_TEST(zooming_about_a_place)
{
    struct camera camera;
    struct vec about = vec(3, -7, 5), before, after, back;
    camera_frame(&camera, vec(-10, -20, -30), vec(15, 10, 5), 1.3);
    camera.perspective = _i;
    camera_turn(&camera, 0.3, 0.2, 0.1);
    ck_assert(camera_project(&camera, 400, 300, 0.5, about, &before));
    struct camera was = camera;
    camera_zoom_about(&camera, 3, about);
    ck_assert_double_eq_tol(camera.height, was.height / 3, 1e-12 * was.height);
    ck_assert(camera_project(&camera, 400, 300, 0.5, about, &after));
    near(vec(after.x, after.y, 0), vec(before.x, before.y, 0), 1e-9);
    camera_zoom_about(&camera, 1 / 3.0, about);
    ck_assert(camera_project(&camera, 400, 300, 0.5, about, &back));
    near(camera.centre, was.centre, 1e-9);
}
END_TEST

START_TEST(axes_are_set)
{
    uint64_t state = 7;
    for (int i = 0; i < 200; i++) {
        struct camera camera, other;
        struct vec axis[3], now[3];
        camera_frame(&camera, vec(0, 0, 0), vec(1, 1, 1), 1);
        other = camera;
        for (int k = 0; k < 3; k++)
            camera_turn(&camera, 7 * shape_random(&state), 7 * shape_random(&state),
                        7 * shape_random(&state));
        camera_axes(&camera, &axis[0], &axis[1], &axis[2]);
        camera_set_axes(&other, axis[0], axis[1], axis[2]);
        camera_axes(&other, &now[0], &now[1], &now[2]);
        for (int k = 0; k < 3; k++)
            near(now[k], axis[k], 1e-5); /* floats inside */
    }
}
END_TEST

Suite *suite_camera(void);
Suite *suite_camera(void)
{
    Suite *suite = suite_create("camera");
    TCase *tests = tcase_create("camera");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, sides, 0, 6);
    tcase_add_test(tests, corner_is_front_right_above);
    tcase_add_test(tests, turning);
    tcase_add_test(tests, moving);
    tcase_add_test(tests, the_corner);
    tcase_add_test(tests, sides_follow_one_another);
    tcase_add_loop_test(tests, fitting, 0, 3);
    tcase_add_test(tests, nothing_to_fit);
    tcase_add_test(tests, rays);
    tcase_add_test(tests, behind_the_viewer);
    tcase_add_loop_test(tests, zooming_about_a_place, 0, 2);
    tcase_add_test(tests, axes_are_set);
    suite_add_tcase(suite, tests);
    return suite;
}
