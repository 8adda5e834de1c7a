/* Colours taken from scans, and given on to what has none. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/array.h"
#include "core/job.h"
#include "core/join.h"
#include "scan/tint.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

enum { FAR = 3 << 20 }; /* mm; floats there stand 0.25 mm apart */

static const uint8_t red[4] = {200, 40, 40, 255}, blue[4] = {40, 40, 200, 255};

/* --- painting -------------------------------------------------------------------------------- */

typedef void (*painter)(struct vec p, uint8_t out[4]);

static void paint_all_red(struct vec p, uint8_t out[4])
{
    (void)p;
    memcpy(out, red, 4);
}

static void paint_waves(struct vec p, uint8_t out[4])
{
    out[0] = (uint8_t)(128 + 100 * sin(p.x / 2));
    out[1] = (uint8_t)(128 + 100 * cos(p.y / 3));
    out[2] = (uint8_t)(128 + 80 * sin((p.z + p.x) / 3));
    out[3] = 255;
}

static void paint_slope(struct vec p, uint8_t out[4])
{
    out[0] = (uint8_t)(20 + 10 * p.x);
    out[1] = 90;
    out[2] = (uint8_t)(220 - 10 * p.x);
    out[3] = 255;
}

static uint8_t *colour_of(struct mesh *mesh)
{
    return mesh->attribute[ATTRIBUTE_colour]->data;
}

static struct mesh *painted(struct mesh *mesh, painter paint)
{
    uint8_t *colour = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        paint(point_vec(mesh_point(mesh)[v]), colour + 4 * v);
    return mesh;
}

static struct scans painted_scans(solid_distance solid, size_t views, painter paint)
{
    struct scans scans = scans_of(solid, scans_spacing, scans_noise, views);
    for (size_t i = 0; i < scans.count; i++)
        painted(scans.mesh[i], paint);
    return scans;
}

static struct mesh *tinted(const struct mesh *mesh, const struct scans *scans, int threads,
                           struct tint_report *report)
{
    struct mesh *out;
    struct job job;
    job_init(&job);
    job.threads = threads;
    ck_assert_msg(tint_from(mesh, (const struct mesh *const *)scans->mesh, scans->count, 0, &out,
                            report, &job) == STATUS_OK,
                  "%s", job.message);
    job_release(&job);
    ck_assert_uint_eq(report->seen + report->spread + report->left, mesh_vertices(mesh));
    return out;
}

/* --- from scans ------------------------------------------------------------------------------ */

static double worst_of_waves(const struct mesh *mesh, double *rms)
{
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    double worst = 0, sum = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        uint8_t is[4];
        paint_waves(point_vec(mesh_point(mesh)[v]), is);
        for (int k = 0; k < 3; k++) {
            double off = fabs((double)colour[4 * v + (size_t)k] - is[k]);
            worst = fmax(worst, off);
            sum += off * off;
        }
        ck_assert_int_eq(colour[4 * v + 3], 255);
    }
    *rms = sqrt(sum / (double)(3 * mesh_vertices(mesh)));
    return worst;
}

/* Colours that change by up to 50 a millimetre, on noisy scans of a ball that the surface has other
 * vertices than: a pixel's width is 15 of them. */
START_TEST(colours_come_from_where_they_are)
{
    struct scans scans = painted_scans(small_ball, SCANS_VIEWS, paint_waves);
    struct mesh *ball = shape_sphere(9, 5);
    struct tint_report report;
    double rms;
    struct mesh *out = tinted(ball, &scans, 2, &report);
    ck_assert_uint_eq(report.seen, mesh_vertices(ball));
    ck_assert_double_lt(worst_of_waves(out, &rms), 10);
    ck_assert_double_lt(rms, 2);
    ck_assert_ptr_eq(out->point, ball->point);
    mesh_free(out);
    mesh_free(ball);
    scans_free(&scans);
}
END_TEST

