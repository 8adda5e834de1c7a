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
#include "scan/fuse.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

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

static Suite *suite(void)
{
    Suite *s = suite_create("fuse");
    TCase *truth = tcase_create("truth");
    tcase_set_timeout(truth, 60);
    tcase_add_loop_test(truth, near_the_truth_and_closed, 0, SHAPES);
    suite_add_tcase(s, truth);
    return s;
}

Suite *suite_fuse(void);
Suite *suite_fuse(void)
{
    return suite();
}
