#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/pictures.h"
#include "tests/support/shapes.h"

/* --- sides, colours, light --------------------------------------------------------------- */

static bool lid(const struct mesh *mesh, size_t t)
{
    const struct triangle *triangle = &mesh_triangle(mesh)[t];
    for (int k = 0; k < 3; k++)
        if (mesh_point(mesh)[triangle->v[k]].z < 10)
            return false;
    return true;
}

START_TEST(backs_are_told)
{
    struct mesh *box = shape_box(10, 10, 10, 4), *open = shape_without(box, lid);
    struct raster_piece piece = picture_grey(open);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(5, 5, 5), 20);
    struct image *image = picture_of(&view, 100, 100);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE | KIND_BACK), 50 * 50);
    size_t middle = 50 * 100 + 50;
    ck_assert_mem_eq(image->colour[middle], raster_swatch(SWATCH_BACK), 3);
    image_free(image);
    mesh_free(open);
    mesh_free(box);
}
END_TEST

START_TEST(paints)
{
    struct mesh *mesh = shape_patch(10, 2, NULL);
    uint8_t(*colour)[4] = (uint8_t(*)[4])mesh_attribute_new(mesh, ATTRIBUTE_colour);
    uint8_t *origin = mesh_attribute_new(mesh, ATTRIBUTE_origin);
    for (size_t i = 0; i < mesh_vertices(mesh); i++) {
        colour[i][0] = (uint8_t)(20 * mesh_point(mesh)[i].x);
        colour[i][1] = 50;
        colour[i][2] = colour[i][3] = 255;
    }
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        origin[t] = (uint8_t)(t % 3);
    struct raster_piece piece = {.mesh = mesh, .tint = {10, 20, 30}};
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(5, 5, 0), 10);
    static const uint8_t tint[3] = {10, 20, 30};
    struct image *image = picture_of(&view, 100, 100);
    for (int x = 0; x < 100; x++) { /* red rises evenly from 0 to 200 */
        ck_assert_int_le(abs(image->colour[3000 + x][0] - (2 * x + 1)), 1);
        ck_assert_int_eq(image->colour[3000 + x][1], 50);
    }
    image_free(image);
    view.paint = PAINT_PLAIN;
    image = picture_of(&view, 100, 100);
    ck_assert_mem_eq(image->colour[5050], tint, 3);
    image_free(image);
    view.paint = PAINT_ORIGIN;
    image = picture_of(&view, 100, 100);
    for (int i = 0; i < 100 * 100; i++) {
        uint32_t t;
        ck_assert(image_pick(image, i % 100, i / 100, NULL, &t, NULL));
        ck_assert_mem_eq(image->colour[i], raster_swatch((enum swatch)(SWATCH_MEASURED + t % 3)),
                         3);
        ck_assert_int_eq((image->kind[i] & KIND_INVENTED) != 0, t % 3 == 1);
        ck_assert_int_eq((image->kind[i] & KIND_MADE) != 0, t % 3 == 2);
    }
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(smooth_and_flat)
{
    struct mesh *mesh = shape_sphere(50, 1); /* 80 triangles */
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_FRONT, vec(0, 0, 0), 110);
    struct image *smooth = picture_of(&view, 200, 200);
    view.shade = SHADE_FLAT;
    struct image *flat = picture_of(&view, 200, 200);
    /* Neighbours on one facet face the same way when flat, and hardly ever when smooth. */
    size_t same = 0, all = 0;
    for (int i = 0; i < 200 * 200; i++) {
        int x = i % 200, y = i / 200;
        uint32_t t, u;
        if (!image_pick(flat, x, y, NULL, &t, NULL) ||
            !image_pick(flat, x + 1, y, NULL, &u, NULL) || t != u)
            continue;
        size_t at = image_at(flat, x, y);
        all++;
        for (int k = 0; k < 3; k++)
            ck_assert_int_eq(flat->facing[k][at], flat->facing[k][at + 1]);
        same += smooth->facing[0][at] == smooth->facing[0][at + 1];
    }
    ck_assert_uint_gt(all, 20000);
    ck_assert_uint_lt(same, all / 100);
    image_free(smooth);
    image_free(flat);
    mesh_free(mesh);
}
END_TEST

static double mean_light(const struct image *image, int x0, int y0, int x1, int y1)
{
    double sum = 0, count = 0;
    for (int y = y0; y < y1; y++)
        for (int x = x0; x < x1; x++) {
            size_t i = (size_t)y * (size_t)image->width + (size_t)x;
            sum += image->kind[i] ? image->light[i] : 0;
            count += image->kind[i] != 0;
        }
    return count > 0 ? sum / count : 0;
}

