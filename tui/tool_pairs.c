/* Putting pairs of points on two pieces that stand side by side. */
#include <curses.h>
#include <stdio.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/draw.h"
#include "tui/text.h"
#include "tui/tools.h"

enum { LIST_FROM = 64 }; /* columns of a screen that has room for the list */

int pairs_tool_side(const struct app *app)
{
    return app->where == WHERE_PAIRS ? app->pairs.active : 0;
}

const struct camera *pairs_tool_camera(const struct app *app, int side)
{
    return side == pairs_tool_side(app) ? &app->view.camera : &app->pairs.side[side].camera;
}

char pairs_tool_label(size_t pair)
{
    return (char)(pair < 9 ? '1' + (int)pair : 'a' + (int)pair - 9);
}

static const struct piece *piece_of(const struct app *app, int side)
{
    return app->scene->piece[app->pairs.side[side].piece];
}

/* --- taking it out -------------------------------------------------------------------------- */

static void forget(struct pairs_tool *tool)
{
    for (int k = 0; k < 2; k++) {
        piece_free(tool->side[k].held);
        tool->side[k].held = NULL;
        tool->side[k].count = 0;
    }
    tool->chosen = 0;
}

void pairs_tool_release(struct pairs_tool *tool)
{
    forget(tool);
}

/* The first piece in sight beside `other`, locked or not as wished; the scene's count: none. */
static size_t first_piece(const struct scene *scene, size_t other, bool locked)
{
    size_t i = 0;
    while (i < scene->count &&
           (i == other || scene->piece[i]->hidden || scene->piece[i]->locked != locked))
        i++;
    return i;
}

/* The piece that moves and the one that stays: the chosen one moves unless it is locked, else the
 * second in sight does; a locked one stays before all others. False: there are no two, or all are
 * locked. */
static bool choose_pieces(const struct scene *scene, size_t *moving, size_t *fixed)
{
    size_t none = scene->count, chosen = scene->selected ? scene->selected - 1 : none;
    bool held = chosen < none && scene->piece[chosen]->locked;
    size_t a = held ? none : chosen, b = held ? chosen : first_piece(scene, a, true);
    if (b == none)
        b = first_piece(scene, a, false);
    if (a == none)
        a = first_piece(scene, b, false);
    *moving = a;
    *fixed = b;
    return a < none && b < none;
}

static void say_why_none(struct app *app, size_t fixed)
{
    const struct scene *scene = app->scene;
    if (fixed < scene->count && first_piece(scene, fixed, true) < scene->count)
        app_say(app, true, "all pieces are locked; unlock the one that is to move: Tab, k");
    else
        app_say(app, true, "two pieces must be in sight: :open another, or :show brings all back");
}

/* Those that were paired last, while none is chosen: what fits them best follows. */
static bool last_pieces(const struct app *app, size_t *moving, size_t *fixed)
{
    const struct pairs_tool *tool = &app->pairs;
    bool there = app->scene->selected == 0;
    for (int k = 0; k < 2 && there; k++) {
        const struct pairs_side *side = &tool->side[k];
        there = side->held && side->piece < app->scene->count &&
                strcmp(side->held->name, app->scene->piece[side->piece]->name) == 0;
    }
    *moving = tool->side[tool->moves].piece;
    *fixed = tool->side[!tool->moves].piece;
    return there;
}

static bool has_param(const struct op *op, const char *name)
{
    const struct param *p = op->params;
    while (p && p->name && strcmp(p->name, name) != 0)
        p++;
    return p && p->name;
}

bool pairs_tool_line(const struct app *app, const struct op *op, char *line, size_t size)
{
    size_t moving, fixed;
    if (!has_param(op, "moving") || !has_param(op, "fixed"))
        return false;
    if (!last_pieces(app, &moving, &fixed) && !choose_pieces(app->scene, &moving, &fixed))
        return false;
    return snprintf(line, size, "%s moving=%zu fixed=%zu ", op->name, moving + 1, fixed + 1) > 0;
}

/* The pieces stand on their sides: the one that moves on the left. Points on other surfaces go. */
static void set_pieces(struct app *app, size_t moving, size_t fixed)
{
    struct pairs_tool *tool = &app->pairs;
    const size_t piece[2] = {moving, fixed};
    bool same = true;
    for (int k = 0; k < 2; k++) {
        const struct pairs_side *side = &tool->side[k];
        same = same && side->held && side->piece == piece[k] &&
               app_same_surface(side->held->mesh, app->scene->piece[piece[k]]->mesh);
    }
    if (same)
        return;
    forget(tool);
    tool->moves = 0;
    for (int k = 0; k < 2; k++) {
        tool->side[k].piece = piece[k];
        tool->side[k].held = piece_share(app->scene->piece[piece[k]]);
    }
}

