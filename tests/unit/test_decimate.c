/* Decimation: what must be kept is counted independently (shape_count), on solids, open patches,
 * several pieces and wrecks. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/weld.h"
#include "core/within.h"
#include "surface/decimate.h"
#include "tests/support/cancelling.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

static struct mesh *reduced(const struct mesh *mesh, size_t to)
{
    struct decimate_options options = {.to = to};
    struct mesh *made = decimate(mesh, &options, NULL);
    ck_assert_ptr_nonnull(made);
    return made;
}

static double wave(double x, double y)
{
    return 2 * sin(x / 5) * cos(y / 7) + 0.3 * sin(x * 2);
}

/* --- solids keep what they are ---------------------------------------------------------------- */

static struct mesh *solid(int i)
{
    struct mesh *part[2], *all;
    const double move[2][3] = {{0, 0, 0}, {100, 0, 0}};
    switch (i) {
    case 0:
        return shape_sphere(50, 6);
    case 1:
        return shape_torus(40, 10, 300, 120);
    case 2:
        return shape_box(30, 20, 10, 40);
    default: /* a sphere and a torus beside it */
        part[0] = shape_sphere(20, 5);
        part[1] = shape_torus(40, 10, 100, 60);
        all = shape_join((const struct mesh *const *)part, move, 2);
        mesh_free(part[0]);
        mesh_free(part[1]);
        return all;
    }
}

static const size_t targets[] = {10000, 2000, 500, 100};
enum { SOLIDS = 4, TARGETS = 4 };

START_TEST(solids_stay_closed_and_keep_their_genus)
{
    struct mesh *whole = solid(_i / TARGETS), *made = reduced(whole, targets[_i % TARGETS]);
    struct shape_count before = shape_count(whole), after = shape_count(made);
    ck_assert_uint_le(mesh_triangles(made), targets[_i % TARGETS]);
    ck_assert_uint_ge(mesh_triangles(made), targets[_i % TARGETS] - 1);
    ck_assert_int_eq(after.euler, before.euler);
    ck_assert_uint_eq(after.boundary, 0);
    ck_assert_uint_eq(after.nonmanifold, 0);
    ck_assert_uint_eq(after.misoriented, 0);
    ck_assert_uint_eq(after.degenerate, 0);
    ck_assert_double_eq_tol(after.volume / before.volume, 1, 40.0 / (double)mesh_triangles(made));
    struct mesh *joined = weld_exact(made, NULL);
    ck_assert_uint_eq(mesh_vertices(joined), mesh_vertices(made));
    ck_assert_uint_eq(mesh_components(joined, NULL)->count, mesh_components(whole, NULL)->count);
    mesh_free(joined);
    mesh_free(made);
    mesh_free(whole);
}
END_TEST

/* The smallest: a tetrahedron, not nothing. */
START_TEST(the_least_is_a_solid_too)
{
    struct mesh *whole = solid(_i), *made = reduced(whole, 0);
    struct shape_count before = shape_count(whole), after = shape_count(made);
    ck_assert_int_eq(after.euler, before.euler);
    ck_assert_uint_eq(after.boundary + after.nonmanifold + after.degenerate, 0);
    ck_assert_uint_lt(mesh_triangles(made), 60);
    mesh_free(made);
    mesh_free(whole);
}
END_TEST

START_TEST(a_box_keeps_its_corners_and_volume)
{
    struct mesh *box = shape_box(30, 20, 10, 32), *made = reduced(box, 12);
    ck_assert_uint_eq(mesh_triangles(made), 12);
    ck_assert_uint_eq(mesh_vertices(made), 8);
    for (size_t v = 0; v < 8; v++) {
        struct point p = mesh_point(made)[v];
        ck_assert_float_eq_tol(fminf(fabsf(p.x), fabsf(p.x - 30)), 0, 1e-4f);
        ck_assert_float_eq_tol(fminf(fabsf(p.y), fabsf(p.y - 20)), 0, 1e-4f);
        ck_assert_float_eq_tol(fminf(fabsf(p.z), fabsf(p.z - 10)), 0, 1e-4f);
    }
    ck_assert_double_eq_tol(shape_count(made).volume, 6000, 0.01);
    mesh_free(made);
    mesh_free(box);
}
END_TEST

