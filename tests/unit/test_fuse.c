/* Fusing: made-up scans of solids given by their distance functions, whose true surface is known.
 */
#include <check.h>
#include <math.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "core/job.h"
#include "core/topology.h"
#include "op/op.h"
#include "scan/fuse.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/wrecks.h"

/* --- solids, each some 20 mm across; distances exact near the surface ------------------------- */

static double ball(struct vec p)
{
    return vec_length(p) - 9;
}

static double torus(struct vec p)
{
    return hypot(hypot(p.x, p.y) - 8, p.z) - 3;
}

static double cuboid(struct vec p, struct vec half)
{
    struct vec d = vec(fabs(p.x) - half.x, fabs(p.y) - half.y, fabs(p.z) - half.z);
    return vec_length(vec(fmax(d.x, 0), fmax(d.y, 0), fmax(d.z, 0))) +
           fmin(fmax(d.x, fmax(d.y, d.z)), 0);
}

static double box(struct vec p)
{
    return cuboid(p, vec(8, 6, 5));
}

static double plate(struct vec p) /* four spacings thick */
{
    return cuboid(p, vec(8, 6, 0.6));
}

static double two_balls(struct vec p)
{
    return fmin(vec_length(vec_sub(p, vec(-5, 0, 0))) - 4,
                vec_length(vec_sub(p, vec(5, 0, 0))) - 4);
}

/* --- scans ----------------------------------------------------------------------------------- */

enum { VIEWS = 6, VIEWS_MOST = 8 };

/* The sides of a cube that stands on a corner. */
static const struct vec side[VIEWS] = {{0.816, 0, 0.577},       {-0.408, 0.707, 0.577},
                                       {-0.408, -0.707, 0.577}, {-0.816, 0, -0.577},
                                       {0.408, -0.707, -0.577}, {0.408, 0.707, -0.577}};

static const double spacing = 0.3, noise = 0.03;

struct scans {
    struct mesh *mesh[VIEWS_MOST];
    size_t count;
};

static struct scans scans_of(solid_distance solid, double apart, double off, size_t views)
{
    struct scans scans = {.count = views};
    for (size_t i = 0; i < views; i++) {
        struct scanner scanner = {.from = side[i],
                                  .spacing = apart,
                                  .noise = off,
                                  .roll = 0.4 * (double)i,
                                  .radius = 12,
                                  .seed = i};
        scans.mesh[i] = scanner_view(solid, &scanner);
    }
    return scans;
}

static void scans_free(struct scans *scans)
{
    for (size_t i = 0; i < scans->count; i++)
        mesh_free(scans->mesh[i]);
}

static struct mesh *fused(const struct scans *scans, const struct fuse_options *options,
                          struct fuse_report *report)
{
    struct mesh *mesh = NULL;
    struct job job;
    job_init(&job);
    enum status status = fuse((const struct mesh *const *)scans->mesh, scans->count, options, &mesh,
                              report, NULL, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    job_release(&job);
    return mesh;
}

static void check_solid(const struct mesh *mesh)
{
    const char *fault = sound_fault(mesh);
    ck_assert_msg(!fault, "%s", fault);
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    ck_assert_uint_eq(shape_count(mesh).degenerate, 0);
    ck_assert_double_gt(shape_count(mesh).volume, 0);
}

/* --- how far from the truth ------------------------------------------------------------------ */

static int double_order(const void *x, const void *y)
{
    double a = *(const double *)x, b = *(const double *)y;
    return a < b ? -1 : a > b;
}

struct errors {
    double rms, p95, max, share; /* mm, of the triangles' middles; the share of the area */
};

/* Of the triangles of one origin. */
static struct errors errors_of(const struct mesh *mesh, solid_distance solid,
                               enum surface_origin which)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t triangles = mesh_triangles(mesh), count = 0;
    double *error = malloc((triangles + 1) * sizeof *error), sum2 = 0, all = 0, own = 0;
    ck_assert_ptr_nonnull(origin);
    for (size_t t = 0; t < triangles; t++) {
        struct vec p[3], middle = vec(0, 0, 0);
        for (int k = 0; k < 3; k++) {
            p[k] = mesh_world(mesh, point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]));
            middle = vec_along(middle, 1.0 / 3, p[k]);
        }
        double area = vec_length(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]))) / 2;
        all += area;
        if (origin[t] != which)
            continue;
        own += area;
        error[count] = fabs(solid(middle));
        sum2 += error[count] * error[count];
        count++;
    }
    qsort(error, count, sizeof *error, double_order);
    struct errors e = {.share = own / all};
    if (count) {
        e.rms = sqrt(sum2 / (double)count);
        e.p95 = error[count * 95 / 100];
        e.max = error[count - 1];
    }
    free(error);
    return e;
}