static void put_pointer_in_the_middle(struct app *app, int side)
{
    int column, columns;
    view_span(app, side, &column, &columns);
    app->pairs.side[side].column = column + columns / 2;
    app->pairs.side[side].row = app->picture_rows / 2;
}

static void go_to_side(struct app *app, int side)
{
    struct pairs_tool *tool = &app->pairs;
    struct pairs_side *left = &tool->side[tool->active], *now = &tool->side[side];
    if (side == tool->active)
        return;
    left->camera = app->view.camera;
    left->column = app->point.column;
    left->row = app->point.row;
    tool->active = side;
    app->view.camera = now->camera;
    point_to(app, now->column, now->row);
    view_touch(app);
}

/* Shows both pieces whole, from where they are seen or from the front right, and ends on a side. */
static void show_sides(struct app *app, void (*show)(struct app *app), int active)
{
    struct pairs_tool *tool = &app->pairs;
    tool->side[tool->active].camera = app->view.camera;
    for (int k = 0; k < 2; k++) {
        tool->active = k;
        app->view.camera = tool->side[k].camera;
        show(app);
        tool->side[k].camera = app->view.camera;
        put_pointer_in_the_middle(app, k);
    }
    tool->active = active;
    app->view.camera = tool->side[active].camera;
    point_to(app, tool->side[active].column, tool->side[active].row);
}

int pairs_tool_list(const struct app *app)
{
    return app->columns >= LIST_FROM && !app->pairs.wide ? 22 : 0;
}

void pairs_tool_layout(struct app *app)
{
    show_sides(app, view_fit, app->pairs.active);
}

/* The side on which the next point is due. */
static int due(const struct pairs_tool *tool)
{
    return tool->side[1].count < tool->side[0].count;
}

void pairs_tool_begin(struct app *app, const struct op *op)
{
    struct pairs_tool *tool = &app->pairs;
    size_t moving, fixed;
    if (!choose_pieces(app->scene, &moving, &fixed)) {
        say_why_none(app, fixed);
        return;
    }
    set_pieces(app, moving, fixed);
    tool->op = op;
    tool->kept = app->view.camera;
    tool->kept_whole = app->view.whole;
    for (int k = 0; k < 2; k++)
        tool->side[k].camera = app->view.camera;
    preview_set(app, NULL);
    app->where = WHERE_PAIRS;
    app->walk.on = false;
    app->arrows_other = false;
    draw_layout(app);
    show_sides(app, view_whole, due(tool));
}

void pairs_tool_end(struct app *app)
{
    if (app->where != WHERE_PAIRS)
        return;
    app->where = WHERE_LOOK;
    app->view.camera = app->pairs.kept;
    app->view.whole = app->pairs.kept_whole;
    memset(app->view.close, 0, sizeof app->view.close);
    draw_layout(app);
}

void pairs_tool_scene(struct app *app, const struct scene *now)
{
    bool same = true;
    for (int k = 0; k < 2 && app->where == WHERE_PAIRS; k++) {
        const struct pairs_side *side = &app->pairs.side[k];
        same = same && side->piece < now->count &&
               app_same_surface(side->held->mesh, now->piece[side->piece]->mesh);
    }
    if (!same)
        pairs_tool_end(app);
}

void pairs_tool_under(struct app *app, int column)
{
    int from, columns;
    view_span(app, 1, &from, &columns);
    if (app->where == WHERE_PAIRS)
        go_to_side(app, column >= from);
}

/* --- points --------------------------------------------------------------------------------- */

static size_t points_put(const struct pairs_tool *tool)
{
    return tool->side[0].count + tool->side[1].count;
}

static size_t pairs_begun(const struct pairs_tool *tool)
{
    size_t a = tool->side[0].count, b = tool->side[1].count;
    return a > b ? a : b;
}

/* What the pointer points at. False: nothing, or the picture of this piece is not there yet. */
static bool pick(struct app *app, struct vec *at)
{
    size_t piece;
    return view_pick(app, app->point.column, app->point.row, &piece, NULL, at) &&
           piece == app->pairs.side[app->pairs.active].piece;
}

void pairs_tool_put(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    struct pairs_side *side = &tool->side[tool->active], *other = &tool->side[!tool->active];
    struct vec at;
    if (!pick(app, &at)) {
        app_say(app, true, "there is no surface under the pointer; move it onto the piece");
        return;
    }
    if (side->count == PAIRS_MOST) {
        app_say(app, true, "%d points are put on this piece already", PAIRS_MOST);
        return;
    }
    tool->order[points_put(tool)] = (uint8_t)tool->active;
    side->at[side->count++] = at;
    tool->chosen = side->count - 1;
    view_close_up_end(app);
    if (other->count <= side->count) /* its partner is next, or the first of another pair */
        go_to_side(app, !tool->active);
    view_touch(app);
}