/* No face of a decimated sphere looks inward. */
START_TEST(no_face_turns_over)
{
    struct mesh *sphere = shape_sphere(50, 6), *made = reduced(sphere, 1500);
    for (size_t t = 0; t < mesh_triangles(made); t++) {
        struct vec c[3];
        for (int k = 0; k < 3; k++)
            c[k] = point_vec(mesh_point(made)[mesh_triangle(made)[t].v[k]]);
        struct vec n = vec_unit(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
        ck_assert_double_gt(vec_dot(n, vec_unit(vec_add(c[0], vec_add(c[1], c[2])))), 0.95);
    }
    mesh_free(made);
    mesh_free(sphere);
}
END_TEST

/* The RMS distance of a sphere's best inscribed-and-circumscribed triangulation falls as 1 / n: the
 * constant that a few hundred triangles reach holds for thousands. */
START_TEST(the_deviation_falls_as_the_count)
{
    struct mesh *sphere = shape_sphere(50, 7);
    static const size_t count[] = {500, 2000, 8000};
    for (int i = 0; i < 3; i++) {
        struct mesh *made = reduced(sphere, count[i]);
        double sum = 0, area = 0;
        for (size_t t = 0; t < mesh_triangles(made); t++) {
            struct vec c[3];
            for (int k = 0; k < 3; k++)
                c[k] = point_vec(mesh_point(made)[mesh_triangle(made)[t].v[k]]);
            double a = vec_length(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
            area += a;
            for (int k = 0; k < 3; k++) { /* the quadrature of the edges' middles */
                double d = vec_length(vec_scale(vec_add(c[k], c[(k + 1) % 3]), 0.5)) - 50;
                sum += a * d * d / 3;
            }
        }
        ck_assert_double_lt(sqrt(sum / area), 50 * 2.2 / (double)count[i]);
        mesh_free(made);
    }
    mesh_free(sphere);
}
END_TEST

/* --- open surfaces ---------------------------------------------------------------------------- */

static double rim_length(const struct mesh *mesh)
{
    const struct loops *loops = mesh_loops(mesh, NULL);
    double length = 0;
    for (size_t i = 0; i < loops->count; i++)
        length += loops->length[i];
    return length;
}

START_TEST(a_flat_patch_keeps_its_outline)
{
    struct mesh *patch = shape_patch(60, 60, NULL), *made = reduced(patch, 200);
    struct shape_count count = shape_count(made);
    ck_assert_double_eq_tol(count.area, 3600, 0.1);
    ck_assert_int_eq(count.euler, 1);
    ck_assert_double_eq_tol(rim_length(made), 240, 0.1);
    ck_assert_uint_eq(count.nonmanifold + count.misoriented + count.degenerate, 0);
    mesh_free(made);
    mesh_free(patch);
}
END_TEST

static bool in_the_hole(const struct mesh *mesh, size_t t)
{
    struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]]);
    return hypot(p.x - 30, p.y - 30) < 12;
}

START_TEST(a_wavy_patch_keeps_its_rims)
{
    struct mesh *patch = shape_patch(60, 120, wave), *open = shape_without(patch, in_the_hole);
    struct mesh *made = reduced(open, 2000);
    struct shape_count before = shape_count(open), after = shape_count(made);
    ck_assert_int_eq(after.euler, before.euler);
    ck_assert_uint_eq(mesh_loops(made, NULL)->count, 2);
    ck_assert_double_eq_tol(after.area / before.area, 1, 0.01);
    ck_assert_double_eq_tol(rim_length(made) / rim_length(open), 1, 0.05);
    mesh_free(made);
    mesh_free(open);
    mesh_free(patch);
}
END_TEST

