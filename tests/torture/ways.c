#include "tests/torture/ways.h"

#include <stdlib.h>
#include <string.h>

#include "check/check.h"
#include "check/deviation.h"
#include "check/report.h"
#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "raster/cells.h"
#include "raster/png.h"
#include "raster/raster.h"
#include "raster/text.h"
#include "scene/journal.h"
#include "scene/recipe.h"
#include "scene/recovery.h"
#include "scene/session.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"

enum status run_line(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest)
{
    struct step step;
    struct scene *out;
    enum status status = step_parse(trial->line, &step, job);
    if (status != STATUS_OK)
        return status;
    char *text = step_text(&step);
    status = text ? step_run(&step, scene, &out, job) : job_fail_memory(job, 1);
    free(text);
    step_release(&step);
    if (status != STATUS_OK)
        return status;
    *digest = scene_digest(out);
    scene_free(out);
    return STATUS_OK;
}

enum status run_sketch(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest)
{
    struct step step;
    struct sketch sketch;
    enum status status = step_parse(trial->line, &step, job);
    if (status != STATUS_OK)
        return status;
    status = step_sketch(&step, scene, &sketch, job);
    step_release(&step);
    *digest = sketch.lines << 16 | sketch.marks;
    sketch_release(&sketch);
    return status;
}

enum status run_read(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest)
{
    struct file file;
    (void)scene;
    enum status status = file_read(trial->line, UNIT_NONE, &file, job);
    if (status != STATUS_OK)
        return status;
    *digest = mesh_triangles(file.mesh) << 32 | mesh_vertices(file.mesh);
    file_release(&file);
    return STATUS_OK;
}

enum status run_write(const struct trial *trial, struct scene *scene, struct job *job,
                      uint64_t *digest)
{
    const struct write_options options = {.ascii = trial->ascii, .unit = UNIT_MM};
    enum status status = file_write(scene->piece[0]->mesh, "out.tmp", trial->format, &options, job);
    *digest = 0;
    return status;
}

enum status run_derive(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest)
{
    *digest = 0;
    return mesh_derive(scene->piece[0]->mesh, trial->derived, job) ? STATUS_OK : job_status(job);
}

enum status run_check(const struct trial *trial, struct scene *scene, struct job *job,
                      uint64_t *digest)
{
    static const struct check_input input = {"a.stl", "stl", "mm", "assumed", "none", false};
    struct inspection inspection;
    (void)trial;
    enum status status = inspect(scene->piece[0]->mesh, &input, &inspection, job);
    if (status != STATUS_OK)
        return status;
    char *page = inspection_page(&inspection), *json = inspection_json(&inspection);
    *digest = page && json ? strlen(page) + strlen(json) : 0;
    status = page && json ? STATUS_OK : job_fail_memory(job, 1);
    free(page);
    free(json);
    inspection_release(&inspection);
    return status;
}

enum status run_compare(const struct trial *trial, struct scene *scene, struct job *job,
                        uint64_t *digest)
{
    struct comparison comparison;
    struct mesh *other = mesh_new_like(scene->piece[0]->mesh);
    (void)trial;
    if (!other)
        return job_fail_memory(job, 1);
    other->origin[2] += 0.25;
    enum status status = deviation_compare(scene->piece[0]->mesh, other, 500, &comparison, job);
    mesh_free(other);
    if (status == STATUS_OK)
        memcpy(digest, &comparison.hausdorff, sizeof *digest);
    return status;
}

static enum status draw_cells(const struct image *image, uint64_t *digest, struct job *job)
{
    static const struct cell_look look = {.style = CELLS_ASCII};
    struct cell *cells = calloc(40 * 20, sizeof *cells);
    char *text = NULL;
    if (cells) {
        cells_from_image(image, &look, cells, 40, 20);
        text = text_from_cells(cells, 40, 20, 0);
    }
    *digest = text ? strlen(text) : 0;
    free(cells);
    free(text);
    return text ? STATUS_OK : job_fail_memory(job, 1);
}

