/* Booleans. Volumes are counted independently of the library (shapes.h), and every result is looked
 * at once more after its vertices are joined anew by position, as a reader of the saved file would
 * (sound.h). */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/boolean.h"
#include "tests/support/carved.h"
#include "tests/support/pairs.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

static const double pi = 3.14159265358979323846;

enum { KINDS = 3 };

/* NULL when nothing is left. */
static struct mesh *boolean(const struct mesh *a, const struct mesh *b, enum boolean_kind kind,
                            int threads, struct boolean_report *report)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct mesh *out = NULL;
    enum status status = boolean_mesh(a, b, kind, &out, report, &job);
    bool empty = status == STATUS_REFUSED && strstr(job.message, "nothing would be left");
    ck_assert_msg(status == STATUS_OK || empty, "%s", job.message);
    job_release(&job);
    return out;
}

static void expect_sound(const struct mesh *mesh)
{
    const char *fault = sound_fault(mesh);
    ck_assert_msg(fault == NULL, "%s", fault);
    ck_assert_uint_eq(sound_crossings(mesh), 0);
}

static double volume_of(const struct mesh *mesh)
{
    return mesh ? shape_count(mesh).volume : 0;
}

/* The volume of a result that must be sound. */
static double volume(const struct mesh *a, const struct mesh *b, enum boolean_kind kind)
{
    struct mesh *out = boolean(a, b, kind, 1, NULL);
    if (out)
        expect_sound(out);
    double is = volume_of(out);
    mesh_free(out);
    return is;
}

static struct mesh *moved(struct mesh *mesh, double x, double y, double z)
{
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        *p = vec_point(vec_add(point_vec(*p), vec(x, y, z)));
    }
    mesh->joined = true;
    return mesh;
}

static struct mesh *cube(double x, double y, double z, double side)
{
    return moved(shape_box(side, side, side, 1), x, y, z);
}

static size_t components(const struct mesh *mesh)
{
    struct mesh *joined = sound_joined(mesh);
    size_t count = mesh_components(joined, NULL)->count;
    mesh_free(joined);
    return count;
}

/* --- pairs of all kinds ------------------------------------------------------------------------
 */

/* V(A - B) + V(A and B) = V(A), V(A or B) = V(A) + V(B) - V(A and B). */
static void expect_identities(uint64_t seed)
{
    struct mesh *pair[2];
    pair_make(seed, pair);
    double a = volume_of(pair[0]), b = volume_of(pair[1]), is[KINDS], aside = 0;
    for (int k = 0; k < KINDS; k++) {
        struct boolean_report report = {0};
        struct mesh *out = boolean(pair[0], pair[1], (enum boolean_kind)k, 1, &report);
        aside = fmax(aside, report.aside);
        const char *fault = out ? sound_fault(out) : NULL;
        ck_assert_msg(!fault, "pair %u, kind %d: %s", (unsigned)seed, k, fault);
        ck_assert_msg(!out || sound_crossings(out) == 0, "pair %u, kind %d crosses itself",
                      (unsigned)seed, k);
        is[k] = volume_of(out);
        mesh_free(out);
    }
    /* Moved aside, the second may lose or gain that much along its whole surface. */
    double tolerance = 1e-6 * (a + b) + aside * shape_count(pair[1]).area;
    ck_assert_msg(fabs(is[BOOLEAN_SUBTRACT] + is[BOOLEAN_COMMON] - a) <= tolerance &&
                      fabs(is[BOOLEAN_UNITE] + is[BOOLEAN_COMMON] - a - b) <= tolerance,
                  "pair %u: volumes %.9g and %.9g give %.9g without, %.9g united, %.9g common",
                  (unsigned)seed, a, b, is[BOOLEAN_SUBTRACT], is[BOOLEAN_UNITE],
                  is[BOOLEAN_COMMON]);
    mesh_free(pair[0]);
    mesh_free(pair[1]);
}

enum { EACH = 250, SEVERAL = 4, MANY = 40 };

START_TEST(random_pairs)
{
    for (int i = 0; i < EACH; i++)
        expect_identities((uint64_t)(_i * EACH + i));
}
END_TEST

/* --- handbook ----------------------------------------------------------------------------------
 */

