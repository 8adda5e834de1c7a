#include "examples/raw_scans.h"

#include <stdio.h>
#include <string.h>

#include "core/job.h"
#include "examples/finial.h"
#include "examples/polygonise.h"
#include "examples/scanner.h"
#include "format/format.h"
#include "solid/stand.h"

enum { SCANS = 4 };
static const double pi = 3.14159265358979323846;

/* The side that goes down: a point far off on that side of the finial, which is 140 mm tall. */
static const struct {
    struct vec down;
    double disc;
} pose[SCANS] = {
    {{1000, 0, 60}, 82}, {{0, 1000, 60}, 82}, {{-1000, 0, 60}, 82}, {{0, 0, -1000}, 60}};

static int complain(const char *name, enum status status, const struct job *job)
{
    fprintf(stderr, "make_scan: %s: %s\n", name,
            job->message[0] ? job->message : status_meaning(status));
    return status_exit(status);
}

static int write(const struct mesh *mesh, const char *folder, const char *name)
{
    char path[4096];
    struct job job;
    job_init(&job);
    const struct write_options options = {.unit = UNIT_MM};
    snprintf(path, sizeof path, "%s/%s", folder, name);
    enum status status = mesh ? file_write(mesh, path, NULL, &options, &job) : STATUS_MEMORY;
    int result = 0;
    if (status != STATUS_OK)
        result = complain(name, status, &job);
    else
        printf("made %s: %zu %s\n", name,
               mesh_triangles(mesh) ? mesh_triangles(mesh) : mesh_vertices(mesh),
               mesh_triangles(mesh) ? "triangles" : "points");
    job_release(&job);
    return result;
}

/* --- where a scan lies ----------------------------------------------------------------------- */

/* Some motion: what the scanner's software calls its frame. */
struct frame {
    struct vec axis, shift;
    double angle;
};

static struct frame some_frame(uint64_t *state)
{
    struct frame f;
    f.axis = vec_unit(vec(scanner_gauss(state), scanner_gauss(state), scanner_gauss(state)));
    f.angle = pi * (2 * scanner_uniform(state) - 1);
    f.shift = vec(300 * scanner_uniform(state) - 150, 300 * scanner_uniform(state) - 150,
                  300 * scanner_uniform(state) - 150);
    return f;
}

static struct motion frame_motion(const struct frame *f)
{
    struct motion turn = motion_turn(f->axis, f->angle, vec(0, 0, 0));
    struct motion shift = motion_shift(f->shift);
    return motion_then(&turn, &shift);
}

/* A rotation as an axis and an angle in degrees. */
static double axis_of(const struct motion *m, struct vec *axis)
{
    const double(*t)[3] = m->turn;
    struct vec twist = vec(t[2][1] - t[1][2], t[0][2] - t[2][0], t[1][0] - t[0][1]);
    *axis = vec_unit(twist);
    return atan2(vec_length(twist), t[0][0] + t[1][1] + t[2][2] - 1) * 180 / pi;
}

/* Writes the steps that undo `frame` after `stands`: back to where the true surface is. */
static void write_truth(FILE *out, int scan, const struct motion *stands, const struct frame *frame)
{
    struct motion whole = frame_motion(frame), both = motion_then(stands, &whole), back = both;
    struct vec axis;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            back.turn[i][j] = both.turn[j][i];
    double angle = axis_of(&back, &axis);
    struct vec to = vec_scale(motion_direction(&back, both.shift), -1);
    fprintf(out, "turn axis=%.15g,%.15g,%.15g by=%.15g about=0,0,0 piece=%d\n", axis.x, axis.y,
            axis.z, angle, scan + 1);
    fprintf(out, "move by=%.15g,%.15g,%.15g piece=%d\n", to.x, to.y, to.z, scan + 1);
}

/* --- scans ----------------------------------------------------------------------------------- */

static int one_scan(const struct mesh *object, int i, double spacing, bool meshes,
                    const char *folder, FILE *truth)
{
    struct scanner scanner = {.object = object,
                              .distance = finial_distance,
                              .colour = finial_colour,
                              .disc = pose[i].disc,
                              .spacing = spacing,
                              .noise = 0.03,
                              .views = 8,
                              .seed = 20260611 + 7919u * (uint64_t)i};
    struct stand_report report;
    struct job job;
    char name[32];
    snprintf(name, sizeof name, "raw-%d.ply", i + 1);
    job_init(&job);
    enum status status = stand_find(&object, 1, &pose[i].down, &scanner.stands, &report, &job);
    int result = status == STATUS_OK ? 0 : complain(name, status, &job);
    job_release(&job);
    if (result)
        return result;
    uint64_t state = scanner.seed ^ 0xF8A3E;
    struct frame frame = some_frame(&state);
    struct motion motion = frame_motion(&frame);
    struct mesh *scan = meshes ? scanner_shells(&scanner) : scanner_scan(&scanner);
    struct mesh *moved = scan ? motion_mesh(&motion, scan, NULL) : NULL;
    mesh_free(scan);
    write_truth(truth, i, &scanner.stands, &frame);
    result = write(moved, folder, name);
    mesh_free(moved);
    return result;
}

int raw_scans(const char *folder, double spacing, bool meshes)
{
    char path[4096];
    struct mesh *object = polygonise(finial_distance, vec(-51, -51, -2), vec(51, 51, 144), 0.7);
    int result = write(object, folder, "raw-true.ply");
    snprintf(path, sizeof path, "%s/raw-truth.recipe", folder);
    FILE *truth = result ? NULL : fopen(path, "w");
    if (!truth && !result) {
        perror(path);
        result = status_exit(STATUS_FILE);
    }
    if (truth)
        fprintf(truth, "# Puts raw-1.ply to raw-4.ply, opened in this order, onto raw-true.ply.\n");
    for (int i = 0; i < SCANS && !result; i++)
        result = one_scan(object, i, spacing, meshes, folder, truth);
    if (truth && fclose(truth) != 0 && !result) {
        perror(path);
        result = status_exit(STATUS_FILE);
    }
    mesh_free(object);
    return result;
}
