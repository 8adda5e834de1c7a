/* Attributes carried over to new meshes: every row of the table. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/join.h"
#include "core/lineage.h"
#include "tests/support/shapes.h"

/* Every attribute, with values that differ from element to element. */
static struct mesh *dressed(void)
{
    struct mesh *mesh = shape_patch(8, 8, NULL);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        const struct attribute_row *row = attribute_row(i);
        size_t count = mesh_domain(mesh, row->domain) * row->components;
        void *data = mesh_attribute_new(mesh, i);
        uint64_t state = (uint64_t)i + 1;
        for (size_t j = 0; j < count; j++) {
            double x = shape_random(&state);
            if (row->element == ELEMENT_uint8_t)
                ((uint8_t *)data)[j] = (uint8_t)(x * 256);
            else if (row->element == ELEMENT_uint16_t)
                ((uint16_t *)data)[j] = (uint16_t)(x * 65536);
            else
                ((float *)data)[j] = (float)(x - 0.5);
        }
    }
    return mesh;
}

static struct mesh *bare(size_t vertices, size_t triangles)
{
    struct mesh *mesh = mesh_new(vertices, triangles);
    memset(mesh_point_edit(mesh), 0, array_bytes(mesh->point));
    return mesh;
}

static const char *bytes_of(const struct mesh *mesh, int attribute, size_t i)
{
    return (const char *)mesh_attribute(mesh, (enum attribute)attribute) +
           i * attribute_row((enum attribute)attribute)->stride;
}

START_TEST(the_same_mesh_keeps_all)
{
    struct mesh *old = dressed(), *made = bare(mesh_vertices(old), mesh_triangles(old));
    memcpy(mesh_triangle_edit(made), mesh_triangle(old), array_bytes(old->triangle));
    memcpy(mesh_point_edit(made), mesh_point(old), array_bytes(old->point));
    old->origin[2] = 1e6;
    struct lineage lineage = {.plain_vertices = mesh_vertices(old),
                              .plain_triangles = mesh_triangles(old)};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    ck_assert_double_eq(made->origin[2], 1e6);
    ck_assert_mem_eq(bytes_of(made, _i, 0), bytes_of(old, _i, 0), array_bytes(old->attribute[_i]));
    mesh_free(old);
    mesh_free(made);
}
END_TEST

START_TEST(a_selection_keeps_its_own)
{
    struct mesh *old = dressed();
    uint32_t vertex[40], triangle[20];
    uint64_t state = 5;
    struct mesh *made = bare(40, 20);
    for (int t = 0; t < 20; t++)
        triangle[t] = (uint32_t)(shape_random(&state) * (double)mesh_triangles(old));
    for (uint32_t v = 0; v < 40; v++)
        vertex[v] = mesh_triangle(old)[triangle[v / 2]].v[v % 2];
    for (uint32_t t = 0; t < 20; t++)
        mesh_triangle_edit(made)[t] = (struct triangle){{2 * t, 2 * t + 1, 2 * t}};
    struct lineage lineage = {
        .plain_vertices = 40, .vertex = vertex, .plain_triangles = 20, .triangle = triangle};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    const struct attribute_row *row = attribute_row((enum attribute)_i);
    for (size_t i = 0; i < mesh_domain(made, row->domain); i++) {
        size_t from = row->domain == DOMAIN_VERTEX     ? vertex[i]
                      : row->domain == DOMAIN_TRIANGLE ? triangle[i]
                                                       : 3 * (size_t)triangle[i / 3] + (i % 3 == 1);
        ck_assert_mem_eq(bytes_of(made, _i, i), bytes_of(old, _i, from), row->stride);
    }
    mesh_free(old);
    mesh_free(made);
}
END_TEST

