/* No operation works long without asking whether it was cancelled, and no bar runs back or beyond
 * its end. FETTLE_LONG prints, for each, the longest stretch of work between two askings and the
 * longest stand of the bar, with their places. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check/check.h"
#include "check/deviation.h"
#include "core/job.h"
#include "core/subset.h"
#include "format/format.h"
#include "tests/support/asking.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

/* Seconds of one thread's work: the house asks for 0.1 s. The quick test is small, so that what
 * grows with the mesh shows there only where it is very slow; at a million triangles it shows. */
static const double stretch_quick = 0.02, stretch_long = 0.1;
#ifdef __SANITIZE_ADDRESS__ /* which makes programs slower */
static const double slower = 3;
#else
static const double slower = 1;
#endif

static const double bar_blur = 2e-5; /* parts within parts begin and end at whole millionths */

static int level(void) /* of the ball: 20 * 4^level triangles */
{
    return getenv("FETTLE_LONG") ? 8 : 5;
}

enum subject { BALL, HOLED, TWO, BROKEN, SCANS, TABLE, CLOUD };

static const struct plan {
    const char *line;
    enum subject subject;
} plans[] = {
    {"save FOLDER/a.ply", BALL},
    {"save FOLDER/a.stl", BALL},
    {"save FOLDER/a.stl ascii=yes", BALL},
    {"save FOLDER/a.obj", BALL},
    {"save FOLDER/a.off", BALL},
    {"save FOLDER/a.xyz", CLOUD},
    {"save FOLDER/a.ply ascii=yes", BALL},
    {"open FOLDER/in.ply", BALL},
    {"open FOLDER/in.stl", BALL},
    {"open FOLDER/in.obj", BALL},
    {"open FOLDER/in.off", BALL},
    {"open FOLDER/in.xyz", CLOUD},
    {"hide 1", BALL},
    {"show 1", BALL},
    {"close 1", BALL},
    {"lock 1", BALL},
    {"unlock 1", BALL},
    {"put-back 1", BALL},
    {"clear-table", TABLE},
    {"outliers 3", SCANS},
    {"outliers 3", CLOUD},
    {"dust 1%", BROKEN},
    {"drop 10,0,0", BROKEN},
    {"bare", BALL},
    {"scale by=2", BALL},
    {"move 1,2,3", BALL},
    {"turn axis=1,2,3 by=30", BALL},
    {"mirror", BALL},
    {"centre of=mass", BALL},
    {"cut through=0.1,0.2,0.3 normal=1,2,3", BALL},
    {"subtract tool=2 piece=1", TWO},
    {"unite tool=2 piece=1", TWO},
    {"common tool=2 piece=1", TWO},
    {"bore at=0,0,10 along=0,0,-1 screw=M3", BALL},
    {"keyhole at=0,-10,0 along=0,1,0 up=0,0,1 screw=M2 anyway=yes", BALL},
    {"hollow wall=2 spacing=0.3", BALL},
    {"shell 0.5 spacing=0.3", BALL},
    {"decimate share=20%", BALL},
    {"decimate within=0.02", BALL},
    {"orient", BROKEN},
    {"weld", BALL},
    {"weld gap=0.001", BALL},
    {"mend", BROKEN},
    {"fill", HOLED},
    {"fill shape=flat", HOLED},
    {"smooth 5", BALL},
    {"stand", BALL},
    {"stand by=support", BALL},
    {"balance", BALL},
    {"fixings", BALL},
    {"template FOLDER/t.pdf", BALL},
    {"pairs moving=2 fixed=1 at=0,0,0:0,0,0;5,0,0:5,0,0;0,5,0:0,5,0", SCANS},
    {"fit moving=2 fixed=1", SCANS},
    {"align", SCANS},
    {"fuse", SCANS},
    {"tint from=pieces within=5mm piece=1", TWO},
    {"tint missing", HOLED},
    {"check", BALL},
    {"check", BROKEN},
    {"compare", SCANS},
};
enum { PLANS = sizeof plans / sizeof *plans };

/* --- what is worked on -------------------------------------------------------------------- */

static struct mesh *coloured(struct mesh *mesh)
{
    uint8_t *colour = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t i = 0; i < 4 * mesh_vertices(mesh); i++)
        colour[i] = (uint8_t)(i * 7);
    return mesh;
}