static bool has_edge(const struct mesh *mesh, struct point a, struct point b)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v;
            if (memcmp(&mesh_point(mesh)[v[k]], &a, sizeof a) == 0 &&
                memcmp(&mesh_point(mesh)[v[(k + 1) % 3]], &b, sizeof b) == 0)
                return true;
        }
    return false;
}

START_TEST(a_kept_rim_is_kept_to_the_bit)
{
    struct mesh *patch = shape_patch(60, 40, wave), *open = shape_without(patch, in_the_hole);
    struct decimate_options options = {.to = 600, .keep_rim = true};
    struct mesh *made = decimate(open, &options, NULL);
    const struct loops *loops = mesh_loops(open, NULL);
    size_t rim = loops->start[loops->count];
    ck_assert_uint_eq(mesh_topology(made, NULL)->boundary, rim);
    ck_assert_uint_le(mesh_triangles(made), 600);
    for (size_t i = 0; i < rim; i += 7) {
        uint32_t h = loops->half[i];
        struct point a = mesh_point(open)[half_from(mesh_triangle(open), h)];
        struct point b = mesh_point(open)[half_to(mesh_triangle(open), h)];
        ck_assert(has_edge(made, a, b));
    }
    mesh_free(made);
    mesh_free(open);
    mesh_free(patch);
}
END_TEST

/* --- what is broken is not made worse --------------------------------------------------------- */

static struct mesh *with_triangles(const struct mesh *mesh, const uint32_t (*more)[3], size_t count)
{
    struct mesh *all = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh) + count);
    memcpy(mesh_point_edit(all), mesh_point(mesh), array_bytes(mesh->point));
    memcpy(mesh_triangle_edit(all), mesh_triangle(mesh), array_bytes(mesh->triangle));
    memcpy(mesh_triangle_edit(all) + mesh_triangles(mesh), more, count * sizeof *more);
    all->joined = mesh->joined;
    return all;
}

START_TEST(a_fin_stays_a_fin)
{
    struct mesh *sphere = shape_sphere(20, 4);
    const uint32_t *v = mesh_triangle(sphere)[100].v;
    const uint32_t fin[1][3] = {{v[0], v[1], mesh_triangle(sphere)[900].v[0]}};
    struct mesh *whole = with_triangles(sphere, fin, 1), *made = reduced(whole, 700);
    struct shape_count before = shape_count(whole), after = shape_count(made);
    ck_assert_uint_le(mesh_triangles(made), 700);
    ck_assert_uint_eq(after.nonmanifold, before.nonmanifold);
    ck_assert_uint_eq(after.boundary, before.boundary);
    ck_assert_int_eq(after.euler, before.euler);
    mesh_free(made);
    mesh_free(whole);
    mesh_free(sphere);
}
END_TEST

START_TEST(doubled_and_turned_triangles_are_left_alone)
{
    struct mesh *sphere = shape_sphere(20, 4);
    uint32_t more[20][3];
    for (size_t i = 0; i < 20; i++)
        for (size_t k = 0; k < 3; k++) /* every other one turned over */
            more[i][k] = mesh_triangle(sphere)[i * 200].v[i % 2 ? 2 - k : k];
    struct mesh *whole = with_triangles(sphere, (const uint32_t(*)[3])more, 20);
    struct mesh *made = reduced(whole, 1500);
    struct shape_count before = shape_count(whole), after = shape_count(made);
    ck_assert_uint_le(mesh_triangles(made), 1500);
    ck_assert_uint_eq(after.nonmanifold, before.nonmanifold);
    ck_assert_uint_eq(after.misoriented, before.misoriented);
    ck_assert_uint_eq(after.boundary, before.boundary);
    ck_assert_int_eq(after.euler, before.euler);
    mesh_free(made);
    mesh_free(whole);
    mesh_free(sphere);
}
END_TEST