/* Two cylinders of radius r that cross at right angles have 16 r^3 / 3 in common (Steinmetz solid;
 * from memory: known to Archimedes). */
static struct mesh *cylinder(double radius, double half, int n, int axis)
{
    double(*point)[3] = calloc(2 * (size_t)n + 2, sizeof *point);
    uint32_t(*face)[3] = calloc(4 * (size_t)n, sizeof *face);
    int u = (axis + 1) % 3, v = (axis + 2) % 3;
    for (int i = 0; i < n; i++) {
        uint32_t a = (uint32_t)i, b = (uint32_t)((i + 1) % n), m = (uint32_t)n;
        for (int end = 0; end < 2; end++) {
            double *p = point[i + end * n];
            p[axis] = end ? half : -half;
            p[u] = radius * cos(2 * pi * i / n);
            p[v] = radius * sin(2 * pi * i / n);
        }
        memcpy(face[4 * i], (uint32_t[3]){a, b, b + m}, sizeof *face);
        memcpy(face[4 * i + 1], (uint32_t[3]){a, b + m, a + m}, sizeof *face);
        memcpy(face[4 * i + 2], (uint32_t[3]){b, a, 2 * m}, sizeof *face);
        memcpy(face[4 * i + 3], (uint32_t[3]){a + m, b + m, 2 * m + 1}, sizeof *face);
    }
    point[2 * n][axis] = -half;
    point[2 * n + 1][axis] = half;
    struct mesh *mesh = shape_make((const double(*)[3])point, 2 * (size_t)n + 2,
                                   (const uint32_t(*)[3])face, 4 * (size_t)n);
    mesh->joined = true;
    free(point);
    free(face);
    return mesh;
}

START_TEST(handbook_crossed_cylinders)
{
    struct mesh *x = cylinder(10, 30, 360, 0), *y = cylinder(10, 30, 360, 1);
    ck_assert_double_eq_tol(volume(x, y, BOOLEAN_COMMON), 16 * 1000 / 3.0, 16 * 1000 / 3.0 * 2e-4);
    mesh_free(x);
    mesh_free(y);
}
END_TEST

/* The caps two balls of radius r at a distance d have in common: pi (4 r + d) (2 r - d)^2 / 12
 * (solid geometry's formula for two spherical caps of height r - d / 2). */
START_TEST(handbook_lens)
{
    struct mesh *a = shape_sphere(50, 5), *b = moved(shape_sphere(50, 5), 20, 30, 40);
    double d = sqrt(20 * 20 + 30 * 30 + 40 * 40);
    double lens = pi * (200 + d) * (100 - d) * (100 - d) / 12;
    ck_assert_double_eq_tol(volume(a, b, BOOLEAN_COMMON), lens, 0.003 * lens);
    mesh_free(a);
    mesh_free(b);
}
END_TEST

/* A ball with a hole drilled through its middle, 2 h long: 4 pi h^3 / 3, whatever the ball (the
 * napkin ring; from memory). */
START_TEST(handbook_drilled_ball)
{
    double r = 50, h = 30;
    struct mesh *ball = shape_sphere(r, 5), *drill = cylinder(sqrt(r * r - h * h), 60, 360, 2);
    struct mesh *ring = boolean(ball, drill, BOOLEAN_SUBTRACT, 1, NULL);
    expect_sound(ring);
    ck_assert_int_eq(shape_count(ring).euler, 0);
    ck_assert_double_eq_tol(volume_of(ring), 4 * pi * h * h * h / 3,
                            0.004 * 4 * pi * h * h * h / 3);
    mesh_free(ring);
    mesh_free(ball);
    mesh_free(drill);
}
END_TEST

/* --- faces in one plane, edges along each other, touching ----------------------------------------
 */

START_TEST(coplanar_sides)
{
    struct mesh *a = cube(0, 0, 0, 20), *b = cube(10, 0, 0, 20), *c = cube(5, 5, 10, 10);
    ck_assert_double_eq_tol(volume(a, b, BOOLEAN_SUBTRACT), 4000, 1e-9);
    ck_assert_double_eq_tol(volume(a, b, BOOLEAN_UNITE), 12000, 1e-9);
    ck_assert_double_eq_tol(volume(a, b, BOOLEAN_COMMON), 4000, 1e-9);
    struct mesh *pocket = boolean(a, c, BOOLEAN_SUBTRACT, 1, NULL); /* its rim in the top face */
    expect_sound(pocket);
    ck_assert_double_eq_tol(volume_of(pocket), 7000, 1e-9);
    ck_assert_double_eq_tol(shape_count(pocket).area, 2400 + 400, 1e-9);
    mesh_free(pocket);
    mesh_free(a);
    mesh_free(b);
    mesh_free(c);
}
END_TEST

