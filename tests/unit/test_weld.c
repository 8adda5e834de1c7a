/* Welding: against a comparison of every position with every other. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/same.h"
#include "core/weld.h"
#include "tests/support/shapes.h"

static float pick(uint64_t *state, int choices)
{
    static const float value[] = {0.0f,  -0.0f, 1.0f, 0x1p-149f, -0x1p-149f,
                                  1e30f, -1.0f, 0.1f, 1e-9f};
    return value[(int)(shape_random(state) * choices)];
}

/* Positions from few values, so that most come several times; every 12 bytes, or 12 in 50. */
static unsigned char *positions_new(uint64_t seed, size_t count, size_t stride)
{
    unsigned char *data = malloc(stride ? count / 3 * stride + 1 : count * 12 + 1);
    uint64_t state = seed;
    for (size_t i = 0; i < count; i++) {
        float at[3] = {pick(&state, 9), pick(&state, 9), pick(&state, 5)};
        memcpy(data + (stride ? i / 3 * stride + i % 3 * 12 : i * 12), at, sizeof at);
    }
    return data;
}

static bool equal_at(const struct positions *p, size_t i, size_t j)
{
    float a[3], b[3];
    memcpy(a, p->base + (p->stride ? i / 3 * p->stride + i % 3 * 12 : i * 12), sizeof a);
    memcpy(b, p->base + (p->stride ? j / 3 * p->stride + j % 3 * 12 : j * 12), sizeof b);
    return a[0] == b[0] && a[1] == b[1] && a[2] == b[2];
}

/* The loop number says how many threads, how large the first table and how the data lie. */
START_TEST(numbers_by_first_occurrence)
{
    size_t count = 300 + 3 * (size_t)_i, stride = _i % 2 ? 50 : 0, distinct, next = 0;
    unsigned char *data = positions_new((uint64_t)_i, count, stride);
    struct positions positions = {data, stride, count};
    uint32_t *id = malloc(count * sizeof *id), *want = malloc(count * sizeof *want);
    struct job job;
    job_init(&job);
    job.threads = 1 + _i % 5;
    bool finite;
    ck_assert_int_eq(same_number(&positions, _i % 3 ? count : 0, id, &distinct, &finite, &job),
                     STATUS_OK);
    ck_assert(finite);
    for (size_t i = 0; i < count; i++) {
        size_t j = 0;
        while (!equal_at(&positions, i, j))
            j++;
        want[i] = j < i ? want[j] : (uint32_t)next++;
        ck_assert_uint_eq(id[i], want[i]);
    }
    ck_assert_uint_eq(distinct, next);
    free(id);
    free(want);
    free(data);
}
END_TEST

START_TEST(not_finite_is_found)
{
    static const float bad[] = {NAN, INFINITY, -INFINITY};
    float data[300][3] = {{0}};
    data[_i * 7][_i % 3] = bad[_i % 3];
    uint32_t id[300];
    size_t distinct;
    bool finite = true;
    struct positions positions = {(const unsigned char *)data, 0, 300};
    ck_assert_int_eq(same_number(&positions, 300, id, &distinct, &finite, NULL), STATUS_OK);
    ck_assert(!finite);
}
END_TEST

/* A grid of whole numbers differs in few bits: a poor hash would make this very slow. */
START_TEST(regular_positions_are_quick)
{
    enum { SIDE = 100 };
    size_t count = (size_t)SIDE * SIDE * SIDE, distinct;
    float(*at)[3] = malloc(count * sizeof *at);
    uint32_t *id = malloc(count * sizeof *id);
    for (size_t i = 0; i < count; i++) {
        at[i][0] = (float)(i % SIDE) * (_i ? 1.0f / 64 : 1);
        at[i][1] = (float)(i / SIDE % SIDE) * (_i ? 1024 : 1);
        at[i][2] = (float)(i / SIDE / SIDE);
    }
    struct positions positions = {(const unsigned char *)at, 0, count};
    bool finite;
    ck_assert_int_eq(same_number(&positions, count, id, &distinct, &finite, NULL), STATUS_OK);
    ck_assert_uint_eq(distinct, count);
    free(at);
    free(id);
}
END_TEST

/* --- meshes -------------------------------------------------------------------------------------
 */

