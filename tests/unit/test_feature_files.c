/* Holes and keyholes for screws at random places of solids that nobody here made: what is cut is
 * sound, and found again for the same screw by who reads the saved file. Two places a solid always,
 * sixty when FETTLE_LONG is set (make check-long). */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/file_solids.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

Suite *suite_feature_files(void);

enum { TRIANGLES_MOST = 40000 };

static const char *const screws[] = {"M2", "M2.5", "M3", "M4", "M5", "M6", "M8", "M10", "no8"};
enum { SCREWS = sizeof screws / sizeof *screws };

static const char *const features[] = {"bore", "bore head=countersunk", "bore head=counterbore",
                                       "bore depth=4", "keyhole"};
enum { FEATURES = sizeof features / sizeof *features };

/* Any place of any triangle. */
static struct vec place_on(const struct mesh *mesh, uint64_t *seed)
{
    size_t t = (size_t)(shape_random(seed) * (double)mesh_triangles(mesh));
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec at = point_vec(mesh_point(mesh)[v[0]]);
    double a = shape_random(seed), b = shape_random(seed);
    for (int k = 1; k < 3; k++) {
        struct vec side =
            vec_sub(point_vec(mesh_point(mesh)[v[k]]), point_vec(mesh_point(mesh)[v[0]]));
        at = vec_along(at, k == 1 ? fmin(a, b) : fabs(a - b), side);
    }
    return at;
}

static void check_found(const struct scene *scene, const char *line, const char *screw)
{
    struct scene *read = steps_reopened(scene), *same;
    struct job job;
    ck_assert_msg(steps_run(read, "fixings", &same, &job) == STATUS_OK, "%s: %s", line,
                  job.message);
    bool listed = strstr(job.notes, strncmp(line, "keyhole", 7) ? "hole" : "keyhole") &&
                  strstr(job.notes, screw);
    ck_assert_msg(listed || strstr(job.notes, " more"), "%s: %s", line, job.notes);
    job_release(&job);
    scene_free(same);
    scene_free(read);
}

/* Whether it was cut; what speaks against a place is said. */
static bool cut(const struct scene *scene, const char *line, const char *screw, bool sought)
{
    struct scene *out;
    struct job job;
    enum status status = steps_run(scene, line, &out, &job);
    ck_assert_msg(status == STATUS_OK || status == STATUS_REFUSED || status == STATUS_USAGE,
                  "%s: %s", line, job.message);
    ck_assert_msg(status == STATUS_OK || job.message[0], "%s: nothing is said", line);
    job_release(&job);
    if (status != STATUS_OK)
        return false;
    const struct mesh *made = out->piece[0]->mesh;
    const char *fault = sound_fault(made);
    ck_assert_msg(!fault, "%s: %s", line, fault);
    ck_assert_msg(sound_crossings(made) == 0, "%s: it crosses itself", line);
    if (sought)
        check_found(out, line, screw);
    scene_free(out);
    return true;
}

/* `anyway`: cut also where something speaks against it, so that it may be no round hole. */
static size_t cut_many(bool anyway)
{
    struct file_solids list;
    uint64_t seed = anyway ? 12 : 11;
    size_t made = 0, places = getenv("FETTLE_LONG") ? 60 : 2;
    file_solids_read_found(&list, TRIANGLES_MOST);
    for (size_t i = 0; i < list.count; i++) {
        struct scene *scene = steps_scene(mesh_share(list.solid[i]));
        for (size_t k = 0; k < places; k++) {
            struct vec at = place_on(list.solid[i], &seed);
            const char *screw = screws[(size_t)(shape_random(&seed) * SCREWS)];
            const char *feature = features[(size_t)(shape_random(&seed) * FEATURES)];
            char line[300];
            snprintf(line, sizeof line, "%s at=%.9g,%.9g,%.9g screw=%s%s", feature, at.x, at.y,
                     at.z, screw, anyway ? " anyway=yes" : "");
            made += cut(scene, line, screw, !anyway);
        }
        scene_free(scene);
    }
    places *= list.count;
    file_solids_release(&list);
    return made * 100 / places;
}

START_TEST(anywhere_on_any_solid)
{
    size_t share = cut_many(false);
    ck_assert_msg(share >= 10, "only %zu %% were cut", share);
}
END_TEST

START_TEST(anywhere_though_it_is_no_good_place)
{
    size_t share = cut_many(true);
    ck_assert_msg(share >= 40, "only %zu %% were cut", share);
}
END_TEST

Suite *suite_feature_files(void)
{
    Suite *suite = suite_create("feature_files");
    TCase *all = tcase_create("feature_files");
    tcase_set_timeout(all, 400);
    tcase_add_test(all, anywhere_on_any_solid);
    tcase_add_test(all, anywhere_though_it_is_no_good_place);
    suite_add_tcase(suite, all);
    return suite;
}
