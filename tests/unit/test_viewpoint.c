/* Where the scanner stood: read, kept, carried, and which way normals face by it. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "core/join.h"
#include "format/format.h"
#include "op/op.h"
#include "scan/normals.h"
#include "tests/support/file_solids.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"

/* --- scenes ---------------------------------------------------------------------------------- */

/* A bowl that opens upward, with waves that hold it in place. Away from its middle is downward. */
static double bowl(double x, double y)
{
    return x * x / 30 + y * y / 24 + 1.5 * sin(x / 3) * cos(y / 4);
}

enum { BOWL_CELLS = 60 };

/* The points of the bowl, moved and in the unit, as text PLY with `cameras` lines of camera. */
static char *bowl_text(struct vec move, const char *unit, int cameras, const char *camera)
{
    struct mesh *patch = shape_patch(40, BOWL_CELLS, bowl);
    char *text = NULL;
    size_t size = 0, count = mesh_vertices(patch);
    FILE *out = open_memstream(&text, &size);
    fprintf(out,
            "ply\nformat ascii 1.0\ncomment unit %s\nelement vertex %zu\nproperty float x\n"
            "property float y\nproperty float z\nelement camera %d\nproperty float view_px\n"
            "property float view_py\nproperty float view_pz\nproperty int viewportx\nend_header\n",
            unit, count, cameras);
    for (size_t v = 0; v < count; v++) {
        struct vec p = vec_add(point_vec(mesh_point(patch)[v]), move);
        fprintf(out, "%.9g %.9g %.9g\n", p.x, p.y, p.z);
    }
    for (int i = 0; i < cameras; i++)
        fprintf(out, "%s 640\n", camera);
    fclose(out);
    mesh_free(patch);
    return text;
}

static struct mesh *read_text(const char *text, size_t size)
{
    const struct bytes bytes = {
        .data = (const unsigned char *)text, .size = size, .name = "bowl.ply"};
    struct file file = {0};
    struct job job;
    job_init(&job);
    ck_assert_msg(file_read_bytes(&bytes, UNIT_NONE, &file, &job) == STATUS_OK, "%s", job.message);
    job_release(&job);
    struct mesh *mesh = mesh_share(file.mesh);
    file_release(&file);
    return mesh;
}

static struct mesh *bowl_seen(struct vec move, const char *unit, int cameras, const char *camera)
{
    char *text = bowl_text(move, unit, cameras, camera);
    struct mesh *mesh = read_text(text, strlen(text));
    free(text);
    return mesh;
}

/* How much of the points' normals point along `up`, of 1. */
static double share_along(const struct mesh *mesh, struct vec up)
{
    struct point *normal = normals_of(mesh, NULL);
    size_t count = mesh_vertices(mesh), along = 0;
    for (size_t v = 0; v < count; v++)
        along += vec_dot(point_vec(normal[v]), up) > 0;
    scratch_free(normal);
    return (double)along / (double)count;
}

static const struct point *view_of(const struct mesh *mesh)
{
    return mesh_attribute(mesh, ATTRIBUTE_view);
}

/* Each point's view leads to `from`. */
static void expect_views(const struct mesh *mesh, size_t first, size_t end, struct vec from)
{
    const struct point *view = view_of(mesh);
    ck_assert_ptr_nonnull(view);
    for (size_t v = first; v < end; v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        struct vec wanted = vec_unit(vec_sub(from, p));
        ck_assert_double_lt(vec_length(vec_sub(wanted, point_vec(view[v]))), 1e-5);
    }
}

static struct scene *run(const char *line, struct scene *in)
{
    struct scene *out = NULL;
    struct step step;
    struct job job;
    job_init(&job);
    ck_assert_msg(step_parse(line, &step, &job) == STATUS_OK, "%s", job.message);
    ck_assert_msg(step_run(&step, in, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    step_release(&step);
    job_release(&job);
    return out;
}

static struct scene *scene_of(struct mesh *mesh)
{
    struct scene *scene = scene_new();
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "bowl"), NULL), STATUS_OK);
    return scene;
}

/* --- reading --------------------------------------------------------------------------------- */