/* Each triangle with corners of its own, every `stride` bytes as in a file. */
static unsigned char *take_apart(const struct mesh *mesh, size_t stride)
{
    unsigned char *data = calloc(mesh_triangles(mesh) + 1, stride);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (size_t k = 0; k < 3; k++)
            memcpy(data + t * stride + 12 * k, mesh_point(mesh) + mesh_triangle(mesh)[t].v[k], 12);
    return data;
}

START_TEST(soup_becomes_the_mesh_again)
{
    struct mesh *torus = shape_torus(40, 10, 90, 45);
    size_t stride = _i % 2 ? 50 : 36;
    unsigned char *data = take_apart(torus, stride);
    struct job job;
    job_init(&job);
    job.threads = 1 + _i;
    struct mesh *mesh = weld_soup(data, stride, mesh_triangles(torus), &job);
    ck_assert(mesh->joined);
    ck_assert_uint_eq(mesh_vertices(mesh), mesh_vertices(torus));
    ck_assert_uint_eq(mesh_triangles(mesh), mesh_triangles(torus));
    uint32_t next = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            uint32_t v = mesh_triangle(mesh)[t].v[k], w = mesh_triangle(torus)[t].v[k];
            ck_assert_mem_eq(mesh_point(mesh) + v, mesh_point(torus) + w, sizeof(struct point));
            ck_assert_uint_le(v, next); /* numbered by first use */
            next += v == next;
        }
    mesh_free(mesh);
    mesh_free(torus);
    free(data);
}
END_TEST

START_TEST(soup_leaves_out_what_is_not_finite)
{
    struct mesh *torus = shape_torus(40, 10, 20, 10);
    unsigned char *data = take_apart(torus, 50);
    float nan = NAN;
    memcpy(data + 50 * 7 + 16, &nan, sizeof nan);
    memcpy(data + 50 * 390, &nan, sizeof nan);
    struct mesh *mesh = weld_soup(data, 50, 400, NULL);
    ck_assert_uint_eq(mesh_triangles(mesh), 398);
    ck_assert_uint_eq(mesh_vertices(mesh), 200);
    ck_assert(!soup_finite(data + 50 * 7) && soup_finite(data + 50 * 8));
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        ck_assert(isfinite(mesh_point(mesh)[v].x));
    mesh_free(mesh);
    mesh_free(torus);
    free(data);
}
END_TEST

START_TEST(soup_of_nothing)
{
    struct mesh *mesh = weld_soup("", 50, 0, NULL);
    ck_assert_uint_eq(mesh_triangles(mesh), 0);
    ck_assert_uint_eq(mesh_vertices(mesh), 0);
    mesh_free(mesh);
}
END_TEST

START_TEST(attributes_of_joined_vertices_are_averaged)
{
    struct mesh *mesh =
        shape_make((const double[][3]){{1, 0, 0}, {0, 0, 0}, {-0.0, 0, 0}, {0, 1, 0}, {0, 0, 0}}, 5,
                   (const uint32_t[][3]){{1, 0, 3}, {2, 0, 4}}, 2);
    uint8_t(*colour)[4] = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    float *confidence = mesh_attribute_new(mesh, ATTRIBUTE_confidence);
    float(*normal)[3] = mesh_attribute_new(mesh, ATTRIBUTE_normal);
    uint16_t *source = mesh_attribute_new(mesh, ATTRIBUTE_source);
    for (int v = 0; v < 5; v++) {
        memset(colour[v], 10 * v, 4);
        confidence[v] = (float)v;
        memcpy(normal[v], (float[3]){v == 1, v == 2 || v == 4, 0}, sizeof *normal);
    }
    source[0] = 3;
    source[1] = 4;
    struct mesh *joined = weld_exact(mesh, NULL);
    ck_assert(joined->joined);
    ck_assert_uint_eq(mesh_vertices(joined), 3);
    ck_assert_mem_eq(mesh_triangle(joined)[0].v, ((uint32_t[]){1, 0, 2}), 12);
    ck_assert_mem_eq(mesh_triangle(joined)[1].v, ((uint32_t[]){1, 0, 1}), 12);
    const uint8_t *c = mesh_attribute(joined, ATTRIBUTE_colour);
    ck_assert_uint_eq(c[4 * 0], 0);
    ck_assert_uint_eq(c[4 * 1 + 2], 23); /* (10 + 20 + 40) / 3 */
    ck_assert_uint_eq(c[4 * 2 + 3], 30);
    ck_assert_double_eq_tol(
        (double)((const float *)mesh_attribute(joined, ATTRIBUTE_confidence))[1], 7 / 3.0, 1e-6);
    const float *n = mesh_attribute(joined, ATTRIBUTE_normal);
    ck_assert_double_eq_tol((double)n[3], 1 / sqrt(5), 1e-6);
    ck_assert_double_eq_tol((double)n[4], 2 / sqrt(5), 1e-6);
    ck_assert_uint_eq(((const uint16_t *)mesh_attribute(joined, ATTRIBUTE_source))[1], 4);
    mesh_free(joined);
    mesh_free(mesh);
}
END_TEST

