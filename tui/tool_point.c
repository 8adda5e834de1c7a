/* The pointer: a cell of the picture that the arrows or the mouse move, and the point it puts. */
#include <curses.h>
#include <stdio.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/paint.h"
#include "tui/tools.h"

void point_to(struct app *app, int column, int row)
{
    struct point_tool *p = &app->point;
    p->column = column < 0 ? 0 : column >= app->picture_columns ? app->picture_columns - 1 : column;
    p->row = row < 0 ? 0 : row >= app->picture_rows ? app->picture_rows - 1 : row;
    app->stale = true;
}

void act_point(struct app *app)
{
    if (app->where != WHERE_POINT) {
        app->point.back = app->where;
        point_to(app, app->picture_columns / 2, app->picture_rows / 2);
    }
    app->where = WHERE_POINT;
    app->point.op = NULL;
    app->arrows_other = false;
    app->stale = true;
}

void point_begin(struct app *app, const struct op *op)
{
    act_point(app);
    app->point.op = op;
}

/* clang-format off: a table of keys */
void act_point_left(struct app *app)
{
    point_to(app, app->point.column - 1, app->point.row);
}
void act_point_right(struct app *app)
{
    point_to(app, app->point.column + 1, app->point.row);
}
void act_point_up(struct app *app)
{
    point_to(app, app->point.column, app->point.row - 1);
}
void act_point_down(struct app *app)
{
    point_to(app, app->point.column, app->point.row + 1);
}
/* clang-format on */

bool point_pick(struct app *app)
{
    struct vec world;
    if (!view_pick(app, app->point.column, app->point.row, NULL, NULL, &world)) {
        app_say(app, true, "there is no surface under the pointer; move it onto the part");
        return false;
    }
    app->picked = world;
    app->point_known = true;
    app_say(app, false, "point @ = %.3f, %.3f, %.3f mm", world.x, world.y, world.z);
    view_touch(app);
    return true;
}

void act_point_put(struct app *app)
{
    if (!point_pick(app))
        return;
    app->where = app->point.back;
    if (app->where == WHERE_PLANE)
        app->plane.through = app->picked;
    if (!app->point.op)
        return;
    char line[128];
    snprintf(line, sizeof line, "%s at=@", app->point.op->name);
    app->point.op = NULL;
    app_run(app, line);
}

void tools_draw(struct app *app)
{
    if (app->where != WHERE_POINT)
        return;
    paint_tone(TONE_MARK);
    mvaddch(1 + app->point.row, app->point.column, '+');
    paint_tone(TONE_PLAIN);
}