/* Where the camera stands is what matters, in the file's unit. */
START_TEST(a_camera_is_read)
{
    struct mesh *mm = bowl_seen(vec(0, 0, 0), "mm", 1, "0 0 60");
    struct mesh *cm = bowl_seen(vec(0, 0, 0), "cm", 1, "0 0 60");
    struct mesh *below = bowl_seen(vec(0, 0, 0), "mm", 1, "5 0 -200");
    expect_views(mm, 0, mesh_vertices(mm), vec(0, 0, 60));
    expect_views(cm, 0, mesh_vertices(cm), vec(0, 0, 600));
    expect_views(below, 0, mesh_vertices(below), vec(5, 0, -200));
    ck_assert_double_eq(share_along(mm, vec(0, 0, 1)), 1);
    ck_assert_double_eq(share_along(cm, vec(0, 0, 1)), 1);
    ck_assert_double_eq(share_along(below, vec(0, 0, -1)), 1);
    mesh_free(mm);
    mesh_free(cm);
    mesh_free(below);
}
END_TEST

/* One that writers leave at 0,0,0 is no word; one that the points lie ahead of is. */
START_TEST(a_camera_at_zero)
{
    struct mesh *within = bowl_seen(vec(0, 0, 0), "mm", 1, "0 0 0");
    struct mesh *ahead = bowl_seen(vec(0, 0, 100), "mm", 1, "0 0 0");
    struct mesh *behind = bowl_seen(vec(0, 0, -100), "mm", 1, "0 0 0");
    ck_assert_ptr_null(view_of(within));
    ck_assert_ptr_null(view_of(behind));
    expect_views(ahead, 0, mesh_vertices(ahead), vec(0, 0, 0));
    mesh_free(within);
    mesh_free(ahead);
    mesh_free(behind);
}
END_TEST

/* None, or one that is nowhere: nothing is made up. */
START_TEST(cameras_that_say_nothing)
{
    static const struct {
        int cameras;
        const char *at;
    } files[] = {{0, ""}, {1, "nan 0 60"}, {2, "0 0 0"}};
    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        struct mesh *mesh = bowl_seen(vec(0, 0, 0), "mm", files[i].cameras, files[i].at);
        ck_assert_ptr_null(view_of(mesh));
        ck_assert_double_eq(share_along(mesh, vec(0, 0, -1)), 1);
        mesh_free(mesh);
    }
}
END_TEST

/* Two bowls, seen from two places that the file names without saying which points are whose, in
 * whatever order; a third place is no word at all. */
static struct mesh *two_bowls(bool other_way)
{
    static const char *const places[2][2] = {{"0 0 60", "200 0 -90"}, {"200 0 -90", "0 0 60"}};
    struct mesh *patch = shape_patch(40, BOWL_CELLS, bowl);
    char *text = NULL;
    size_t size = 0, count = mesh_vertices(patch);
    FILE *out = open_memstream(&text, &size);
    fprintf(out,
            "ply\nformat ascii 1.0\nelement vertex %zu\nproperty float x\nproperty float y\n"
            "property float z\nelement camera 3\nproperty float view_px\nproperty float view_py\n"
            "property float view_pz\nend_header\n",
            2 * count);
    for (size_t v = 0; v < 2 * count; v++) {
        struct vec p = point_vec(mesh_point(patch)[v % count]);
        fprintf(out, "%.9g %.9g %.9g\n", p.x + (v < count ? 0 : 200), p.y, p.z);
    }
    fprintf(out, "%s\nnan 0 0\n%s\n", places[other_way][0], places[other_way][1]);
    fclose(out);
    mesh_free(patch);
    struct mesh *mesh = read_text(text, size);
    free(text);
    return mesh;
}

START_TEST(several_cameras_of_one_file)
{
    for (int way = 0; way < 2; way++) {
        struct mesh *mesh = two_bowls(way);
        size_t each = mesh_vertices(mesh) / 2;
        expect_views(mesh, 0, each, vec(0, 0, 60));
        expect_views(mesh, each, 2 * each, vec(200, 0, -90));
        struct point *normal = normals_of(mesh, NULL);
        for (size_t v = 0; v < 2 * each; v++)
            ck_assert((normal[v].z > 0) == (v < each));
        scratch_free(normal);
        mesh_free(mesh);
    }
}
END_TEST