/* Of one triangle: a mixed vertex, weights 1/2 1/4 1/4. */
START_TEST(mixes_blend_by_row)
{
    const struct attribute_row *row = attribute_row((enum attribute)_i);
    if (row->domain != DOMAIN_VERTEX)
        return;
    struct mesh *old = dressed(), *made = bare(1, 0);
    struct mix mix = {{3, 9, 20}, {0.25f, 0.5f, 0.25f}};
    struct lineage lineage = {.mix = &mix};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    double length = 0, want[4];
    for (unsigned i = 0; i < row->components; i++) {
        double v[3];
        for (int k = 0; k < 3; k++) {
            const char *at = bytes_of(old, _i, mix.from[k]);
            v[k] = row->element == ELEMENT_uint8_t    ? ((const uint8_t *)at)[i]
                   : row->element == ELEMENT_uint16_t ? ((const uint16_t *)at)[i]
                                                      : (double)((const float *)at)[i];
        }
        want[i] = row->blend == BLEND_FIRST ? v[1] : v[0] / 4 + v[1] / 2 + v[2] / 4;
        length += want[i] * want[i];
    }
    for (unsigned i = 0; i < row->components; i++) {
        double is = row->element == ELEMENT_uint8_t ? ((const uint8_t *)bytes_of(made, _i, 0))[i]
                    : row->element == ELEMENT_uint16_t
                        ? ((const uint16_t *)bytes_of(made, _i, 0))[i]
                        : (double)((const float *)bytes_of(made, _i, 0))[i];
        double should = row->blend == BLEND_UNIT ? want[i] / sqrt(length) : want[i];
        ck_assert_double_eq_tol(is, should, row->element == ELEMENT_float ? 1e-6 : 0.5);
    }
    mesh_free(old);
    mesh_free(made);
}
END_TEST

/* Texture coordinates that are a linear function of the position stay so wherever a triangle of a
 * patch is cut: at old vertices, at mixes of the ancestor's, and at points given by position alone.
 */
static void plane_texture(const struct mesh *mesh, float (*uv)[2])
{
    for (size_t c = 0; c < 3 * mesh_triangles(mesh); c++) {
        struct point p = mesh_point(mesh)[mesh_triangle(mesh)[c / 3].v[c % 3]];
        uv[c][0] = 0.1f * p.x + 0.02f * p.y;
        uv[c][1] = 1 - 0.05f * p.y;
    }
}

START_TEST(corners_follow_the_position)
{
    struct mesh *old = shape_patch(8, 8, NULL);
    plane_texture(old, mesh_attribute_new(old, ATTRIBUTE_texture));
    enum { COUNT = 50 };
    size_t plain = mesh_vertices(old);
    struct mesh *made = bare(plain + 2 * COUNT, COUNT);
    memcpy(mesh_point_edit(made), mesh_point(old), array_bytes(old->point));
    struct mix mix[2 * COUNT];
    uint32_t triangle[COUNT];
    uint64_t state = (uint64_t)_i;
    for (uint32_t t = 0; t < COUNT; t++) {
        triangle[t] = (uint32_t)(shape_random(&state) * (double)mesh_triangles(old));
        const uint32_t *v = mesh_triangle(old)[triangle[t]].v;
        struct point *p = mesh_point_edit(made) + plain + 2 * t;
        struct vec a = point_vec(mesh_point(old)[v[0]]);
        struct vec b = point_vec(mesh_point(old)[v[1]]), c = point_vec(mesh_point(old)[v[2]]);
        float w = (float)shape_random(&state);
        mix[2 * t] = (struct mix){{v[2], v[0], v[1]}, {0, w, 1 - w}};
        p[0] = vec_point(vec_add(vec_scale(a, (double)w), vec_scale(b, 1 - (double)w)));
        uint32_t far = (v[0] + 40) % (uint32_t)plain; /* no vertex of the ancestor */
        mix[2 * t + 1] = (struct mix){{far, v[0], v[1]}, {0.5f, 0.5f, 0}};
        p[1] = vec_point(vec_scale(vec_add(a, vec_add(b, c)), 1 / 3.0));
        mesh_triangle_edit(made)[t] =
            (struct triangle){{v[_i % 3], (uint32_t)plain + 2 * t, (uint32_t)plain + 2 * t + 1}};
    }
    struct lineage lineage = {
        .plain_vertices = plain, .mix = mix, .plain_triangles = COUNT, .triangle = triangle};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    float(*want)[2] = malloc(3 * COUNT * sizeof *want);
    plane_texture(made, want);
    const float *is = mesh_attribute(made, ATTRIBUTE_texture);
    for (size_t c = 0; c < 3 * COUNT; c++)
        for (size_t k = 0; k < 2; k++)
            ck_assert_double_eq_tol((double)is[2 * c + k], (double)want[c][k], 1e-6);
    free(want);
    mesh_free(old);
    mesh_free(made);
}
END_TEST

