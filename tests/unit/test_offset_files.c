/* Surfaces at a distance from solids that nobody here wrote, at walls that suit them and at absurd
 * ones: sound and as far off as asked, nothing where nothing is left, or refused with the reason;
 * and the same hollowed. A few of them always; all when FETTLE_LONG is set (make check-long), each
 * at one of the walls: all at all walls takes six times as long, and found nothing more. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/hollow.h"
#include "tests/support/file_solids.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

enum { MOST_TRIANGLES = 3000, PLACES = 4000 };

/* mm, of solids that are 64 mm long; the spacing that goes with it, 0: automatic. */
static const struct {
    double by, spacing;
} asked[] = {{2, 0}, {0.4, 1.5}, {6, 0}, {2, 4}, {0.02, 2}, {40, 3}};

enum { WALLS = sizeof asked / sizeof *asked };

/* Those that are always taken, each at the wall of its number. */
static const char *const always[] = {"cube_mtllib_after_g.obj", "anchor.off", "cross_quad.off",
                                     "fandisk-box.off"};

enum { ALWAYS = sizeof always / sizeof *always };

static void offset_one(const struct mesh *mesh, const char *name, int wall, bool inward)
{
    double by = asked[wall].by, most;
    struct offset_options options = {by, inward, asked[wall].spacing, true};
    struct offset_report report;
    struct mesh *out = NULL;
    struct job job;
    job_init(&job);
    enum status status = offset_surface(mesh, &options, &out, &report, &job);
    ck_assert_msg(status == STATUS_OK, "%s by %g: %s", name, by, job.message);
    if (mesh_triangles(out)) {
        const char *fault = sound_fault(out);
        ck_assert_msg(!fault, "%s by %g %d: %s", name, by, options.inward, fault);
        ck_assert_msg(sound_crossings(out) == 0, "%s by %g", name, by);
        double least = sound_least_distance(out, mesh, PLACES, &most);
        ck_assert_msg(least >= offset_nearest(by) - 1e-5, "%s by %g: %g", name, by, least);
        ck_assert_msg(most <= report.bound + 1e-5, "%s by %g: %g, told %g", name, by, most,
                      report.bound);
    } else {
        ck_assert(options.inward);
    }
    mesh_free(out);
    job_release(&job);
}

static void hollow_one(const struct mesh *mesh, const char *name, int wall)
{
    struct hollow_options options = {
        .wall = asked[wall].by, .drain = 3, .spacing = asked[wall].spacing};
    struct hollow_report report;
    struct mesh *out = NULL;
    struct job job;
    job_init(&job);
    enum status status = hollow_mesh(mesh, &options, &out, &report, &job);
    if (status == STATUS_OK) {
        const char *fault = sound_fault(out);
        ck_assert_msg(!fault, "%s wall %g: %s", name, options.wall, fault);
        ck_assert_msg(sound_crossings(out) == report.crossings, "%s wall %g", name, options.wall);
        ck_assert_uint_eq(report.crossings, 0);
        ck_assert_double_lt(report.after, report.before);
        ck_assert_double_eq_tol(shape_count(out).volume, report.after, 1e-4 * report.before);
    } else {
        ck_assert_msg(status == STATUS_REFUSED, "%s wall %g: %s", name, options.wall, job.message);
        ck_assert_ptr_nonnull(strstr(job.message, "wall"));
    }
    mesh_free(out);
    job_release(&job);
}

START_TEST(a_few)
{
    struct mesh *mesh = file_solid(always[_i]);
    offset_one(mesh, always[_i], _i % WALLS, false);
    offset_one(mesh, always[_i], _i % WALLS, true);
    hollow_one(mesh, always[_i], _i % WALLS);
    mesh_free(mesh);
}
END_TEST

/* Every sixth solid meets this wall, in rows that begin one later each, as names that stand beside
 * one another are often the same part. */
START_TEST(all)
{
    struct file_solids solids;
    file_solids_read(&solids, MOST_TRIANGLES);
    for (size_t i = 0; i < solids.count; i++) {
        if ((i + i / WALLS) % WALLS != (size_t)_i)
            continue;
        offset_one(solids.solid[i], solids.name[i], _i, false);
        offset_one(solids.solid[i], solids.name[i], _i, true);
        hollow_one(solids.solid[i], solids.name[i], _i);
    }
    file_solids_release(&solids);
}
END_TEST

Suite *suite_offset_files(void);
Suite *suite_offset_files(void)
{
    Suite *suite = suite_create("offset_files");
    TCase *few = tcase_create("a few"), *many = tcase_create("all");
    tcase_set_timeout(few, 120);
    tcase_set_timeout(many, 1800);
    tcase_add_loop_test(few, a_few, 0, ALWAYS);
    tcase_add_loop_test(many, all, 0, getenv("FETTLE_LONG") ? WALLS : 0);
    suite_add_tcase(suite, few);
    suite_add_tcase(suite, many);
    return suite;
}
