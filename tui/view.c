#include "tui/view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "tui/app.h"
#include "tui/paint.h"
#include "tui/tools.h"

/* While the picture moves, stand-ins are drawn unless the meshes themselves are quick enough; a
 * moment after the last move the exact picture follows. */
static const double quick = 0.05, settle = 0.15; /* seconds */

enum { MARKS_MOST = 400, PIECES_MOST = 64 };

void view_init(struct view *view)
{
    memset(view, 0, sizeof *view);
    view->look.colours = paint_colours();
    view->furniture = true;
    view->exact_cost = quick;
    camera_frame(&view->camera, vec(0, 0, 0), vec(0, 0, 0), 1);
    for (int i = 0; i < 2; i++)
        view->frame[i].image = image_new();
}

void view_release(struct view *view)
{
    for (int i = 0; i < 2; i++) {
        image_free(view->frame[i].image);
        free(view->frame[i].cell);
    }
}

void view_touch(struct app *app)
{
    app->view.dirty = true;
    app->view.moved = seconds_now();
}

/* --- what there is to see ------------------------------------------------------------------- */

/* The screen's thread works alone: what it does is short, and threads of its own would be started
 * at a time when there may be no memory for them. */
static const struct job alone = {.threads = 1};

bool view_box(struct app *app, struct vec *min, struct vec *max)
{
    const struct scene *scene = app->scene;
    struct job job = alone;
    bool any = false;
    for (size_t i = 0; i < scene->count; i++) {
        const struct piece *piece = scene->piece[i];
        const struct bounds *b = piece->hidden ? NULL : mesh_bounds(piece->mesh, &job);
        if (!b || mesh_vertices(piece->mesh) == 0)
            continue;
        *min = any ? vec(fmin(min->x, b->min.x), fmin(min->y, b->min.y), fmin(min->z, b->min.z))
                   : b->min;
        *max = any ? vec(fmax(max->x, b->max.x), fmax(max->y, b->max.y), fmax(max->z, b->max.z))
                   : b->max;
        any = true;
    }
    return any;
}

double view_extent(struct app *app)
{
    struct vec min, max;
    return view_box(app, &min, &max) ? fmax(vec_length(vec_sub(max, min)), 1e-6) : 1;
}

static double aspect(const struct app *app)
{
    return app->picture_rows > 0 ? 0.5 * app->picture_columns / app->picture_rows : 1;
}

/* As large as it goes from where it is seen, with a little air around it. */
static void fill_picture(struct app *app)
{
    struct raster_piece piece[PIECES_MOST] = {0};
    struct job job = alone;
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count && n < PIECES_MOST; i++)
        if (!app->scene->piece[i]->hidden)
            piece[n++].mesh = study_standin(app, app->scene->piece[i]);
    raster_fit(&app->view.camera, piece, n, aspect(app), &job);
    camera_zoom(&app->view.camera, 1 / RASTER_AIR);
    app->view.whole = true;
    view_touch(app);
}

void view_whole(struct app *app)
{
    struct vec min, max;
    struct view *view = &app->view;
    if (!view_box(app, &min, &max))
        return;
    bool perspective = view->camera.perspective;
    camera_frame(&view->camera, min, max, aspect(app));
    view->camera.perspective = perspective;
    fill_picture(app);
}

void view_fit(struct app *app)
{
    struct vec min, max;
    if (view_box(app, &min, &max))
        fill_picture(app);
}

void view_look_at(struct app *app, struct vec at, struct vec normal, double reach)
{
    struct camera *camera = &app->view.camera;
    struct vec right, up, toward;
    normal = vec_unit(normal);
    if (vec_length(normal) > 0) { /* turn the surface there towards the viewer */
        camera_axes(camera, &right, &up, &toward);
        double x = vec_dot(normal, right), y = vec_dot(normal, up), z = vec_dot(normal, toward);
        camera_turn(camera, -atan2(x, z), 0, 0);
        camera_turn(camera, 0, -atan2(y, hypot(x, z)), 0);
    }
    camera->centre = at;
    app->view.whole = false;
    double extent = view_extent(app);
    camera->height = fmin(fmax(6 * reach, extent / 8), 1.5 * extent);
    view_touch(app);
}

