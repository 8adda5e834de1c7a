/* Fusing, many times over: invented objects, from few or many sides, coarse and fine, noisy or not.
 * A few of them always; all of them when FETTLE_LONG is set (make check-long). */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "core/job.h"
#include "core/topology.h"
#include "scan/fuse.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

enum { FEW = 4, MANY = 120, VIEWS_MOST = 8 };

static const solid_distance solids[] = {solid_jug,  solid_bracket, solid_pebbles,
                                        solid_mask, solid_ball,    solid_rod};
enum { SOLIDS = sizeof solids / sizeof *solids };

struct sweep {
    size_t views;
    struct mesh *mesh[VIEWS_MOST];
    struct fuse_options options;
};

/* The numbers come from the case's own; every eighth view is a cloud. */
static struct sweep make(int number)
{
    uint64_t state = (uint64_t)number * 7919 + 5;
    solids_vary((uint64_t)number);
    struct sweep sweep = {.views = 1 + (size_t)(VIEWS_MOST * shape_random(&state))};
    double spacing = 0.9 + 1.5 * shape_random(&state), noise = 0.15 * shape_random(&state);
    for (size_t i = 0; i < sweep.views; i++) {
        const struct scanner scanner = {.from = scans_direction(&state),
                                        .spacing = spacing * (0.7 + 0.6 * shape_random(&state)),
                                        .noise = noise * spacing,
                                        .roll = 6 * shape_random(&state),
                                        .radius = 80,
                                        .points_only = shape_random(&state) < 0.125,
                                        .seed = (uint64_t)number + i};
        sweep.mesh[i] = scanner_view(solids[number % SOLIDS], &scanner);
    }
    if (shape_random(&state) < 0.3)
        sweep.options.spacing = spacing * (0.6 + 2 * shape_random(&state));
    sweep.options.closed = shape_random(&state) < 0.7;
    return sweep;
}

static void check_open(const struct mesh *mesh, int number)
{
    const struct topology *t = mesh_topology(mesh, NULL);
    ck_assert_msg(t->nonmanifold == 0 && t->misoriented == 0 && t->nonmanifold_vertices == 0 &&
                      t->unused_vertices == 0,
                  "case %d is no manifold", number);
}

START_TEST(always_sound)
{
    struct sweep sweep = make(_i);
    struct mesh *mesh = NULL;
    struct fuse_report report;
    struct job job;
    job_init(&job);
    enum status status = fuse((const struct mesh *const *)sweep.mesh, sweep.views, &sweep.options,
                              &mesh, &report, NULL, &job);
    ck_assert_msg(status == STATUS_OK, "case %d: %s", _i, job.message);
    const char *fault = sweep.options.closed ? sound_fault(mesh) : NULL;
    ck_assert_msg(!fault, "case %d has %s", _i, fault);
    check_open(mesh, _i);
    ck_assert_msg(sound_crossings(mesh) == 0, "case %d crosses itself", _i);
    ck_assert_uint_eq(shape_count(mesh).degenerate, 0);
    ck_assert_double_le(report.invented, report.area);
    ck_assert(sweep.options.closed || report.invented == 0);
    mesh_free(mesh);
    for (size_t i = 0; i < sweep.views; i++)
        mesh_free(sweep.mesh[i]);
    job_release(&job);
}
END_TEST

Suite *suite_fuse_sweep(void);
Suite *suite_fuse_sweep(void)
{
    Suite *suite = suite_create("fuse_sweep");
    TCase *sweep = tcase_create("sweep");
    tcase_set_timeout(sweep, 120);
    tcase_add_loop_test(sweep, always_sound, 0, getenv("FETTLE_LONG") ? MANY : FEW);
    suite_add_tcase(suite, sweep);
    return suite;
}
