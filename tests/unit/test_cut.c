/* Cutting with a plane. What comes out is counted independently of the library (shapes.h), and once
 * more after its vertices are joined anew by position, as a reader of the saved file would. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/cut.h"
#include "tests/support/carved.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

static const double pi = 3.14159265358979323846;

static struct cut_plane plane(struct vec through, struct vec normal)
{
    return (struct cut_plane){through, normal};
}

static struct mesh *cut_now(const struct mesh *mesh, struct cut_plane p, bool cap, int threads,
                            struct cut_report *report)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct mesh *half = NULL;
    enum status status = cut_mesh(mesh, &p, cap, &half, report, &job);
    ck_assert_msg(status == STATUS_OK || status == STATUS_REFUSED, "%s", job.message);
    job_release(&job);
    return status == STATUS_OK ? half : NULL;
}

static void expect_sound(const struct mesh *mesh)
{
    const char *fault = sound_fault(mesh);
    ck_assert_msg(fault == NULL, "%s", fault);
}

static double volume_of(const struct mesh *mesh)
{
    return mesh ? shape_count(mesh).volume : 0;
}

static double greatest(const struct mesh *mesh)
{
    double most = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point p = mesh_point(mesh)[v];
        most = fmax(most, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
    }
    return most;
}

/* Cuts both ways. A new vertex is off the plane and off its edge by its rounding, at most half a
 * unit in the last place a coordinate (2^-24 of the greatest), a parted one by up to a few units
 * more; vertices counted as in the plane are off by 2^-23. So the two caps differ, and the surface
 * at the cut is bent, by no more than some 2^-21 of the greatest coordinate over the area of both.
 */
static void cut_both_ways(const struct mesh *mesh, struct cut_plane p, bool crossings)
{
    double whole = volume_of(mesh), sum = 0, area = shape_count(mesh).area;
    for (int way = 0; way < 2; way++) {
        struct mesh *half = cut_now(mesh, p, true, 1, NULL);
        if (half) {
            expect_sound(half);
            ck_assert(!crossings || sound_crossings(half) == 0);
            sum += volume_of(half);
        }
        mesh_free(half);
        p.normal = vec_scale(p.normal, -1);
    }
    ck_assert_double_eq_tol(sum, whole, 0x1p-21 * greatest(mesh) * area);
}

/* --- solids to cut ------------------------------------------------------------------------- */

static struct mesh *turned_inside_out(struct mesh *mesh)
{
    struct mesh *out = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    memcpy(mesh_point_edit(out), mesh_point(mesh), array_bytes(mesh->point));
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        mesh_triangle_edit(out)[t] = (struct triangle){{v[0], v[2], v[1]}};
    }
    out->joined = true;
    mesh_free(mesh);
    return out;
}

static struct mesh *together(struct mesh *a, struct mesh *b, struct vec move)
{
    const struct mesh *both[2] = {a, b};
    const double moves[2][3] = {{0, 0, 0}, {move.x, move.y, move.z}};
    struct mesh *all = shape_join(both, moves, 2);
    all->joined = true; /* nowhere in the same place */
    mesh_free(a);
    mesh_free(b);
    return all;
}

static struct mesh *nested_shells(void)
{
    struct mesh *shell =
        together(shape_sphere(50, 3), turned_inside_out(shape_sphere(30, 2)), vec(0, 0, 0));
    return together(shell, shape_torus(15, 4, 24, 12), vec(1, 2, 3));
}

static struct mesh *rough_sphere(void)
{
    struct mesh *mesh = shape_sphere(50, 3);
    uint64_t seed = 11;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        double s = 1 + 0.02 * shape_random(&seed);
        struct point *p = &mesh_point_edit(mesh)[v];
        *p = vec_point(vec_scale(point_vec(*p), s));
    }
    return mesh;
}

