#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/pictures.h"
#include "tests/support/shapes.h"

/* --- what is covered --------------------------------------------------------------------- */

START_TEST(disc_of_a_sphere)
{
    struct mesh *mesh = shape_sphere(50, 5);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_CORNER, vec(0, 0, 0), 120);
    struct image *image = picture_of(&view, 480, 480);
    double mm2 = (double)picture_count(image, KIND_SURFACE) * 0.25 * 0.25;
    /* The inscribed polyhedron lacks 0.03 % of the disc; the rim's samples err at random. */
    ck_assert_double_eq_tol(mm2, 3.14159265358979 * 2500, 0.002 * 7854);
    ck_assert_uint_eq(picture_count(image, KIND_BACK), 0);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* A grid of triangles of odd sizes turned by odd angles: its samples are exactly those whose
 * middles lie in the square, each covered; so no edge inside leaves a gap. */
START_TEST(no_gaps)
{
    static const int n[] = {1, 7, 40, 333};
    struct mesh *mesh = shape_patch(100, n[_i], NULL);
    const struct bounds *bounds = mesh_bounds(mesh, NULL);
    struct raster_piece piece = picture_grey(mesh);
    for (int turn = 0; turn < 5; turn++) {
        struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, bounds->centre, 170);
        camera_turn(&view.camera, 0, 0, 0.1 + 0.37 * turn);
        struct image *image = picture_of(&view, 200, 200);
        struct vec right, up;
        camera_axes(&view.camera, &right, &up, NULL);
        for (int y = 0; y < 200; y++)
            for (int x = 0; x < 200; x++) {
                double u = (x + 0.5 - 100) * 0.85, v = (100 - y - 0.5) * 0.85;
                struct vec at = vec_add(vec_scale(right, u), vec_scale(up, v));
                double beyond = fmax(fabs(at.x), fabs(at.y)) - 50;
                bool is = image_pick(image, x, y, NULL, NULL, NULL);
                ck_assert_msg(fabs(beyond) < 0.01 || is == (beyond < 0), "%d %d", x, y);
            }
        image_free(image);
    }
    mesh_free(mesh);
}
END_TEST

/* Sums over all samples of a mesh seen through: each sample's middle is in as many front faces as
 * in back faces; two copies of one picture can not tell, so the box's own area must come out. */
START_TEST(area_of_a_box)
{
    struct mesh *mesh = shape_box(30, 20, 10, 4);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(15, 10, 5), 40);
    struct image *image = picture_of(&view, 400, 400);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 300 * 200);
    for (size_t i = 0; i < image_samples(image); i++)
        if (image->kind[i])
            ck_assert_double_eq_tol(seen_z(&image->lens, image_seen(image, i)), 5, 1e-5);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(sample_aspect)
{
    struct mesh *mesh = shape_box(10, 10, 10, 1);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(5, 5, 5), 20);
    struct image *image = image_new();
    ck_assert_int_eq(raster_draw(image, &view, 100, 200, 2, NULL), STATUS_OK);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 50 * 100);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* --- order ------------------------------------------------------------------------------- */

START_TEST(nearer_one_is_seen)
{
    struct mesh *patch[2] = {shape_patch(10, 3, NULL), shape_patch(10, 3, NULL)};
    patch[1]->origin[2] = 4;
    struct raster_piece piece[2] = {picture_grey(patch[0]), picture_grey(patch[1])};
    size_t which;
    struct vec at;
    for (int perspective = 0; perspective < 2; perspective++)
        for (int below = 0; below < 2; below++) {
            struct raster_view view =
                picture_view(piece, 2, below ? CAMERA_BOTTOM : CAMERA_TOP, vec(5, 5, 2), 20);
            view.camera.perspective = perspective;
            struct image *image = picture_of(&view, 64, 64);
            ck_assert(image_pick(image, 32, 32, &which, NULL, &at));
            ck_assert_uint_eq(which, below ? 0 : 1);
            ck_assert_double_eq_tol(at.z, below ? 0 : 4, 1e-5);
            image_free(image);
        }
    mesh_free(patch[0]);
    mesh_free(patch[1]);
}
END_TEST

