/* The pointer: a cell of the picture that the arrows or the mouse move, and the point it puts. */
#include <curses.h>
#include <stdio.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/paint.h"
#include "tui/tools.h"

void point_to(struct app *app, int column, int row)
{
    struct point_tool *p = &app->point;
    int from, columns;
    view_span(app, pairs_tool_side(app), &from, &columns);
    column = column < from + columns ? column : from + columns - 1;
    p->column = column > from ? column : from;
    p->row = row < 0 ? 0 : row >= app->picture_rows ? app->picture_rows - 1 : row;
    app->stale = true;
}

/* Whether what is seen has not moved since the last point was put: the next is looked for there. */
static bool goes_on(const struct app *app)
{
    return camera_same(&app->point.camera, &app->view.camera);
}

/* What a tool needs; false: there is nothing, which is told. */
static bool something_in_sight(struct app *app)
{
    if (app->scene->count == 0)
        app_say(app, true, "nothing is open; :open FILE");
    else if (app_pieces(app) == 0)
        app_say(app, true, "every piece is hidden; :show piece=1 brings one back");
    return app_pieces(app) > 0;
}

void act_point(struct app *app)
{
    if (!something_in_sight(app))
        return;
    if (app->where != WHERE_POINT) {
        app->point.back = app->where;
        if (!goes_on(app)) /* where a fault that was gone to is */
            point_to(app, app->picture_columns / 2, app->picture_rows / 2);
    }
    app->where = WHERE_POINT;
    app->point.op = NULL;
    app->arrows_other = false;
    app->stale = true;
}

void point_begin(struct app *app, const struct op *op)
{
    preview_set(app, NULL);
    act_point(app);
    if (app->where == WHERE_POINT)
        app->point.op = op;
}

/* A table of keys. */
/* clang-format off */
void act_point_left(struct app *app) { point_to(app, app->point.column - 1, app->point.row); }
void act_point_right(struct app *app) { point_to(app, app->point.column + 1, app->point.row); }
void act_point_up(struct app *app) { point_to(app, app->point.column, app->point.row - 1); }
void act_point_down(struct app *app) { point_to(app, app->point.column, app->point.row + 1); }
void act_point_near(struct app *app) { view_close_up(app); }
void act_point_undo(struct app *app) { act_point_back(app); }
/* clang-format on */

/* --- what it puts --------------------------------------------------------------------------- */

static bool pick(struct app *app, struct vec *world, size_t *piece)
{
    if (view_pick(app, app->point.column, app->point.row, piece, NULL, world))
        return true;
    app_say(app, true, "there is no surface under the pointer; move it onto the part");
    return false;
}

static void tell(struct app *app)
{
    size_t n = app->points.count;
    struct vec at = app->points.put[n - 1].at;
    char number[24] = "", piece[160] = "";
    if (n > 1)
        snprintf(number, sizeof number, "%zu", n);
    if (app->scene->count > 1)
        snprintf(piece, sizeof piece, " on %.128s",
                 app->scene->piece[app->points.put[n - 1].piece]->name);
    app_say(app, false, "point @%s = %.3f, %.3f, %.3f mm%s", number, at.x, at.y, at.z, piece);
}

static bool put(struct app *app)
{
    struct points *points = &app->points;
    struct vec at;
    size_t piece;
    if (!pick(app, &at, &piece))
        return false;
    if (points->count == POINTS_MOST) {
        app_say(app, true, "%d points are put already; Backspace takes back the last", POINTS_MOST);
        return false;
    }
    points->put[points->count].at = at;
    points->put[points->count++].piece = piece;
    tell(app);
    view_touch(app);
    return true;
}

void point_leave(struct app *app)
{
    view_close_up_end(app);
    app->where = app->point.back;
    app->point.camera = app->view.camera;
    view_touch(app);
}

static void put_plane(struct app *app)
{
    size_t piece;
    if (!pick(app, &app->plane.through, &piece))
        return;
    if (app->where == WHERE_POINT)
        point_leave(app);
    view_touch(app);
}

/* A step that runs at a point must be pointed at a piece that it works on, or it would take the
 * nearest place of another one. */
static bool on_what_is_worked_on(struct app *app)
{
    struct vec at;
    size_t piece;
    if (!pick(app, &at, &piece))
        return false;
    if (!app_works_on(app, piece))
        app_say(app, true, "that is %.60s, and %.60s is chosen; point at that, or Esc, Tab",
                app->scene->piece[piece]->name, app_piece(app)->name);
    return app_works_on(app, piece);
}

void act_point_put(struct app *app)
{
    if (app->point.back == WHERE_PLANE) {
        put_plane(app);
        return;
    }
    if (app->point.op && !on_what_is_worked_on(app))
        return;
    if (!put(app))
        return;
    point_leave(app);
    if (!app->point.op)
        return;
    char line[128];
    const struct op *op = app->point.op;
    snprintf(line, sizeof line, "%s at=@", op->name);
    app->point.op = NULL;
    if (op->sketch) { /* looked at, and perhaps changed, before it is made */
        prompt_open(&app->prompt, line);
        preview_update(app);
    } else {
        app_run(app, line);
    }
}

/* While a line is typed that has a point in it, a click says where that is; else it is put for one.
 */
static void put_for_line(struct app *app)
{
    struct points *points = &app->points;
    struct vec at;
    size_t piece;
    bool again = points->count > 0 && strstr(app->prompt.line, "=@");
    if (!again) {
        put(app);
    } else if (pick(app, &at, &piece)) {
        points->put[points->count - 1].at = at;
        points->put[points->count - 1].piece = piece;
        tell(app);
    }
    preview_update(app);
    view_touch(app);
}

void point_click(struct app *app, int column, int row)
{
    point_to(app, column, row);
    if (app->prompt.on)
        put_for_line(app);
    else if (app->where == WHERE_PAIRS)
        pairs_tool_put(app);
    else if (app->where == WHERE_POINT)
        act_point_put(app);
    else if (app->where == WHERE_PLANE)
        put_plane(app);
    else
        put(app);
}

void act_point_back(struct app *app)
{
    if (app->points.count == 0) {
        app_say(app, false, "no point is put");
        return;
    }
    app->points.count--;
    app_say(app, false, "point %zu is taken back", app->points.count + 1);
    view_touch(app);
}

size_t point_marks(const struct app *app, struct raster_mark *mark, size_t most)
{
    const struct points *points = &app->points;
    size_t n = 0;
    for (; n < points->count && n < most; n++)
        mark[n] = (struct raster_mark){.at = points->put[n].at,
                                       .glyph = points->count == 1 ? '@'
                                                : n < 9            ? (uint8_t)('1' + n)
                                                                   : '*',
                                       .chosen = n + 1 == points->count};
    return n;
}

void tools_draw(struct app *app)
{
    if (app->where != WHERE_POINT && app->where != WHERE_PAIRS)
        return;
    int divide = app->picture_columns;
    if (app->where == WHERE_PAIRS)
        view_span(app, 1, &divide, &(int){0});
    if (divide < app->picture_columns)
        mvvline(1, divide - 1, '|', app->picture_rows);
    paint_tone(TONE_MARK);
    mvaddch(1 + app->point.row, app->point.column, '+');
    paint_tone(TONE_PLAIN);
}