/* --- a picture, in the paint lane ----------------------------------------------------------- */

struct paint_task {
    struct app *app;
    struct scene *scene; /* held */
    struct mesh *mesh[PIECES_MOST];
    struct raster_piece piece[PIECES_MOST];
    struct raster_mark mark[MARKS_MOST];
    struct raster_view view;
    struct cell_look look;
    struct plate *frame;
    int columns, rows;
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
    task->view.line = task->sketch.line;
    task->view.lines = task->sketch.lines;
    for (size_t i = 0; i < task->sketch.marks && task->view.marks < MARKS_MOST; i++)
        task->mark[task->view.marks++] = task->sketch.mark[i];
}

static enum status paint_run(void *context, struct job *job)
{
    struct paint_task *task = context;
    int across, down;
    cells_samples(task->look.style, &across, &down);
    if (task->line)
        add_sketch(task, job);
    double begin = seconds_now();
    enum status status = raster_draw(task->frame->image, &task->view, task->columns * across,
                                     task->rows * down, 0.5 * down / across, job);
    if (status == STATUS_OK)
        cells_from_image(task->frame->image, &task->look, task->frame->cell, task->columns,
                         task->rows);
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

static void paint_done(void *context, enum status status, struct job *job)
{
    struct paint_task *task = context;
    struct app *app = task->app;
    struct view *view = &app->view;
    if (status == STATUS_OK) {
        task->frame->valid = true;
        task->frame->exact = task->exact;
        view->shown = (int)(task->frame - view->frame);
        if (task->exact)
            view->exact_cost = task->cost;
        app->stale = true;
        tell_sketch(app, task);
    } else if (status != STATUS_CANCELLED) {
        app_say(app, true, "the picture cannot be drawn: %s", job->message);
    }
    for (size_t i = 0; i < task->view.pieces; i++)
        mesh_free(task->mesh[i]);
    scene_free(task->scene);
    sketch_release(&task->sketch);
    free(task->line);
    free(task);
}

static bool prepare_frame(struct plate *frame, int columns, int rows)
{
    size_t cells = (size_t)columns * (size_t)rows;
    if (!frame->image)
        return false;
    if (cells > frame->cells) {
        struct cell *cell = realloc(frame->cell, cells * sizeof *cell);
        if (!cell)
            return false;
        frame->cell = cell;
        frame->cells = cells;
    }
    frame->columns = columns;
    frame->rows = rows;
    frame->valid = false;
    return true;
}

static size_t pieces_shown(const struct app *app)
{
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count; i++)
        n += !app->scene->piece[i]->hidden;
    return n;
}

enum paint view_paint(const struct app *app)
{
    const struct view *view = &app->view;
    bool several = pieces_shown(app) > 1;
    if (several && !view->painted)
        return PAINT_PIECE;
    return view->paint == PAINT_PIECE && !several ? PAINT_OWN : view->paint;
}

/* Where it is painted by piece each has its tint and its number, which tells it without colour. */
static void tell_apart(size_t i, bool by_piece, struct raster_piece *piece)
{
    static const uint8_t grey[3] = {205, 205, 205};
    memcpy(piece->tint, by_piece ? raster_tint(i) : grey, 3);
    piece->number = by_piece ? (unsigned)i + 1 : 0;
}

static bool cut_is_placed(const struct app *app)
{
    return app->where == WHERE_PLANE ||
           (app->where == WHERE_POINT && app->point.back == WHERE_PLANE);
}

