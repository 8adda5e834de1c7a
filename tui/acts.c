#include "tui/acts.h"

#include <curses.h>
#include <stdio.h>
#include <string.h>

#include "tui/keys.h"
#include "tui/manual.h"
#include "tui/panel.h"
#include "tui/tools.h"

static const struct act acts[] = {
#define ACT(symbol, where, key, other, group, hint, help)                                          \
    {#symbol, WHERE_##where, key, other, GROUP_##group, hint, help, act_##symbol},
#include "tui/acts.def"
#undef ACT
};

const struct act *act_row(size_t i)
{
    return i < sizeof acts / sizeof *acts ? &acts[i] : NULL;
}

const struct act *act_for(enum where where, int key)
{
    for (size_t i = 0; act_row(i); i++)
        if ((acts[i].where == where || acts[i].where == WHERE_ALWAYS) &&
            (acts[i].key == key || acts[i].other == key))
            return &acts[i];
    return NULL;
}

const struct op *act_operation(int key)
{
    for (size_t i = 0; op_row(i); i++)
        if (op_row(i)->key && key == (unsigned char)op_row(i)->key[0])
            return op_row(i);
    return NULL;
}

const struct param *act_place_param(const struct op *op)
{
    for (const struct param *p = op->params; p && p->name; p++)
        if (p->kind == PARAM_PLACE || p->kind == PARAM_PLACES)
            return p;
    return NULL;
}

/* The points that are put, where the operation wants one or more of a piece: "on=@ ", "at=@1;@2 ".
 */
static void points_text(const struct app *app, const struct op *op, char *text, size_t size)
{
    const struct param *p = act_place_param(op);
    size_t count = app->points.count;
    text[0] = '\0';
    if (!p || count == 0 || app_pieces(app) != 1)
        return;
    if (p->kind == PARAM_PLACE || count == 1) {
        snprintf(text, size, "%s=@ ", p->name);
        return;
    }
    size_t n = (size_t)snprintf(text, size, "%s=", p->name);
    for (size_t i = 1; i <= count && n < size; i++)
        n += (size_t)snprintf(text + n, size - n, "@%zu%s", i, i < count ? ";" : " ");
}

void act_line_with(const struct op *op, const char *values, char *line, size_t size)
{
    size_t n = (size_t)snprintf(line, size, "%s %s", op->name, values);
    /* What must be typed comes first. */
    bool asks = op->params && op->params->name && !op->params->standard;
    for (const struct param *p = op->params; !asks && p && p->name && n < size; p++)
        if (p->standard)
            n += (size_t)snprintf(line + n, size - n, "%s=%s ", p->name, p->standard);
}

void act_operation_line(const struct app *app, const struct op *op, char *line, size_t size)
{
    char points[8 * POINTS_MOST];
    points_text(app, op, points, sizeof points);
    act_line_with(op, points, line, size);
}

/* --- the view ------------------------------------------------------------------------------- */

static const double step = 7.5 * 3.14159265358979323846 / 180; /* a key's turn */

static void turn(struct app *app, double right, double up, double clockwise)
{
    camera_turn(&app->view.camera, right * step, up * step, clockwise * step);
    view_touch(app);
}

static void pan(struct app *app, double right, double up)
{
    camera_pan(&app->view.camera, 0.1 * right, 0.1 * up);
    app->view.whole = false;
    view_touch(app);
}

static void look(struct app *app, enum camera_side side)
{
    camera_look(&app->view.camera, side);
    view_fit(app);
}

static void arrow(struct app *app, double right, double up)
{
    if (app->where == WHERE_LOOK && app->arrows_other)
        pan(app, right, up);
    else
        turn(app, right, up, 0);
}

/* A table of keys. */
/* clang-format off */
void act_turn_left(struct app *app) { arrow(app, -1, 0); }
void act_turn_right(struct app *app) { arrow(app, 1, 0); }
void act_turn_up(struct app *app) { arrow(app, 0, 1); }
void act_turn_down(struct app *app) { arrow(app, 0, -1); }
void act_roll_left(struct app *app) { turn(app, 0, 0, -1); }
void act_roll_right(struct app *app) { turn(app, 0, 0, 1); }
void act_shift_left(struct app *app) { pan(app, -1, 0); }
void act_shift_right(struct app *app) { pan(app, 1, 0); }
void act_shift_up(struct app *app) { pan(app, 0, 1); }
void act_shift_down(struct app *app) { pan(app, 0, -1); }
void act_nearer(struct app *app) { view_zoom(app, 1.2); }
void act_farther(struct app *app) { view_zoom(app, 1 / 1.2); }
void act_see_whole(struct app *app) { view_whole(app); }
void act_see_round_left(struct app *app) { look(app, camera_next_side(&app->view.camera, -1)); }
void act_see_round_right(struct app *app) { look(app, camera_next_side(&app->view.camera, 1)); }
void act_see_above(struct app *app) { look(app, CAMERA_TOP); }
void act_see_below(struct app *app) { look(app, CAMERA_BOTTOM); }
/* clang-format on */

void act_perspective(struct app *app)
{
    app->view.camera.perspective = !app->view.camera.perspective;
    app_say(app, false, app->view.camera.perspective ? "perspective" : "parallel projection");
    view_touch(app);
}

void act_shade(struct app *app)
{
    app->view.shade = app->view.shade == SHADE_SMOOTH ? SHADE_FLAT : SHADE_SMOOTH;
    app_say(app, false, app->view.shade == SHADE_FLAT ? "faceted light" : "smooth light");
    view_touch(app);
}

void act_paint(struct app *app)
{
    static const char *const names[] = {
        [PAINT_OWN] = "own colours (where the terminal has fewer than 16: as lighter and darker)",
        [PAINT_PLAIN] = "plain",
        [PAINT_PIECE] = "by piece: each in a colour of its own, with its number",
        [PAINT_ORIGIN] =
            "where it is from: measured plain, invented lines across, made upright lines"};
    app->view.paint = (enum paint)((view_paint(app) + 1) % (PAINT_ORIGIN + 1));
    app->view.painted = true;
    app->walk.origin = false;
    if (app->view.paint != view_paint(app)) /* by piece, and there is one */
        app->view.paint = (enum paint)(app->view.paint + 1);
    app_say(app, false, "%s", names[app->view.paint]);
    view_touch(app);
}

void act_blocks(struct app *app)
{
    if (!paint_utf8()) {
        app_say(app, true, "this terminal shows no block glyphs (its character set is not UTF-8)");
        return;
    }
    struct cell_look *look_now = &app->view.look;
    look_now->style = look_now->style == CELLS_ASCII ? CELLS_BLOCKS : CELLS_ASCII;
    view_touch(app);
}

void act_alone(struct app *app)
{
    const struct scene *scene = app->scene;
    if (!scene->selected) {
        app_say(app, false, "choose a piece first: Tab goes from one to the next");
        return;
    }
    if (scene->piece[scene->selected - 1]->hidden) {
        app_say(app, false, "it is out of sight; t brings it back");
        return;
    }
    app->view.alone = !app->view.alone;
    app_say(app, false, app->view.alone ? "%.60s alone; l: with the others" : "with the others",
            scene->piece[scene->selected - 1]->name);
    view_fit(app);
}

void act_furniture(struct app *app)
{
    app->view.furniture = !app->view.furniture;
    view_touch(app);
}

/* --- the work ------------------------------------------------------------------------------- */

void act_panel(struct app *app)
{
    size_t count = (size_t)panels_count();
    if (app->where == WHERE_PAIRS)
        pairs_tool_fold(app);
    else if (app->panel_columns) {
        app->panel = (app->panel + 1) % count;
    } else if (!app->panel_over) { /* picture, first panel ... last panel, picture */
        app->panel_over = true;
        app->panel = 0;
    } else {
        app->panel = (app->panel + 1) % count;
        app->panel_over = app->panel != 0;
    }
    app->stale = true;
}

void act_prompt(struct app *app)
{
    prompt_open(&app->prompt, "");
    app->stale = true;
}

/* With a tool out its keys come first. */
static void help_tool(FILE *out, enum where where)
{
    static const char *const titles[] = {
        [WHERE_POINT] = "KEYS OF THE POINTER",
        [WHERE_PLANE] = "KEYS OF THE PLANE",
        [WHERE_PAIRS] = "KEYS OF THE PAIRS",
    };
    if (where == WHERE_LOOK)
        return;
    fprintf(out, "%s\n", titles[where]);
    act_list(out, where);
    fprintf(out, "  %-17s put it away\n  %-17s the arrows turn what is seen, or move again\n\n",
            "Esc", "v");
}

/* The manual of an operation, or with NULL all keys, those of the tool in hand first. */
static char *help_text(const struct app *app, const struct op *op)
{
    char *text = NULL;
    size_t size;
    FILE *out = open_memstream(&text, &size);
    if (!out)
        return NULL;
    if (op) {
        manual_op(out, op);
    } else {
        help_tool(out, app->where);
        manual_keys(out);
    }
    fclose(out);
    return text;
}

void app_help(struct app *app, const char *name)
{
    const struct op *op = op_named(name, strlen(name));
    pager_open(&app->pager, op ? name : "all keys", help_text(app, op));
    app->stale = true;
    if (!op && app->pager.on && !pager_find(&app->pager, name)) {
        pager_close(&app->pager);
        app_say(app, true, "\"%s\": no such operation, and no key has to do with it; ? shows all",
                name);
    }
}

void act_help(struct app *app)
{
    app_help(app, "");
}

void act_redraw(struct app *app)
{
    clearok(stdscr, TRUE);
    app->stale = true;
    view_touch(app);
}

void act_swap_arrows(struct app *app)
{
    bool tool = app->where != WHERE_LOOK;
    app->arrows_other = !app->arrows_other;
    app_say(app, false,
            app->arrows_other ? tool ? "arrows turn the part; v: they move the tool again"
                                     : "arrows shift the picture; v: they turn the part again"
            : tool            ? "arrows move the tool"
                              : "arrows turn the part");
}