static struct mesh *solid(int which)
{
    switch (which) {
    case 0:
        return shape_sphere(50, 3);
    case 1:
        return shape_box(30, 20, 10, 3);
    case 2:
        return shape_torus(40, 10, 36, 18);
    case 3:
        return nested_shells();
    case 4:
        return rough_sphere();
    default:
        return carved_block((uint64_t)which);
    }
}
enum { SOLIDS = 9 };

static struct vec vertex_of(const struct mesh *mesh, size_t t, int k)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

static struct vec random_way(uint64_t *seed)
{
    return vec(shape_random(seed) - 0.5, shape_random(seed) - 0.5, shape_random(seed) - 0.5);
}

/* A plane of one of eight kinds: anywhere, through vertices, an edge, a face, along the axes. */
static struct cut_plane random_plane(const struct mesh *mesh, int kind, uint64_t *seed)
{
    struct vec p[3];
    for (int k = 0; k < 3; k++)
        p[k] = vertex_of(mesh, (size_t)(shape_random(seed) * (double)mesh_triangles(mesh)), k);
    size_t t = (size_t)(shape_random(seed) * (double)mesh_triangles(mesh));
    struct vec a = vertex_of(mesh, t, 0), b = vertex_of(mesh, t, 1), c = vertex_of(mesh, t, 2);
    struct vec way = random_way(seed);
    struct vec axis = kind % 3 == 0 ? vec(1, 0, 0) : kind % 3 == 1 ? vec(0, 1, 0) : vec(0, 0, 1);
    switch (kind) {
    case 0: /* anywhere */
        return plane(vec_scale(vec_add(p[0], p[1]), 0.5), way);
    case 1: /* a vertex */
        return plane(p[0], way);
    case 2: /* three vertices from anywhere */
        return plane(p[0], vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])));
    case 3: /* an edge */
        return plane(a, vec_cross(vec_sub(b, a), way));
    case 4: /* a face */
        return plane(a, vec_cross(vec_sub(b, a), vec_sub(c, a)));
    default: /* a vertex, along the axes: through many more where the solid is straight */
        return plane(p[0], axis);
    }
}

START_TEST(random_planes)
{
    uint64_t seed = 100 + (uint64_t)_i;
    struct mesh *mesh = solid(_i);
    for (int i = 0; i < 112; i++) { /* 1 008 in all */
        struct cut_plane p = random_plane(mesh, i % 8, &seed);
        /* The torus has rows of faces almost in such planes, which rounding may push through a cap.
         */
        if (vec_length2(p.normal) > 0)
            cut_both_ways(mesh, p, _i != 2 || i % 8 != 2);
    }
    mesh_free(mesh);
}
END_TEST

/* --- handbook ------------------------------------------------------------------------------ */

/* A cone's frustum 30/20, height 40, from a cone 120 high. */
START_TEST(handbook_frustum)
{
    enum { N = 720 };
    double(*point)[3] = malloc((N + 2) * sizeof *point);
    uint32_t(*face)[3] = malloc(2 * N * sizeof *face);
    for (int i = 0; i < N; i++) {
        double a = 2 * pi * i / N;
        memcpy(point[i], (double[3]){30 * cos(a), 30 * sin(a), 0}, sizeof *point);
        uint32_t j = (uint32_t)((i + 1) % N), k = (uint32_t)i;
        memcpy(face[2 * i], (uint32_t[3]){k, j, N}, sizeof *face);
        memcpy(face[2 * i + 1], (uint32_t[3]){j, k, N + 1}, sizeof *face);
    }
    memcpy(point[N], (double[3]){0, 0, 120}, sizeof *point);
    memcpy(point[N + 1], (double[3]){0, 0, 0}, sizeof *point);
    struct mesh *cone =
        shape_make((const double(*)[3])point, N + 2, (const uint32_t(*)[3])face, 2 * N);
    struct cut_report report;
    struct mesh *frustum = cut_now(cone, plane(vec(0, 0, 40), vec(0, 0, -1)), true, 0, &report);
    expect_sound(frustum);
    /* trade-facts section 5 for the round one; a regular N-gon has this share of its circle */
    double share = sin(2 * pi / N) / (2 * pi / N);
    ck_assert_double_eq_tol(volume_of(frustum), 79587.014 * share, 79587.014 * 1e-7);
    ck_assert_double_eq_tol(report.cap_area, pi * 400 * share, pi * 400 * 1e-6);
    ck_assert_uint_eq(report.contours, 1);
    ck_assert_uint_eq(report.caps, N - 2);
    ck_assert_uint_eq(report.open_edges, 0);
    mesh_free(frustum);
    mesh_free(cone);
    free(point);
    free(face);
}
END_TEST