/* Counts do not grow, whatever the mesh: soups, and spheres with holes and turned faces. */
START_TEST(wrecks_are_not_made_worse)
{
    struct mesh *raw = wreck(_i), *whole = weld_exact(raw, NULL);
    struct mesh *made = reduced(whole, mesh_triangles(whole) / 4);
    struct shape_count before = shape_count(whole), after = shape_count(made);
    ck_assert_uint_le(after.nonmanifold, before.nonmanifold);
    ck_assert_uint_le(after.misoriented, before.misoriented);
    ck_assert_uint_le(after.boundary, before.boundary);
    ck_assert_uint_le(after.degenerate, before.degenerate);
    ck_assert_int_eq(after.euler, before.euler);
    ck_assert_uint_eq(mesh_topology(made, NULL)->nonmanifold_vertices,
                      mesh_topology(whole, NULL)->nonmanifold_vertices);
    mesh_free(made);
    mesh_free(whole);
    mesh_free(raw);
}
END_TEST

/* A plate of slivers and triangles without area (five corners on a line). */
START_TEST(flat_triangles_survive)
{
    struct mesh *patch = shape_patch(10, 20, NULL);
    for (size_t v = 0; v < mesh_vertices(patch); v++) {
        struct point *p = &mesh_point_edit(patch)[v];
        p->y = p->y > 2 && p->y < 8 ? 5 + (p->y - 5) * 1e-6f : p->y;
    }
    struct mesh *made = reduced(patch, 100);
    ck_assert_double_eq_tol(shape_count(made).area, shape_count(patch).area, 0.01);
    ck_assert_int_eq(shape_count(made).euler, 1);
    mesh_free(made);
    mesh_free(patch);
}
END_TEST

static struct mesh *few(int i)
{
    static const double point[5][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0, 0, 0}};
    static const uint32_t tetra[4][3] = {{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}};
    static const uint32_t pillow[2][3] = {{0, 1, 2}, {0, 2, 1}};
    static const uint32_t folded[3][3] = {{0, 1, 1}, {2, 2, 2}, {0, 1, 2}};
    switch (i) {
    case 0:
        return shape_make(point, 3, tetra, 1);
    case 1:
        return shape_make(point, 4, tetra, 4);
    case 2:
        return shape_make(point, 3, pillow, 2);
    case 3:
        return shape_make(point, 3, folded, 3);
    default:
        return shape_make(point, 5, folded, 3);
    }
}

START_TEST(the_smallest_meshes_stay)
{
    struct mesh *mesh = few(_i), *made = reduced(mesh, 0);
    ck_assert_uint_eq(mesh_triangles(made), mesh_triangles(mesh));
    mesh_free(made);
    mesh_free(mesh);
}
END_TEST

START_TEST(empty_and_clouds)
{
    struct mesh *empty = mesh_new(0, 0), *cloud = mesh_new(3, 0);
    memset(mesh_point_edit(cloud), 0, array_bytes(cloud->point));
    struct decimate_options options = {.to = 10};
    struct mesh *same = decimate(empty, &options, NULL);
    ck_assert_ptr_eq(same, empty);
    struct job job;
    job_init(&job);
    ck_assert_ptr_null(decimate(cloud, &options, &job));
    ck_assert_int_eq(job.status, STATUS_REFUSED);
    job_release(&job);
    mesh_free(same);
    mesh_free(empty);
    mesh_free(cloud);
}
END_TEST

/* Far from the origin, and giant beside tiny: nothing overflows, nothing opens. */
START_TEST(extents)
{
    static const float scale[] = {1e-20f, 1e-6f, 1e6f, 1e15f};
    struct mesh *torus = shape_torus(40, 10, 60, 40);
    for (size_t v = 0; v < mesh_vertices(torus); v++) {
        struct point *p = &mesh_point_edit(torus)[v];
        *p = (struct point){p->x * scale[_i], p->y * scale[_i], p->z * scale[_i]};
    }
    struct mesh *made = reduced(torus, 1000);
    struct shape_count count = shape_count(made);
    ck_assert_uint_le(mesh_triangles(made), 1000);
    ck_assert_uint_eq(count.boundary + count.nonmanifold + count.misoriented, 0);
    ck_assert_int_eq(count.euler, 0);
    mesh_free(made);
    mesh_free(torus);
}
END_TEST

