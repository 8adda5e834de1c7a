#include "tests/support/scans.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

/* --- solids, each some 20 mm across; distances exact near the surface ------------------------- */

double small_ball(struct vec p)
{
    return vec_length(p) - 9;
}

double small_torus(struct vec p)
{
    return hypot(hypot(p.x, p.y) - 8, p.z) - 3;
}

double small_cuboid(struct vec p, struct vec half)
{
    struct vec d = vec(fabs(p.x) - half.x, fabs(p.y) - half.y, fabs(p.z) - half.z);
    return vec_length(vec(fmax(d.x, 0), fmax(d.y, 0), fmax(d.z, 0))) +
           fmin(fmax(d.x, fmax(d.y, d.z)), 0);
}

double small_box(struct vec p)
{
    return small_cuboid(p, vec(8, 6, 5));
}

double small_plate(struct vec p) /* four spacings thick */
{
    return small_cuboid(p, vec(8, 6, 0.6));
}

double small_two_balls(struct vec p)
{
    return fmin(vec_length(vec_sub(p, vec(-5, 0, 0))) - 4,
                vec_length(vec_sub(p, vec(5, 0, 0))) - 4);
}

/* --- scans ----------------------------------------------------------------------------------- */

const struct vec scans_from[SCANS_VIEWS] = {{0.816, 0, 0.577},       {-0.408, 0.707, 0.577},
                                            {-0.408, -0.707, 0.577}, {-0.816, 0, -0.577},
                                            {0.408, -0.707, -0.577}, {0.408, 0.707, -0.577}};

const double scans_spacing = 0.3, scans_noise = 0.03;

struct scans scans_of(solid_distance solid, double apart, double off, size_t views)
{
    struct scans scans = {.count = views};
    for (size_t i = 0; i < views; i++) {
        struct scanner scanner = {.from = scans_from[i],
                                  .spacing = apart,
                                  .noise = off,
                                  .roll = 0.4 * (double)i,
                                  .radius = 12,
                                  .seed = i};
        scans.mesh[i] = scanner_view(solid, &scanner);
    }
    return scans;
}

struct scans scans_from_above(solid_distance solid, double apart, double off)
{
    struct scans scans = {.count = SCANS_VIEWS};
    for (size_t i = 0; i < SCANS_VIEWS; i++) {
        double turn = 1.2566370614359172 * (double)i + 0.2;
        struct vec from = vec(0.85 * cos(turn), 0.85 * sin(turn), 0.53);
        struct scanner scanner = {.from = i < 5 ? from : vec(0.05, 0.02, 1),
                                  .spacing = apart,
                                  .noise = off,
                                  .roll = 0.4 * (double)i,
                                  .radius = 14,
                                  .seed = i};
        scanner.from = vec_unit(scanner.from);
        scans.mesh[i] = scanner_view(solid, &scanner);
    }
    return scans;
}

struct vec scans_direction(uint64_t *state)
{
    struct vec v;
    do
        v = vec(2 * shape_random(state) - 1, 2 * shape_random(state) - 1,
                2 * shape_random(state) - 1);
    while (vec_length2(v) > 1 || vec_length2(v) < 0.01);
    return vec_unit(v);
}

void scans_free(struct scans *scans)
{
    for (size_t i = 0; i < scans->count; i++)
        mesh_free(scans->mesh[i]);
}

struct mesh *scans_fused(const struct scans *scans, const struct fuse_options *options,
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

void scans_check_solid(const struct mesh *mesh)
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

struct scans_errors scans_errors(const struct mesh *mesh, solid_distance solid,
                                 enum surface_origin which)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t triangles = mesh_triangles(mesh), count = 0;
    double *error = malloc((triangles + 1) * sizeof *error), sum2 = 0, all = 0, own = 0;
    struct scans_errors e = {0};
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
        double off = solid(middle);
        e.low = fmin(e.low, off);
        e.high = fmax(e.high, off);
        error[count] = fabs(off);
        sum2 += error[count] * error[count];
        count++;
    }
    qsort(error, count, sizeof *error, double_order);
    e.share = own / all;
    if (count) {
        e.rms = sqrt(sum2 / (double)count);
        e.p95 = error[count * 95 / 100];
        e.max = error[count - 1];
    }
    free(error);
    return e;
}

bool scans_manifold(const struct mesh *mesh)
{
    const struct topology *t = mesh_topology(mesh, NULL);
    return t->nonmanifold == 0 && t->misoriented == 0 && t->nonmanifold_vertices == 0 &&
           t->unused_vertices == 0;
}

/* --- colour ----------------------------------------------------------------------------------- */

void scans_paint(struct mesh *mesh, struct vec from, bool glare)
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