START_TEST(handbook_hemisphere)
{
    struct mesh *ball = shape_sphere(50, 5);
    double whole = volume_of(ball), half_ball = 523598.776 / 2; /* trade-facts section 5 */
    struct mesh *half = cut_now(ball, plane(vec(0, 0, 0), vec(1, 2, 3)), true, 0, NULL);
    expect_sound(half);
    ck_assert_double_eq_tol(volume_of(half), whole / 2, whole * 1e-6); /* it is point-symmetric */
    ck_assert_double_eq_tol(volume_of(half), half_ball * (1 - 0.000541), half_ball * 1e-6);
    mesh_free(half);
    mesh_free(ball);
}
END_TEST

START_TEST(hollow_ball_has_a_ring_for_a_cap)
{
    struct mesh *shell =
        together(shape_sphere(50, 5), turned_inside_out(shape_sphere(30, 5)), vec(0, 0, 0));
    struct cut_report report;
    struct mesh *half = cut_now(shell, plane(vec(0, 0, 0.5), vec(0, 0, 1)), true, 0, &report);
    expect_sound(half);
    ck_assert_uint_eq(report.contours, 2);
    ck_assert_double_eq_tol(report.cap_area, pi * (50 * 50 - 30 * 30), 0.002 * pi * 2500);
    ck_assert_int_eq(shape_count(half).euler, 2);
    mesh_free(half);
    mesh_free(shell);
}
END_TEST

/* --- faces, edges, vertices in the plane --------------------------------------------------- */

static struct mesh *prism(const double (*outline)[2], int n, double length,
                          const uint32_t (*ends)[3], int end_faces)
{
    double(*point)[3] = malloc(2 * (size_t)n * sizeof *point);
    uint32_t(*face)[3] = malloc((size_t)(2 * n + 2 * end_faces) * sizeof *face);
    size_t faces = 0;
    for (int i = 0; i < n; i++) {
        uint32_t a = (uint32_t)i, b = (uint32_t)((i + 1) % n), c = (uint32_t)n;
        memcpy(point[i], (double[3]){outline[i][0], 0, outline[i][1]}, sizeof *point);
        memcpy(point[n + i], (double[3]){outline[i][0], length, outline[i][1]}, sizeof *point);
        memcpy(face[faces++], (uint32_t[3]){a, a + c, b + c}, sizeof *face);
        memcpy(face[faces++], (uint32_t[3]){a, b + c, b}, sizeof *face);
    }
    for (int i = 0; i < end_faces; i++) {
        const uint32_t *f = ends[i];
        memcpy(face[faces++], f, sizeof *face);
        uint32_t m = (uint32_t)n;
        memcpy(face[faces++], (uint32_t[3]){f[0] + m, f[2] + m, f[1] + m}, sizeof *face);
    }
    struct mesh *mesh =
        shape_make((const double(*)[3])point, 2 * (size_t)n, (const uint32_t(*)[3])face, faces);
    mesh->joined = true;
    free(point);
    free(face);
    return mesh;
}

/* A bar with a V groove along it whose bottom edge lies in the plane: the halves above touch along
 * that edge and must be parted. */