/* --- within a tolerance ----------------------------------------------------------------------- */

/* --- threads, cancel, attributes -------------------------------------------------------------- */

START_TEST(same_bytes_for_any_threads)
{
    struct mesh *torus = shape_torus(40, 10, 500, 150), *first = NULL; /* 150 000: many patches */
    uint64_t seed = 1;
    for (size_t v = 0; v < mesh_vertices(torus); v++)
        mesh_point_edit(torus)[v].z += 0.05f * (float)shape_random(&seed);
    const struct decimate_options options = {.to = _i ? 0 : 9001, .within = _i ? 0.1 : 0};
    for (int threads = 1; threads <= 3; threads++) {
        struct job job;
        job_init(&job);
        job.threads = threads;
        struct mesh *made = decimate(torus, &options, &job);
        ck_assert_ptr_nonnull(made);
        if (!first)
            first = mesh_share(made);
        ck_assert_uint_eq(mesh_triangles(made), mesh_triangles(first));
        ck_assert_mem_eq(mesh_point(made), mesh_point(first), array_bytes(first->point));
        ck_assert_mem_eq(mesh_triangle(made), mesh_triangle(first), array_bytes(first->triangle));
        mesh_free(made);
        job_release(&job);
    }
    mesh_free(first);
    mesh_free(torus);
}
END_TEST

START_TEST(cancel_is_answered)
{
    struct mesh *sphere = shape_rough(shape_sphere(50, 8), 0.004f); /* 1 310 720 */
    struct point *copy = malloc(array_bytes(sphere->point));
    memcpy(copy, mesh_point(sphere), array_bytes(sphere->point));
    struct job job;
    const bool within = _i >= 4;
    struct cancelling c = {.job = &job, .from = within ? 0.07 * (_i - 3) : 0.02 + 0.2 * _i};
    struct decimate_options options = {.to = within ? 0 : 1000, .within = within ? 0.004 : 0};
    while (cancelling_again(&c))
        ck_assert_ptr_null(decimate(sphere, &options, &job));
    ck_assert_mem_eq(copy, mesh_point(sphere), array_bytes(sphere->point));
    mesh_free(sphere);
    free(copy);
}
END_TEST

START_TEST(attributes_are_carried)
{
    struct mesh *sphere = shape_sphere(50, 5);
    uint8_t *colour = mesh_attribute_new(sphere, ATTRIBUTE_colour);
    uint16_t *source = mesh_attribute_new(sphere, ATTRIBUTE_source);
    for (size_t v = 0; v < mesh_vertices(sphere); v++) {
        struct point p = mesh_point(sphere)[v];
        const uint8_t rgba[4] = {(uint8_t)(127 + 2 * p.x), (uint8_t)(127 + 2 * p.y),
                                 (uint8_t)(127 + 2 * p.z), 255};
        memcpy(colour + 4 * v, rgba, 4);
    }
    for (size_t t = 0; t < mesh_triangles(sphere); t++)
        source[t] = 7;
    struct mesh *made = reduced(sphere, 2000);
    const uint8_t *got = mesh_attribute(made, ATTRIBUTE_colour);
    const uint16_t *from = mesh_attribute(made, ATTRIBUTE_source);
    ck_assert(got && from);
    for (size_t v = 0; v < mesh_vertices(made); v++) {
        struct point p = mesh_point(made)[v];
        ck_assert_float_eq_tol(got[4 * v], 127 + 2 * p.x, 3);
        ck_assert_float_eq_tol(got[4 * v + 1], 127 + 2 * p.y, 3);
        ck_assert_float_eq_tol(got[4 * v + 2], 127 + 2 * p.z, 3);
        ck_assert_uint_eq(got[4 * v + 3], 255);
    }
    for (size_t t = 0; t < mesh_triangles(made); t++)
        ck_assert_uint_eq(from[t], 7);
    mesh_free(made);
    mesh_free(sphere);
}
END_TEST

