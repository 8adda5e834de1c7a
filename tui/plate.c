#include "tui/plate.h"

#include <stdlib.h>
#include <string.h>

#include "tui/app.h"
#include "tui/tools.h"

enum { MARKS_MOST = 400 };

struct part_task {                  /* what is drawn in a part */
    struct mesh *mesh[PIECES_MOST]; /* held */
    struct raster_piece piece[PIECES_MOST];
    struct raster_mark mark[MARKS_MOST];
    struct raster_view view;
};

struct paint_task {
    struct app *app;
    struct scene *scene; /* held */
    struct part_task part[PLATE_PARTS];
    struct cell_look look;
    struct plate *plate;
    bool exact;
    double cost;
    char *line; /* to be sketched; NULL: none */
    struct sketch sketch;
    bool fits;
    char said[512];
};

/* What the line would make is drawn over the picture of what is there. */
static void add_sketch(struct paint_task *task, struct job *job)
{
    task->fits =
        preview_sketch(task->line, task->scene, &task->sketch, task->said, sizeof task->said, job);
    struct part_task *part = &task->part[0];
    part->view.line = task->sketch.line;
    part->view.lines = task->sketch.lines;
    for (size_t i = 0; i < task->sketch.marks && part->view.marks < MARKS_MOST; i++)
        part->mark[part->view.marks++] = task->sketch.mark[i];
}

static enum status paint_part(struct paint_task *task, int i, struct job *job)
{
    struct plate_part *part = &task->plate->part[i];
    int across, down, rows = task->plate->rows;
    cells_samples(task->look.style, &across, &down);
    enum status status = raster_draw(part->image, &task->part[i].view, part->columns * across,
                                     rows * down, 0.5 * down / across, job);
    if (status == STATUS_OK)
        cells_from_image(part->image, &task->look, part->cell, part->columns, rows);
    return status;
}

static enum status paint_run(void *context, struct job *job)
{
    struct paint_task *task = context;
    if (task->line)
        add_sketch(task, job);
    double begin = seconds_now();
    enum status status = STATUS_OK;
    for (int i = 0; i < task->plate->parts && status == STATUS_OK; i++)
        status = paint_part(task, i, job);
    task->cost = seconds_now() - begin;
    return status;
}

/* What there is to say of the line in the prompt, if it is still the same. */
static void tell_sketch(struct app *app, const struct paint_task *task)
{
    const char *line = app->preview.line;
    if (!task->line || !line || strcmp(line, task->line) != 0)
        return;
    app->preview.told = task->said[0];
    if (app->prompt.on)
        app_say(app, !task->fits, "%s", task->said);
}

static void task_free(struct paint_task *task)
{
    for (int k = 0; k < PLATE_PARTS; k++)
        for (size_t i = 0; i < task->part[k].view.pieces; i++)
            mesh_free(task->part[k].mesh[i]);
    scene_free(task->scene);
    sketch_release(&task->sketch);
    free(task->line);
    free(task);
}

static void paint_done(void *context, enum status status, struct job *job)
{
    struct paint_task *task = context;
    struct app *app = task->app;
    struct view *view = &app->view;
    if (status == STATUS_OK) {
        task->plate->valid = true;
        task->plate->exact = task->exact;
        view->shown = (int)(task->plate - view->frame);
        view->fresh = true;
        if (task->exact)
            view->exact_cost = task->cost;
        app->stale = true;
        tell_sketch(app, task);
    } else if (status != STATUS_CANCELLED) {
        app_say(app, true, "the picture cannot be drawn: %s", job->message);
    }
    task_free(task);
}

static bool prepare_part(struct plate_part *part, int rows)
{
    size_t cells = (size_t)part->columns * (size_t)rows;
    part->image = part->image ? part->image : image_new();
    if (!part->image)
        return false;
    if (cells > part->cells) {
        struct cell *cell = realloc(part->cell, cells * sizeof *cell);
        if (!cell)
            return false;
        part->cell = cell;
        part->cells = cells;
    }
    return true;
}

static bool prepare(const struct app *app, struct plate *plate)
{
    bool ok = true;
    plate->valid = false;
    plate->rows = app->picture_rows;
    plate->parts = view_parts(app);
    for (int i = 0; i < plate->parts && ok; i++) {
        view_span(app, i, &plate->part[i].column, &plate->part[i].columns);
        ok = prepare_part(&plate->part[i], plate->rows);
    }
    return ok;
}