/* Where one of several pieces is chosen the others are pale, and no cut goes through them. */
static void gather_pieces(struct app *app, struct paint_task *task)
{
    const struct scene *scene = task->scene;
    const struct piece *chosen = scene->selected ? scene->piece[scene->selected - 1] : NULL;
    bool pales = !task->view.cut && !(chosen && chosen->hidden);
    size_t n = 0;
    for (size_t i = 0; i < scene->count && n < PIECES_MOST; i++) {
        const struct piece *piece = scene->piece[i];
        if (piece->hidden)
            continue;
        task->mesh[n] = mesh_share(task->exact ? piece->mesh : study_standin(app, piece));
        task->piece[n].mesh = task->mesh[n];
        task->piece[n].pale = !app_works_on(app, i) && pales;
        task->piece[n].spared = !app_works_on(app, i);
        tell_apart(i, task->view.paint == PAINT_PIECE, &task->piece[n]);
        n++;
    }
    task->view.piece = task->piece;
    task->view.pieces = n;
}

static struct paint_task *task_new(struct app *app, bool exact)
{
    struct view *view = &app->view;
    struct plate *frame = &view->frame[!view->shown];
    struct paint_task *task = calloc(1, sizeof *task);
    if (!task || !prepare_frame(frame, app->picture_columns, app->picture_rows)) {
        free(task);
        return NULL;
    }
    task->app = app;
    task->scene = scene_share(app->scene);
    task->exact = exact;
    task->frame = frame;
    task->columns = frame->columns;
    task->rows = frame->rows;
    task->look = view->look;
    task->view = (struct raster_view){.camera = view->camera,
                                      .shade = view->shade,
                                      .paint = view_paint(app),
                                      .axes = view->furniture,
                                      .scale_bar = view->furniture};
    task->view.cut = cut_is_placed(app);
    gather_pieces(app, task);
    task->view.marks = tools_marks(app, task->mark, MARKS_MOST);
    task->view.mark = task->mark;
    if (exact && app->preview.line)
        task->line = strdup(app->preview.line); /* no memory: the picture does without */
    if (task->view.cut) {
        task->view.cut_normal = app->plane.normal;
        task->view.cut_offset = vec_dot(app->plane.normal, app->plane.through);
    }
    return task;
}

int view_pump(struct app *app)
{
    struct view *view = &app->view;
    if (app->picture_rows <= 0 || app->picture_columns <= 0)
        return -1;
    const struct plate *shown = &view->frame[view->shown];
    double rested = seconds_now() - view->moved;
    bool refine = !view->dirty && shown->valid && !shown->exact;
    if (!view->dirty && !refine)
        return -1;
    if (!lane_free(&app->paint_lane)) {
        if (view->dirty && view->exact_cost > quick)
            lane_cancel(&app->paint_lane); /* it draws what is no longer wanted */
        return -1;
    }
    bool exact = view->exact_cost <= quick || rested >= settle;
    if (refine && !exact)
        return (int)((settle - rested) * 1000) + 1;
    struct paint_task *task = task_new(app, exact);
    view->dirty = false;
    if (task)
        lane_start(&app->paint_lane, (struct task){paint_run, paint_done, task});
    return -1;
}

/* --- what is shown -------------------------------------------------------------------------- */

bool view_pick(struct app *app, int column, int row, size_t *piece, uint32_t *triangle,
               struct vec *world)
{
    const struct plate *frame = &app->view.frame[app->view.shown];
    int across, down;
    cells_samples(app->view.look.style, &across, &down);
    int x = column * across + across / 2, y = row * down + down / 2;
    return frame->valid && image_nearest(frame->image, &x, &y, down / 2) &&
           image_pick(frame->image, x, y, piece, triangle, world);
}

void view_draw(struct app *app)
{
    const struct plate *frame = &app->view.frame[app->view.shown];
    if (!frame->valid)
        return;
    for (int row = 0; row < frame->rows && row < app->picture_rows; row++)
        for (int column = 0; column < frame->columns && column < app->picture_columns; column++)
            paint_cell(1 + row, column, &frame->cell[row * frame->columns + column]);
}