struct shape {
    const char *name;
    solid_distance solid;
    long euler;
    double volume; /* mm3 */
};

static const struct shape shapes[] = {
    {"ball", ball, 2, 3053.628},          /* 4/3 pi 9^3 */
    {"torus", torus, 0, 1421.223},        /* 2 pi^2 8 3^2 */
    {"box", box, 2, 1920},                /* 16 x 12 x 10 */
    {"plate", plate, 2, 230.4},           /* 16 x 12 x 1.2 */
    {"two balls", two_balls, 4, 536.165}, /* 2 * 4/3 pi 4^3 */
};
enum { SHAPES = sizeof shapes / sizeof *shapes };

/* The task's own bound: scans of 0.3 mm spacing and 0.03 mm noise, fused, are within 0.02 mm (root
 * mean square) and 0.06 mm (95 of 100) of the truth where it was measured. */
START_TEST(near_the_truth_and_closed)
{
    const struct shape *shape = &shapes[_i];
    struct scans scans = scans_of(shape->solid, spacing, noise, VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = fused(&scans, &options, &report);
    check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, shape->euler);
    struct errors e = errors_of(mesh, shape->solid, ORIGIN_MEASURED);
    ck_assert_msg(e.rms <= 0.02 && e.p95 <= 0.06, "%s: RMS %g, P95 %g", shape->name, e.rms, e.p95);
    ck_assert_double_eq_tol(shape_count(mesh).volume, shape->volume, 0.01 * shape->volume);
    ck_assert_double_gt(e.share, 0.9);
    ck_assert_double_eq_tol(report.invented / report.area, 1 - e.share, 1e-6);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- open, one view, several ------------------------------------------------------------------ */

static bool is_manifold(const struct mesh *mesh)
{
    const struct topology *t = mesh_topology(mesh, NULL);
    return t->nonmanifold == 0 && t->misoriented == 0 && t->nonmanifold_vertices == 0 &&
           t->unused_vertices == 0;
}

/* One view of a ball: open, it is a cap that goes no farther than what was seen; closed, a solid
 * whose invented part is marked. Steeper than 75 degrees the scanner does not see. */
START_TEST(one_view)
{
    struct scans scans = scans_of(ball, spacing, noise, 1);
    struct fuse_report report;
    const struct fuse_options shut = {.closed = true}, open = {.closed = false};
    struct mesh *mesh = fused(&scans, &open, &report);
    ck_assert(is_manifold(mesh));
    ck_assert_uint_gt(shape_count(mesh).boundary, 100);
    ck_assert_int_eq(shape_count(mesh).euler, 1); /* a disc */
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    ck_assert_double_eq(report.invented, 0);
    ck_assert_double_eq(errors_of(mesh, ball, ORIGIN_MEASURED).share, 1);
    ck_assert_double_le(errors_of(mesh, ball, ORIGIN_MEASURED).rms, 0.02);
    double cap = shape_count(scans.mesh[0]).area;
    ck_assert_double_eq_tol(report.area, cap, 0.04 * cap);
    mesh_free(mesh);

    mesh = fused(&scans, &shut, &report);
    check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 2);
    struct errors seen = errors_of(mesh, ball, ORIGIN_MEASURED);
    ck_assert_double_le(seen.rms, 0.02);
    ck_assert_double_eq_tol(seen.share * report.area, cap, 0.04 * cap);
    ck_assert_double_eq_tol(report.invented, (1 - seen.share) * report.area, 1e-3);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Drop-outs that no scan saw are closed smoothly: a round hole of 1.5 mm in a ball of 9 mm is
 * filled to within a tenth of what a flat lid would miss, 1.5^2 / 18 = 0.125 mm. */
static bool in_hole(const struct mesh *mesh, size_t t)
{
    struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]]);
    return vec_length(vec_sub(p, vec(0, 0, 9))) < 1.5;
}