static void take_out(struct pairs_side *side, size_t i)
{
    if (i >= side->count)
        return;
    memmove(side->at + i, side->at + i + 1, (side->count - i - 1) * sizeof *side->at);
    side->count--;
}

/* Takes the n-th point of a side out of the order. */
static void take_out_of_order(struct pairs_tool *tool, int side, size_t n)
{
    size_t count = points_put(tool), i = 0;
    for (; i < count; i++)
        if (tool->order[i] == side && n-- == 0)
            break;
    if (i < count)
        memmove(tool->order + i, tool->order + i + 1, count - i - 1);
}

static void choose_within(struct pairs_tool *tool)
{
    size_t begun = pairs_begun(tool);
    if (tool->chosen >= begun)
        tool->chosen = begun ? begun - 1 : 0;
}

void act_pair_back(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    size_t count = points_put(tool);
    if (count == 0) {
        app_say(app, false, "no point is put");
        return;
    }
    int side = tool->order[count - 1];
    size_t last = --tool->side[side].count;
    go_to_side(app, side);
    choose_within(tool);
    app_say(app, false, "point %c on %s is taken back", pairs_tool_label(last),
            piece_of(app, side)->name);
    view_touch(app);
}

void act_pair_drop(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    size_t pair = tool->chosen;
    if (pair >= pairs_begun(tool)) {
        app_say(app, false, "no pair is put");
        return;
    }
    for (int k = 0; k < 2; k++)
        if (pair < tool->side[k].count) {
            take_out_of_order(tool, k, pair);
            take_out(&tool->side[k], pair);
        }
    choose_within(tool);
    app_say(app, false, "pair %c is dropped; those after it count one less",
            pairs_tool_label(pair));
    view_touch(app);
}

static void choose_pair(struct app *app, size_t step)
{
    size_t begun = pairs_begun(&app->pairs);
    if (begun)
        app->pairs.chosen = (app->pairs.chosen + step) % begun;
    view_touch(app);
}

/* --- keys ----------------------------------------------------------------------------------- */

/* A table of keys. */
/* clang-format off */
void act_pair_left(struct app *app) { point_to(app, app->point.column - 1, app->point.row); }
void act_pair_right(struct app *app) { point_to(app, app->point.column + 1, app->point.row); }
void act_pair_up(struct app *app) { point_to(app, app->point.column, app->point.row - 1); }
void act_pair_down(struct app *app) { point_to(app, app->point.column, app->point.row + 1); }
void act_pair_put(struct app *app) { pairs_tool_put(app); }
void act_pair_side(struct app *app) { go_to_side(app, !app->pairs.active); }
void act_pair_near(struct app *app) { view_close_up(app); }
void act_pair_next(struct app *app) { choose_pair(app, 1); }
void act_pair_previous(struct app *app) { choose_pair(app, pairs_begun(&app->pairs) - 1); }
/* clang-format on */

/* On a narrow screen the list lies over the pictures. */
void pairs_tool_fold(struct app *app)
{
    if (app->columns < LIST_FROM) {
        app->panel_over = !app->panel_over;
        return;
    }
    app->pairs.wide = !app->pairs.wide;
    draw_layout(app);
}

/* The axes of a camera as the motion takes them. */
static void carry(struct camera *camera, const struct rigid *motion, bool back)
{
    struct rigid inverse = rigid_inverse(motion);
    const struct rigid *way = back ? &inverse : motion;
    struct vec axis[3];
    camera_axes(camera, &axis[0], &axis[1], &axis[2]);
    for (int k = 0; k < 3; k++)
        axis[k] = rigid_direction(way, axis[k]);
    camera_set_axes(camera, axis[0], axis[1], axis[2]);
    camera->centre = rigid_apply(way, camera->centre);
}

/* Seen alike, two places that should be the same can be compared, and the pairs so far too. */
void act_pair_alike(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    struct pairs_solution solution = pairs_tool_solve(tool);
    if (!solution.solved) {
        app_say(app, true, "three pairs or more tell how it is seen alike; there %s %zu",
                solution.pairs == 1 ? "is" : "are", solution.pairs);
        return;
    }
    app->view.camera = tool->side[!tool->active].camera;
    carry(&app->view.camera, &solution.horn.motion, tool->active == tool->moves);
    app->view.whole = false;
    app->view.close[tool->active].on = false;
    view_touch(app);
}

/* The other piece moves, and this one stays. */
void act_pair_exchange(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    const struct piece *other = piece_of(app, !tool->moves);
    if (other->locked) {
        app_say(app, true, "%s is locked; it stays", other->name);
        return;
    }
    tool->moves = !tool->moves;
    app_say(app, false, "%s moves, %s stays", other->name, piece_of(app, !tool->moves)->name);
}