static void view_of(const struct raster_piece *piece, struct raster_view *view)
{
    *view = (struct raster_view){.piece = piece, .pieces = 1, .axes = true, .scale_bar = true};
    camera_frame(&view->camera, vec(-30, -30, -30), vec(60, 30, 30), 1);
}

enum status run_draw(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest)
{
    struct raster_piece piece = {.mesh = scene->piece[0]->mesh, .tint = {200, 200, 200}};
    struct raster_view view;
    struct image *image = image_new();
    (void)trial;
    if (!image)
        return job_fail_memory(job, 1);
    view_of(&piece, &view);
    enum status status = raster_draw(image, &view, 160, 160, 1, job);
    if (status == STATUS_OK)
        status = draw_cells(image, digest, job);
    image_free(image);
    return status;
}

enum status run_png(const struct trial *trial, struct scene *scene, struct job *job,
                    uint64_t *digest)
{
    struct raster_piece piece = {.mesh = scene->piece[0]->mesh, .tint = {200, 200, 200}};
    struct raster_view view;
    struct picture picture;
    uint8_t *bytes;
    size_t size;
    (void)trial;
    view_of(&piece, &view);
    enum status status = picture_draw(&view, 64, 48, true, &picture, job);
    if (status != STATUS_OK)
        return status;
    status = png_from_picture(&picture, &bytes, &size, job);
    free(picture.pixel);
    if (status != STATUS_OK)
        return status;
    *digest = size;
    free(bytes);
    return STATUS_OK;
}

enum status run_recipe(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest)
{
    static const char text[] = "open in.stl\nopen in.stl\nundo\nhide piece=1\nsave out.stl\n"
                               "undo\nredo\n";
    struct recipe recipe;
    struct scene *out;
    (void)trial;
    enum status status = recipe_parse(text, sizeof text - 1, "r", &recipe, job);
    if (status != STATUS_OK)
        return status;
    status = recipe_run(&recipe, scene_share(scene), &out, NULL, NULL, job);
    recipe_release(&recipe);
    if (status != STATUS_OK)
        return status;
    *digest = scene_digest(out);
    scene_free(out);
    return STATUS_OK;
}

static enum status do_lines(struct session *session, struct job *job)
{
    static const char *const lines[] = {"open in.stl", "open in.stl",  "hide piece=2",
                                        "undo",        "redo",         "save out.stl piece=1",
                                        "undo",        "close piece=1"};
    enum status status = STATUS_OK;
    for (size_t i = 0; status == STATUS_OK && i < sizeof lines / sizeof *lines; i++)
        status = session_do(session, lines[i], job);
    return status;
}

enum status run_session(const struct trial *trial, struct scene *scene, struct job *job,
                        uint64_t *digest)
{
    const struct session_options options = {.journal_folder = "journals", .spill_folder = "."};
    (void)trial;
    (void)scene;
    struct session *session = session_new(&options, job);
    if (!session)
        return job_status(job);
    enum status status = do_lines(session, job);
    *digest = scene_digest(session_scene(session));
    session_free(session);
    return status;
}

void leave_journal(void)
{
    static const char left[] = "# fettle journal\nopen in.stl\nopen in.stl\nhide piece=2\nundo\n";
    folder_write("left", "session-1.recipe", left, sizeof left - 1);
}

enum status run_recovery(const struct trial *trial, struct scene *scene, struct job *job,
                         uint64_t *digest)
{
    const struct session_options options = {.spill_folder = "."};
    struct recovery *list;
    struct session *session;
    size_t count, carried;
    (void)trial;
    (void)scene;
    enum status status = recovery_list("left", &list, &count, job);
    if (status != STATUS_OK)
        return status;
    status = count == 1 ? recovery_resume(&list[0], SIZE_MAX, &options, &session, &carried, job)
                        : job_fail(job, STATUS_FILE, "the journal is not found");
    if (status == STATUS_OK) {
        *digest = scene_digest(session_scene(session));
        session_free(session);
    }
    recovery_list_free(list, count);
    return status;
}