/* The bowl as a range grid, `high` mm up; `whole`: it has all its cells, so that they are joined.
 */
static struct mesh *bowl_grid(double high, bool whole)
{
    struct mesh *patch = shape_patch(40, BOWL_CELLS, bowl);
    char *text = NULL;
    size_t size = 0, count = mesh_vertices(patch), side = BOWL_CELLS + 1;
    ck_assert_uint_eq(count, side * side);
    FILE *out = open_memstream(&text, &size);
    fprintf(out,
            "ply\nformat ascii 1.0\nobj_info num_cols %zu\nobj_info num_rows %zu\n"
            "element vertex %zu\nproperty float x\nproperty float y\nproperty float z\n"
            "element range_grid %zu\nproperty list uchar int vertex_indices\nend_header\n",
            side, whole ? side : side + 1, count, count);
    for (size_t v = 0; v < count; v++) {
        struct vec p = point_vec(mesh_point(patch)[v]);
        fprintf(out, "%.9g %.9g %.9g\n", p.x, p.y, p.z + high);
    }
    for (size_t v = 0; v < count; v++)
        fprintf(out, "1 %zu\n", v);
    fclose(out);
    mesh_free(patch);
    struct mesh *mesh = read_text(text, size);
    free(text);
    return mesh;
}

/* From far along +z about zero; from zero where the points lie ahead of it, either way. */
START_TEST(a_range_grid_was_seen_from_its_zero)
{
    struct mesh *near = bowl_grid(0, false), *below = bowl_grid(-200, false);
    struct mesh *ahead = bowl_grid(200, false);
    ck_assert_uint_eq(mesh_triangles(near), 0);
    for (size_t v = 0; v < mesh_vertices(near); v++)
        ck_assert(view_of(near)[v].z == 1);
    expect_views(below, 0, mesh_vertices(below), vec(0, 0, 0));
    expect_views(ahead, 0, mesh_vertices(ahead), vec(0, 0, 0));
    ck_assert_double_eq(share_along(near, vec(0, 0, 1)), 1);
    ck_assert_double_eq(share_along(below, vec(0, 0, 1)), 1);
    ck_assert_double_eq(share_along(ahead, vec(0, 0, -1)), 1);
    mesh_free(near);
    mesh_free(below);
    mesh_free(ahead);
    for (int i = 0; i < 3; i++) { /* joined to triangles: they face there too */
        struct mesh *joined = bowl_grid(200 * (i - 1), true);
        ck_assert_uint_eq(mesh_triangles(joined), 2 * BOWL_CELLS * BOWL_CELLS);
        ck_assert_double_eq(share_along(joined, vec(0, 0, i == 2 ? -1 : 1)), 1);
        mesh_free(joined);
    }
}
END_TEST

/* --- which way normals face ------------------------------------------------------------------ */

/* A whole ball was never seen from one side: the camera is no help, and it faces outward. */
START_TEST(a_camera_that_cannot_be_is_not_believed)
{
    struct mesh *ball = shape_sphere(20, 4), *cloud = mesh_new(mesh_vertices(ball), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(ball), array_bytes(ball->point));
    struct point *view = mesh_attribute_new(cloud, ATTRIBUTE_view);
    for (size_t v = 0; v < mesh_vertices(cloud); v++)
        view[v] = (struct point){0, 0, 1};
    struct point *normal = normals_of(cloud, NULL);
    for (size_t v = 0; v < mesh_vertices(cloud); v++)
        ck_assert_double_gt(vec_dot(point_vec(normal[v]), point_vec(mesh_point(cloud)[v])), 0);
    scratch_free(normal);
    mesh_free(cloud);
    mesh_free(ball);
}
END_TEST