START_TEST(groove_bottom_in_the_plane)
{
    static const double outline[5][2] = {{0, 0}, {10, 0}, {10, 8}, {5, 4}, {0, 8}};
    static const uint32_t ends[3][3] = {{0, 1, 3}, {1, 2, 3}, {0, 3, 4}};
    struct mesh *bar = prism(outline, 5, 20, ends, 3);
    ck_assert_double_eq_tol(volume_of(bar), 1200, 1e-9);
    struct cut_plane p = plane(vec(0, 0, 4), vec(0, 0, 1));
    struct cut_report report;
    struct mesh *top = cut_now(bar, p, true, 1, &report);
    expect_sound(top);
    ck_assert_double_eq_tol(report.cap_area, 200, 1e-4);
    ck_assert_double_eq_tol(volume_of(top), 400, 1e-3);
    struct mesh *pieces = sound_joined(top);
    ck_assert_uint_eq(mesh_components(pieces, NULL)->count, 2);
    mesh_free(pieces);
    mesh_free(top);
    cut_both_ways(bar, p, true);
    mesh_free(bar);
}
END_TEST

START_TEST(ridge_in_the_plane_is_no_cut) /* the plane touches the solid along an edge from below */
{
    static const double outline[5][2] = {{5, 0}, {10, 4}, {10, 8}, {0, 8}, {0, 4}};
    static const uint32_t ends[3][3] = {{0, 1, 4}, {1, 2, 3}, {1, 3, 4}};
    struct mesh *bar = prism(outline, 5, 20, ends, 3);
    struct cut_report report;
    struct mesh *same = cut_now(bar, plane(vec(0, 0, 0), vec(0, 0, 1)), true, 1, &report);
    ck_assert_ptr_eq(same, bar);
    ck_assert_uint_eq(report.removed + report.split, 0);
    mesh_free(same);
    ck_assert_ptr_null(cut_now(bar, plane(vec(0, 0, 0), vec(0, 0, -1)), true, 1, NULL));
    mesh_free(bar);
}
END_TEST

START_TEST(face_in_the_plane_stays_the_face)
{
    struct mesh *box = shape_box(30, 20, 10, 3);
    struct mesh *same = cut_now(box, plane(vec(7, 7, 0), vec(0, 0, 2)), true, 1, NULL);
    ck_assert_ptr_eq(same, box);
    mesh_free(same);
    /* cut once, then again at the same place: nothing more to do */
    struct mesh *half = cut_now(box, plane(vec(7, 7, 3), vec(0.3, 0.2, 2)), true, 1, NULL);
    struct mesh *again = cut_now(half, plane(vec(7, 7, 3), vec(0.3, 0.2, 2)), true, 1, NULL);
    ck_assert_ptr_eq(again, half);
    mesh_free(again);
    mesh_free(half);
    mesh_free(box);
}
END_TEST

START_TEST(torus_touched_in_its_saddle) /* the plane x = 30 meets the inner ring in one vertex */
{
    struct mesh *torus = shape_torus(40, 10, 72, 36);
    double x = (double)mesh_point(torus)[18].x; /* around 0, across half: the innermost one */
    ck_assert_double_eq_tol(x, 30, 1e-5);
    cut_both_ways(torus, plane(vec(x, 0, 0), vec(1, 0, 0)), true);
    mesh_free(torus);
}
END_TEST

/* --- attributes ---------------------------------------------------------------------------- */