START_TEST(threads_and_places_change_nothing)
{
    struct scans scans = painted_scans(small_ball, 3, paint_waves);
    struct mesh *ball = shape_sphere(9, 4);
    struct tint_report report;
    struct mesh *one = tinted(ball, &scans, 1, &report), *two = tinted(ball, &scans, 2, &report);
    size_t bytes = 4 * mesh_vertices(ball);
    ck_assert_mem_eq(colour_of(one), colour_of(two), bytes);
    for (int k = 0; k < 3; k++) {
        ball->origin[k] += FAR;
        for (size_t i = 0; i < scans.count; i++)
            scans.mesh[i]->origin[k] += FAR;
    }
    struct mesh *far = tinted(ball, &scans, 2, &report);
    for (size_t i = 0; i < bytes; i++)
        ck_assert_int_le(abs(colour_of(far)[i] - colour_of(one)[i]), 1);
    mesh_free(far);
    mesh_free(one);
    mesh_free(two);
    mesh_free(ball);
    scans_free(&scans);
}
END_TEST

static double thin_plate(struct vec p)
{
    return small_cuboid(p, vec(8, 6, 0.2));
}

/* A plate as thick as a pixel and a third, red above and blue below: each side takes its own. */
START_TEST(the_other_side_says_nothing)
{
    struct scans scans = scans_of(thin_plate, scans_spacing, 0.005, SCANS_VIEWS);
    for (size_t i = 0; i < scans.count; i++)
        scans_paint(scans.mesh[i], scans_from[i], false);
    struct mesh *plate = shape_box(16, 12, 0.4, 40);
    for (size_t v = 0; v < mesh_vertices(plate); v++) {
        struct point *p = &mesh_point_edit(plate)[v];
        *p = (struct point){p->x - 8, p->y - 6, p->z - 0.2f};
    }
    struct tint_report report;
    struct mesh *out = tinted(plate, &scans, 2, &report);
    size_t inner = 0;
    for (size_t v = 0; v < mesh_vertices(plate); v++) {
        struct vec p = point_vec(mesh_point(plate)[v]);
        if (fabs(p.x) > 7.3 || fabs(p.y) > 5.3)
            continue;
        ck_assert_mem_eq(colour_of(out) + 4 * v, p.z > 0 ? red : blue, 4);
        inner++;
    }
    ck_assert_uint_gt(inner, 1000);
    mesh_free(out);
    mesh_free(plate);
    scans_free(&scans);
}
END_TEST

static void turn_inside_out(struct mesh *mesh)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        uint32_t *v = mesh_triangle_edit(mesh)[t].v, swap = v[0];
        v[0] = v[1];
        v[1] = swap;
    }
}

START_TEST(a_scan_that_faces_inward_counts_too)
{
    struct scans scans = painted_scans(small_ball, 2, paint_waves);
    turn_inside_out(scans.mesh[1]);
    struct mesh *ball = shape_sphere(9, 4);
    struct tint_report turned, report;
    mesh_free(tinted(ball, &scans, 2, &turned));
    turn_inside_out(scans.mesh[1]);
    mesh_free(tinted(ball, &scans, 2, &report));
    ck_assert_uint_eq(turned.seen, report.seen);
    mesh_free(ball);
    scans_free(&scans);
}
END_TEST

/* A white spot 8 degrees about the place that one camera sees at 30 degrees, the other at 60. */
START_TEST(glare_says_little)
{
    const struct vec spot = vec(0.8660254, 0, 0.5);
    struct scanner first = {.from = {1, 0, 0}, .spacing = 0.3, .radius = 12};
    struct scanner second = {.from = {0, 0, 1}, .spacing = 0.3, .radius = 12};
    struct scans scans = {{scanner_view(small_ball, &first), scanner_view(small_ball, &second)}, 2};
    for (int i = 0; i < 2; i++)
        painted(scans.mesh[i], paint_all_red);
    for (size_t v = 0; v < mesh_vertices(scans.mesh[0]); v++)
        if (vec_dot(vec_unit(point_vec(mesh_point(scans.mesh[0])[v])), spot) > cos(8 / 57.29578))
            memset(colour_of(scans.mesh[0]) + 4 * v, 255, 3);
    struct mesh *ball = shape_sphere(9, 5);
    struct tint_report report;
    struct mesh *out = tinted(ball, &scans, 2, &report);
    size_t there = 0;
    for (size_t v = 0; v < mesh_vertices(ball); v++) {
        if (vec_dot(vec_unit(point_vec(mesh_point(ball)[v])), spot) < cos(6 / 57.29578))
            continue;
        ck_assert_int_le(colour_of(out)[4 * v + 1], 43); /* 255 in the spot */
        there++;
    }
    ck_assert_uint_gt(there, 10);
    mesh_free(out);
    mesh_free(ball);
    scans_free(&scans);
}
END_TEST