START_TEST(a_corner_off_its_ancestor_takes_the_nearest_point)
{
    /* Vertex 3 is none of the triangle's: the position alone decides. */
    struct mesh *old = shape_make((const double[][3]){{0, 0, 0}, {4, 0, 0}, {0, 4, 0}, {7, 7, 7}},
                                  4, (const uint32_t[][3]){{0, 1, 2}}, 1);
    plane_texture(old, mesh_attribute_new(old, ATTRIBUTE_texture));
    static const struct point at[3] = {{1, -3, 2}, {9, 0, -1}, {3, 3, 0}};
    static const struct point nearest[3] = {{1, 0, 0}, {4, 0, 0}, {2, 2, 0}};
    struct mesh *made = bare(3, 1), *on = bare(3, 1);
    memcpy(mesh_point_edit(made), at, sizeof at);
    memcpy(mesh_point_edit(on), nearest, sizeof nearest);
    mesh_triangle_edit(made)[0] = mesh_triangle_edit(on)[0] = (struct triangle){{0, 1, 2}};
    const uint32_t elsewhere[3] = {3, 3, 3};
    struct lineage lineage = {.plain_vertices = 3, .vertex = elsewhere, .plain_triangles = 1};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    float want[3][2];
    plane_texture(on, want);
    const float *is = mesh_attribute(made, ATTRIBUTE_texture);
    for (size_t c = 0; c < 3; c++)
        for (size_t k = 0; k < 2; k++)
            ck_assert_double_eq_tol((double)is[2 * c + k], (double)want[c][k], 1e-6);
    mesh_free(old);
    mesh_free(made);
    mesh_free(on);
}
END_TEST