START_TEST(attributes_are_carried)
{
    struct mesh *box = shape_box(10, 10, 10, 1);
    uint8_t(*colour)[4] = mesh_attribute_new(box, ATTRIBUTE_colour);
    float(*texture)[2] = mesh_attribute_new(box, ATTRIBUTE_texture);
    for (size_t v = 0; v < mesh_vertices(box); v++) {
        uint8_t z = mesh_point(box)[v].z > 5 ? 200 : 100;
        memcpy(colour[v], (uint8_t[4]){z, 10, 20, 255}, 4);
    }
    for (size_t c = 0; c < 3 * mesh_triangles(box); c++) {
        struct point p = mesh_point(box)[mesh_triangle(box)[c / 3].v[c % 3]];
        texture[c][0] = p.z / 10;
        texture[c][1] = (p.x + p.y) / 20;
    }
    struct cut_report report;
    struct mesh *top = cut_now(box, plane(vec(0, 0, 2.5), vec(0, 0, 1)), true, 1, &report);
    expect_sound(top);
    const uint8_t(*made)[4] = top->attribute[ATTRIBUTE_colour]->data;
    const float(*at)[2] = top->attribute[ATTRIBUTE_texture]->data;
    const uint8_t *origin = mesh_attribute(top, ATTRIBUTE_origin);
    ck_assert_ptr_nonnull(origin);
    for (size_t v = 0; v < mesh_vertices(top); v++)
        ck_assert_uint_eq(made[v][0], mesh_point(top)[v].z > 5 ? 200 : 125);
    size_t first_cap = mesh_triangles(top) - report.caps;
    for (size_t t = 0; t < mesh_triangles(top); t++) {
        ck_assert_uint_eq(origin[t], t < first_cap ? ORIGIN_MEASURED : ORIGIN_MADE);
        for (size_t k = 0; k < 3 && t < first_cap; k++) {
            struct point p = mesh_point(top)[mesh_triangle(top)[t].v[k]];
            ck_assert_float_eq_tol(at[3 * t + k][0], p.z / 10, 1e-6f);
            ck_assert_float_eq_tol(at[3 * t + k][1], (p.x + p.y) / 20, 1e-6f);
        }
    }
    mesh_free(top);
    mesh_free(box);
}
END_TEST

/* --- what is not closed -------------------------------------------------------------------- */

static bool near_equator_east(const struct mesh *mesh, size_t t)
{
    struct vec p = vertex_of(mesh, t, 0);
    return p.x > 40 && fabs(p.z) < 15;
}

START_TEST(open_surfaces)
{
    struct mesh *ball = shape_sphere(50, 4), *open = shape_without(ball, near_equator_east);
    struct shape_count before = shape_count(open);
    ck_assert_uint_gt(before.boundary, 0);
    struct cut_report report; /* through the hole: the contour does not close */
    struct mesh *half = cut_now(open, plane(vec(0, 0, 1), vec(0, 0.1, 1)), true, 1, &report);
    ck_assert_uint_gt(report.open_edges, 0);
    ck_assert_uint_eq(report.caps, 0);
    mesh_free(half);
    half = cut_now(open, plane(vec(0, 0, 30), vec(0, 0.1, 1)), true, 1, &report);
    ck_assert_uint_eq(report.open_edges, 0); /* beside the hole: it does */
    expect_sound(half);
    mesh_free(half);
    half = cut_now(open, plane(vec(0, 0, 30), vec(0, -0.1, -1)), true, 1, &report);
    ck_assert_uint_eq(shape_count(half).boundary, before.boundary);
    mesh_free(half);
    struct mesh *sheet = shape_patch(20, 10, NULL);
    half = cut_now(sheet, plane(vec(5.5, 0, 0), vec(1, 0.1, 0)), true, 1, &report);
    ck_assert_uint_eq(report.caps, 0);
    ck_assert_double_eq_tol(shape_count(half).area, 400 - 110 + 20,
                            1e-4); /* slanted: x = 5.5 - y/10 */
    mesh_free(half);
    half = cut_now(sheet, plane(vec(6, 0, 0), vec(1, 0, 0.5)), false, 1, &report); /* along edges */
    ck_assert_uint_eq(report.removed, 3 * 10 * 2);
    ck_assert_uint_eq(report.split, 0);
    mesh_free(half);
    mesh_free(sheet);
    mesh_free(open);
    mesh_free(ball);
}
END_TEST