/* The next piece in sight on the active side; a locked one never where the one that moves stands.
 */
void act_pair_other(struct app *app)
{
    struct pairs_tool *tool = &app->pairs;
    const struct scene *scene = app->scene;
    size_t from = tool->side[tool->active].piece, other = tool->side[!tool->active].piece;
    bool moves = tool->active == tool->moves;
    size_t i = (from + 1) % scene->count;
    while (i != from &&
           (i == other || scene->piece[i]->hidden || (moves && scene->piece[i]->locked)))
        i = (i + 1) % scene->count;
    if (i == from) {
        app_say(app, false, "there is no other piece for this side");
        return;
    }
    int active = tool->active, mover = tool->moves;
    set_pieces(app, active == 0 ? i : other, active == 0 ? other : i);
    tool->moves = mover;
    show_sides(app, view_whole, active);
}

/* The pairs as a command. */
static bool command(struct app *app, char *line, size_t size)
{
    const struct pairs_tool *tool = &app->pairs;
    const struct pairs_side *from = &tool->side[tool->moves], *to = &tool->side[!tool->moves];
    size_t pairs = from->count < to->count ? from->count : to->count, n;
    if (pairs < 3) {
        app_say(app, true, "%zu pair%s put; three or more are needed, not on one line", pairs,
                pairs == 1 ? " is" : "s are");
        return false;
    }
    n = (size_t)snprintf(line, size, "%s moving=%zu fixed=%zu at=", tool->op->name, from->piece + 1,
                         to->piece + 1);
    for (size_t i = 0; i < pairs && n < size; i++)
        n += (size_t)snprintf(line + n, size - n, "%s%.4f,%.4f,%.4f:%.4f,%.4f,%.4f", i ? ";" : "",
                              from->at[i].x, from->at[i].y, from->at[i].z, to->at[i].x, to->at[i].y,
                              to->at[i].z);
    return n < size;
}

enum { LINE_SIZE = 4096 };

/* The tool stays out until the piece has moved: where the pairs are refused they can be mended. */
void act_pair_place(struct app *app)
{
    char line[LINE_SIZE];
    if (command(app, line, sizeof line))
        app_run(app, line);
}

/* --- what is shown -------------------------------------------------------------------------- */

size_t pairs_tool_marks(const struct app *app, int side, struct raster_mark *mark, size_t most)
{
    const struct pairs_side *s = &app->pairs.side[side];
    size_t n = 0;
    for (; n < s->count && n < most; n++)
        mark[n] = (struct raster_mark){.at = s->at[n],
                                       .glyph = (uint8_t)pairs_tool_label(n),
                                       .chosen = n == app->pairs.chosen};
    return n;
}

void pairs_tool_pointed(struct app *app, char *text, size_t size)
{
    const struct pairs_tool *tool = &app->pairs;
    const char *name = piece_of(app, tool->active)->name;
    char label = pairs_tool_label(tool->side[tool->active].count);
    char pointed[POINTED_TEXT];
    struct vec at;
    if (tool->side[tool->active].count == PAIRS_MOST)
        snprintf(text, size, "all %d points are put on %.60s", PAIRS_MOST, name);
    else
        snprintf(text, size, "point %c on %.40s (%s): %s", label, name,
                 tool->active ? "right" : "left",
                 tools_pointed(app, pick(app, &at) ? &at : NULL, pointed));
}

/* ">> 2 raw-2: moves" within so many columns, the name cut where there is no room. */
static void side_title(const struct app *app, int side, int columns, char *text, size_t size)
{
    const struct pairs_tool *tool = &app->pairs;
    const struct piece *piece = piece_of(app, side);
    char before[32], behind[32];
    snprintf(before, sizeof before, "%s %zu ", side == tool->active ? ">>" : "  ",
             tool->side[side].piece + 1);
    snprintf(behind, sizeof behind, ": %s%s", side == tool->moves ? "moves" : "stays",
             piece->locked ? ", locked" : "");
    int room = columns - (int)strlen(before) - (int)strlen(behind);
    size_t length = strlen(piece->name);
    snprintf(text, size, "%s%.*s%s", before,
             (int)text_fit(piece->name, length, room > 0 ? room : 0), piece->name, behind);
}

void pairs_tool_title(const struct app *app, char *text, size_t size)
{
    char side[2][256];
    int column, columns, width;
    for (int k = 0; k < 2; k++) {
        view_span(app, k, &column, &columns);
        side_title(app, k, columns, side[k], sizeof side[k]);
    }
    width = column - text_columns(side[0], strlen(side[0]));
    snprintf(text, size, "%s%*s%s", side[0], width > 1 ? width : 1, "", side[1]);
}