/* A strip: triangle 0 is old, the others are new, each sharing a side with the one before. */
START_TEST(new_triangles_say_so_and_take_after_their_neighbours)
{
    struct mesh *old = shape_make((const double[][3]){{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {9, 9, 9}},
                                  4, (const uint32_t[][3]){{0, 1, 2}}, 1);
    ((uint16_t *)mesh_attribute_new(old, ATTRIBUTE_source))[0] = 6;
    struct mesh *made = bare(8, 5);
    struct mix mix[4] = {{{3, 3, 3}, {1, 0, 0}},
                         {{3, 3, 3}, {1, 0, 0}},
                         {{3, 3, 3}, {1, 0, 0}},
                         {{3, 3, 3}, {1, 0, 0}}};
    static const struct triangle strip[5] = {
        {{0, 1, 2}}, {{5, 6, 5}}, {{4, 2, 5}}, {{2, 1, 4}}, {{7, 7, 7}}};
    memcpy(mesh_triangle_edit(made), strip, sizeof strip);
    struct lineage lineage = {
        .plain_vertices = 4, .mix = mix, .plain_triangles = 1, .origin = ORIGIN_INVENTED};
    ck_assert_int_eq(lineage_carry(&lineage, old, made, NULL), STATUS_OK);
    const uint16_t *source = mesh_attribute(made, ATTRIBUTE_source);
    const uint8_t *origin = mesh_attribute(made, ATTRIBUTE_origin);
    for (int t = 0; t < 5; t++) {
        ck_assert_uint_eq(source[t], t < 4 ? 6 : 0);
        ck_assert_uint_eq(origin[t], t ? ORIGIN_INVENTED : ORIGIN_MEASURED);
    }
    mesh_free(old);
    mesh_free(made);
}
END_TEST

enum { PLAIN = 40, MIXED = 8, FACES = 30 };

/* Vertices, mixes and triangles taken by chance from `joined`, runs of them among others. */
static struct mesh *chosen(const struct mesh *joined, struct lineage *lineage, uint32_t *vertex,
                           uint32_t *triangle, struct mix *mix)
{
    uint64_t state = 11;
    uint32_t vertices = (uint32_t)mesh_vertices(joined), faces = (uint32_t)mesh_triangles(joined);
    struct mesh *made = bare(PLAIN + MIXED, FACES);
    for (uint32_t i = 0; i < PLAIN; i++)
        vertex[i] =
            i % 5 ? (vertex[i - 1] + 1) % vertices : (uint32_t)(shape_random(&state) * vertices);
    for (uint32_t i = 0; i < MIXED; i++)
        for (int k = 0; k < 3; k++) {
            mix[i].from[k] = (uint32_t)(shape_random(&state) * vertices);
            mix[i].weight[k] = k ? 0.25f : 0.5f;
        }
    for (uint32_t i = 0; i < FACES; i++) {
        triangle[i] =
            i % 4 ? (triangle[i - 1] + 1) % faces : (uint32_t)(shape_random(&state) * faces);
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(made)[i].v[k] = (uint32_t)(shape_random(&state) * (PLAIN + MIXED));
    }
    for (uint32_t i = 0; i < PLAIN + MIXED; i++)
        mesh_point_edit(made)[i] = (struct point){(float)(i % 7), (float)(i % 5), (float)(i % 3)};
    *lineage = (struct lineage){.plain_vertices = PLAIN,
                                .vertex = vertex,
                                .mix = mix,
                                .plain_triangles = FACES,
                                .triangle = triangle};
    return made;
}

/* As of both joined to one, whether the first, the second or both have the attribute. */
START_TEST(two_old_meshes_are_as_one)
{
    enum attribute attribute = (enum attribute)(_i / 3);
    struct mesh *old[2] = {dressed(), dressed()};
    if (_i % 3 < 2) {
        array_free(old[_i % 3]->attribute[attribute]);
        old[_i % 3]->attribute[attribute] = NULL;
    }
    struct mesh *joined = mesh_join((const struct mesh *const *)old, 2, NULL);
    uint32_t vertex[PLAIN], triangle[FACES];
    struct mix mix[MIXED];
    struct lineage lineage;
    struct mesh *one = chosen(joined, &lineage, vertex, triangle, mix), *two = mesh_new_like(one);
    ck_assert_int_eq(lineage_carry(&lineage, joined, one, NULL), STATUS_OK);
    lineage.second = old[1];
    ck_assert_int_eq(lineage_carry(&lineage, old[0], two, NULL), STATUS_OK);
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        ck_assert_mem_eq(bytes_of(two, i, 0), bytes_of(one, i, 0), array_bytes(one->attribute[i]));
    mesh_free(one);
    mesh_free(two);
    mesh_free(joined);
    mesh_free(old[0]);
    mesh_free(old[1]);
}
END_TEST

START_TEST(cancel_is_answered)
{
    struct mesh *old = dressed(), *made = bare(mesh_vertices(old), mesh_triangles(old));
    memcpy(mesh_triangle_edit(made), mesh_triangle(old), array_bytes(old->triangle));
    struct lineage lineage = {.plain_vertices = mesh_vertices(old),
                              .plain_triangles = mesh_triangles(old)};
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(lineage_carry(&lineage, old, made, &job), STATUS_CANCELLED);
    mesh_free(old);
    mesh_free(made);
}
END_TEST

Suite *suite_lineage(void);

Suite *suite_lineage(void)
{
    Suite *suite = suite_create("lineage");
    TCase *rows = tcase_create("rows"), *corners = tcase_create("corners");
    tcase_add_loop_test(rows, the_same_mesh_keeps_all, 0, ATTRIBUTE_COUNT);
    tcase_add_loop_test(rows, a_selection_keeps_its_own, 0, ATTRIBUTE_COUNT);
    tcase_add_loop_test(rows, mixes_blend_by_row, 0, ATTRIBUTE_COUNT);
    tcase_add_loop_test(rows, two_old_meshes_are_as_one, 0, 3 * ATTRIBUTE_COUNT);
    tcase_add_test(rows, new_triangles_say_so_and_take_after_their_neighbours);
    tcase_add_test(rows, cancel_is_answered);
    tcase_add_loop_test(corners, corners_follow_the_position, 0, 6);
    tcase_add_test(corners, a_corner_off_its_ancestor_takes_the_nearest_point);
    suite_add_tcase(suite, rows);
    suite_add_tcase(suite, corners);
    return suite;
}