START_TEST(holes_are_closed_smoothly)
{
    struct scans scans = scans_of(ball, spacing, 0, VIEWS);
    for (size_t i = 0; i < scans.count; i++) {
        struct mesh *whole = scans.mesh[i];
        scans.mesh[i] = shape_without(whole, in_hole);
        mesh_free(whole);
    }
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = fused(&scans, &options, &report);
    check_solid(mesh);
    struct errors lid = errors_of(mesh, ball, ORIGIN_INVENTED);
    ck_assert_double_gt(lid.share, 0.002);
    ck_assert_double_lt(lid.share, 3.1416 * 1.5 * 1.5 / (4 * 3.1416 * 9 * 9) * 1.2);
    ck_assert_double_le(lid.max, 0.0125);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- what it can be given --------------------------------------------------------------------- */

static struct mesh *fused_one(const struct mesh *mesh, double apart, bool closed,
                              struct fuse_report *report)
{
    struct scans scans = {{(struct mesh *)(uintptr_t)mesh}, 1};
    const struct fuse_options options = {apart, closed};
    return fused(&scans, &options, report);
}

START_TEST(a_whole_mesh_stays_itself)
{
    struct fuse_report report;
    struct mesh *sphere = shape_sphere(10, 4), *mesh = fused_one(sphere, 0, true, &report);
    check_solid(mesh);
    ck_assert_double_eq(report.invented, 0);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 4188.79, 0.004 * 4188.79);
    mesh_free(mesh);
    mesh_free(sphere);
}
END_TEST

/* The spacing asked for is that of the new vertices: so many stand on the surface as in a net of
 * equal triangles, area * 2 / sqrt(3) / spacing^2. */
START_TEST(spacing_is_kept)
{
    static const double wanted[] = {0.25, 0.6, 1.5, 2.5};
    struct fuse_report report;
    struct mesh *sphere = shape_sphere(10, 5), *mesh = fused_one(sphere, wanted[_i], true, &report);
    check_solid(mesh);
    double area = shape_count(mesh).area, n = (double)mesh_vertices(mesh);
    ck_assert_double_eq(report.spacing, wanted[_i]);
    ck_assert_double_eq_tol(sqrt(area * 1.1547 / n), wanted[_i], 0.08 * wanted[_i]);
    mesh_free(mesh);
    mesh_free(sphere);
}
END_TEST

/* Twelve triangles, finer spacing: the faces are sampled, the edges and corners stay. */
START_TEST(large_triangles_are_surface_too)
{
    struct fuse_report report;
    struct mesh *coarse = shape_box(10, 8, 6, 1), *mesh = fused_one(coarse, 0.4, true, &report);
    check_solid(mesh);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 480, 0.002 * 480);
    ck_assert_double_lt(report.invented, 0.01 * report.area);
    mesh_free(mesh);
    mesh_free(coarse);
}
END_TEST

static struct mesh *turned_over(const struct mesh *mesh)
{
    struct mesh *over = mesh_new_like(mesh);
    struct array *triangle = array_new(mesh_triangles(mesh), sizeof(struct triangle));
    ck_assert(over && triangle);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        ((struct triangle *)triangle->data)[t] = (struct triangle){{v[1], v[0], v[2]}};
    }
    array_free(over->triangle);
    over->triangle = triangle;
    return over;
}

