/* How often samples wind around a place, against closed forms. The approximation has four parts:
 * triangles become samples at their corners, samples that stand close together count less (where
 * scans overlap), bundles of them count as one dipole, all in single precision. */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "core/job.h"
#include "scan/fuse_winding.h"
#include "solid/place.h"
#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

struct wound {
    struct fuse_piece piece[2];
    struct fuse_samples samples;
    struct grid grid;
    struct winding winding;
};

static void wind(struct wound *w, const struct mesh *const *mesh, size_t count)
{
    struct job job;
    job_init(&job);
    for (size_t i = 0; i < count; i++)
        ck_assert_int_eq(fuse_piece_make(mesh[i], &w->piece[i], &job), STATUS_OK);
    ck_assert_msg(fuse_samples_make(w->piece, count, 0, &w->samples, &job) == STATUS_OK, "%s",
                  job.message);
    float reach = 3 * (float)w->samples.reach;
    ck_assert_int_eq(grid_make(&w->samples, reach, &w->grid, &job), STATUS_OK);
    ck_assert_int_eq(winding_make(&w->grid, &w->winding, &job), STATUS_OK);
    for (size_t i = 0; i < count; i++)
        fuse_piece_release(&w->piece[i]);
    job_release(&job);
}

static void unwind(struct wound *w)
{
    winding_release(&w->winding);
    grid_release(&w->grid);
    fuse_samples_release(&w->samples);
}

/* At a place of the mesh's. */
static double at(const struct wound *w, struct vec place)
{
    const double *o = w->samples.origin;
    return winding_at(&w->winding, vec_sub(place, vec(o[0], o[1], o[2])));
}

/* --- the exact number ------------------------------------------------------------------------ */

/* The sum of the triangles' solid angles (Van Oosterom & Strackee 1983, "The Solid Angle of a Plane
 * Triangle"), as the generalised winding number is defined (Jacobson et al. 2013). */
static double exactly(const struct mesh *mesh, struct vec place)
{
    double sum = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        struct vec v[3];
        double r[3];
        for (int k = 0; k < 3; k++) {
            v[k] = vec_sub(point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]), place);
            r[k] = vec_length(v[k]);
        }
        double below = r[0] * r[1] * r[2] + vec_dot(v[0], v[1]) * r[2] +
                       vec_dot(v[0], v[2]) * r[1] + vec_dot(v[1], v[2]) * r[0];
        sum += 2 * atan2(vec_dot(v[0], vec_cross(v[1], v[2])), below);
    }
    return sum / (4 * pi);
}

/* How good it is, in windings, where the threshold is 1/2 or 0.3. The samples around one add up to
 * its disc's area only about: those that happen to stand denser count less, which takes some per
 * cent away from a single sheet, most where samples stand closer one way than the other, and adds
 * some where two sheets share a place. */
static const double within = 0.02, within_sheet = 0.05, within_uneven = 0.08, within_two = 0.12;

static void is_wound(const struct wound *w, struct vec place, double right, double bound,
                     const char *where)
{
    double is = at(w, place);
    ck_assert_msg(fabs(is - right) < bound, "%s: %.4f at %g %g %g, %.4f is right", where, is,
                  place.x, place.y, place.z, right);
}

static struct vec anywhere(uint64_t *seed, double within_mm)
{
    double x = shape_random(seed), y = shape_random(seed), z = shape_random(seed);
    return vec_scale(vec(2 * x - 1, 2 * y - 1, 2 * z - 1), within_mm);
}

/* --- closed forms ---------------------------------------------------------------------------- */

/* 1 within, 0 outside (Gauss), nearer to the surface than three samples, too, but not in it. */
START_TEST(a_ball)
{
    struct mesh *ball = shape_sphere(20, 5);
    struct wound w;
    uint64_t seed = 1;
    wind(&w, (const struct mesh *[]){ball}, 1);
    for (int i = 0; i < 2000; i++) {
        struct vec place = anywhere(&seed, 60);
        double depth = 20 - vec_length(place);
        if (fabs(depth) > 2 * w.samples.reach)
            is_wound(&w, place, depth > 0 ? 1 : 0, within, "a ball");
    }
    unwind(&w);
    mesh_free(ball);
}
END_TEST

/* Two scans of one ball are no two balls. */
START_TEST(a_ball_seen_twice)
{
    struct mesh *ball = shape_sphere(20, 5);
    struct motion turn = motion_turn(vec(0.6, 0, 0.8), 0.3, vec(0, 0, 0));
    struct mesh *other = motion_mesh(&turn, ball, NULL);
    struct wound w;
    uint64_t seed = 2;
    wind(&w, (const struct mesh *[]){ball, other}, 2);
    for (int i = 0; i < 2000; i++) {
        struct vec place = anywhere(&seed, 60);
        double depth = 20 - vec_length(place);
        if (fabs(depth) > 2 * w.samples.reach)
            is_wound(&w, place, depth > 0 ? 1 : 0, within_two, "two scans of a ball");
    }
    unwind(&w);
    mesh_free(ball);
    mesh_free(other);
}
END_TEST

/* The square onto the disc, equal areas onto equal ones (Shirley & Chiu 1997, "A Low Distortion Map
 * Between Disk and Square"). */