START_TEST(itself)
{
    struct mesh *solid[] = {cube(0, 0, 0, 20), shape_sphere(20, 3), carved_block(3)};
    for (size_t i = 0; i < sizeof solid / sizeof *solid; i++) {
        struct mesh *mesh = solid[i], *copy = mesh_new_like(mesh);
        mesh->joined = copy->joined = true;
        ck_assert_ptr_null(boolean(mesh, copy, BOOLEAN_SUBTRACT, 1, NULL));
        for (int k = BOOLEAN_UNITE; k <= BOOLEAN_COMMON; k++) {
            struct mesh *out = boolean(mesh, copy, (enum boolean_kind)k, 1, NULL);
            expect_sound(out);
            ck_assert_uint_eq(mesh_triangles(out), mesh_triangles(mesh)); /* nothing is split */
            ck_assert_double_eq_tol(volume_of(out), volume_of(mesh), 1e-9 * volume_of(mesh));
            mesh_free(out);
        }
        mesh_free(copy);
        mesh_free(mesh);
    }
}
END_TEST

/* Cubes that have a corner, (part of) an edge, or (part of) a face in common. */
START_TEST(touching_cubes)
{
    static const double at[][3] = {{10, 10, 10}, {10, 10, 0}, {10, 10, 5},  {10, 0, 0},
                                   {10, 5, 5},   {10, 0, 5},  {10, 10, 20}, {10, 3, -10}};
    struct mesh *a = cube(0, 0, 0, 10);
    for (size_t i = 0; i < sizeof at / sizeof *at; i++) {
        struct mesh *b = cube(at[i][0], at[i][1], at[i][2], 10);
        ck_assert_double_eq_tol(volume(a, b, BOOLEAN_SUBTRACT), 1000, 1e-2);
        ck_assert_double_eq_tol(volume(a, b, BOOLEAN_UNITE), 2000, 1e-2);
        struct mesh *none = boolean(a, b, BOOLEAN_COMMON, 1, NULL);
        ck_assert_ptr_null(none);
        struct mesh *both = boolean(a, b, BOOLEAN_UNITE, 1, NULL);
        bool share_face = i >= 3 && i <= 5;
        ck_assert_uint_eq(components(both), share_face ? 1 : 2);
        mesh_free(both);
        mesh_free(b);
    }
    mesh_free(a);
}
END_TEST

/* A cube out of a cube so that what is left touches itself along an edge: it is parted. */
START_TEST(left_with_an_edge_to_touch)
{
    struct mesh *slab = moved(shape_box(20, 20, 10, 1), 0, 0, 0);
    struct mesh *one = cube(0, 0, -5, 10), *two = cube(10, 10, -5, 10);
    struct mesh *first = boolean(slab, moved(one, 0, 0, 0), BOOLEAN_SUBTRACT, 1, NULL);
    struct mesh *high = boolean(first, two, BOOLEAN_SUBTRACT, 1, NULL);
    expect_sound(high);
    ck_assert_double_eq_tol(volume_of(high), 4000 - 2 * 500, 1e-2);
    mesh_free(high);
    mesh_free(first);
    mesh_free(slab);
    mesh_free(one);
    mesh_free(two);
}
END_TEST

/* --- one inside the other ------------------------------------------------------------------------
 */