START_TEST(pieces_that_face_inward_are_turned)
{
    const struct fuse_options options = {.closed = true};
    struct scans scans = scans_of(ball, 0.4, 0.02, VIEWS);
    struct fuse_report report;
    struct mesh *over = turned_over(scans.mesh[2]), *mesh;
    mesh_free(scans.mesh[2]);
    scans.mesh[2] = over;
    uint8_t turned[VIEWS] = {0};
    ck_assert_int_eq(
        fuse((const struct mesh *const *)scans.mesh, VIEWS, &options, &mesh, &report, turned, NULL),
        STATUS_OK);
    check_solid(mesh);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 3053.628, 0.01 * 3053.628);
    ck_assert_uint_eq(report.turned, 1);
    ck_assert_uint_eq(turned[2], 1);
    mesh_free(mesh);
    scans_free(&scans);
    struct mesh *sphere = shape_sphere(10, 4), *inward = turned_over(sphere);
    mesh = fused_one(inward, 0, true, &report);
    check_solid(mesh);
    ck_assert_uint_eq(report.turned, 1);
    mesh_free(mesh);
    mesh_free(inward);
    mesh_free(sphere);
}
END_TEST

START_TEST(clouds_are_pieces_too)
{
    const struct fuse_options options = {.closed = true};
    struct scans scans = {.count = VIEWS};
    for (size_t i = 0; i < VIEWS; i++) {
        struct scanner scanner = {.from = side[i],
                                  .spacing = 0.4,
                                  .noise = 0.01,
                                  .radius = 12,
                                  .points_only = i % 2 == 0,
                                  .seed = i};
        scans.mesh[i] = scanner_view(ball, &scanner);
    }
    struct fuse_report report;
    struct mesh *mesh = fused(&scans, &options, &report);
    check_solid(mesh);
    ck_assert_double_le(errors_of(mesh, ball, ORIGIN_MEASURED).rms, 0.02);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 3053.628, 0.01 * 3053.628);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Two balls far from each other, and the whole of it far from zero. */
