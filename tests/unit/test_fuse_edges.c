/* Fusing: sharp edges, and walls hardly thicker than the spacing. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/tree.h"
#include "op/op.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"

/* --- edges ------------------------------------------------------------------------------------ */

/* The root mean square of how far the surface is from the box's true edges, 1.5 mm and more from
 * their corners; *most: the largest. */
static double off_edges(const struct mesh *mesh, const double half[3], double *most)
{
    const struct tree *tree = mesh_tree(mesh, NULL);
    double sum = 0, count = 0;
    *most = 0;
    for (int along = 0; along < 3; along++)
        for (int sides = 0; sides < 4; sides++)
            for (double at = 1.5 - half[along]; at <= half[along] - 1.5; at += 0.1) {
                double p[3];
                p[along] = at;
                p[(along + 1) % 3] = sides & 1 ? half[(along + 1) % 3] : -half[(along + 1) % 3];
                p[(along + 2) % 3] = sides & 2 ? half[(along + 2) % 3] : -half[(along + 2) % 3];
                const double *o = mesh->origin;
                struct vec q = vec(p[0] - o[0], p[1] - o[1], p[2] - o[2]);
                double off = tree_nearest(tree, q, INFINITY).distance;
                sum += off * off;
                count++;
                *most = fmax(*most, off);
            }
    return sqrt(sum / count);
}

/* Scans of 0.3 mm spacing and 0.03 mm noise: the fused box has its edges. A surface that is drawn
 * smoothly through the samples would cut them off by about a third of the spacing, 0.1 mm. */
