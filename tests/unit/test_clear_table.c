/* The table is found and goes; what stands on it stays, foot and all. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "scan/clear_table.h"
#include "tests/support/shapes.h"
#include "tests/support/table_scan.h"

/* --- objects --------------------------------------------------------------------------------- */

static struct mesh *a_box(void)
{
    return shape_box(40, 30, 25, 40);
}

static bool under_box(const struct mesh *mesh, size_t t)
{
    const struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
    return p.x > 39 && p.x < 80 && p.y > 44 && p.y < 75;
}

static struct mesh *a_ball(void)
{
    return shape_sphere(20, 5);
}

static struct mesh *a_ring(void)
{
    return shape_torus(25, 6, 160, 60);
}

static struct mesh *a_tower(void)
{
    return shape_box(20, 20, 300, 60);
}

/* The top of a plate, next to nothing above the table in a scene of 120 mm. */
static struct mesh *a_plate(void)
{
    return shape_patch(70, 88, table_flat);
}

/* Beside it something tall, so that the plate is next to nothing in the scene again. */
static struct mesh *a_plate_and_a_ball(void)
{
    struct mesh *part[] = {a_plate(), shape_sphere(20, 5)};
    static const double move[][3] = {{0, 0, 0.7}, {80, 80, 20}};
    struct mesh *both = shape_join((const struct mesh *const *)part, move, 2);
    mesh_free(part[0]);
    mesh_free(part[1]);
    return both;
}

static struct mesh *a_bead(void)
{
    return shape_sphere(4, 4);
}

static struct mesh *a_coin(void)
{
    return shape_box(20, 20, 1.5, 40);
}

static bool all_but_a_corner(const struct mesh *mesh, size_t t)
{
    const struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
    return p.y > 42;
}

/* --- judging --------------------------------------------------------------------------------- */

struct outcome {
    size_t table_left, object_lost;
    struct clear_report report;
};

/* Finds each kept triangle (point) in the scan by going through both in order. */
static void count_left(const struct table_scan *scan, const struct mesh *rest,
                       struct outcome *outcome)
{
    const struct point *before = mesh_point(scan->mesh), *after = mesh_point(rest);
    bool cloud = mesh_triangles(scan->mesh) == 0;
    size_t count = cloud ? mesh_vertices(scan->mesh) : mesh_triangles(scan->mesh), at = 0;
    size_t kept = cloud ? mesh_vertices(rest) : mesh_triangles(rest);
    for (size_t i = 0; i < count; i++) {
        bool same = at < kept;
        for (int k = 0; same && k < (cloud ? 1 : 3); k++) {
            size_t a = cloud ? i : mesh_triangle(scan->mesh)[i].v[k];
            size_t b = cloud ? at : mesh_triangle(rest)[at].v[k];
            same = memcmp(&before[a], &after[b], sizeof *before) == 0;
        }
        at += same;
        outcome->table_left += same && i < scan->table;
        outcome->object_lost += !same && i >= scan->table;
    }
    ck_assert_uint_eq(at, kept);
}