START_TEST(without_cap)
{
    struct mesh *ball = shape_sphere(50, 3);
    struct cut_report report;
    struct mesh *bowl = cut_now(ball, plane(vec(0, 0, 1), vec(0.1, 0.2, -1)), false, 1, &report);
    struct shape_count count = shape_count(bowl);
    ck_assert_uint_eq(report.caps, 0);
    ck_assert_uint_eq(count.nonmanifold + count.misoriented, 0);
    ck_assert_uint_eq(count.boundary, report.split);
    ck_assert_int_eq(count.euler, 1);
    mesh_free(bowl);
    mesh_free(ball);
}
END_TEST

START_TEST(broken_input_does_not_matter)
{
    uint64_t seed = 77;
    for (int i = 0; i < 300; i++) { /* triangles between few points: every fault there is */
        size_t points = 4 + (size_t)(shape_random(&seed) * 12),
               faces = (size_t)(shape_random(&seed) * 40);
        double(*point)[3] = malloc(points * sizeof *point);
        uint32_t(*face)[3] = malloc((faces + 1) * sizeof *face);
        for (size_t p = 0; p < points; p++)
            for (int k = 0; k < 3; k++)
                point[p][k] = floor(4 * shape_random(&seed));
        for (size_t f = 0; f < faces; f++)
            for (int k = 0; k < 3; k++)
                face[f][k] = (uint32_t)(shape_random(&seed) * (double)points);
        struct mesh *mesh =
            shape_make((const double(*)[3])point, points, (const uint32_t(*)[3])face, faces);
        struct mesh *half = cut_now(mesh,
                                    plane(vec(1, 1, floor(4 * shape_random(&seed))),
                                          i % 2 ? random_way(&seed) : vec(0, 0, 1)),
                                    true, 1, NULL);
        for (size_t t = 0; half && t < mesh_triangles(half); t++)
            for (int k = 0; k < 3; k++)
                ck_assert_uint_lt(mesh_triangle(half)[t].v[k], mesh_vertices(half));
        mesh_free(half);
        mesh_free(mesh);
        free(point);
        free(face);
    }
}
END_TEST

START_TEST(inside_out)
{
    struct mesh *shell =
        together(turned_inside_out(shape_sphere(50, 3)), shape_sphere(30, 3), vec(0, 0, 0));
    struct mesh *half = cut_now(shell, plane(vec(0, 0, 1), vec(1, 0, 1)), true, 1, NULL);
    expect_sound(half);
    ck_assert_double_lt(volume_of(half), 0);
    mesh_free(half);
    mesh_free(shell);
}
END_TEST

START_TEST(point_cloud)
{
    struct mesh *ball = shape_sphere(50, 3), *cloud = mesh_new(mesh_vertices(ball), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(ball), array_bytes(ball->point));
    struct cut_report report;
    struct mesh *half = cut_now(cloud, plane(vec(0, 0, 10), vec(0, 0, 1)), true, 1, &report);
    ck_assert_uint_eq(mesh_vertices(half) + report.removed, mesh_vertices(cloud));
    for (size_t v = 0; v < mesh_vertices(half); v++)
        ck_assert_float_ge(mesh_point(half)[v].z, 10);
    mesh_free(half);
    mesh_free(cloud);
    mesh_free(ball);
}
END_TEST

/* --- how it runs --------------------------------------------------------------------------- */

START_TEST(world_coordinates)
{
    struct mesh *ball = shape_sphere(50, 3), *far = mesh_new_like(ball);
    far->origin[0] = 4123456.75;
    far->origin[1] = -5e6;
    struct vec through = vec(3, -2, 1), normal = vec(1, 1, 1);
    struct mesh *near_half = cut_now(ball, plane(through, normal), true, 1, NULL);
    struct mesh *far_half = cut_now(far, plane(mesh_world(far, through), normal), true, 1, NULL);
    ck_assert_mem_eq(near_half->point->data, far_half->point->data, array_bytes(near_half->point));
    ck_assert_double_eq(far_half->origin[1], -5e6);
    mesh_free(near_half);
    mesh_free(far_half);
    mesh_free(far);
    mesh_free(ball);
}
END_TEST