START_TEST(light_comes_from_the_upper_left)
{
    struct mesh *mesh = shape_sphere(50, 5);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_RIGHT, vec(0, 0, 0), 100);
    struct image *image = picture_of(&view, 200, 200);
    double upper_left = mean_light(image, 40, 40, 80, 80);
    double upper_right = mean_light(image, 120, 40, 160, 80);
    double lower_right = mean_light(image, 120, 120, 160, 160);
    ck_assert_double_gt(upper_left, upper_right + 30);
    ck_assert_double_gt(upper_right, lower_right + 20);
    ck_assert_double_gt(upper_left, 200);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

static double dents(double x, double y)
{
    double pit = hypot(x - 30, y - 50), bump = hypot(x - 70, y - 50);
    return (pit < 4 ? -2 * cos(pit * 3.14159265 / 8) : 0) +
           (bump < 4 ? 2 * cos(bump * 3.14159265 / 8) : 0);
}

/* Lit alike from one side, a pit is told from a bump by the relief. */
START_TEST(pits_are_darker_than_bumps)
{
    struct mesh *mesh = shape_patch(100, 400, dents);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(50, 50, 0), 100);
    struct image *image = picture_of(&view, 200, 200);
    double pit = mean_light(image, 57, 97, 64, 104), bump = mean_light(image, 137, 97, 144, 104);
    double plain = mean_light(image, 95, 95, 106, 106);
    ck_assert_double_lt(pit, plain - 25);
    ck_assert_double_gt(bump, plain + 15);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* --- cut, marks -------------------------------------------------------------------------- */

START_TEST(cut_preview)
{
    struct mesh *mesh = shape_sphere(50, 5);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_FRONT, vec(0, 0, 0), 100);
    view.cut = true;
    view.cut_normal = vec(0.36, 0.48, 0.8);
    view.cut_offset = 10;
    struct image *image = picture_of(&view, 200, 200);
    size_t line = 0;
    for (int i = 0; i < 200 * 200; i++) {
        struct vec at;
        if (!image_pick(image, i % 200, i / 200, NULL, NULL, &at))
            continue;
        double over = vec_dot(at, view.cut_normal) - 10;
        if (fabs(over) > 1e-3)
            ck_assert_int_eq((image->kind[i] & KIND_GOING) != 0, over < 0);
        if (image->kind[i] & KIND_SECTION) {
            line++;
            ck_assert_double_lt(fabs(over), 1.5); /* three samples: the surface may be steep */
        }
    }
    ck_assert_uint_gt(line, 90);
    ck_assert_uint_lt(line, 600);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(marks)
{
    struct mesh *mesh = shape_sphere(50, 4);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_FRONT, vec(0, 0, 0), 120);
    struct raster_mark mark[] = {
        {vec(0, -50, 0), 0, 'a', false},  /* before */
        {vec(0, 50, 0), 0, 'b', false},   /* behind: not drawn */
        {vec(10, 50, 0), 5, 'c', true},   /* behind, chosen: drawn as hidden */
        {vec(500, -50, 0), 0, 'd', true}, /* out of the picture */
        {vec(0, -30, 40), 20, 'e', true}, /* on the surface: ringed */
    };
    view.mark = mark;
    view.marks = 5;
    struct image *image = picture_of(&view, 240, 240);
    ck_assert_uint_eq(image->marks, 3);
    ck_assert_int_eq(image->mark[0].glyph, 'a');
    ck_assert_double_eq_tol(image->mark[0].x, 120, 1e-3);
    ck_assert(!image->mark[0].hidden && !image->mark[0].chosen);
    ck_assert_int_eq(image->mark[1].glyph, 'c');
    ck_assert(image->mark[1].hidden);
    ck_assert_int_eq(image->mark[2].glyph, 'e');
    ck_assert(!image->mark[2].hidden);
    ck_assert_double_eq_tol(image->mark[2].ring, 40, 1e-3);
    /* The ring of 40 samples about (120, 40). */
    ck_assert(image->kind[40 * 240 + 160] & KIND_LINE || image->kind[40 * 240 + 159] & KIND_LINE);
    ck_assert(!(image->kind[40 * 240 + 120] & KIND_LINE));
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* --- clouds ------------------------------------------------------------------------------ */