START_TEST(apart_and_far_off)
{
    struct scans scans = {{shape_sphere(3, 4), shape_sphere(3, 4)}, 2};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    scans.mesh[0]->origin[0] = 4e6 + 0.25;
    scans.mesh[1]->origin[0] = 4e6 + 50.25;
    struct mesh *mesh = fused(&scans, &options, &report);
    check_solid(mesh);
    ck_assert_int_eq(shape_count(mesh).euler, 4);
    ck_assert_double_eq_tol(shape_count(mesh).volume, 2 * 113.097, 1.5);
    struct vec centre = mesh_bounds(mesh, NULL)->centre;
    ck_assert_double_eq_tol(centre.x, 4e6 + 25.25, 0.01);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

static struct mesh *points(size_t count)
{
    struct mesh *mesh = mesh_new(count, 0);
    for (size_t i = 0; i < count; i++)
        mesh_point_edit(mesh)[i] = (struct point){(float)(i % 2), (float)(i / 2 % 2), 0};
    return mesh;
}

static enum status refused(const struct mesh *mesh, double apart)
{
    struct job job;
    struct fuse_report report;
    struct mesh *out = NULL;
    const struct fuse_options options = {apart, true};
    job_init(&job);
    enum status status = fuse(&mesh, 1, &options, &out, &report, NULL, &job);
    ck_assert(status == STATUS_OK || (job.message[0] && !out));
    if (out)
        check_solid(out);
    mesh_free(out);
    job_release(&job);
    return status;
}

START_TEST(next_to_nothing)
{
    struct mesh *none = points(0), *one = points(1), *three = points(3);
    ck_assert_int_eq(refused(none, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(one, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(one, 1), STATUS_REFUSED);
    ck_assert_int_eq(refused(three, 0), STATUS_OK); /* they lie in one plane, and face up */
    mesh_free(none);
    mesh_free(one);
    mesh_free(three);
    const double corner[3][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    const uint32_t face[1][3] = {{0, 1, 2}};
    struct mesh *triangle = shape_make(corner, 3, face, 1);
    ck_assert_int_eq(refused(triangle, 0), STATUS_OK);
    ck_assert_int_eq(refused(triangle, 0.05), STATUS_OK);
    mesh_free(triangle);
    struct mesh *sphere = shape_sphere(10, 3);
    mesh_point_edit(sphere)[5].x = 3e9f; /* too far for a grid, */
    ck_assert_int_eq(refused(sphere, 0), STATUS_REFUSED);
    mesh_point_edit(sphere)[5].x = 3e30f; /* and for its numbers */
    ck_assert_int_eq(refused(sphere, 0), STATUS_REFUSED);
    ck_assert_int_eq(refused(sphere, 1e25), STATUS_REFUSED);
    mesh_free(sphere);
}
END_TEST

/* Soups, flipped and torn spheres: whatever comes, what comes out is a solid. */
START_TEST(wrecks_become_solids)
{
    struct mesh *broken = wreck(_i);
    enum status status = refused(broken, 0);
    ck_assert(status == STATUS_OK || status == STATUS_REFUSED);
    mesh_free(broken);
}
END_TEST

/* Two scans that disagree by 0.1 mm: the one of nine times the confidence has nine times the say.
 */
START_TEST(confidence_counts)
{
    struct scans scans = {{shape_sphere(9, 5), shape_sphere(9.1, 5)}, 2};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    for (int i = 0; i < 2; i++) {
        float *confidence = mesh_attribute_new(scans.mesh[i], ATTRIBUTE_confidence);
        for (size_t v = 0; v < mesh_vertices(scans.mesh[i]); v++)
            confidence[v] = i == 0 ? 0.9f : 0.1f;
    }
    struct mesh *mesh = fused(&scans, &options, &report);
    check_solid(mesh);
    double sum = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        sum += vec_length(mesh_world(mesh, point_vec(mesh_point(mesh)[v])));
    ck_assert_double_eq_tol(sum / (double)mesh_vertices(mesh), 9.01, 0.004);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

static double larger_ball(struct vec p)
{
    return vec_length(p) - 9.1;
}

/* Two views square to each other that disagree by 0.1 mm. 30 degrees from one view's axis and 60
 * from the other's, the cosines stand as sqrt(3) to 1, and so do the samples an area: 3 to 1 is
 * what each has to say. */
START_TEST(square_views_count)
{
    struct scanner first = {.from = {1, 0, 0}, .spacing = 0.3, .radius = 12};
    struct scanner second = {.from = {0, 0, 1}, .spacing = 0.3, .radius = 12};
    struct scans scans = {{scanner_view(ball, &first), scanner_view(larger_ball, &second)}, 2};
    const struct fuse_options options = {.closed = false};
    struct fuse_report report;
    struct mesh *mesh = fused(&scans, &options, &report);
    double sum[2] = {0}, count[2] = {0};
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        double r = vec_length(p), to_first = acos(p.x / r) * 57.29578;
        bool between = fabs(p.y) < 2 && p.x > 0 && p.z > 0;
        for (int i = 0; i < 2; i++)
            if (between && fabs(to_first - (i == 0 ? 30 : 60)) < 5) {
                sum[i] += r;
                count[i]++;
            }
    }
    ck_assert(count[0] > 20 && count[1] > 20);
    ck_assert_double_eq_tol(sum[0] / count[0], 9.025, 0.008);
    ck_assert_double_eq_tol(sum[1] / count[1], 9.075, 0.008);
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- colour ----------------------------------------------------------------------------------- */

static void paint(struct mesh *mesh, struct vec from, bool glare)
{
    uint8_t(*colour)[4] = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    ck_assert_ptr_nonnull(colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        const uint8_t red[4] = {200, 40, 40, 255}, blue[4] = {40, 40, 200, 255},
                      white[4] = {255, 255, 255, 255};
        bool lit = glare && vec_dot(vec_unit(p), from) > 0.9;
        memcpy(colour[v], lit ? white : p.z > 0 ? red : blue, 4);
    }
}

/* Whether a scan sees the place well, and without glare. */
static bool seen_well(struct vec p)
{
    for (int i = 0; i < VIEWS; i++) {
        double square = vec_dot(vec_unit(p), side[i]);
        if (square > 0.35 && square < 0.85)
            return true;
    }
    return false;
}

/* The upper half is red, the lower blue; each scan has a white spot where its light is mirrored.
 * The colours come along, the spots do not where another scan saw the place without. */
START_TEST(colours_come_along)
{
    struct scans scans = scans_of(ball, 0.4, 0.02, VIEWS);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    for (size_t i = 0; i < VIEWS; i++)
        paint(scans.mesh[i], side[i], true);
    struct mesh *mesh = fused(&scans, &options, &report);
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    ck_assert_ptr_nonnull(colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        const uint8_t *c = colour + 4 * v;
        if (fabs(p.z) > 1 && seen_well(p))
            ck_assert_msg(abs(c[0] - (p.z > 0 ? 200 : 40)) < 12 &&
                              abs(c[2] - (p.z > 0 ? 40 : 200)) < 12 && c[3] == 255,
                          "%d %d %d at %g %g %g", c[0], c[1], c[2], p.x, p.y, p.z);
    }
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* Where no scan saw, the colour is that of the rim. */
START_TEST(invented_places_are_coloured_too)
{
    struct scans scans = scans_of(ball, 0.4, 0.02, 1);
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    paint(scans.mesh[0], side[0], false);
    struct mesh *mesh = fused(&scans, &options, &report);
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        ck_assert_int_eq(colour[4 * v + 1], 40);
        ck_assert_int_eq(colour[4 * v + 3], 255);
        ck_assert_int_eq(colour[4 * v] + colour[4 * v + 2], 240);
    }
    mesh_free(mesh);
    scans_free(&scans);
}
END_TEST

/* --- the operation ---------------------------------------------------------------------------- */

static enum status run(const char *line, const struct scene *in, struct scene **out,
                       struct job *job)
{
    struct step step;
    ck_assert_int_eq(step_parse(line, &step, job), STATUS_OK);
    enum status status = step_run(&step, in, out, job);
    step_release(&step);
    return status;
}

/* Shown pieces become a new one and are hidden; a hidden one has no part in it. */
START_TEST(shown_pieces_become_one)
{
    struct scene *scene = scene_new(), *fused = NULL, *none = NULL;
    struct mesh *ball_there = shape_sphere(3, 3), *far_ball = shape_sphere(3, 3);
    struct job job;
    job_init(&job);
    far_ball->origin[1] = 20;
    ck_assert_int_eq(scene_add(scene, piece_new(ball_there, "near"), &job), STATUS_OK);
    ck_assert_int_eq(scene_add(scene, piece_new(shape_box(50, 50, 50, 4), "crate"), &job),
                     STATUS_OK);
    ck_assert_int_eq(scene_add(scene, piece_new(far_ball, "far"), &job), STATUS_OK);
    ck_assert_int_eq(scene_hide(scene, 1, true, &job), STATUS_OK);
    scene->selected = 1;
    ck_assert_int_eq(run("fuse spacing=0.4", scene, &fused, &job), STATUS_OK);
    ck_assert_uint_eq(fused->count, 4);
    ck_assert(fused->piece[0]->hidden && fused->piece[1]->hidden && fused->piece[2]->hidden);
    ck_assert(!fused->piece[3]->hidden && fused->selected == 0);
    check_solid(fused->piece[3]->mesh);
    ck_assert_double_eq_tol(shape_count(fused->piece[3]->mesh).volume, 2 * 113.097, 2.5);
    ck_assert_ptr_nonnull(strstr(job.notes, "2 pieces fused"));
    ck_assert_ptr_nonnull(strstr(job.notes, "100 % of the area measured, 0 % invented"));
    ck_assert_int_eq(scene_hide(fused, 3, true, &job), STATUS_OK);
    ck_assert_int_eq(run("fuse", fused, &none, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "hidden"));
    job_release(&job);
    scene_free(fused);
    scene_free(scene);
}
END_TEST

/* --- threads, cancel -------------------------------------------------------------------------- */

static void check_same(const struct mesh *a, const struct mesh *b)
{
    const struct array *array[2][4] = {
        {a->point, a->triangle, a->attribute[ATTRIBUTE_origin], a->attribute[ATTRIBUTE_colour]},
        {b->point, b->triangle, b->attribute[ATTRIBUTE_origin], b->attribute[ATTRIBUTE_colour]}};
    for (int i = 0; i < 4; i++) {
        ck_assert_uint_eq(array_bytes(array[0][i]), array_bytes(array[1][i]));
        ck_assert_int_eq(memcmp(array[0][i]->data, array[1][i]->data, array_bytes(array[0][i])), 0);
    }
}

/* Three of six views of a box with a hole of sorts: all that fusing does happens. */
START_TEST(same_bytes_whatever_the_threads)
{
    struct scans scans = scans_of(box, spacing, noise, 3);
    const struct fuse_options options = {.closed = _i};
    struct mesh *mesh[3];
    struct fuse_report report;
    for (size_t i = 0; i < scans.count; i++)
        paint(scans.mesh[i], side[i], true);
    for (int i = 0; i < 3; i++) {
        struct job job;
        job_init(&job);
        job.threads = i + 1;
        struct mesh *fresh[3];
        for (int k = 0; k < 3; k++)
            fresh[k] = mesh_new_like(scans.mesh[k]);
        ck_assert_int_eq(
            fuse((const struct mesh *const *)fresh, 3, &options, &mesh[i], &report, NULL, &job),
            STATUS_OK);
        for (int k = 0; k < 3; k++)
            mesh_free(fresh[k]);
        job_release(&job);
    }
    check_same(mesh[0], mesh[1]);
    check_same(mesh[0], mesh[2]);
    for (int i = 0; i < 3; i++)
        mesh_free(mesh[i]);
    scans_free(&scans);
}
END_TEST

struct watch {
    struct job *job;
    double until; /* progress at which it cancels */
    double work;  /* seconds of the process then */
};

static double seconds_of_work(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static void *cancel_midway(void *context)
{
    struct watch *watch = context;
    while (job_progress(watch->job) < watch->until)
        nanosleep(&(struct timespec){0, 200000}, NULL);
    watch->work = seconds_of_work();
    atomic_store(&watch->job->cancel, true);
    return NULL;
}

START_TEST(cancel_is_answered_soon)
{
    struct mesh *sphere = shape_sphere(10, 6), *out = NULL; /* 82 000 triangles */
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct job job;
    job_init(&job);
    struct watch watch = {&job, 0.02 + 0.11 * _i, 0};
    pthread_t thread;
    ck_assert_int_eq(pthread_create(&thread, NULL, cancel_midway, &watch), 0);
    enum status status =
        fuse((const struct mesh *const *)&sphere, 1, &options, &out, &report, NULL, &job);
    double after = seconds_of_work();
    pthread_join(thread, NULL);
    ck_assert_int_eq(status, STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    ck_assert_double_le(after - watch.work, 0.1 * job_threads(&job));
    job_release(&job);
    mesh_free(sphere);
}
END_TEST

static Suite *suite(void)
{
    Suite *s = suite_create("fuse");
    TCase *truth = tcase_create("truth"), *input = tcase_create("input");
    tcase_set_timeout(truth, 60);
    tcase_set_timeout(input, 60);
    tcase_add_loop_test(truth, near_the_truth_and_closed, 0, SHAPES);
    tcase_add_test(truth, one_view);
    tcase_add_test(truth, holes_are_closed_smoothly);
    tcase_add_test(truth, colours_come_along);
    tcase_add_test(truth, invented_places_are_coloured_too);
    tcase_add_test(input, a_whole_mesh_stays_itself);
    tcase_add_loop_test(input, spacing_is_kept, 0, 4);
    tcase_add_test(input, large_triangles_are_surface_too);
    tcase_add_test(input, pieces_that_face_inward_are_turned);
    tcase_add_test(input, clouds_are_pieces_too);
    tcase_add_test(input, apart_and_far_off);
    tcase_add_test(input, next_to_nothing);
    tcase_add_test(input, confidence_counts);
    tcase_add_test(input, square_views_count);
    tcase_add_test(input, shown_pieces_become_one);
    tcase_add_loop_test(input, wrecks_become_solids, 0, 10);
    tcase_add_loop_test(input, same_bytes_whatever_the_threads, 0, 2);
    tcase_add_loop_test(input, cancel_is_answered_soon, 0, 8);
    suite_add_tcase(s, truth);
    suite_add_tcase(s, input);
    return s;
}

Suite *suite_fuse(void);
Suite *suite_fuse(void)
{
    return suite();
}