START_TEST(first_of_equals_is_seen)
{
    struct mesh *mesh = shape_patch(10, 40, NULL);
    struct raster_piece piece[3] = {picture_grey(mesh), picture_grey(mesh), picture_grey(mesh)};
    struct raster_view view = picture_view(piece, 3, CAMERA_CORNER, vec(5, 5, 0), 12);
    struct image *image = picture_of(&view, 100, 100);
    size_t which;
    for (int i = 0; i < 100 * 100; i++)
        if (image_pick(image, i % 100, i / 100, &which, NULL, NULL))
            ck_assert_uint_eq(which, 0);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(same_for_any_threads)
{
    struct mesh *mesh = shape_torus(40, 15, 400, 200);
    struct raster_piece piece[2] = {picture_grey(mesh), picture_grey(mesh)};
    struct raster_view view = picture_view(piece, 2, CAMERA_CORNER, vec(0, 0, 0), 70);
    view.cut = view.axes = true;
    view.cut_normal = vec(0, 0.6, 0.8);
    view.camera.perspective = true;
    struct image *one = image_new(), *more = image_new();
    struct job job;
    job_init(&job);
    job.threads = 1;
    ck_assert_int_eq(raster_draw(one, &view, 300, 200, 1, &job), STATUS_OK);
    for (int threads = 2; threads < 8; threads++) {
        job.threads = threads;
        ck_assert_int_eq(raster_draw(more, &view, 300, 200, 1, &job), STATUS_OK);
        size_t n = image_samples(one);
        for (size_t i = 0; i < n; i++)
            ck_assert(image_seen(one, i) == image_seen(more, i));
        ck_assert_mem_eq(one->light, more->light, n);
        ck_assert_mem_eq(one->kind, more->kind, n);
        ck_assert_mem_eq(one->colour, more->colour, 3 * n);
    }
    image_free(one);
    image_free(more);
    mesh_free(mesh);
}
END_TEST

/* --- picking ----------------------------------------------------------------------------- */

/* The world point lies on the triangle that was picked, and on the sample's line of sight. */
static void check_pick(const struct image *image, const struct raster_view *view, int x, int y)
{
    uint32_t t;
    size_t which;
    struct vec at, from, along, corner[3];
    if (!image_pick(image, x, y, &which, &t, &at))
        return;
    const struct mesh *mesh = view->piece[which].mesh;
    ck_assert_uint_lt(t, mesh_triangles(mesh));
    for (int k = 0; k < 3; k++)
        corner[k] = mesh_world(mesh, point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]));
    struct vec n =
        vec_unit(vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0])));
    const double close = 2e-4; /* mm: a thousandth of a sample */
    camera_ray(&view->camera, image->width, image->height, 1, x + 0.5, y + 0.5, &from, &along);
    ck_assert_double_le(vec_length(vec_cross(vec_sub(at, from), along)), close);
    if (fabs(vec_dot(n, along)) < 0.2)
        return; /* nearly edge-on: depth says little about the plane */
    ck_assert_double_le(fabs(vec_dot(n, vec_sub(at, corner[0]))), close);
    for (int k = 0; k < 3; k++) {
        struct vec edge = vec_sub(corner[(k + 1) % 3], corner[k]);
        struct vec inward = vec_unit(vec_cross(n, edge));
        ck_assert_double_ge(vec_dot(inward, vec_sub(at, corner[k])), -close);
    }
}