START_TEST(cloud)
{
    struct mesh *ball = shape_sphere(50, 6), *mesh = mesh_new(mesh_vertices(ball), 0);
    memcpy(mesh_point_edit(mesh), mesh_point(ball), mesh_vertices(ball) * sizeof(struct point));
    struct raster_piece piece = picture_grey(mesh);
    for (int perspective = 0; perspective < 2; perspective++) {
        struct raster_view view = picture_view(&piece, 1, CAMERA_CORNER, vec(0, 0, 0), 120);
        view.camera.perspective = perspective;
        struct image *image = picture_of(&view, 240, 240);
        /* Closed: no hole within the disc, and hardly anything beyond it. */
        size_t inside = 0, outside = 0, missing = 0;
        double radius = perspective ? 104 : 100, sure = 94;
        for (int i = 0; i < 240 * 240; i++) {
            double far = hypot(i % 240 - 119.5, i / 240 - 119.5);
            bool is = image->kind[i] & KIND_SURFACE;
            inside += far < sure;
            missing += far < sure && !is;
            outside += far > radius + 6 && is;
        }
        ck_assert_uint_eq(missing, 0);
        ck_assert_uint_eq(outside, 0);
        ck_assert_uint_gt(inside, 25000);
        uint32_t v;
        struct vec at;
        ck_assert(image_pick(image, 120, 120, NULL, &v, &at));
        ck_assert_uint_lt(v, mesh_vertices(mesh));
        struct vec off = vec_sub(at, point_vec(mesh_point(mesh)[v]));
        ck_assert_double_lt(vec_length(off), 2); /* the splat's own size */
        ck_assert_double_gt(mean_light(image, 75, 75, 100, 100),
                            mean_light(image, 140, 140, 165, 165) + 30);
        image_free(image);
    }
    mesh_free(mesh);
    mesh_free(ball);
}
END_TEST

START_TEST(cloud_with_normals)
{
    struct mesh *mesh = mesh_new(1, 0);
    mesh_point_edit(mesh)[0] = (struct point){1, 2, 3};
    float *normal = mesh_attribute_new(mesh, ATTRIBUTE_normal);
    normal[0] = 0, normal[1] = 0.6f, normal[2] = -0.8f;
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(1, 2, 3), 10);
    struct image *image = picture_of(&view, 21, 21);
    uint32_t v;
    struct vec at;
    ck_assert(image_pick(image, 10, 10, NULL, &v, &at));
    ck_assert_uint_eq(v, 0);
    ck_assert_double_eq_tol(at.z, 3, 1e-6);
    size_t i = image_at(image, 10, 10);
    ck_assert_int_le(abs(image->facing[1][i] + (int)(0.6 * FACING_ONE)), 2); /* turned to us */
    ck_assert_int_le(abs(image->facing[2][i] - (int)(0.8 * FACING_ONE)), 2);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* Samples of lines in a column of the picture, and where the first and the last are. */
static int line_samples(const struct image *image, int x, int *first, int *last)
{
    int n = 0;
    for (int y = 0; y < image->height; y++)
        if (image->kind[(size_t)y * (size_t)image->width + (size_t)x] & KIND_LINE) {
            *first = n++ ? *first : y;
            *last = y;
        }
    return n;
}

/* In front of a box: whole; behind it: broken, half of it; through the eye, and endless: cut off.
 */
START_TEST(lines)
{
    struct mesh *mesh = shape_box(20, 20, 20, 2);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(10, 10, 10), 40);
    struct raster_line line[] = {{{5, 0, 25}, {5, 20, 25}}, {{15, 0, 5}, {15, 20, 5}}};
    int first = 0, last = 0;
    view.line = line;
    view.lines = 2;
    struct image *image = picture_of(&view, 400, 400);
    int n = line_samples(image, 150, &first, &last);
    ck_assert_msg(n >= 200 && n <= 203 && first >= 98 && last <= 301, "%d: %d to %d", n, first,
                  last);
    n = line_samples(image, 250, &first, &last);
    ck_assert_msg(n > 90 && n < 150, "%d", n);
    image_free(image);
    line[0].to = vec(5, 1e12, 25);
    line[1] = (struct raster_line){{15, 10, -1e9}, {15, 10.001, 1e9}};
    view.camera.perspective = true;
    image = picture_of(&view, 400, 400);
    ck_assert_uint_gt(picture_count(image, KIND_LINE), 200);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

Suite *suite_shading(void);
Suite *suite_shading(void)
{
    Suite *suite = suite_create("shading");
    TCase *tests = tcase_create("shading");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, backs_are_told);
    tcase_add_test(tests, paints);
    tcase_add_test(tests, smooth_and_flat);
    tcase_add_test(tests, light_comes_from_the_upper_left);
    tcase_add_test(tests, pits_are_darker_than_bumps);
    tcase_add_test(tests, cut_preview);
    tcase_add_test(tests, marks);
    tcase_add_test(tests, lines);
    tcase_add_test(tests, cloud);
    tcase_add_test(tests, cloud_with_normals);
    suite_add_tcase(suite, tests);
    return suite;
}