/* Where it is painted by piece each has its tint and, where there are several in one picture, its
 * number, which tells it without colour. */
static void tell_apart(const struct app *app, size_t i, bool by_piece, struct raster_piece *piece)
{
    static const uint8_t grey[3] = {205, 205, 205};
    memcpy(piece->tint, by_piece ? raster_tint(i) : grey, 3);
    piece->number = by_piece && view_parts(app) == 1 ? (unsigned)i + 1 : 0;
}

static bool cut_is_placed(const struct app *app)
{
    return app->where == WHERE_PLANE ||
           (app->where == WHERE_POINT && app->point.back == WHERE_PLANE);
}

/* Whether the pieces that are not chosen are pale. */
static bool others_are_pale(const struct app *app, const struct raster_view *view)
{
    const struct scene *scene = app->scene;
    const struct piece *chosen = scene->selected ? scene->piece[scene->selected - 1] : NULL;
    return !view->cut && view_parts(app) == 1 && !(chosen && chosen->hidden);
}

/* Where one of several pieces is chosen the others are pale, and no cut goes through them. */
static void gather_pieces(struct app *app, struct paint_task *task, int k)
{
    const struct scene *scene = task->scene;
    struct part_task *part = &task->part[k];
    bool pales = others_are_pale(app, &part->view);
    size_t n = 0;
    for (size_t i = 0; i < scene->count && n < PIECES_MOST; i++) {
        const struct piece *piece = scene->piece[i];
        if (!view_shows(app, i, k))
            continue;
        part->mesh[n] = mesh_share(task->exact ? piece->mesh : study_standin(app, piece));
        part->piece[n].mesh = part->mesh[n];
        part->piece[n].pale = !app_works_on(app, i) && pales;
        part->piece[n].spared = !app_works_on(app, i);
        tell_apart(app, i, part->view.paint == PAINT_PIECE, &part->piece[n]);
        task->plate->part[k].drawn[n] = i;
        n++;
    }
    part->view.piece = part->piece;
    part->view.pieces = n;
}

static void gather_part(struct app *app, struct paint_task *task, int k)
{
    const struct view *view = &app->view;
    struct part_task *part = &task->part[k];
    part->view = (struct raster_view){.camera = *pairs_tool_camera(app, k),
                                      .shade = view->shade,
                                      .paint = view_paint(app),
                                      .axes = view->furniture,
                                      .scale_bar = view->furniture};
    task->plate->part[k].camera = part->view.camera;
    part->view.cut = cut_is_placed(app);
    gather_pieces(app, task, k);
    part->view.marks = tools_marks(app, k, part->mark, MARKS_MOST);
    part->view.mark = part->mark;
    if (part->view.cut) {
        part->view.cut_normal = app->plane.normal;
        part->view.cut_offset = vec_dot(app->plane.normal, app->plane.through);
    }
}

void plate_paint(struct app *app, struct plate *plate, bool exact)
{
    struct paint_task *task = calloc(1, sizeof *task);
    if (!task || !prepare(app, plate)) {
        free(task);
        return;
    }
    task->app = app;
    task->scene = scene_share(app->scene);
    task->exact = exact;
    task->plate = plate;
    task->look = app->view.look;
    task->look.own_light = app->view.painted || app->where == WHERE_PAIRS;
    for (int k = 0; k < plate->parts; k++)
        gather_part(app, task, k);
    if (exact && app->preview.line && plate->parts == 1)
        task->line = strdup(app->preview.line); /* no memory: the picture does without */
    lane_start(&app->paint_lane, (struct task){paint_run, paint_done, task});
}

const struct plate_part *plate_part_at(const struct plate *plate, int column)
{
    for (int i = 0; i < plate->parts; i++)
        if (column >= plate->part[i].column &&
            column < plate->part[i].column + plate->part[i].columns)
            return &plate->part[i];
    return NULL;
}

void plate_release(struct plate *plate)
{
    for (int i = 0; i < PLATE_PARTS; i++) {
        image_free(plate->part[i].image);
        free(plate->part[i].cell);
    }
}