START_TEST(nested)
{
    struct mesh *ball = shape_sphere(50, 4), *core = shape_sphere(20, 3);
    struct boolean_report report;
    struct mesh *shell = boolean(ball, core, BOOLEAN_SUBTRACT, 1, &report);
    expect_sound(shell);
    ck_assert_uint_eq(components(shell), 2);
    ck_assert_uint_eq(report.kept[0] + report.kept[1], mesh_triangles(shell));
    ck_assert_double_eq_tol(volume_of(shell), volume_of(ball) - volume_of(core), 1e-6);
    struct mesh *united = boolean(ball, core, BOOLEAN_UNITE, 1, NULL);
    ck_assert_uint_eq(mesh_triangles(united), mesh_triangles(ball));
    struct mesh *common = boolean(ball, core, BOOLEAN_COMMON, 1, NULL);
    ck_assert_uint_eq(mesh_triangles(common), mesh_triangles(core));
    ck_assert_ptr_null(boolean(core, ball, BOOLEAN_SUBTRACT, 1, NULL));
    struct mesh *filled = boolean(shell, core, BOOLEAN_UNITE, 1, NULL); /* its cavity, exactly */
    expect_sound(filled);
    ck_assert_uint_eq(mesh_triangles(filled), mesh_triangles(ball));
    struct mesh *stone = moved(shape_sphere(5, 2), 3, 2, 1); /* in the cavity, touching nothing */
    struct mesh *rattle = boolean(shell, stone, BOOLEAN_UNITE, 1, NULL);
    expect_sound(rattle);
    ck_assert_uint_eq(components(rattle), 3);
    struct mesh *apart = moved(shape_sphere(5, 2), 200, 0, 0);
    ck_assert_ptr_null(boolean(ball, apart, BOOLEAN_COMMON, 1, NULL));
    mesh_free(ball);
    mesh_free(core);
    mesh_free(shell);
    mesh_free(united);
    mesh_free(common);
    mesh_free(filled);
    mesh_free(stone);
    mesh_free(rattle);
    mesh_free(apart);
}
END_TEST

START_TEST(several_components)
{
    struct mesh *one = shape_sphere(10, 3);
    const struct mesh *three[3] = {one, one, one};
    const double at[3][3] = {{0, 0, 0}, {30, 0, 0}, {60, 0, 0}};
    struct mesh *row = shape_join(three, at, 3);
    row->joined = true;
    struct mesh *bar = moved(shape_box(60, 4, 4, 1), -20, -2, -2); /* through two of them */
    struct boolean_report report;
    struct mesh *out = boolean(row, bar, BOOLEAN_SUBTRACT, 1, &report);
    expect_sound(out);
    ck_assert_uint_eq(components(out), 3);
    ck_assert_int_eq(shape_count(out).euler, 0 + 0 + 2);
    mesh_free(out);
    mesh_free(row);
    mesh_free(bar);
    mesh_free(one);
}
END_TEST

/* --- what stays as it was ----------------------------------------------------------------------
 */

START_TEST(far_triangles_stay_the_same)
{
    struct mesh *ball = shape_sphere(50, 5), *tool = moved(shape_box(10, 12, 14, 2), 40, -6, -7);
    uint8_t(*colour)[4] = mesh_attribute_new(ball, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(ball); v++)
        memcpy(colour[v], (uint8_t[4]){(uint8_t)(v % 200), 10, 20, 255}, 4);
    struct boolean_report report;
    struct mesh *out = boolean(ball, tool, BOOLEAN_SUBTRACT, 1, &report);
    expect_sound(out);
    const uint8_t(*made)[4] = (const uint8_t(*)[4])mesh_attribute(out, ATTRIBUTE_colour);
    const uint8_t *origin = mesh_attribute(out, ATTRIBUTE_origin);
    ck_assert_uint_gt(report.kept[0], mesh_triangles(ball) * 9 / 10);
    size_t from = 0;
    for (size_t t = 0; t < report.kept[0]; t++) { /* each is the next of the ball's like it */
        const uint32_t *v = mesh_triangle(out)[t].v, *w;
        for (;; from++) {
            ck_assert_uint_lt(from, mesh_triangles(ball));
            w = mesh_triangle(ball)[from].v;
            if (memcmp(&mesh_point(out)[v[0]], &mesh_point(ball)[w[0]], sizeof(struct point)) ==
                    0 &&
                memcmp(&mesh_point(out)[v[1]], &mesh_point(ball)[w[1]], sizeof(struct point)) ==
                    0 &&
                memcmp(&mesh_point(out)[v[2]], &mesh_point(ball)[w[2]], sizeof(struct point)) == 0)
                break;
        }
        for (int k = 0; k < 3; k++)
            ck_assert_mem_eq(made[v[k]], colour[w[k]], 4);
        ck_assert_uint_eq(origin[t], ORIGIN_MEASURED);
        from++;
    }
    size_t by_tool = 0;
    for (size_t t = report.kept[0]; t < mesh_triangles(out); t++)
        by_tool += origin[t] == ORIGIN_MADE;
    ck_assert_uint_gt(by_tool, 20);
    mesh_free(out);
    mesh_free(tool);
    mesh_free(ball);
}
END_TEST