START_TEST(picking)
{
    static const double far[] = {0, 1e7};
    struct mesh *mesh = shape_sphere(30, 2);
    mesh->origin[0] = far[_i];
    mesh->origin[1] = -far[_i];
    struct raster_piece piece = picture_grey(mesh);
    for (int perspective = 0; perspective < 2; perspective++) {
        struct raster_view view =
            picture_view(&piece, 1, CAMERA_CORNER, vec(far[_i], -far[_i], 0), 70);
        view.camera.perspective = perspective;
        struct image *image = picture_of(&view, 350, 350);
        size_t hits = 0;
        for (int y = 0; y < 350; y += 3)
            for (int x = 0; x < 350; x += 3) {
                check_pick(image, &view, x, y);
                hits += image_pick(image, x, y, NULL, NULL, NULL);
            }
        ck_assert_uint_gt(hits, 5000);
        ck_assert(!image_pick(image, 0, 0, NULL, NULL, NULL));
        ck_assert(!image_pick(image, -1, 5, NULL, NULL, NULL));
        ck_assert(!image_pick(image, 5, 350, NULL, NULL, NULL));
        image_free(image);
    }
    mesh_free(mesh);
}
END_TEST

START_TEST(nearest_surface)
{
    struct mesh *mesh = shape_box(10, 10, 10, 1);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(5, 5, 5), 20);
    struct image *image = picture_of(&view, 100, 100); /* the box: 25 to 74 */
    int x = 20, y = 50;
    ck_assert(!image_nearest(image, &x, &y, 4));
    ck_assert(x == 20 && y == 50);
    ck_assert(image_nearest(image, &x, &y, 5));
    ck_assert(x == 25 && y == 50);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* Far from zero the picture is the same, sample by sample. */
START_TEST(geo_referenced)
{
    struct mesh *mesh = shape_torus(40, 15, 60, 30);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_CORNER, vec(0, 0, 0), 120);
    struct image *near = picture_of(&view, 200, 200);
    mesh->origin[0] = 3e7;
    mesh->origin[1] = -1e7;
    mesh->origin[2] = 5e6;
    view.camera.centre = vec(3e7, -1e7, 5e6);
    struct image *far = picture_of(&view, 200, 200);
    for (size_t i = 0; i < 200 * 200; i++)
        ck_assert(image_seen(near, i) == image_seen(far, i));
    ck_assert_mem_eq(near->light, far->light, 200 * 200);
    image_free(near);
    image_free(far);
    mesh_free(mesh);
}
END_TEST

/* --- perspective ------------------------------------------------------------------------- */

/* A square d behind the centre looks D / (D + d) times as large; not so without perspective. */
START_TEST(far_things_are_smaller)
{
    struct mesh *mesh = shape_patch(10, 5, NULL);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(5, 5, 20), 20);
    struct image *level = picture_of(&view, 400, 400);
    ck_assert_uint_eq(picture_count(level, KIND_SURFACE), 200 * 200);
    view.camera.perspective = true;
    view.camera.field = 40;
    struct image *deep = picture_of(&view, 400, 400);
    double eye = 10 / tan(20 * 3.14159265358979 / 180), side = 200 * eye / (eye + 20);
    ck_assert_double_eq_tol(sqrt((double)picture_count(deep, KIND_SURFACE)), side, 1);
    image_free(level);
    image_free(deep);
    mesh_free(mesh);
}
END_TEST

/* A floor that runs from behind the viewer to far ahead covers all below the horizon. */
START_TEST(cut_at_the_viewer)
{
    static const int n[] = {1, 64};
    struct mesh *mesh = shape_patch(1e5, n[_i], NULL);
    mesh->origin[0] = mesh->origin[1] = -5e4;
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_FRONT, vec(0.1, 0.2, 2), 10);
    view.camera.perspective = true;
    view.camera.field = 60;
    struct image *image = picture_of(&view, 200, 200);
    for (int y = 0; y < 200; y++)
        for (int x = 0; x < 200; x++) {
            struct vec from, along, at;
            camera_ray(&view.camera, 200, 200, 1, x + 0.5, y + 0.5, &from, &along);
            bool is = image_pick(image, x, y, NULL, NULL, &at);
            ck_assert(is == (along.z < 0));
            /* Corners are placed to 1/4096 of a sample: near the horizon that is far on the floor.
             */
            double t = -from.z / along.z, off = 2.0 / 4096 / (y + 0.5 - 100);
            if (is)
                ck_assert_double_le(vec_length(vec_sub(at, vec_along(from, t, along))),
                                    fmax(off, 1e-6) * t);
        }
    ck_assert_uint_eq(picture_count(image, KIND_BACK), 0);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(from_inside)
{
    struct mesh *mesh = shape_sphere(50, 4);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_LEFT, vec(0, 0, 0), 5);
    view.camera.perspective = true;
    struct image *image = picture_of(&view, 90, 60);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE | KIND_BACK), 90 * 60);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* So near that the corners are millions of samples away. */