/* Seen from one side: what was not seen keeps what it had, to the bit; without colours it takes
 * them from what was seen. */
START_TEST(what_no_scan_saw)
{
    struct scans scans = painted_scans(small_ball, 1, paint_all_red);
    struct mesh *ball = shape_sphere(9, 4);
    struct tint_report report;
    struct mesh *out = tinted(ball, &scans, 2, &report);
    ck_assert_uint_eq(report.left, 0);
    ck_assert_uint_gt(report.spread, mesh_vertices(ball) / 3);
    for (size_t v = 0; v < mesh_vertices(ball); v++)
        ck_assert_mem_eq(colour_of(out) + 4 * v, red, 4);
    mesh_free(out);
    painted(ball, paint_waves);
    out = tinted(ball, &scans, 2, &report);
    ck_assert_uint_eq(report.spread, 0);
    size_t kept = 0;
    for (size_t v = 0; v < mesh_vertices(ball); v++) {
        bool is_red = memcmp(colour_of(out) + 4 * v, red, 4) == 0;
        bool same = memcmp(colour_of(out) + 4 * v, colour_of(ball) + 4 * v, 4) == 0;
        ck_assert(is_red || same);
        kept += !is_red;
    }
    ck_assert_uint_eq(kept, report.left);
    mesh_free(out);
    mesh_free(ball);
    scans_free(&scans);
}
END_TEST

/* --- as a step ------------------------------------------------------------------------------- */

/* The scan is hidden, as those that were fused are; the one to colour has no colours yet. */
START_TEST(hidden_pieces_count)
{
    struct scans scans = painted_scans(small_ball, 1, paint_all_red);
    struct scene *scene = steps_pair(shape_sphere(9, 4), mesh_share(scans.mesh[0]));
    scene = steps_after(scene, "hide 2");
    scene = steps_told(scene, "tint from=pieces", "have a scan's colour now");
    ck_assert_int_eq(scene->piece[0]->colour, COLOUR_VERTEX);
    ck_assert_ptr_nonnull(mesh_attribute(scene->piece[0]->mesh, ATTRIBUTE_colour));
    ck_assert_ptr_eq(scene->piece[1]->mesh, scans.mesh[0]);
    scene_free(scene);
    scans_free(&scans);
}
END_TEST

START_TEST(says_what_is_missing)
{
    struct scene *bare = steps_pair(shape_sphere(9, 3), shape_sphere(9, 3));
    steps_refused(bare, "tint from=pieces piece=1", "no other piece has colours");
    steps_refused(bare, "tint missing", "no colours to take from");
    scene_free(bare);
    struct mesh *away = painted(shape_sphere(9, 3), paint_waves);
    away->origin[0] = 500;
    struct scene *apart = steps_pair(shape_sphere(9, 3), away);
    steps_refused(apart, "tint from=pieces piece=1", "bring them together first");
    steps_refused(apart, "tint from=pieces", "no other piece has colours");
    scene_free(apart);
    struct scene *empty = steps_pair(mesh_new(0, 0), painted(shape_sphere(9, 2), paint_waves));
    steps_refused(empty, "tint from=pieces piece=1", "no surface");
    scene_free(empty);
}
END_TEST

/* --- what is missing ------------------------------------------------------------------------- */

static struct mesh *completed(const struct mesh *mesh, struct tint_report *report)
{
    struct mesh *out;
    ck_assert_int_eq(tint_missing(mesh, &out, report, NULL), STATUS_OK);
    return out;
}

static bool in_middle(struct vec p, double radius)
{
    return hypot(p.x - 10, p.y - 10) < radius;
}

/* Colours that rise evenly, a disc of 6 mm in the middle of which was invented and is white: what
 * is harmonic in a disc and even on its rim is even in it, and so, nearly, is what is given on. */
