/* What was invented is told, place by place, and can be taken away again. */
#include <check.h>
#include <string.h>

#include "check/check.h"
#include "core/job.h"
#include "core/topology.h"
#include "op/op.h"
#include "tests/support/shapes.h"

/* A ball of which what lies beyond 40 at either end of z was invented, and beyond 40 of x made. */
static struct mesh *ball(void)
{
    struct mesh *mesh = shape_sphere(50, 4);
    uint8_t *origin = mesh_attribute_new(mesh, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        const struct point *p = mesh_point(mesh);
        float x = (p[v[0]].x + p[v[1]].x + p[v[2]].x) / 3;
        float z = (p[v[0]].z + p[v[1]].z + p[v[2]].z) / 3;
        origin[t] = z > 40 || z < -40 ? ORIGIN_INVENTED : x > 40 ? ORIGIN_MADE : ORIGIN_MEASURED;
    }
    return mesh;
}

START_TEST(places_are_told)
{
    struct mesh *mesh = ball();
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, NULL, &inspection, NULL), STATUS_OK);
    const struct finding *finding = NULL;
    for (size_t i = 0; i < inspection.finding_count; i++)
        if (strcmp(inspection.finding[i].check->name, "invented") == 0)
            finding = &inspection.finding[i];
    ck_assert_ptr_nonnull(finding);
    ck_assert_uint_eq(finding->count, 2);
    ck_assert_uint_eq(finding->place_count, 2);
    ck_assert_str_eq(inspection_verdict(&inspection), "sound"); /* that is no fault */
    for (int i = 0; i < 2; i++) {
        const struct place *place = &finding->places[i];
        const uint8_t *origin = mesh_attribute(inspection.mesh, ATTRIBUTE_origin);
        ck_assert_int_eq(origin[place->triangle], ORIGIN_INVENTED);
        ck_assert_float_gt(fabsf(place->at.z), 39);
        ck_assert_float_gt(place->reach, 20); /* a cap of radius 30 */
    }
    ck_assert_float_lt(finding->places[0].at.z * finding->places[1].at.z, 0);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

static struct mesh *bared(struct mesh *mesh, const char *line, enum status want)
{
    struct job job;
    struct step step;
    struct scene *scene = scene_new(), *out = NULL;
    job_init(&job);
    ck_assert_int_eq(scene_add(scene, piece_new(mesh_share(mesh), "ball"), NULL), STATUS_OK);
    ck_assert_int_eq(step_parse(line, &step, &job), STATUS_OK);
    ck_assert_int_eq(step_run(&step, scene, &out, &job), want);
    struct mesh *made = out ? mesh_share(out->piece[0]->mesh) : NULL;
    if (out)
        scene_free(out);
    step_release(&step);
    scene_free(scene);
    job_release(&job);
    return made;
}

static size_t of_origin(const struct mesh *mesh, uint8_t which)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        count += origin[t] == which;
    return count;
}

START_TEST(it_goes)
{
    struct mesh *mesh = ball(), *made = bared(mesh, _i ? "bare made=yes" : "bare", STATUS_OK);
    ck_assert_uint_eq(of_origin(made, ORIGIN_MEASURED), of_origin(mesh, ORIGIN_MEASURED));
    ck_assert_uint_eq(of_origin(made, ORIGIN_MADE), _i ? 0 : of_origin(mesh, ORIGIN_MADE));
    ck_assert_uint_eq(of_origin(made, ORIGIN_INVENTED), 0);
    ck_assert_uint_eq(mesh_loops(made, NULL)->count, _i ? 3 : 2);
    mesh_free(made);
    mesh_free(mesh);
}
END_TEST

START_TEST(all_or_nothing)
{
    struct mesh *mesh = shape_sphere(10, 2), *made = bared(mesh, "bare", STATUS_OK);
    ck_assert_ptr_eq(made, mesh); /* nothing is known of it */
    mesh_free(made);
    memset(mesh_attribute_new(mesh, ATTRIBUTE_origin), ORIGIN_INVENTED, mesh_triangles(mesh));
    ck_assert_ptr_null(bared(mesh, "bare", STATUS_REFUSED));
    mesh_free(mesh);
}
END_TEST

Suite *suite_invented(void);
Suite *suite_invented(void)
{
    Suite *suite = suite_create("invented");
    TCase *tests = tcase_create("invented");
    tcase_add_test(tests, places_are_told);
    tcase_add_loop_test(tests, it_goes, 0, 2);
    tcase_add_test(tests, all_or_nothing);
    suite_add_tcase(suite, tests);
    return suite;
}