START_TEST(deep_zoom)
{
    struct mesh *mesh = shape_box(100, 100, 100, 1);
    struct raster_piece piece = picture_grey(mesh);
    for (int perspective = 0; perspective < 2; perspective++) {
        struct raster_view view = picture_view(&piece, 1, CAMERA_TOP, vec(10, 10, 100), 1e-4);
        view.camera.perspective = perspective;
        struct image *image = picture_of(&view, 100, 100);
        ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 100 * 100);
        view.camera.centre = vec(0, 50, 100); /* on the edge: half of it */
        struct image *half = picture_of(&view, 100, 100);
        ck_assert_uint_eq(picture_count(half, KIND_SURFACE), 50 * 100);
        image_free(image);
        image_free(half);
    }
    mesh_free(mesh);
}
END_TEST

/* --- nothing, and too much --------------------------------------------------------------- */

static void check_finite(const struct image *image)
{
    for (int y = 0; y < image->height; y++)
        for (int x = 0; x < image->width; x++) {
            size_t i = (size_t)y * (size_t)image->width + (size_t)x;
            float z = image->z[image_at(image, x, y)];
            ck_assert(image->kind[i] ? isfinite(z) : z == -INFINITY || image->kind[i] == KIND_LINE);
        }
}

START_TEST(nothing_to_draw)
{
    struct raster_view view = picture_view(NULL, 0, CAMERA_FRONT, vec(0, 0, 0), 10);
    view.axes = view.scale_bar = view.cut = true;
    struct image *image = picture_of(&view, 50, 40);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 0);
    struct mesh *empty = mesh_new(0, 0);
    struct raster_piece piece = picture_grey(empty);
    view.piece = &piece;
    view.pieces = 1;
    ck_assert_int_eq(raster_draw(image, &view, 50, 40, 1, NULL), STATUS_OK);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 0);
    struct camera camera = view.camera;
    raster_fit(&camera, &piece, 1, 1, NULL);
    ck_assert_mem_eq(&camera, &view.camera, sizeof camera);
    ck_assert_int_eq(raster_draw(image, &view, 0, 40, 1, NULL), STATUS_OK);
    ck_assert_int_eq(image_width(image), 0);
    image_free(image);
    mesh_free(empty);
}
END_TEST

START_TEST(no_size)
{
    struct mesh *mesh = shape_sphere(1, 1);
    for (size_t i = 0; i < mesh_vertices(mesh); i++)
        mesh_point_edit(mesh)[i] = (struct point){7, 8, 9};
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_CORNER, vec(7, 8, 9), 1);
    raster_fit(&view.camera, &piece, 1, 1, NULL);
    ck_assert_double_eq(view.camera.height, 1);
    struct image *image = picture_of(&view, 50, 40);
    ck_assert_uint_eq(picture_count(image, KIND_SURFACE), 0);
    check_finite(image);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* Needles, doubled points and triangles as large as floats go, from all sides. */