START_TEST(a_camera_without_a_place_is_passed_over)
{
    static const char text[] = "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\n"
                               "property float y\nproperty float z\nelement camera 1\n"
                               "property float zoom\nend_header\n1 2 3\nwide\n";
    struct mesh *mesh = read_text(text, sizeof text - 1);
    ck_assert_uint_eq(mesh_vertices(mesh), 1);
    ck_assert_ptr_null(mesh->attribute[ATTRIBUTE_view]);
    mesh_free(mesh);
}
END_TEST

/* How much of a scan's points have normals that face away from where it was taken, of 1. */
static double share_away(const struct mesh *cloud, struct vec from)
{
    return 1 - share_along(cloud, from);
}

/* Solids of open files as a scanner sees them from a corner, as bare points: without the view whole
 * parts may face the wrong way, with it none does. */
START_TEST(views_turn_clouds_of_open_files)
{
    struct file_solids list;
    double without = 0, with = 0, worst = 0;
    size_t clouds = 0;
    file_solids_read_found(&list, 30000);
    for (size_t i = 0; i < list.count; i += 3)
        for (int side = 0; side < 2; side++) {
            struct scanner scanner = {.from = vec_unit(vec(0.7, 0.4, side ? 0.6 : -0.6)),
                                      .spacing = 0.5,
                                      .noise = 0.02,
                                      .radius = 56,
                                      .points_only = true,
                                      .seed = i,
                                      .surface = list.solid[i]};
            struct mesh *cloud = scanner_view(NULL, &scanner);
            if (mesh_vertices(cloud) > 500) {
                double guessed = share_away(cloud, scanner.from);
                struct point *view = mesh_attribute_new(cloud, ATTRIBUTE_view);
                for (size_t v = 0; v < mesh_vertices(cloud); v++)
                    view[v] = vec_point(scanner.from);
                double known = share_away(cloud, scanner.from);
                without += guessed;
                with += known;
                worst = fmax(worst, known);
                clouds++;
            }
            mesh_free(cloud);
        }
    printf("viewpoint: %zu clouds of open files: %.2f%% of the normals face away without views, "
           "%.2f%% with (at worst %.1f%% of a cloud)\n",
           clouds, 100 * without / (double)clouds, 100 * with / (double)clouds, 100 * worst);
    ck_assert_uint_gt(clouds, 20);
    ck_assert_double_lt(with / (double)clouds, 0.001);
    ck_assert_double_lt(worst, 0.02);
    ck_assert_double_lt(with, without);
    file_solids_release(&list);
}
END_TEST

START_TEST(a_hollow_is_fused_as_it_was_seen)
{
    struct scene *in = scene_of(bowl_seen(vec(0, 0, 0), "mm", 1, "0 0 60"));
    struct scene *out = run("fuse closed=no", in);
    const struct mesh *fused = out->piece[out->count - 1]->mesh;
    ck_assert_uint_gt(mesh_triangles(fused), 1000);
    ck_assert_double_gt(share_along(fused, vec(0, 0, 1)), 0.99);
    scene_free(out);
    scene_free(in);
}
END_TEST

/* The cloud onto a surface that faces as the cloud was seen. */
START_TEST(a_hollow_fits_as_it_was_seen)
{
    struct scene *in = scene_of(shape_patch(40, BOWL_CELLS, bowl));
    struct mesh *seen = bowl_seen(vec(0.4, -0.3, 0.5), "mm", 1, "0 0 60");
    ck_assert_int_eq(scene_add(in, piece_new(seen, "seen"), NULL), STATUS_OK);
    struct scene *out = run("fit", in);
    const struct mesh *fitted = out->piece[1]->mesh;
    for (size_t v = 0; v < mesh_vertices(fitted); v++) {
        struct vec p = mesh_world(fitted, point_vec(mesh_point(fitted)[v]));
        struct vec q = point_vec(mesh_point(in->piece[0]->mesh)[v]);
        ck_assert_double_lt(vec_length(vec_sub(p, q)), 0.05);
    }
    ck_assert_double_eq(share_along(fitted, vec(0, 0, 1)), 1);
    scene_free(out);
    scene_free(in);
}
END_TEST

/* --- going along ----------------------------------------------------------------------------- */