START_TEST(same_bytes_for_any_threads)
{
    struct mesh *ball = shape_sphere(50, 6);
    mesh_attribute_new(ball, ATTRIBUTE_source);
    uint16_t *source = ball->attribute[ATTRIBUTE_source]->data;
    for (size_t t = 0; t < mesh_triangles(ball); t++)
        source[t] = (uint16_t)(t % 7);
    struct cut_plane p = plane(vec(3, 2, 1), vec(0.3, 0.4, 0.5));
    struct mesh *one = cut_now(ball, p, true, 1, NULL);
    for (int threads = 2; threads <= 3; threads++) {
        struct mesh *more = cut_now(ball, p, true, threads, NULL);
        ck_assert_uint_eq(mesh_triangles(one), mesh_triangles(more));
        ck_assert_mem_eq(one->point->data, more->point->data, array_bytes(one->point));
        ck_assert_mem_eq(one->triangle->data, more->triangle->data, array_bytes(one->triangle));
        ck_assert_mem_eq(one->attribute[ATTRIBUTE_source]->data,
                         more->attribute[ATTRIBUTE_source]->data,
                         array_bytes(one->attribute[ATTRIBUTE_source]));
        mesh_free(more);
    }
    mesh_free(one);
    mesh_free(ball);
}
END_TEST

START_TEST(refused_and_cancelled)
{
    struct mesh *box = shape_box(10, 10, 10, 2), *out = NULL;
    struct job job;
    job_init(&job);
    struct cut_plane p = plane(vec(0, 0, 20), vec(0, 0, 1));
    ck_assert_int_eq(cut_mesh(box, &p, true, &out, NULL, &job), STATUS_REFUSED);
    ck_assert_ptr_nonnull(strstr(job.message, "normal"));
    job_release(&job);
    job_init(&job);
    p = plane(vec(0, 0, 5), vec(0, 0, 0));
    ck_assert_int_eq(cut_mesh(box, &p, true, &out, NULL, &job), STATUS_REFUSED);
    job_release(&job);
    job_init(&job);
    p = plane(vec(0, NAN, 5), vec(0, 0, 1));
    ck_assert_int_eq(cut_mesh(box, &p, true, &out, NULL, &job), STATUS_REFUSED);
    job_release(&job);
    job_init(&job);
    atomic_store(&job.cancel, true);
    p = plane(vec(0, 0, 5), vec(0, 0, 1));
    ck_assert_int_eq(cut_mesh(box, &p, true, &out, NULL, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    job_release(&job);
    mesh_free(box);
}
END_TEST

Suite *suite_cut(void);

Suite *suite_cut(void)
{
    Suite *suite = suite_create("cut");
    TCase *random = tcase_create("random planes"), *shapes = tcase_create("shapes");
    tcase_set_timeout(random, 120);
    tcase_add_loop_test(random, random_planes, 0, SOLIDS);
    tcase_add_test(shapes, handbook_frustum);
    tcase_add_test(shapes, handbook_hemisphere);
    tcase_add_test(shapes, hollow_ball_has_a_ring_for_a_cap);
    tcase_add_test(shapes, groove_bottom_in_the_plane);
    tcase_add_test(shapes, ridge_in_the_plane_is_no_cut);
    tcase_add_test(shapes, face_in_the_plane_stays_the_face);
    tcase_add_test(shapes, torus_touched_in_its_saddle);
    tcase_add_test(shapes, attributes_are_carried);
    tcase_add_test(shapes, open_surfaces);
    tcase_add_test(shapes, without_cap);
    tcase_add_test(shapes, broken_input_does_not_matter);
    tcase_add_test(shapes, inside_out);
    tcase_add_test(shapes, point_cloud);
    tcase_add_test(shapes, world_coordinates);
    tcase_add_test(shapes, same_bytes_for_any_threads);
    tcase_add_test(shapes, refused_and_cancelled);
    suite_add_tcase(suite, shapes);
    suite_add_tcase(suite, random);
    return suite;
}
