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

void view_init(struct view *view)
{
    memset(view, 0, sizeof *view);
    view->look.colours = paint_colours();
    view->furniture = true;
    view->exact_cost = quick;
    camera_frame(&view->camera, vec(0, 0, 0), vec(0, 0, 0), 1);
}

void view_release(struct view *view)
{
    for (int i = 0; i < 2; i++)
        plate_release(&view->frame[i]);
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

bool view_shows(const struct app *app, size_t i, int part)
{
    if (app->where == WHERE_PAIRS)
        return i == app->pairs.side[part].piece;
    bool one = app->view.alone && app->scene->selected;
    return !app->scene->piece[i]->hidden && (!one || app_works_on(app, i));
}

int view_parts(const struct app *app)
{
    return app->where == WHERE_PAIRS ? 2 : 1;
}

void view_span(const struct app *app, int part, int *column, int *columns)
{
    int left = (app->picture_columns - 1) / 2;
    *column = part ? left + 1 : 0;
    *columns = view_parts(app) == 1 ? app->picture_columns
               : part               ? app->picture_columns - left - 1
                                    : left;
}

bool view_box(struct app *app, struct vec *min, struct vec *max)
{
    const struct scene *scene = app->scene;
    struct job job = alone;
    bool any = false;
    for (size_t i = 0; i < scene->count; i++) {
        const struct piece *piece = scene->piece[i];
        const struct bounds *b =
            view_shows(app, i, pairs_tool_side(app)) ? mesh_bounds(piece->mesh, &job) : NULL;
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
    int column, columns = 0;
    view_span(app, pairs_tool_side(app), &column, &columns);
    return app->picture_rows > 0 && columns > 0 ? 0.5 * columns / app->picture_rows : 1;
}

/* As large as it goes from where it is seen, with a little air around it. */
static void fill_picture(struct app *app)
{
    struct raster_piece piece[PIECES_MOST] = {0};
    struct job job = alone;
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count && n < PIECES_MOST; i++) {
        const struct mesh *mesh = app->scene->piece[i]->mesh;
        if (view_shows(app, i, pairs_tool_side(app))) /* a thinned cloud has not all stray points */
            piece[n++].mesh =
                mesh_triangles(mesh) ? study_standin(app, app->scene->piece[i]) : mesh;
    }
    raster_fit(&app->view.camera, piece, n, aspect(app), &job);
    camera_zoom(&app->view.camera, 1 / RASTER_AIR);
    app->view.whole = true;
    app->view.close[pairs_tool_side(app)].on = false;
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

void view_follow(struct app *app, double was)
{
    struct vec min, max;
    if (app->where == WHERE_PAIRS || !view_box(app, &min, &max))
        return;
    const struct camera *camera = &app->view.camera;
    double now = view_extent(app), air = camera->height / 2;
    struct vec c = camera->centre;
    bool sees = c.x > min.x - air && c.x < max.x + air && c.y > min.y - air && c.y < max.y + air &&
                c.z > min.z - air && c.z < max.z + air;
    if (app->view.whole || !sees || now > 1.5 * was || now < was / 1.5)
        fill_picture(app);
}

/* --- nearer ---------------------------------------------------------------------------------- */

static bool shows_present_view(const struct app *app)
{
    const struct plate *shown = &app->view.frame[app->view.shown];
    int part = pairs_tool_side(app);
    return shown->valid && shown->parts == view_parts(app) &&
           camera_same(&shown->part[part].camera, &app->view.camera);
}

/* What is seen at a cell or, where nothing is or that is not known yet, what lies there as deep as
 * the camera's centre. */
static struct vec seen_at(struct app *app, int column, int row)
{
    const struct camera *camera = &app->view.camera;
    struct vec at, from, along, toward;
    int first, columns, across, down;
    if (shows_present_view(app) && view_pick(app, column, row, NULL, NULL, &at))
        return at;
    view_span(app, pairs_tool_side(app), &first, &columns);
    camera_axes(camera, NULL, NULL, &toward);
    cells_samples(app->view.look.style, &across, &down);
    camera_ray(camera, columns * across, app->picture_rows * down, 0.5 * down / across,
               (column - first) * across + across / 2 + 0.5, row * down + down / 2 + 0.5, &from,
               &along); /* through the sample that a pick looks at */
    double deep = vec_dot(vec_sub(camera->centre, from), toward) / vec_dot(along, toward);
    return vec_along(from, deep, along);
}

void view_zoom_at(struct app *app, int column, int row, double factor)
{
    camera_zoom_about(&app->view.camera, factor, seen_at(app, column, row));
    app->view.whole = false;
    view_touch(app);
}

static bool has_pointer(const struct app *app)
{
    return app->where == WHERE_POINT || app->where == WHERE_PAIRS;
}

void view_zoom(struct app *app, double factor)
{
    int column, columns;
    view_span(app, pairs_tool_side(app), &column, &columns);
    if (has_pointer(app))
        view_zoom_at(app, app->point.column, app->point.row, factor);
    else
        view_zoom_at(app, column + columns / 2, app->picture_rows / 2, factor);
}

double view_cell(const struct app *app)
{
    return app->picture_rows > 0 ? app->view.camera.height / app->picture_rows / 2 : 0;
}

static void begin_close_up(struct app *app)
{
    static const double nearer = 6;
    struct view *view = &app->view;
    struct vec at;
    int column, columns;
    if (!view_pick(app, app->point.column, app->point.row, NULL, NULL, &at)) {
        app_say(app, true, "there is no surface under the pointer; move it onto the part");
        return;
    }
    view->close[pairs_tool_side(app)] = (struct close_up){.on = true,
                                                          .whole = view->whole,
                                                          .centre = view->camera.centre,
                                                          .height = view->camera.height};
    camera_zoom(&view->camera, nearer);
    view->camera.centre = at;
    view->whole = false;
    view_span(app, pairs_tool_side(app), &column, &columns);
    point_to(app, column + columns / 2, app->picture_rows / 2);
    view_touch(app);
}

void view_close_up_end(struct app *app)
{
    struct view *view = &app->view;
    struct close_up *close = &view->close[pairs_tool_side(app)];
    if (!close->on)
        return;
    struct vec at = seen_at(app, app->point.column, app->point.row), cell;
    int column, columns;
    close->on = false;
    view->camera.centre = close->centre;
    view->camera.height = close->height;
    view->whole = close->whole;
    view_span(app, pairs_tool_side(app), &column, &columns);
    if (camera_project(&view->camera, columns, app->picture_rows, 0.5, at, &cell))
        point_to(app, column + (int)floor(cell.x), (int)floor(cell.y));
    view_touch(app);
}

void view_close_up(struct app *app)
{
    if (app->view.close[pairs_tool_side(app)].on)
        view_close_up_end(app);
    else
        begin_close_up(app);
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

/* --- how, and when it is painted
 * --------------------------------------------------------------------- */

static size_t pieces_shown(const struct app *app)
{
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count; i++)
        n += app->where == WHERE_PAIRS || view_shows(app, i, 0);
    return n;
}

/* Of two that stand apart their own colours tell which places are the same. */
static bool both_have_colour(const struct app *app)
{
    bool both = app->where == WHERE_PAIRS;
    for (int k = 0; k < 2 && both; k++)
        both = mesh_attribute(app->scene->piece[app->pairs.side[k].piece]->mesh,
                              ATTRIBUTE_colour) != NULL;
    return both;
}

enum paint view_paint(const struct app *app)
{
    const struct view *view = &app->view;
    bool several = pieces_shown(app) > 1;
    if (app->walk.on && app->walk.origin)
        return PAINT_ORIGIN;
    if (several && !view->painted)
        return both_have_colour(app) ? PAINT_OWN : PAINT_PIECE;
    return view->paint == PAINT_PIECE && !several ? PAINT_OWN : view->paint;
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
    int late = app->held ? 0 : pace_wait(&app->pace);
    if (late)
        return late;
    if (!lane_free(&app->paint_lane)) {
        if (view->dirty && view->exact_cost > quick)
            lane_cancel(&app->paint_lane); /* it draws what is no longer wanted */
        return -1;
    }
    /* Over a slow line the exact one alone is there sooner than both. */
    double afford = fmax(quick, app->pace.lag / 2);
    bool exact = view->exact_cost <= afford || rested >= settle;
    if (refine && !exact)
        return (int)((settle - rested) * 1000) + 1;
    view->dirty = false;
    plate_paint(app, &view->frame[!view->shown], exact);
    return -1;
}

/* --- what is shown -------------------------------------------------------------------------- */

bool view_pick(struct app *app, int column, int row, size_t *piece, uint32_t *triangle,
               struct vec *world)
{
    const struct plate *plate = &app->view.frame[app->view.shown];
    const struct plate_part *part = plate_part_at(plate, column);
    int across, down;
    cells_samples(app->view.look.style, &across, &down);
    if (!plate->valid || !part)
        return false;
    int x = (column - part->column) * across + across / 2, y = row * down + down / 2;
    size_t n;
    if (!image_nearest(part->image, &x, &y, down / 2) ||
        !image_pick(part->image, x, y, &n, triangle, world))
        return false;
    if (part->drawn[n] >= app->scene->count) /* it is of a scene that had more */
        return false;
    if (piece)
        *piece = part->drawn[n];
    return true;
}

bool view_is_behind(struct app *app)
{
    bool comes = app->picture_rows > 0 && (app->view.dirty || !lane_free(&app->paint_lane));
    return comes && !shows_present_view(app);
}

static void calm(uint8_t colour[3], uint8_t before[3], bool coloured)
{
    enum { ALIKE = 24 }; /* of 255, in each channel: two and a half steps of a terminal's greys */
    bool same = coloured;
    for (int k = 0; k < 3 && same; k++)
        same = abs(colour[k] - before[k]) <= ALIKE;
    memcpy(same ? colour : before, same ? before : colour, coloured ? 3 : 0);
}

/* A colour that can hardly be told from the one beside it is written as that: most bytes of a
 * picture are changes of colour. */
static void draw_row(const struct plate_part *part, int row, int columns)
{
    uint8_t fore[3] = {0}, back[3] = {0};
    for (int x = 0; x < columns; x++) {
        struct cell cell = part->cell[row * part->columns + x];
        calm(cell.fore, fore, cell.coloured);
        calm(cell.back, back, cell.backed);
        paint_cell(1 + row, part->column + x, &cell);
    }
}

static void draw_part(const struct app *app, const struct plate_part *part, int rows)
{
    int room = app->picture_columns - part->column;
    for (int row = 0; row < rows && row < app->picture_rows; row++)
        draw_row(part, row, part->columns < room ? part->columns : room);
}

void view_draw(struct app *app)
{
    const struct plate *plate = &app->view.frame[app->view.shown];
    for (int i = 0; plate->valid && i < plate->parts; i++)
        draw_part(app, &plate->part[i], plate->rows);
}