START_TEST(nothing_to_join_shares_all)
{
    struct mesh *mesh = shape_box(1, 2, 3, 2), *same = weld_exact(mesh, NULL);
    ck_assert_ptr_eq(same, mesh);
    mesh_free(same);
    mesh->joined = false;
    mesh->origin[1] = 5;
    same = weld_exact(mesh, NULL);
    ck_assert(same->joined);
    ck_assert_ptr_eq(same->point, mesh->point);
    ck_assert_ptr_eq(same->triangle, mesh->triangle);
    ck_assert_double_eq(same->origin[1], 5);
    mesh_free(same);
    mesh_free(mesh);
}
END_TEST

START_TEST(cancel_is_answered)
{
    struct mesh *torus = shape_torus(40, 10, 90, 45);
    unsigned char *data = take_apart(torus, 50);
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_ptr_null(weld_soup(data, 50, mesh_triangles(torus), &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_init(&job);
    atomic_store(&job.cancel, true);
    torus->joined = false;
    ck_assert_ptr_null(weld_exact(torus, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    mesh_free(torus);
    free(data);
}
END_TEST

/* The bar moves with the positions, whatever the number of threads that share them. */
START_TEST(progress_counts_the_positions)
{
    const size_t count = 300000;
    unsigned char *data = positions_new(5, count, 0);
    uint32_t *id = malloc(count * sizeof *id);
    struct positions positions = {data, 0, count};
    struct job job;
    job_init(&job);
    job.threads = _i;
    job_phase(&job, "joining", 1000, count);
    size_t distinct;
    bool finite;
    ck_assert_int_eq(same_number(&positions, count, id, &distinct, &finite, &job), STATUS_OK);
    ck_assert_uint_le(atomic_load(&job.done), count);
    ck_assert_uint_ge(atomic_load(&job.done), count - 100);
    job_release(&job);
    free(id);
    free(data);
}
END_TEST

START_TEST(too_many_are_refused)
{
    struct job job;
    job_init(&job);
    ck_assert_ptr_null(weld_soup("", 50, (size_t)MESH_MOST + 1, &job));
    ck_assert_int_eq(job.status, STATUS_REFUSED);
}
END_TEST

Suite *suite_weld(void);

Suite *suite_weld(void)
{
    Suite *suite = suite_create("weld");
    TCase *same = tcase_create("same"), *weld = tcase_create("weld");
    tcase_set_timeout(same, 30);
    tcase_add_loop_test(same, numbers_by_first_occurrence, 0, 60);
    tcase_add_loop_test(same, not_finite_is_found, 0, 42);
    tcase_add_loop_test(same, regular_positions_are_quick, 0, 2);
    tcase_add_loop_test(weld, soup_becomes_the_mesh_again, 0, 6);
    tcase_add_test(weld, soup_leaves_out_what_is_not_finite);
    tcase_add_test(weld, soup_of_nothing);
    tcase_add_test(weld, attributes_of_joined_vertices_are_averaged);
    tcase_add_test(weld, nothing_to_join_shares_all);
    tcase_add_test(weld, cancel_is_answered);
    tcase_add_loop_test(weld, progress_counts_the_positions, 1, 4);
    tcase_add_test(weld, too_many_are_refused);
    suite_add_tcase(suite, same);
    suite_add_tcase(suite, weld);
    return suite;
}