static void expect_same(const struct mesh *a, const struct mesh *b)
{
    ck_assert_uint_eq(mesh_triangles(a), mesh_triangles(b));
    ck_assert_uint_eq(mesh_vertices(a), mesh_vertices(b));
    ck_assert_mem_eq(a->point->data, b->point->data, array_bytes(a->point));
    ck_assert_mem_eq(a->triangle->data, b->triangle->data, array_bytes(a->triangle));
}

START_TEST(same_bytes_for_any_threads)
{
    struct mesh *a = shape_sphere(50, 6), *b = moved(shape_torus(45, 12, 200, 80), 3, 4, 5);
    for (int k = 0; k < KINDS; k++) {
        struct mesh *one = boolean(a, b, (enum boolean_kind)k, 1, NULL);
        struct mesh *two = boolean(a, b, (enum boolean_kind)k, 2, NULL);
        expect_sound(one);
        expect_same(one, two);
        mesh_free(one);
        mesh_free(two);
    }
    mesh_free(a);
    mesh_free(b);
}
END_TEST

/* Whether the tree of all triangles was there already, or one of those near the cut was made. */
START_TEST(same_bytes_with_a_tree_and_without)
{
    struct mesh *a = shape_sphere(50, 5), *b = cube(40, -8, -8, 16), *known = mesh_new_like(a);
    a->joined = known->joined = true;
    ck_assert_ptr_nonnull(mesh_tree(known, NULL));
    struct mesh *one = boolean(a, b, BOOLEAN_SUBTRACT, 1, NULL);
    struct mesh *two = boolean(known, b, BOOLEAN_SUBTRACT, 1, NULL);
    expect_sound(one);
    expect_same(one, two);
    mesh_free(one);
    mesh_free(two);
    mesh_free(known);
    mesh_free(a);
    mesh_free(b);
}
END_TEST

/* Far from the origin, and with two origins that differ by whole millimetres: the same bytes. */
START_TEST(other_origins)
{
    struct mesh *a = shape_sphere(50, 3), *b = cube(-8, -8, 20, 16);
    struct mesh *near = boolean(a, b, BOOLEAN_SUBTRACT, 1, NULL);
    struct mesh *far = mesh_new_like(a), *other = moved(cube(-8, -8, 20, 16), -32, 64, 16);
    const double origin[3] = {4123456.75, -5e6, 77};
    for (int k = 0; k < 3; k++) {
        far->origin[k] = origin[k];
        other->origin[k] = origin[k] + (const double[3]){32, -64, -16}[k];
    }
    struct mesh *away = boolean(far, other, BOOLEAN_SUBTRACT, 1, NULL);
    expect_sound(away);
    expect_same(near, away);
    ck_assert_double_eq(away->origin[1], -5e6);
    mesh_free(near);
    mesh_free(away);
    mesh_free(far);
    mesh_free(other);
    mesh_free(a);
    mesh_free(b);
}
END_TEST

/* --- refused ------------------------------------------------------------------------------------
 */

static bool first_face(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t == 7;
}

static void expect_refused(const struct mesh *a, const struct mesh *b, const char *what,
                           const char *mend)
{
    for (int k = 0; k < KINDS; k++) {
        struct job job;
        struct mesh *out = NULL;
        job_init(&job);
        job.threads = 1;
        ck_assert_int_eq(boolean_mesh(a, b, (enum boolean_kind)k, &out, NULL, &job),
                         STATUS_REFUSED);
        ck_assert_msg(strstr(job.message, what) && strstr(job.message, mend), "%s", job.message);
        ck_assert_ptr_null(out);
        job_release(&job);
    }
}