static const struct {
    const char *line;
    struct vec from; /* where 10,20,60 went */
} ways[] = {
    {"move 1,2,3", {11, 22, 63}},
    {"turn axis=x by=90 about=0,0,0", {10, -60, 20}},
    {"scale by=2", {20, 40, 120}},
    {"mirror normal=x through=0,0,0", {-10, 20, 60}},
    {"mirror normal=z through=0,0,0", {10, 20, -60}},
};

START_TEST(views_go_with_the_piece)
{
    struct scene *in = scene_of(bowl_seen(vec(0, 0, 0), "mm", 1, "10 20 60"));
    struct scene *out = run(ways[_i].line, in);
    const struct mesh *mesh = out->piece[0]->mesh;
    expect_views(mesh, 0, mesh_vertices(mesh), ways[_i].from);
    scene_free(out);
    scene_free(in);
}
END_TEST

static char *written(const struct mesh *mesh, bool ascii, size_t *size)
{
    const struct write_options options = {.ascii = ascii, .unit = UNIT_MM};
    char path[] = "/tmp/fettle-viewpoint-XXXXXX.ply", *text = NULL;
    int made = mkstemps(path, 4);
    ck_assert_int_ge(made, 0);
    close(made);
    ck_assert_int_eq(file_write(mesh, path, NULL, &options, NULL), STATUS_OK);
    FILE *in = fopen(path, "rb"), *out = open_memstream(&text, size);
    for (int c; (c = getc(in)) != EOF;)
        putc(c, out);
    fclose(in);
    fclose(out);
    unlink(path);
    return text;
}

/* Two scans and one of unknown view in one file; saved, read and saved again it is the same. */
START_TEST(two_views_in_one_file)
{
    struct mesh *part[] = {bowl_seen(vec(0, 0, 0), "mm", 1, "0 0 60"),
                           bowl_seen(vec(100, 0, 0), "mm", 1, "100 0 -200"),
                           bowl_seen(vec(200, 0, 0), "mm", 0, "")};
    struct mesh *all = mesh_join((const struct mesh *const *)part, 3, NULL);
    size_t each = mesh_vertices(part[0]), size, again;
    char *first = written(all, _i, &size);
    struct mesh *read = read_text(first, size);
    char *second = written(read, _i, &again);
    ck_assert_uint_eq(size, again);
    ck_assert_mem_eq(first, second, size);
    expect_views(read, 0, each, vec(0, 0, 60));
    expect_views(read, each, 2 * each, vec(100, 0, -200));
    struct point *normal = normals_of(read, NULL);
    for (size_t v = 0; v < 3 * each; v++) {
        ck_assert((normal[v].z > 0) == (v < each));
        if (v >= 2 * each)
            ck_assert_double_eq(vec_length(point_vec(view_of(read)[v])), 0);
    }
    scratch_free(normal);
    free(first);
    free(second);
    mesh_free(read);
    mesh_free(all);
    for (int i = 0; i < 3; i++)
        mesh_free(part[i]);
}
END_TEST

Suite *suite_viewpoint(void);

Suite *suite_viewpoint(void)
{
    Suite *suite = suite_create("viewpoint");
    TCase *tests = tcase_create("viewpoint");
    tcase_set_timeout(tests, 300);
    tcase_add_test(tests, a_camera_is_read);
    tcase_add_test(tests, a_camera_at_zero);
    tcase_add_test(tests, cameras_that_say_nothing);
    tcase_add_test(tests, several_cameras_of_one_file);
    tcase_add_test(tests, a_range_grid_was_seen_from_its_zero);
    tcase_add_test(tests, views_turn_clouds_of_open_files);
    tcase_add_test(tests, a_camera_that_cannot_be_is_not_believed);
    tcase_add_test(tests, a_camera_without_a_place_is_passed_over);
    tcase_add_test(tests, a_hollow_is_fused_as_it_was_seen);
    tcase_add_test(tests, a_hollow_fits_as_it_was_seen);
    tcase_add_loop_test(tests, views_go_with_the_piece, 0, sizeof ways / sizeof *ways);
    tcase_add_loop_test(tests, two_views_in_one_file, 0, 2);
    suite_add_tcase(suite, tests);
    return suite;
}