START_TEST(colours_run_on_into_what_was_invented)
{
    struct mesh *patch = painted(shape_patch(20, 50, NULL), paint_slope);
    uint8_t *origin = mesh_attribute_new(patch, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(patch); t++) {
        const uint32_t *v = mesh_triangle(patch)[t].v;
        bool in = true;
        for (int k = 0; k < 3; k++)
            in = in && in_middle(point_vec(mesh_point(patch)[v[k]]), 6);
        origin[t] = in ? ORIGIN_INVENTED : ORIGIN_MEASURED;
    }
    for (size_t v = 0; v < mesh_vertices(patch); v++)
        if (in_middle(point_vec(mesh_point(patch)[v]), 5))
            memset(colour_of(patch) + 4 * v, 255, 4);
    struct tint_report report;
    struct mesh *out = completed(patch, &report);
    ck_assert_uint_eq(report.left, 0);
    ck_assert_uint_gt(report.spread, 400);
    for (size_t v = 0; v < mesh_vertices(patch); v++) {
        struct vec p = point_vec(mesh_point(patch)[v]);
        uint8_t is[4];
        paint_slope(p, is);
        if (!in_middle(p, 6.1))
            ck_assert_mem_eq(colour_of(out) + 4 * v, is, 4);
        for (int k = 0; k < 4; k++) /* of 120 across the disc */
            ck_assert_int_le(abs(colour_of(out)[4 * v + (size_t)k] - is[k]), 24);
    }
    mesh_free(out);
    mesh_free(patch);
}
END_TEST

/* A ball with a transparent spot, and a made ball apart from it. */
START_TEST(what_hangs_together_with_nothing_keeps_its_own)
{
    struct mesh *ball = painted(shape_sphere(5, 3), paint_all_red);
    struct mesh *apart = painted(shape_sphere(2, 2), paint_waves);
    size_t of_ball = mesh_vertices(ball), of_apart = mesh_vertices(apart), spots = 0;
    for (size_t v = 0; v < of_ball; v++)
        if (mesh_point(ball)[v].z > 4) {
            memset(colour_of(ball) + 4 * v, 0, 4);
            spots++;
        }
    uint8_t *origin = mesh_attribute_new(apart, ATTRIBUTE_origin);
    memset(origin, ORIGIN_MADE, mesh_triangles(apart));
    const struct mesh *both[2] = {ball, apart};
    struct mesh *mesh = mesh_join(both, 2, NULL);
    ck_assert_ptr_nonnull(mesh);
    struct tint_report report;
    struct mesh *out = completed(mesh, &report);
    ck_assert_uint_eq(report.spread, spots);
    ck_assert_uint_eq(report.left, of_apart);
    for (size_t v = 0; v < of_ball; v++)
        ck_assert_mem_eq(colour_of(out) + 4 * v, red, 4);
    ck_assert_mem_eq(colour_of(out) + 4 * of_ball, colour_of(apart), 4 * of_apart);
    mesh_free(out);
    mesh_free(mesh);
    mesh_free(ball);
    mesh_free(apart);
}
END_TEST

/* What a plain tool cut is white, and then as the surface around it; all measured stays as it was.
 */
START_TEST(bored_walls_take_the_colour_around)
{
    struct scene *scene = steps_scene(painted(shape_box(30, 30, 8, 30), paint_all_red));
    scene = steps_after(scene, "bore 15,15,8 screw=M4 depth=5");
    scene = steps_told(scene, "tint missing", "not measured have the colours around them");
    const struct mesh *mesh = scene->piece[0]->mesh;
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        ck_assert_mem_eq(colour + 4 * v, red, 4);
    scene = steps_told(scene, "tint missing", "colours around them"); /* still made, not measured */
    scene_free(scene);
    struct scene *whole = steps_scene(painted(shape_box(30, 30, 8, 3), paint_all_red));
    whole = steps_told(whole, "tint missing", "nothing is missing");
    scene_free(whole);
}
END_TEST

Suite *suite_tint(void);
Suite *suite_tint(void)
{
    Suite *suite = suite_create("tint");
    TCase *tcase = tcase_create("tint");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, colours_come_from_where_they_are);
    tcase_add_test(tcase, threads_and_places_change_nothing);
    tcase_add_test(tcase, the_other_side_says_nothing);
    tcase_add_test(tcase, a_scan_that_faces_inward_counts_too);
    tcase_add_test(tcase, glare_says_little);
    tcase_add_test(tcase, what_no_scan_saw);
    tcase_add_test(tcase, hidden_pieces_count);
    tcase_add_test(tcase, says_what_is_missing);
    tcase_add_test(tcase, colours_run_on_into_what_was_invented);
    tcase_add_test(tcase, what_hangs_together_with_nothing_keeps_its_own);
    tcase_add_test(tcase, bored_walls_take_the_colour_around);
    suite_add_tcase(suite, tcase);
    return suite;
}