static struct outcome cleared(struct table_scan scan, const struct clear_options *options)
{
    static const struct clear_options plain = {0};
    struct outcome outcome = {0};
    struct mesh *rest, *other;
    struct job job;
    job_init(&job);
    job.threads = 2;
    enum status status =
        clear_table(scan.mesh, options ? options : &plain, &rest, NULL, &outcome.report, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    job_release(&job);
    job_init(&job);
    job.threads = 1;
    ck_assert_int_eq(
        clear_table(scan.mesh, options ? options : &plain, &other, NULL, &outcome.report, &job),
        STATUS_OK);
    job_release(&job);
    ck_assert_uint_eq(array_bytes(rest->point), array_bytes(other->point));
    ck_assert(memcmp(mesh_point(rest), mesh_point(other), array_bytes(rest->point)) == 0);
    ck_assert(memcmp(mesh_triangle(rest), mesh_triangle(other), array_bytes(rest->triangle)) == 0);
    count_left(&scan, rest, &outcome);
    mesh_free(rest);
    mesh_free(other);
    mesh_free(scan.mesh);
    return outcome;
}

static void refused(struct mesh *mesh, const char *why)
{
    static const struct clear_options plain = {0};
    struct clear_report report;
    struct mesh *rest;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(clear_table(mesh, &plain, &rest, NULL, &report, &job), STATUS_REFUSED);
    ck_assert_msg(strstr(job.message, why), "%s", job.message);
    ck_assert_ptr_null(rest);
    job_release(&job);
    mesh_free(mesh);
}

/* Of the coin's side, cut into rows 0.04 mm high, those within the table's thickness can go; of the
 * tower's points the lowest ring, which has its next points 5 mm up. */

/* --- what must come out ---------------------------------------------------------------------- */

static const struct {
    const char *name;
    struct mesh *(*object)(void);
    double x, y, z;
    double (*height)(double x, double y);
    bool (*drop)(const struct mesh *mesh, size_t t);
    double side, noise;
    size_t table_left, object_lost;             /* at most, of the surface */
    size_t table_left_cloud, object_lost_cloud; /* of the points */
} scenes[] = {
    {"box", a_box, 40, 45, 0, table_flat, under_box, 120, 0, 0, 0, 0, 0},
    {"noisy box", a_box, 40, 45, 0, table_flat, under_box, 120, table_noise, 0, 0, 0, 0},
    {"box on a whole table", a_box, 40, 45, 0, table_flat, NULL, 120, table_noise, 0, 0, 0, 0},
    {"curved", a_box, 40, 45, 0.1, table_curved, under_box, 120, table_noise, 0, 0, 0, 0},
    {"ball", a_ball, 60, 60, 20, table_flat, NULL, 120, table_noise, 0, 0, 0, 0},
    {"ring", a_ring, 60, 60, 6, table_flat, NULL, 120, table_noise, 0, 0, 2, 0},
    {"coin", a_coin, 60, 60, 0, table_flat, NULL, 120, table_noise, 0, 320, 0, 0},
    {"in front only", a_box, 40, 45, 0, table_flat, all_but_a_corner, 120, table_noise, 0, 0, 0, 0},
    {"plate", a_plate, 25, 20, 0.7, table_flat, NULL, 120, 0.01, 0, 0, 2, 0},
    {"plate and ball", a_plate_and_a_ball, 5, 5, 0, table_flat, NULL, 120, 0.01, 0, 0, 2, 0},
    {"bead", a_bead, 60, 60, 4, table_flat, NULL, 240, table_noise, 0, 0, 0, 0},
    {"minority", a_tower, 15, 15, 0, table_flat, NULL, 50, table_noise, 0, 0, 2, 240},
};
enum { SCENES = sizeof scenes / sizeof *scenes };

static struct table_scan scene(int i)
{
    struct mesh *table = table_sheet(scenes[i].side, 0.8, scenes[i].height, scenes[i].drop);
    return table_with(table, scenes[i].object(), scenes[i].x, scenes[i].y, scenes[i].z,
                      scenes[i].noise);
}

static void fits(int i, const struct outcome *o, bool cloud)
{
    size_t left = cloud ? scenes[i].table_left_cloud : scenes[i].table_left;
    size_t lost = cloud ? scenes[i].object_lost_cloud : scenes[i].object_lost;
    ck_assert_msg(o->table_left <= left, "%s: %zu of the table left", scenes[i].name,
                  o->table_left);
    ck_assert_msg(o->object_lost <= lost, "%s: %zu of the object lost", scenes[i].name,
                  o->object_lost);
    /* 16384 samples or fewer: the spread of a normal distribution by its median is off by 2 %; what
     * lies low beside the table widens it a little. */
    ck_assert_double_le(o->report.spread, 1.3 * scenes[i].noise + 1e-5);
    ck_assert_double_ge(o->report.spread, 0.9 * scenes[i].noise - 1e-5);
    ck_assert_double_eq_tol(vec_length(o->report.plane.normal), 1, 1e-12);
}

START_TEST(surface_loses_its_table)
{
    struct outcome o = cleared(scene(_i), NULL);
    fits(_i, &o, false);
}
END_TEST

START_TEST(cloud_loses_its_table)
{
    struct outcome o = cleared(table_cloud(scene(_i)), NULL);
    fits(_i, &o, true);
}
END_TEST

START_TEST(tilted_and_far_off_is_the_same)
{
    struct table_scan scan = table_turned(scene(_i), vec(1, -2, 0.5), 1.1, vec(3e6, -5e6, 1e5));
    struct outcome o = cleared(scan, NULL);
    fits(_i, &o, false);
}
END_TEST

/* A plate with a block on it, seen from all sides: its top could be a table but for its bottom. */
static struct mesh *stepped(void)
{
    struct mesh *part[] = {shape_box(80, 60, 8, 40), shape_box(20, 20, 30, 30)};
    static const double move[][3] = {{0, 0, 0}, {30, 20, 8}};
    struct mesh *both = shape_join((const struct mesh *const *)part, move, 2);
    mesh_free(part[0]);
    mesh_free(part[1]);
    return both;
}

/* Every point, whether it would be seen from above or not. */
static struct mesh *points_of(struct mesh *mesh)
{
    struct mesh *cloud = mesh_new(mesh_vertices(mesh), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(mesh), array_bytes(mesh->point));
    mesh_free(mesh);
    return cloud;
}

START_TEST(without_a_table_it_is_refused)
{
    refused(stepped(), "no plane stands out");
    refused(points_of(stepped()), "no plane stands out");
    refused(points_of(shape_box(40, 30, 50, 40)), "no plane stands out");
    refused(shape_sphere(50, 5), "no plane stands out");
    refused(shape_box(40, 30, 50, 40), "no plane stands out");
    refused(table_cloud((struct table_scan){shape_box(40, 30, 50, 40), 0}).mesh,
            "no plane stands out");
    refused(shape_torus(40, 10, 200, 60), "no plane stands out");
    refused(shape_patch(100, 100, table_flat), "nothing stands on the table");
    refused(table_cloud((struct table_scan){shape_patch(100, 100, table_flat), 20000}).mesh,
            "nothing stands on");
    refused(mesh_new(0, 0), "too little");
}
END_TEST

/* A box seen from beneath too, merged with a table that ends at its foot: 40 x 40 squares of the
 * foot lie in the table's plane. */
static struct table_scan merged_cloud(double noise)
{
    struct mesh *table = table_sheet(120, 0.8, table_flat, under_box),
                *box = shape_box(40, 30, 25, 50);
    uint8_t *keep = malloc(mesh_triangles(table));
    memset(keep, 1, mesh_triangles(table));
    struct mesh *used = mesh_subset(table, keep, NULL); /* all of it: shared, unused points too */
    mesh_free(used);
    keep[0] = 0;
    used = mesh_subset(table, keep, NULL);
    struct table_scan scan = table_with(used, box, 40, 45, 0, noise);
    struct mesh *cloud = mesh_new(mesh_vertices(scan.mesh), 0);
    memcpy(mesh_point_edit(cloud), mesh_point(scan.mesh), array_bytes(scan.mesh->point));
    scan.table = mesh_vertices(cloud) - (6 * 50 * 50 + 2);
    mesh_free(scan.mesh);
    mesh_free(table);
    free(keep);
    scan.mesh = cloud;
    return scan;
}

START_TEST(a_cloud_keeps_its_foot)
{
    struct outcome o = cleared(merged_cloud(_i ? table_noise : 0), NULL);
    ck_assert_uint_eq(o.object_lost, 0);
    /* The table's points within two cells of 2 mm of the wall cannot be told from the foot's. */
    ck_assert_uint_lt(o.table_left, 2 * (40 + 30) * 4 / 0.64);
}
END_TEST

/* Every other triangle turned round: faces tell nothing, places do. */
START_TEST(faces_that_disagree)
{
    struct table_scan scan = scene(1);
    for (size_t t = 0; t < mesh_triangles(scan.mesh); t += 2) {
        uint32_t *v = mesh_triangle_edit(scan.mesh)[t].v, other = v[0];
        v[0] = v[1];
        v[1] = other;
    }
    struct outcome o = cleared(scan, NULL);
    ck_assert_uint_eq(o.object_lost, 0);
    ck_assert_uint_lt(o.table_left, 2 * 2 * (40 + 30) * 4 / 0.64);
}
END_TEST

/* A floor 30 mm lower, beside and under the table. */
START_TEST(what_lies_beneath_goes_or_stays)
{
    for (int keep = 0; keep < 2; keep++) {
        struct mesh *low = shape_patch(15, 10, table_flat), *ball = a_ball();
        struct table_scan scan =
            table_with(table_sheet(120, 0.8, table_flat, NULL), ball, 60, 60, 20, table_noise);
        const struct mesh *both[] = {scan.mesh, low};
        const double move[][3] = {{0, 0, 0}, {-25, 0, -30}};
        struct mesh *all = shape_join(both, move, 2);
        mesh_free(scan.mesh);
        mesh_free(low);
        const struct clear_options options = {.keep_beneath = keep};
        struct outcome o = cleared((struct table_scan){all, scan.table}, &options);
        ck_assert_uint_eq(o.table_left, 0);
        ck_assert_uint_eq(o.object_lost, keep ? 0 : 200);
        ck_assert_uint_eq(o.report.beneath, keep ? 0 : 200);
    }
}
END_TEST

/* A sphere's pole is no table until somebody says so. */
START_TEST(a_given_plane_is_taken)
{
    const struct plane plane = {vec(0, 0, -45), vec(0, 0, 2)};
    const struct clear_options options = {.plane = &plane};
    struct clear_report report;
    struct mesh *ball = shape_sphere(50, 4), *rest, *taken;
    ck_assert_int_eq(clear_table(ball, &options, &rest, &taken, &report, NULL), STATUS_OK);
    size_t low = 0;
    for (size_t t = 0; t < mesh_triangles(ball); t++) {
        bool under = true;
        for (int k = 0; k < 3; k++)
            under = under && mesh_point(ball)[mesh_triangle(ball)[t].v[k]].z <= -45;
        low += under;
    }
    ck_assert_uint_gt(low, 0);
    ck_assert_uint_eq(report.table + report.beneath, mesh_triangles(taken));
    ck_assert_uint_eq(mesh_triangles(rest) + mesh_triangles(taken), mesh_triangles(ball));
    ck_assert_double_eq_tol((double)mesh_triangles(taken), (double)low, 0.2 * (double)low);
    mesh_free(rest);
    mesh_free(taken);
    mesh_free(ball);
}
END_TEST

static bool outside_disc(const struct mesh *mesh, size_t t)
{
    const struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
    return hypotf(p.x - 60, p.y - 60) > 59;
}

/* The edge of a turntable, 6 mm high, all around 60,60. */
static struct mesh *disc_edge(void)
{
    enum { AROUND = 460, UP = 8 };
    struct mesh *edge = shape_patch(1, AROUND, table_flat), *rest;
    uint8_t *keep = calloc(mesh_triangles(edge), 1);
    for (size_t v = 0; v < mesh_vertices(edge); v++) {
        double turn = 6.283185307179586 * (double)(v / (AROUND + 1)) / AROUND;
        mesh_point_edit(edge)[v] = vec_point(vec(60 + 59.5 * cos(turn), 60 + 59.5 * sin(turn),
                                                 0.75 * (double)(v % (AROUND + 1)) - 6));
    }
    for (size_t t = 0; t < mesh_triangles(edge); t++)
        keep[t] = mesh_point(edge)[mesh_triangle(edge)[t].v[1]].z < -0.5f &&
                  mesh_point(edge)[mesh_triangle(edge)[t].v[2]].z < -0.5f;
    rest = mesh_subset(edge, keep, NULL);
    mesh_free(edge);
    free(keep);
    return rest;
}

/* More of the turntable's edge is seen than of what stands on it. */
START_TEST(a_small_thing_on_a_wide_disc)
{
    struct mesh *disc = table_sheet(120, 0.8, table_flat, outside_disc), *edge = disc_edge();
    struct mesh *ball = shape_sphere(8, 4);
    const struct mesh *part[] = {disc, ball, edge};
    const double move[][3] = {{0, 0, 0}, {60, 60, 8}, {0, 0, 0}};
    struct table_scan scan = {shape_join(part, move, 3), mesh_triangles(disc)};
    size_t edges = mesh_triangles(edge), balls = mesh_triangles(ball);
    table_shake(scan.mesh, table_noise);
    mesh_free(disc);
    mesh_free(ball);
    mesh_free(edge);
    if (_i) {
        edges = 0; /* of a cloud, counted by hand */
        scan = table_cloud(scan);
        for (size_t v = 0; v < mesh_vertices(scan.mesh); v++)
            edges += mesh_point(scan.mesh)[v].z < -0.5f;
        balls = mesh_vertices(scan.mesh) - scan.table - edges;
    }
    struct outcome o = cleared(scan, NULL);
    ck_assert_uint_eq(o.table_left, 0);
    ck_assert_uint_eq(o.object_lost, edges);
    ck_assert_uint_eq(o.report.beneath, edges);
    ck_assert_uint_eq(o.report.left, balls);
}
END_TEST

/* Two tables: the floor is found by itself, the upper one by a point on it. */
START_TEST(a_point_names_the_table)
{
    struct mesh *table = table_sheet(120, 0.8, table_flat, NULL),
                *floor = shape_patch(100, 60, table_flat);
    size_t above = mesh_triangles(table);
    struct table_scan scan = table_with(table, floor, 130, 0, -30, table_noise);
    struct mesh *ball = a_ball();
    const struct mesh *both[] = {scan.mesh, ball};
    const double move[][3] = {{0, 0, 0}, {60, 60, 20}};
    struct mesh *all = shape_join(both, move, 2), *rest;
    mesh_free(scan.mesh);
    mesh_free(ball);
    struct clear_report report;
    ck_assert_int_eq(clear_table(all, &(struct clear_options){0}, &rest, NULL, &report, NULL),
                     STATUS_OK);
    ck_assert_uint_eq(report.table, 2 * 60 * 60);
    mesh_free(rest);
    const struct plane here = {vec(10, 10, 0.5), vec(0, 0, 0)};
    const struct clear_options options = {.plane = &here};
    ck_assert_int_eq(clear_table(all, &options, &rest, NULL, &report, NULL), STATUS_OK);
    ck_assert_uint_eq(report.table, above);
    ck_assert_uint_eq(report.beneath, 2 * 60 * 60);
    ck_assert_uint_eq(report.left, mesh_triangles(all) - above - 2 * 60 * 60);
    mesh_free(rest);
    mesh_free(all);
}
END_TEST

/* A crumb on the table, 1.5 mm high and 16 mm wide. */
static double crumb(double x, double y)
{
    double r = hypot(x - 20, y - 20) / 8;
    return r < 1 ? 1.5 * (1 - r * r) * (1 - r * r) : 0;
}

START_TEST(thickness_can_be_given)
{
    for (int given = 0; given < 2; given++) {
        struct table_scan scan =
            table_with(table_sheet(120, 0.8, crumb, NULL), a_ball(), 60, 60, 20, table_noise);
        const struct clear_options options = {.thickness = given ? 2 : 0};
        struct outcome o = cleared(scan, &options);
        ck_assert_uint_eq(o.object_lost, 0);
        if (given)
            ck_assert_uint_eq(o.table_left, 0);
        else /* half its height reaches 4.3 mm from its middle */
            ck_assert_uint_gt(o.table_left, (size_t)(2 * 3.14 * 4.3 * 4.3 / 0.64));
        ck_assert_double_eq_tol(o.report.thickness, given ? 2 : 3.5 * o.report.spread, 1e-12);
    }
}
END_TEST

/* Larger by powers of ten, up to where squares of single precision overflow. */
START_TEST(any_size_is_alike)
{
    static const double scales[] = {1e-12, 1e-3, 1e6, 1e15, 1e30};
    struct table_scan scan = scene(1);
    for (size_t v = 0; v < mesh_vertices(scan.mesh); v++) {
        struct point *p = &mesh_point_edit(scan.mesh)[v];
        *p = vec_point(vec_scale(point_vec(*p), scales[_i]));
    }
    struct outcome o = cleared(scan, NULL);
    ck_assert_uint_eq(o.table_left, 0);
    ck_assert_uint_eq(o.object_lost, 0);
    ck_assert_double_eq_tol(o.report.spread / scales[_i], table_noise, 0.005);
}
END_TEST

START_TEST(odd_input)
{
    static const double corner[3][3] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}};
    static const uint32_t face[1][3] = {{0, 1, 2}};
    static const double line[40][3] = {{0}};
    refused(shape_make(corner, 3, face, 1), "nothing stands on the table");
    struct mesh *spot = mesh_new(40, 0); /* all in one place */
    memset(mesh_point_edit(spot), 0, array_bytes(spot->point));
    refused(spot, "no plane");
    struct mesh *row = shape_make(line, 40, NULL, 0);
    for (size_t v = 0; v < 40; v++)
        mesh_point_edit(row)[v].x = (float)v;
    refused(row, "no plane");
    struct mesh *crushed = shape_make(line, 40, face, 1); /* no area */
    refused(crushed, "too little");
    struct mesh *few = mesh_new(3, 0);
    memset(mesh_point_edit(few), 0, array_bytes(few->point));
    refused(few, "only a few points");
}
END_TEST