static struct mesh *disc(double radius, int n)
{
    struct mesh *mesh = shape_patch(2, n, NULL);
    struct point *point = mesh_point_edit(mesh);
    struct vec low = point_vec(point[0]);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) { /* shape_patch begins in a corner */
        double x = (double)point[v].x - low.x - 1, y = (double)point[v].y - low.y - 1;
        bool flat = fabs(x) > fabs(y);
        double r = flat ? x : y;
        double angle = r == 0 ? 0 : flat ? pi / 4 * y / x : pi / 2 - pi / 4 * x / y;
        point[v] = vec_point(vec(radius * r * cos(angle), radius * r * sin(angle), 0));
    }
    return mesh;
}

/* On its axis: 2 pi (1 - h / sqrt(h^2 + r^2)), the area of a cap of the unit sphere (Paxton 1959,
 * "Solid Angle Calculation for a Circular Disk"; named from memory). It faces up: what is below is
 * behind it. */
START_TEST(a_disc)
{
    struct mesh *mesh = disc(20, 80);
    struct wound w;
    wind(&w, (const struct mesh *[]){mesh}, 1);
    for (double h = 2 * w.samples.reach; h < 200; h *= 1.3) {
        double right = (1 - h / sqrt(h * h + 400)) / 2;
        is_wound(&w, vec(0, 0, -h), right, within_sheet, "behind a disc");
        is_wound(&w, vec(0, 0, h), -right, within_sheet, "before a disc");
    }
    unwind(&w);
    mesh_free(mesh);
}
END_TEST

/* Above its middle: 4 arctan(a b / (2 d sqrt(4 d^2 + a^2 + b^2))) (Khadjavi 1968, "Calculation of
 * Solid Angle Subtended by Rectangular Apertures"; named from memory). */
START_TEST(a_rectangle)
{
    struct mesh *mesh = shape_patch(20, 60, NULL);
    struct point *point = mesh_point_edit(mesh);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        point[v].x *= 2;
    struct wound w;
    wind(&w, (const struct mesh *[]){mesh}, 1);
    struct vec middle =
        vec_scale(vec_add(point_vec(point[0]), point_vec(point[mesh_vertices(mesh) - 1])), 0.5);
    for (double d = 2 * w.samples.reach; d < 200; d *= 1.3) {
        double angle = 4 * atan(40 * 20 / (2 * d * sqrt(4 * d * d + 1600 + 400)));
        is_wound(&w, vec_along(middle, -d, vec(0, 0, 1)), angle / (4 * pi), within_sheet,
                 "behind a rectangle");
        is_wound(&w, vec_along(middle, d, vec(0, 0, 1)), -angle / (4 * pi), within_sheet,
                 "before a rectangle");
    }
    unwind(&w);
    mesh_free(mesh);
}
END_TEST

static bool is_lower(const struct mesh *mesh, size_t t)
{
    double sum = 0;
    for (int k = 0; k < 3; k++)
        sum += (double)mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]].z;
    return sum < 0;
}

static bool is_bottom(const struct mesh *mesh, size_t t)
{
    bool in = true;
    for (int k = 0; k < 3; k++)
        in = in && mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]].z == 0;
    return in;
}

/* By symmetry: of half a ball 1/2 in the middle of its rim; of a cube without a face 5/6 in its
 * middle. */
START_TEST(by_symmetry)
{
    struct mesh *ball = shape_sphere(20, 5), *half = shape_without(ball, is_lower);
    struct mesh *box = shape_box(30, 30, 30, 40), *open = shape_without(box, is_bottom);
    struct wound w;
    wind(&w, (const struct mesh *[]){half}, 1);
    is_wound(&w, vec(0, 0, 0), 0.5, within, "half a ball");
    unwind(&w);
    wind(&w, (const struct mesh *[]){open}, 1);
    is_wound(&w, vec(15, 15, 15), 5.0 / 6, within, "a cube without a face");
    unwind(&w);
    struct mesh *all[] = {ball, half, box, open};
    for (int i = 0; i < 4; i++)
        mesh_free(all[i]);
}
END_TEST

static double hills(double x, double y)
{
    return 3 * sin(0.3 * x) * cos(0.25 * y);
}

/* Anywhere beside an open surface that is not flat, and a ring: as the triangles themselves. */
START_TEST(as_the_triangles)
{
    struct mesh *mesh[] = {shape_patch(40, 80, hills), shape_torus(20, 7, 160, 60)};
    for (int m = 0; m < 2; m++) {
        struct wound w;
        uint64_t seed = 3;
        wind(&w, (const struct mesh *[]){mesh[m]}, 1);
        for (int i = 0; i < 300; i++) {
            struct vec place = anywhere(&seed, 45);
            double least = INFINITY;
            for (size_t v = 0; v < mesh_vertices(mesh[m]); v++)
                least = fmin(least, vec_length(vec_sub(point_vec(mesh_point(mesh[m])[v]), place)));
            if (least > 2 * w.samples.reach)
                is_wound(&w, place, exactly(mesh[m], place), m ? within_uneven : within,
                         m ? "a ring" : "hills");
        }
        unwind(&w);
        mesh_free(mesh[m]);
    }
}
END_TEST

Suite *suite_fuse_winding(void);
Suite *suite_fuse_winding(void)
{
    Suite *suite = suite_create("fuse_winding");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, a_ball);
    tcase_add_test(all, a_ball_seen_twice);
    tcase_add_test(all, a_disc);
    tcase_add_test(all, a_rectangle);
    tcase_add_test(all, by_symmetry);
    tcase_add_test(all, as_the_triangles);
    suite_add_tcase(suite, all);
    return suite;
}