/* A chequered plate: how far the colours of the faces' middles are off, of 1. */
static double colours_off(double contrast)
{
    struct mesh *plate = shape_patch(60, 120, NULL);
    uint8_t *colour = mesh_attribute_new(plate, ATTRIBUTE_colour);
    uint64_t seed = 5;
    for (size_t v = 0; v < mesh_vertices(plate); v++) {
        struct point *p = &mesh_point_edit(plate)[v];
        uint8_t light = fmod(p->x, 20) < 10 ? 255 : 0;
        const uint8_t rgba[4] = {light, light, light, 255};
        memcpy(colour + 4 * v, rgba, 4);
        p->z += 0.02f * (float)shape_random(&seed);
    }
    const struct decimate_options options = {.to = 1500, .contrast = contrast};
    struct mesh *made = decimate(plate, &options, NULL);
    ck_assert_ptr_nonnull(made);
    const uint8_t *got = mesh_attribute(made, ATTRIBUTE_colour);
    double sum = 0, area = 0;
    for (size_t t = 0; t < mesh_triangles(made); t++) {
        const uint32_t *v = mesh_triangle(made)[t].v;
        struct vec a = point_vec(mesh_point(made)[v[0]]), b = point_vec(mesh_point(made)[v[1]]);
        struct vec c = point_vec(mesh_point(made)[v[2]]);
        double weight = vec_length(vec_cross(vec_sub(b, a), vec_sub(c, a)));
        double x = (a.x + b.x + c.x) / 3, light = fmod(x, 20) < 10 ? 1 : 0;
        double is = (got[4 * v[0]] + got[4 * v[1]] + got[4 * v[2]]) / 765.0;
        sum += weight * fabs(is - light);
        area += weight;
    }
    mesh_free(made);
    mesh_free(plate);
    return sum / area;
}

START_TEST(edges_of_colour_are_kept)
{
    double with = colours_off(1), without = colours_off(0);
    ck_assert_double_lt(with, 0.06);
    ck_assert_double_lt(with, without / 3);
}
END_TEST

Suite *suite_decimate(void);
Suite *suite_decimate(void)
{
    Suite *suite = suite_create("decimate");
    TCase *tests = tcase_create("decimate");
    tcase_set_timeout(tests, 120);
    tcase_add_loop_test(tests, solids_stay_closed_and_keep_their_genus, 0, SOLIDS * TARGETS);
    tcase_add_loop_test(tests, the_least_is_a_solid_too, 0, SOLIDS);
    tcase_add_test(tests, a_box_keeps_its_corners_and_volume);
    tcase_add_test(tests, no_face_turns_over);
    tcase_add_test(tests, the_deviation_falls_as_the_count);
    tcase_add_test(tests, a_flat_patch_keeps_its_outline);
    tcase_add_test(tests, a_wavy_patch_keeps_its_rims);
    tcase_add_test(tests, a_kept_rim_is_kept_to_the_bit);
    tcase_add_test(tests, a_fin_stays_a_fin);
    tcase_add_test(tests, doubled_and_turned_triangles_are_left_alone);
    tcase_add_loop_test(tests, wrecks_are_not_made_worse, 0, 40);
    tcase_add_test(tests, flat_triangles_survive);
    tcase_add_loop_test(tests, the_smallest_meshes_stay, 0, 5);
    tcase_add_test(tests, empty_and_clouds);
    tcase_add_loop_test(tests, extents, 0, 4);
    tcase_add_loop_test(tests, same_bytes_for_any_threads, 0, 2);
    tcase_add_loop_test(tests, cancel_is_answered, 0, 12);
    tcase_add_test(tests, attributes_are_carried);
    tcase_add_test(tests, edges_of_colour_are_kept);
    suite_add_tcase(suite, tests);
    return suite;
}
