#include "tui/mouse.h"

#include <curses.h>
#include <stdio.h>
#include <stdlib.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/tools.h"

/* Motion while a button is held is asked for beside what curses asks for (xterm's private mode
 * 1002). */
void mouse_begin(void)
{
    mouseinterval(0);
    mousemask(BUTTON1_PRESSED | BUTTON1_RELEASED | BUTTON4_PRESSED | BUTTON5_PRESSED |
                  REPORT_MOUSE_POSITION,
              NULL);
    if (!has_mouse()) /* known only now */
        return;
    fputs("\033[?1002h", stdout);
    fflush(stdout);
}

void mouse_end(void)
{
    if (!has_mouse())
        return;
    fputs("\033[?1002l", stdout);
    fflush(stdout);
}

static void drag(struct app *app, int column, int row)
{
    struct drag *d = &app->drag;
    if (column == d->column && row == d->row)
        return;
    double turn = 3.14159265358979323846 / (app->picture_columns > 0 ? app->picture_columns : 1);
    camera_turn(&app->view.camera, turn * (column - d->column), 2 * turn * (d->row - row), 0);
    d->column = column;
    d->row = row;
    d->moved = true;
    view_touch(app);
}

static void click_panel(struct app *app, int y)
{
    bool lists = app->where != WHERE_PAIRS && !app->prompt.on && y < PANEL_ROWS;
    const struct row row = lists ? app->row[y] : (struct row){0};
    if (row.does == ROW_PIECE)
        app_choose(app, row.piece);
    else if (row.does == ROW_FINDING && app->where == WHERE_LOOK)
        walk_to(app, row.piece, row.finding);
}

static void one_event(struct app *app, const MEVENT *event)
{
    int row = event->y - 1;
    bool inside = event->x < app->picture_columns && row >= 0 && row < app->picture_rows &&
                  event->y < app->covered;
    if (app->report && event->bstate & BUTTON1_PRESSED && event->y >= app->covered) {
        free(app->report); /* a click on what is told puts it away, as a key does */
        app->report = NULL;
        app->stale = true;
        return;
    }
    if (inside && !app->drag.held)
        pairs_tool_under(app, event->x);
    if (event->bstate & (BUTTON4_PRESSED | BUTTON5_PRESSED)) {
        if (inside)
            view_zoom_at(app, event->x, row, event->bstate & BUTTON4_PRESSED ? 1.2 : 1 / 1.2);
    } else if (event->bstate & BUTTON1_PRESSED && !inside && app->panel_columns) {
        click_panel(app, event->y);
    } else if (event->bstate & BUTTON1_PRESSED && inside) {
        app->drag = (struct drag){.column = event->x, .row = row, .held = true};
    } else if (app->drag.held) {
        drag(app, event->x, row);
        if (event->bstate & BUTTON1_RELEASED) {
            app->drag.held = false;
            if (!app->drag.moved && inside)
                point_click(app, event->x, row);
        }
    }
}

void mouse_event(struct app *app)
{
    MEVENT event[16]; /* curses gathers what comes quickly and hands it out the latest first */
    int count = 0;
    while (count < 16 && getmouse(&event[count]) == OK)
        count++;
    if (app->pager.on || app->question.on)
        return;
    while (count-- > 0)
        one_event(app, &event[count]);
}