static struct mesh *inside_out(const struct mesh *mesh, size_t from)
{
    struct mesh *out = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    memcpy(mesh_point_edit(out), mesh_point(mesh), array_bytes(mesh->point));
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        mesh_triangle_edit(out)[t] = t < from ? (struct triangle){{v[0], v[1], v[2]}}
                                              : (struct triangle){{v[0], v[2], v[1]}};
    }
    out->joined = true;
    return out;
}

START_TEST(what_is_no_solid_is_refused)
{
    struct mesh *ball = shape_sphere(20, 2), *box = cube(0, 0, 0, 30);
    struct mesh *open = shape_without(ball, first_face), *turned = inside_out(ball, 0);
    struct mesh *mixed = inside_out(ball, mesh_triangles(ball) / 2);
    struct mesh *cloud = mesh_new(mesh_vertices(ball), 0), *empty = mesh_new(0, 0);
    memcpy(mesh_point_edit(cloud), mesh_point(ball), array_bytes(ball->point));
    const struct mesh *two[2] = {ball, ball};
    const double at[2][3] = {{0, 0, 0}, {10, 0, 0}};
    struct mesh *crossing = shape_join(two, at, 2);
    struct mesh *through = moved(shape_box(3, 60, 60, 1), 4, -30, -30);
    crossing->joined = true;
    const uint32_t fins[5][3] = {{0, 1, 2}, {0, 3, 1}, {0, 1, 4}, {1, 0, 4}, {2, 1, 3}};
    const double corners[5][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {0, -1, -1}};
    struct mesh *fin = shape_make(corners, 5, fins, 5);
    expect_refused(open, box, "the first mesh is no solid: it is open along 3 edges", "\"fill\"");
    expect_refused(box, open, "the second mesh is no solid: it is open along 3 edges", "\"fill\"");
    expect_refused(turned, box, "first mesh faces inward", "\"orient\"");
    expect_refused(box, mixed, "disagree", "\"orient\"");
    expect_refused(fin, box, "more than two triangles", "mend");
    expect_refused(cloud, box, "no triangles", "\"fuse\"");
    expect_refused(box, empty, "no triangles", "\"fuse\"");
    expect_refused(crossing, through, "crosses itself near", "mend");
    mesh_free(crossing);
    mesh_free(through);
    mesh_free(open);
    mesh_free(turned);
    mesh_free(mixed);
    mesh_free(cloud);
    mesh_free(empty);
    mesh_free(fin);
    mesh_free(ball);
    mesh_free(box);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *a = shape_sphere(20, 4), *b = cube(0, 0, 0, 30), *out = NULL;
    struct job job;
    job_init(&job);
    job.threads = 1;
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(boolean_mesh(a, b, BOOLEAN_SUBTRACT, &out, NULL, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(out);
    job_release(&job);
    mesh_free(a);
    mesh_free(b);
}
END_TEST

Suite *suite_boolean(void);

Suite *suite_boolean(void)
{
    Suite *suite = suite_create("boolean");
    TCase *random = tcase_create("random pairs"), *shapes = tcase_create("shapes");
    tcase_set_timeout(random, 240);
    tcase_set_timeout(shapes, 60);
    tcase_add_loop_test(random, random_pairs, 0, getenv("FETTLE_LONG") ? MANY : SEVERAL);
    tcase_add_test(shapes, handbook_crossed_cylinders);
    tcase_add_test(shapes, handbook_lens);
    tcase_add_test(shapes, handbook_drilled_ball);
    tcase_add_test(shapes, coplanar_sides);
    tcase_add_test(shapes, itself);
    tcase_add_test(shapes, touching_cubes);
    tcase_add_test(shapes, left_with_an_edge_to_touch);
    tcase_add_test(shapes, nested);
    tcase_add_test(shapes, several_components);
    tcase_add_test(shapes, far_triangles_stay_the_same);
    tcase_add_test(shapes, same_bytes_for_any_threads);
    tcase_add_test(shapes, same_bytes_with_a_tree_and_without);
    tcase_add_test(shapes, other_origins);
    tcase_add_test(shapes, what_is_no_solid_is_refused);
    tcase_add_test(shapes, cancelled);
    suite_add_tcase(suite, shapes);
    suite_add_tcase(suite, random);
    return suite;
}