START_TEST(ill_shaped)
{
    uint64_t state = 7;
    enum { N = 300 };
    struct mesh *mesh = mesh_new(N, 2 * N);
    for (size_t i = 0; i < N; i++) {
        double size = pow(10, 60 * shape_random(&state) - 30);
        mesh_point_edit(mesh)[i] =
            vec_point(vec(size * (shape_random(&state) - 0.5), size * (shape_random(&state) - 0.5),
                          size * (shape_random(&state) - 0.5)));
    }
    for (size_t t = 0; t < 2 * N; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[t].v[k] = (uint32_t)(shape_random(&state) * N);
    struct raster_piece piece = picture_grey(mesh);
    for (int side = 0; side < CAMERA_SIDES; side++)
        for (int perspective = 0; perspective < 2; perspective++)
            for (double height = 1e-6; height < 1e13; height *= 1e4) {
                struct raster_view view =
                    picture_view(&piece, 1, (enum camera_side)side, vec(0, 0, 0), height);
                view.camera.perspective = perspective;
                view.shade = perspective ? SHADE_FLAT : SHADE_SMOOTH;
                struct image *image = picture_of(&view, 40, 30);
                check_finite(image);
                image_free(image);
            }
    mesh_free(mesh);
}
END_TEST

START_TEST(fits_tightly)
{
    struct mesh *mesh = shape_torus(40, 15, 60, 30);
    struct raster_piece piece = picture_grey(mesh);
    for (int perspective = 0; perspective < 2; perspective++)
        for (int side = 0; side < CAMERA_SIDES; side++) {
            struct raster_view view =
                picture_view(&piece, 1, (enum camera_side)side, vec(3, 3, 3), 1);
            view.camera.perspective = perspective;
            raster_fit(&view.camera, &piece, 1, 1.5, NULL);
            struct image *image = picture_of(&view, 300, 200);
            int low[2] = {300, 200}, high[2] = {0, 0};
            for (int y = 0; y < 200; y++)
                for (int x = 0; x < 300; x++)
                    if (image_pick(image, x, y, NULL, NULL, NULL)) {
                        low[0] = x < low[0] ? x : low[0];
                        high[0] = x > high[0] ? x : high[0];
                        low[1] = y < low[1] ? y : low[1];
                        high[1] = y > high[1] ? y : high[1];
                    }
            ck_assert(low[0] > 0 && low[1] > 0 && high[0] < 299 && high[1] < 199);
            ck_assert(high[0] - low[0] > 260 || high[1] - low[1] > 170);
            image_free(image);
        }
    mesh_free(mesh);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *mesh = shape_sphere(50, 5);
    struct raster_piece piece = picture_grey(mesh);
    struct raster_view view = picture_view(&piece, 1, CAMERA_FRONT, vec(0, 0, 0), 120);
    struct image *image = picture_of(&view, 100, 100);
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(raster_draw(image, &view, 100, 100, 1, &job), STATUS_CANCELLED);
    ck_assert_int_eq(image_width(image), 0);
    ck_assert(!image_pick(image, 50, 50, NULL, NULL, NULL));
    job_init(&job);
    ck_assert_int_eq(raster_draw(image, &view, SIDE_MOST + 1, 100, 1, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "too large"));
    image_free(image);
    mesh_free(mesh);
}
END_TEST

Suite *suite_raster(void);
Suite *suite_raster(void)
{
    Suite *suite = suite_create("raster");
    TCase *tests = tcase_create("raster");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, disc_of_a_sphere);
    tcase_add_loop_test(tests, no_gaps, 0, 4);
    tcase_add_test(tests, area_of_a_box);
    tcase_add_test(tests, sample_aspect);
    tcase_add_test(tests, nearer_one_is_seen);
    tcase_add_test(tests, first_of_equals_is_seen);
    tcase_add_test(tests, same_for_any_threads);
    tcase_add_loop_test(tests, picking, 0, 2);
    tcase_add_test(tests, nearest_surface);
    tcase_add_test(tests, geo_referenced);
    tcase_add_test(tests, far_things_are_smaller);
    tcase_add_loop_test(tests, cut_at_the_viewer, 0, 2);
    tcase_add_test(tests, from_inside);
    tcase_add_test(tests, deep_zoom);
    tcase_add_test(tests, nothing_to_draw);
    tcase_add_test(tests, no_size);
    tcase_add_test(tests, ill_shaped);
    tcase_add_test(tests, fits_tightly);
    tcase_add_test(tests, cancelled);
    suite_add_tcase(suite, tests);
    return suite;
}
