#include <check.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "raster/png.h"
#include "tests/support/shapes.h"

enum { WIDTH = 120, HEIGHT = 90 };

static struct picture drawn(const struct raster_view *view, bool white)
{
    struct picture picture;
    ck_assert_int_eq(picture_draw(view, WIDTH, HEIGHT, white, &picture, NULL), STATUS_OK);
    ck_assert_int_eq(picture.width, WIDTH);
    ck_assert_int_eq(picture.height, HEIGHT);
    return picture;
}

static struct raster_view view_of(const struct raster_piece *piece)
{
    struct raster_view view = {.piece = piece, .pieces = 1};
    camera_frame(&view.camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    camera_look(&view.camera, CAMERA_FRONT);
    view.camera.centre = vec(0, 0, 0);
    view.camera.height = 120;
    return view;
}

static const uint8_t *at(const struct picture *picture, int x, int y)
{
    return picture->pixel + 3 * (y * picture->width + x);
}

/* The file as libpng's own reader sees it. */
START_TEST(read_back)
{
    struct mesh *mesh = shape_sphere(50, 4);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 100, 50}};
    struct raster_view view = view_of(&piece);
    struct picture picture = drawn(&view, _i);
    uint8_t *bytes = NULL;
    size_t size = 0;
    ck_assert_int_eq(png_from_picture(&picture, &bytes, &size, NULL), STATUS_OK);
    png_image png;
    memset(&png, 0, sizeof png);
    png.version = PNG_IMAGE_VERSION;
    ck_assert(png_image_begin_read_from_memory(&png, bytes, size));
    ck_assert_uint_eq(png.width, WIDTH);
    ck_assert_uint_eq(png.height, HEIGHT);
    ck_assert_uint_eq(png.format, PNG_FORMAT_RGB);
    uint8_t *pixel = malloc(PNG_IMAGE_SIZE(png));
    ck_assert(png_image_finish_read(&png, NULL, pixel, 0, NULL));
    ck_assert_mem_eq(pixel, picture.pixel, 3 * WIDTH * HEIGHT);
    free(pixel);
    free(bytes);
    free(picture.pixel);
    mesh_free(mesh);
}
END_TEST

START_TEST(what_it_shows)
{
    struct mesh *mesh = shape_sphere(50, 4);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 100, 50}};
    struct raster_view view = view_of(&piece);
    struct picture picture = drawn(&view, _i);
    for (int k = 0; k < 3; k++)
        ck_assert_int_eq(at(&picture, 2, 2)[k], _i ? 255 : 18);
    const uint8_t *lit = at(&picture, 50, 35), *dark = at(&picture, 75, 65);
    ck_assert(lit[0] > 150 && lit[1] > 70 && lit[1] < 101 && lit[2] < 51); /* its own hue */
    ck_assert_int_lt(dark[0], lit[0] - 60);
    /* The rim is soft: some pixel on the way out lies between surface and ground. */
    int between = 0;
    for (int x = 88; x < 108; x++) {
        int sum = at(&picture, x, 45)[0] + at(&picture, x, 45)[1] + at(&picture, x, 45)[2];
        int ground = _i ? 765 : 54,
            in = at(&picture, 92, 45)[0] + at(&picture, 92, 45)[1] + at(&picture, 92, 45)[2];
        between += (sum > ground + 8 && sum < in - 8) || (sum < ground - 8 && sum > in + 8);
    }
    if (_i)
        ck_assert_int_ge(between, 1);
    free(picture.pixel);
    mesh_free(mesh);
}
END_TEST

START_TEST(marks_and_scale)
{
    struct mesh *mesh = shape_sphere(50, 3);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    struct raster_mark mark = {vec(0, -50, 0), 0, '1', true};
    view.mark = &mark;
    view.marks = 1;
    view.axes = view.scale_bar = true;
    struct picture picture = drawn(&view, true), again = drawn(&view, true);
    ck_assert_mem_eq(at(&picture, 60 - 8, 45), raster_swatch(SWATCH_CHOSEN), 3);
    int bar = 0; /* black pixels in the bar's row: 30 pixels are 40 mm, so 20 mm are 15 */
    for (int x = 80; x < WIDTH; x++)
        bar += at(&picture, x, HEIGHT - 40)[0] == 0;
    ck_assert_int_eq(bar, 15);
    ck_assert_mem_eq(picture.pixel, again.pixel, 3 * WIDTH * HEIGHT);
    free(picture.pixel);
    free(again.pixel);
    mesh_free(mesh);
}
END_TEST

START_TEST(refused)
{
    struct raster_view view = view_of(NULL);
    struct picture picture;
    struct job job;
    view.pieces = 0;
    job_init(&job);
    ck_assert_int_eq(picture_draw(&view, 0, 10, true, &picture, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "0 x 10"));
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(picture_draw(&view, 10, 10, true, &picture, &job), STATUS_CANCELLED);
    ck_assert_int_eq(picture_draw(&view, 10, 10, true, &picture, NULL), STATUS_OK);
    for (int i = 0; i < 300; i++)
        ck_assert_int_eq(picture.pixel[i], 255);
    free(picture.pixel);
}
END_TEST

Suite *suite_png(void);
Suite *suite_png(void)
{
    Suite *suite = suite_create("png");
    TCase *tests = tcase_create("png");
    tcase_set_timeout(tests, 30);
    tcase_add_loop_test(tests, read_back, 0, 2);
    tcase_add_loop_test(tests, what_it_shows, 0, 2);
    tcase_add_test(tests, marks_and_scale);
    tcase_add_test(tests, refused);
    suite_add_tcase(suite, tests);
    return suite;
}