START_TEST(edges_stay_sharp)
{
    static const double noise[] = {0, 0.03}, bound[] = {0.02, 0.025}, bound_most[] = {0.12, 0.15};
    static const double half[3] = {8, 6, 5};
    struct scans scans = scans_of(small_box, scans_spacing, noise[_i], SCANS_VIEWS);
    const struct fuse_options options = {.spacing = 0.3, .closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    double most, off = off_edges(mesh, half, &most);
    ck_assert_double_lt(off, bound[_i]);
    ck_assert_double_lt(most, bound_most[_i]);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Clouds from around a box that see its sides squarely and its floor at 12 and 14 degrees, in rows
 * of points five and four spacings apart: the walls end where the floor begins, however far apart
 * its points are there, and next to nothing is invented between them (0.43 and 0.14 per cent of the
 * surface before the two faces of an edge agreed on what is outside). */
START_TEST(edges_of_a_face_seen_at_a_slant)
{
    struct scans scans = {.count = 5};
    for (size_t i = 0; i < scans.count; i++) {
        double around = 1.2566 * (double)i, up = (i % 2 ? 25 : -12 - 2.0 * _i) * 0.0174533;
        struct scanner scanner = {.from =
                                      vec(cos(around) * cos(up), sin(around) * cos(up), sin(up)),
                                  .spacing = 0.15,
                                  .noise = 0.015,
                                  .roll = (double)i,
                                  .radius = 13,
                                  .points_only = true,
                                  .seed = i};
        scans.mesh[i] = scanner_view(small_box, &scanner);
    }
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    ck_assert_double_lt(report.invented, 0.0005 * report.area);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 1920, 0.001 * 1920);
    struct scans_errors e = scans_errors(mesh, small_box, ORIGIN_MEASURED);
    ck_assert_double_lt(e.rms, 0.01);
    ck_assert_double_lt(e.p95, 0.01);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- walls ------------------------------------------------------------------------------------ */

static double wall(struct vec p) /* 0.4 mm thick */
{
    return small_cuboid(p, vec(8, 6, 0.2));
}
static const double wall_volume = 76.8;

/* Seen obliquely the scans' spacing on the wall is 0.42 mm, more than it is thick: left to itself
 * the operation chooses one that keeps it. */
START_TEST(walls_are_kept)
{
    struct scans scans = scans_of(wall, 0.3, 0.02, SCANS_VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    scans_check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    ck_assert_double_eq_tol(shape_count(mesh).volume, wall_volume, 0.03 * wall_volume);
    ck_assert_double_gt(report.coarser, 0.4);
    ck_assert_double_lt(report.spacing, 0.3);
    ck_assert_uint_lt(report.lost.samples, 20);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Asked for a spacing that cannot hold the wall, it says so, with the wall's thickness; and the
 * spacing that it says would keep the wall does. */
START_TEST(lost_walls_are_told)
{
    struct scans scans = scans_of(wall, 0.3, 0.02, SCANS_VIEWS);
    struct fuse_report report;
    struct fuse_options options = {.spacing = 0.5, .closed = true};
    struct mesh *mesh = scans_fused(&scans, &options, &report);
    ck_assert_uint_gt(report.lost.samples, report.samples / 2);
    ck_assert_double_eq_tol(report.lost.thickness, 0.4, 0.06);
    ck_assert_double_le(wall(report.lost.at), 0.1);
    mesh_free(mesh);
    options.spacing = report.lost.thickness / FUSE_WALL;
    mesh = scans_fused(&scans, &options, &report);
    ck_assert_double_eq_tol(shape_count(mesh).volume, wall_volume, 0.03 * wall_volume);
    ck_assert_uint_lt(report.lost.samples, 20);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* The note says how many, how thick, where, and what keeps them. */
START_TEST(the_note_says_what_is_lost)
{
    struct scans scans = scans_of(wall, 0.3, 0.02, SCANS_VIEWS);
    struct scene *scene = scene_new(), *out = NULL;
    struct step step;
    struct job job;
    job_init(&job);
    for (size_t i = 0; i < scans.count; i++)
        ck_assert_int_eq(scene_add(scene, piece_new(scans.mesh[i], "view"), &job), STATUS_OK);
    ck_assert_int_eq(step_parse("fuse spacing=0.5", &step, &job), STATUS_OK);
    ck_assert_int_eq(step_run(&step, scene, &out, &job), STATUS_OK);
    ck_assert_ptr_nonnull(strstr(job.notes, "samples are not in the surface"));
    ck_assert_ptr_nonnull(strstr(job.notes, "spacing=0.2"));
    step_release(&step);
    scene_free(out);
    scene_free(scene);
    job_release(&job);
}
END_TEST

/* Blades 0.2 mm thick and 3 mm apart, as clouds: most of them is lost or thickened, and it is said
 * how much and where, though hardly any has its other side measured within reach. */
static double blades(struct vec p)
{
    double d = small_cuboid(vec_sub(p, vec(0, 0, -5.5)), vec(8, 6, 0.5));
    for (int i = -2; i <= 2; i++)
        d = fmin(d, small_cuboid(vec_sub(p, vec(3.0 * i, 0, 0)), vec(0.1, 6, 5)));
    return d;
}

START_TEST(thickened_blades_are_told)
{
    struct scene *scene = scene_new(), *out = NULL;
    struct step step;
    struct job job;
    job_init(&job);
    for (size_t i = 0; i < SCANS_VIEWS; i++) {
        const struct scanner scanner = {.from = scans_from[i],
                                        .spacing = 0.3,
                                        .noise = 0.03,
                                        .roll = 0.4 * (double)i,
                                        .radius = 13,
                                        .points_only = true,
                                        .seed = i};
        struct piece *piece = piece_new(scanner_view(blades, &scanner), "view");
        ck_assert_int_eq(scene_add(scene, piece, &job), STATUS_OK);
    }
    ck_assert_int_eq(step_parse("fuse", &step, &job), STATUS_OK);
    ck_assert_int_eq(step_run(&step, scene, &out, &job), STATUS_OK);
    ck_assert_msg(strstr(job.notes, "samples are not in the surface"), "%s", job.notes);
    step_release(&step);
    scene_free(out);
    scene_free(scene);
    job_release(&job);
}
END_TEST

Suite *suite_fuse_edges(void);
Suite *suite_fuse_edges(void)
{
    Suite *suite = suite_create("fuse_edges");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, edges_stay_sharp, 0, 2);
    tcase_add_loop_test(all, edges_of_a_face_seen_at_a_slant, 0, 2);
    tcase_add_test(all, walls_are_kept);
    tcase_add_test(all, lost_walls_are_told);
    tcase_add_test(all, the_note_says_what_is_lost);
    tcase_add_test(all, thickened_blades_are_told);
    suite_add_tcase(suite, all);
    return suite;
}