static struct mesh *ball(double radius)
{
    return coloured(shape_rough(shape_sphere(radius, level()), 1e-4f));
}

static bool in_spots(const struct mesh *mesh, size_t t)
{
    struct vec at = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]]);
    return sin(4 * at.x) * sin(4 * at.y) * sin(4 * at.z) > 0.7;
}

/* Open, partly turned over, through itself, with bits beside it. */
static struct mesh *broken(void)
{
    struct mesh *whole = ball(10), *open = shape_without(whole, in_spots);
    struct mesh *small = ball(7), *other = shape_without(small, in_spots);
    struct mesh *bit = shape_sphere(0.5, 2);
    const struct mesh *all[3] = {open, other, bit};
    static const double move[3][3] = {{0, 0, 0}, {6, 1, 2}, {20, 0, 0}};
    struct mesh *mesh = shape_join(all, move, 3);
    for (size_t t = 0; t < mesh_triangles(mesh); t += 1 + t % 7 * 40) {
        uint32_t *v = mesh_triangle_edit(mesh)[t].v, swap = v[0];
        v[0] = v[1];
        v[1] = swap;
    }
    mesh_free(whole);
    mesh_free(open);
    mesh_free(bit);
    mesh_free(small);
    mesh_free(other);
    return mesh;
}

static double land(double x, double y)
{
    return 0.8 * sin(0.9 * x + 0.3) * cos(0.7 * y) + 0.5 * sin(0.31 * x * y / 4) + 0.1 * x;
}

static struct mesh *sheet(void)
{
    int side = (int)sqrt(10 * pow(4, level()));
    return shape_rough(shape_patch(20, side, land), 2e-3f);
}

static struct mesh *table(void)
{
    int side = (int)sqrt(5 * pow(4, level()));
    struct mesh *flat = shape_rough(shape_patch(60, side, NULL), 0.01f);
    struct mesh *object = shape_sphere(10, level() - 1);
    const struct mesh *both[2] = {flat, object};
    static const double move[2][3] = {{0, 0, 0}, {30, 30, 8}};
    struct mesh *mesh = shape_join(both, move, 2);
    mesh_free(flat);
    mesh_free(object);
    return mesh;
}

static struct mesh *cloud(void)
{
    struct mesh *mesh = sheet(), *points = mesh_cloud(mesh, NULL);
    mesh_free(mesh);
    return points;
}

static struct scene *scene_of(enum subject subject)
{
    struct mesh *first = subject == BROKEN  ? broken()
                         : subject == SCANS ? sheet()
                         : subject == TABLE ? table()
                         : subject == CLOUD ? cloud()
                                            : ball(10);
    if (subject == HOLED) {
        struct mesh *open = shape_without(first, in_spots);
        mesh_free(first);
        first = open;
    }
    struct scene *scene = steps_scene(first);
    struct mesh *second = subject == TWO ? ball(7) : subject == SCANS ? sheet() : NULL;
    for (size_t v = 0; second && v < mesh_vertices(second); v++) {
        mesh_point_edit(second)[v].x += subject == TWO ? 7 : 0.05f;
        mesh_point_edit(second)[v].z += 0.03f;
    }
    if (second)
        ck_assert_int_eq(scene_add(scene, piece_new(second, "second"), NULL), STATUS_OK);
    return scene;
}

/* --- watching ----------------------------------------------------------------------------- */

static enum status check_scene(const struct scene *scene, struct job *job)
{
    const struct check_input input = {0};
    struct inspection inspection;
    enum status status = inspect(scene->piece[0]->mesh, &input, &inspection, job);
    if (status == STATUS_OK)
        inspection_release(&inspection);
    return status;
}

static enum status carry_out(const struct scene *scene, const char *line, struct job *job)
{
    struct scene *out = NULL;
    struct step step;
    struct comparison comparison;
    if (!strcmp(line, "check"))
        return check_scene(scene, job);
    if (!strcmp(line, "compare"))
        return deviation_compare(scene->piece[0]->mesh, scene->piece[1]->mesh, 0, &comparison, job);
    ck_assert_msg(step_parse(line, &step, job) == STATUS_OK, "%s: %s", line, job->message);
    enum status status = step_run(&step, scene, &out, job);
    step_release(&step);
    scene_free(out);
    return status;
}