START_TEST(cancel_is_answered)
{
    for (int cloud = 0; cloud < 2; cloud++) {
        struct table_scan scan = cloud ? table_cloud(scene(1)) : scene(1);
        struct clear_report report;
        struct mesh *rest;
        struct job job;
        job_init(&job);
        atomic_store(&job.cancel, true);
        ck_assert_int_eq(
            clear_table(scan.mesh, &(struct clear_options){0}, &rest, NULL, &report, &job),
            STATUS_CANCELLED);
        ck_assert_ptr_null(rest);
        job_release(&job);
        mesh_free(scan.mesh);
    }
}
END_TEST

Suite *suite_clear_table(void);

Suite *suite_clear_table(void)
{
    Suite *suite = suite_create("clear_table");
    TCase *tests = tcase_create("clear_table");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, surface_loses_its_table, 0, SCENES);
    tcase_add_loop_test(tests, cloud_loses_its_table, 0, SCENES);
    tcase_add_loop_test(tests, tilted_and_far_off_is_the_same, 0, SCENES);
    tcase_add_test(tests, without_a_table_it_is_refused);
    tcase_add_loop_test(tests, a_cloud_keeps_its_foot, 0, 2);
    tcase_add_test(tests, faces_that_disagree);
    tcase_add_test(tests, what_lies_beneath_goes_or_stays);
    tcase_add_test(tests, a_given_plane_is_taken);
    tcase_add_loop_test(tests, a_small_thing_on_a_wide_disc, 0, 2);
    tcase_add_test(tests, a_point_names_the_table);
    tcase_add_test(tests, thickness_can_be_given);
    tcase_add_loop_test(tests, any_size_is_alike, 0, 5);
    tcase_add_test(tests, odd_input);
    tcase_add_test(tests, cancel_is_answered);
    suite_add_tcase(suite, tests);
    return suite;
}