/* FOLDER in the line becomes the folder. */
static void in_folder(const char *line, const char *folder, char *out, size_t size)
{
    const char *at = strstr(line, "FOLDER");
    if (at)
        snprintf(out, size, "%.*s%s%s", (int)(at - line), line, folder, at + strlen("FOLDER"));
    else
        snprintf(out, size, "%s", line);
}

static void tell(const char *what, double figure, const struct asking_place *at)
{
    char from[200], to[200];
    asking_name(at->from, from, sizeof from);
    asking_name(at->to, to, sizeof to);
    printf("    %s %.3f in \"%s\", from %s to %s\n", what, figure, at->phase ? at->phase : "", from,
           to);
}

static void print(const char *line, size_t triangles, const struct job *job,
                  const struct asking *asking)
{
    printf("%s (%zu triangles)%s%s\n", line, triangles, job->status ? ": " : "", job->message);
    tell("s without asking:", asking->worst, &asking->at);
    tell("s of a bar that stands:", asking->still, &asking->still_at);
    if (asking->back > bar_blur)
        tell("BACK by", asking->back, &asking->back_at);
    if (asking->over > 0)
        tell("OVER by", asking->over, &asking->over_at);
    fflush(stdout);
}

static void watch(const struct plan *plan, bool tell_all, double most, struct asking *asking)
{
    char *folder = folder_new(), line[512];
    const char *at = strstr(plan->line, "FOLDER/in.");
    struct scene *scene = scene_of(plan->subject);
    size_t triangles = mesh_triangles(scene->piece[0]->mesh);
    struct job job;
    if (at)
        folder_mesh(folder, at + strlen("FOLDER/"), mesh_share(scene->piece[0]->mesh));
    in_folder(plan->line, folder, line, sizeof line);
    job_init(&job);
    job.threads = 1;
    asking_begin(asking, &job);
    enum status status = carry_out(scene, line, &job);
    asking_end(asking);
    if (tell_all || asking->worst > most || asking->back > bar_blur || asking->over > 0)
        print(plan->line, triangles, &job, asking);
    ck_assert_msg(status == STATUS_OK || status == STATUS_REFUSED, "%s: %s", line, job.message);
    job_release(&job);
    scene_free(scene);
    folder_remove(folder);
}

/* Work has a length of its own, to which a machine that others use adds, now here, now there: the
 * least of some times is nearest to it. */
START_TEST(asks_often)
{
    enum { TIMES = 4 };
    const char *line = plans[_i].line;
    bool all = getenv("FETTLE_LONG") != NULL;
    double most = slower * (all ? stretch_long : stretch_quick), least = INFINITY;
    for (int i = 0; i < TIMES && least > most; i++) {
        struct asking asking;
        watch(&plans[_i], all, most, &asking);
        ck_assert_msg(asking.back <= bar_blur, "%s: the bar ran back by %.4f", line, asking.back);
        ck_assert_msg(asking.over <= 0, "%s: the bar ran beyond the end by %.4f", line,
                      asking.over);
        least = fmin(asking.worst, least);
    }
    ck_assert_msg(least <= most, "%s: worked %.3f s without asking", line, least);
}
END_TEST

START_TEST(every_operation_is_here)
{
    for (size_t i = 0; op_row(i); i++) {
        const char *name = op_row(i)->name;
        bool found = false;
        for (size_t k = 0; k < PLANS && !found; k++)
            found = strncmp(plans[k].line, name, strlen(name)) == 0 &&
                    strchr(" ", plans[k].line[strlen(name)]) != NULL;
        ck_assert_msg(found, "%s is not watched", name);
    }
}
END_TEST

Suite *suite_asking(void);
Suite *suite_asking(void)
{
    Suite *suite = suite_create("asking");
    TCase *tcase = tcase_create("asking");
    tcase_set_timeout(tcase, 900);
    tcase_add_test(tcase, every_operation_is_here);
    tcase_add_loop_test(tcase, asks_often, 0, PLANS);
    suite_add_tcase(suite, tcase);
    return suite;
}
