/* Walking from finding to finding: each place is brought before the eye and marked. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/text.h"
#include "tui/tools.h"

/* What is known of piece i, where the walk goes and there is something to see; else NULL. */
static const struct inspection *faults_of(struct app *app, size_t i)
{
    bool whole;
    const struct inspection *inspection =
        app_works_on(app, i) ? study_inspection(app, app->scene->piece[i], &whole) : NULL;
    return inspection && inspection->finding_count ? inspection : NULL;
}

static void tell_nothing(struct app *app)
{
    bool whole = true, known = true, this_whole;
    for (size_t i = 0; i < app->scene->count; i++) {
        if (!app_works_on(app, i))
            continue;
        known = study_inspection(app, app->scene->piece[i], &this_whole) && known;
        whole = whole && this_whole;
    }
    app_say(app, false,
            app_pieces(app) == 0 ? "nothing is open"
            : !known             ? "the part is still being inspected"
            : !whole             ? "no fault so far; still looking"
                                 : "there is nothing to find fault with");
}

/* The next piece with findings from `from` on, round about; false: none has any. */
static bool seek(struct app *app, size_t from, bool ahead, size_t *found)
{
    size_t count = app->scene->count;
    for (size_t n = 0; n < count; n++) {
        *found = (from + (ahead ? n : count - n)) % count;
        if (faults_of(app, *found))
            return true;
    }
    return false;
}

static struct vec middle_of(const struct mesh *mesh, uint32_t triangle)
{
    const uint32_t *v = mesh_triangle(mesh)[triangle].v;
    struct vec sum = vec(0, 0, 0);
    for (int k = 0; k < 3; k++)
        sum = vec_add(sum, point_vec(mesh_point(mesh)[v[k]]));
    return vec_scale(sum, 1.0 / 3);
}

/* The surface's normal at a place, in the middle of its triangle; zero where there is none. */
static struct vec normal_at(const struct mesh *mesh, const struct place *place)
{
    if (place->triangle >= mesh_triangles(mesh))
        return vec(0, 0, 0);
    const uint32_t *v = mesh_triangle(mesh)[place->triangle].v;
    struct vec p[3];
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(mesh)[v[k]]);
    return vec_unit(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])));
}

/* Without the sign of a zero that two digits make. */
static double positive(double x)
{
    return fabs(x) < 0.005 ? 0 : x;
}

/* "piece 2: Holes 3 of 64 at 1.2, 3.4, 5.6 mm, 7.8 mm across: ..."; the first of a kind with what
 * it means and what mends it. */
static void tell(struct app *app, const struct finding *finding, const struct place *place,
                 struct vec at)
{
    const struct walk *walk = &app->walk;
    char piece[32] = "", where[160] = "", across[TEXT_SIZE + 16] = "", size[TEXT_SIZE];
    if (app_pieces(app) > 1)
        snprintf(piece, sizeof piece, "piece %zu: ", walk->piece + 1);
    if (place && place->reach > 0) {
        text_length(2 * (double)place->reach, size);
        snprintf(across, sizeof across, ", %s across", size);
    }
    if (place)
        snprintf(where, sizeof where, " %zu of %llu at %.2f, %.2f, %.2f mm%s", walk->place + 1,
                 (unsigned long long)finding->count, positive(at.x), positive(at.y), positive(at.z),
                 across);
    app_say(app, finding->severity == SEVERITY_ERROR, "%s%s%s: %s%s%s", piece,
            finding->check->title, where, finding->text, walk->place == 0 ? ". " : "",
            walk->place == 0 ? finding->check->help : "");
}

static void show(struct app *app, const struct inspection *inspection)
{
    const struct finding *finding = &inspection->finding[app->walk.finding];
    bool placed = app->walk.place < finding->place_count; /* else it is about the whole part */
    const struct place *place = placed ? &finding->places[app->walk.place] : NULL;
    struct vec at = placed ? mesh_world(inspection->mesh, point_vec(place->at)) : vec(0, 0, 0);
    app->walk.on = true;
    app->walk.kind = finding->check;
    app->walk.origin = strcmp(finding->check->name, "invented") == 0;
    tell(app, finding, place, at);
    if (placed)
        view_look_at(app, at, normal_at(inspection->mesh, place), place->reach);
    app->stale = true;
}

static void to_kind(struct app *app, const struct inspection *inspection, size_t finding, bool last)
{
    size_t places = inspection->finding[finding].place_count;
    app->walk.finding = finding;
    app->walk.place = last && places ? places - 1 : 0;
    show(app, inspection);
}

void walk_to(struct app *app, size_t piece, size_t finding)
{
    const struct inspection *inspection = faults_of(app, piece);
    if (!inspection || finding >= inspection->finding_count)
        return;
    app->walk.piece = piece;
    to_kind(app, inspection, finding, false);
}

/* To the first finding of the next piece that has any, or to the last of the one before. */
static void to_piece(struct app *app, size_t from, bool ahead, bool last)
{
    if (!seek(app, from, ahead, &app->walk.piece)) {
        tell_nothing(app);
        return;
    }
    const struct inspection *inspection = faults_of(app, app->walk.piece);
    to_kind(app, inspection, ahead ? 0 : inspection->finding_count - 1, last);
}

/* After a step on to what has come into the place of what was mended: the same kind, the same place
 * in its list. False: there is no more of the kind. */
static bool go_on(struct app *app)
{
    struct walk *walk = &app->walk;
    const struct inspection *inspection =
        walk->kind && walk->piece < app->scene->count ? faults_of(app, walk->piece) : NULL;
    for (size_t f = 0; inspection && f < inspection->finding_count; f++) {
        size_t places = inspection->finding[f].place_count;
        if (inspection->finding[f].check != walk->kind)
            continue;
        walk->finding = f;
        walk->place = walk->place < places ? walk->place : places ? places - 1 : 0;
        show(app, inspection);
        return true;
    }
    return false;
}

static void go(struct app *app, bool ahead, bool by_kind)
{
    struct walk *walk = &app->walk;
    size_t pieces = app->scene->count;
    const struct inspection *inspection = walk->on ? faults_of(app, walk->piece) : NULL;
    if (!walk->on && ahead && !by_kind && go_on(app))
        return;
    if (!inspection || walk->finding >= inspection->finding_count) {
        to_piece(app, ahead || !pieces ? 0 : pieces - 1, ahead, !ahead);
        return;
    }
    size_t places = inspection->finding[walk->finding].place_count;
    bool more = ahead ? walk->place + 1 < places : walk->place > 0;
    bool kinds = ahead ? walk->finding + 1 < inspection->finding_count : walk->finding > 0;
    if (!by_kind && more) {
        walk->place += ahead ? 1 : (size_t)-1;
        show(app, inspection);
    } else if (kinds) {
        to_kind(app, inspection, ahead ? walk->finding + 1 : walk->finding - 1, !ahead && !by_kind);
    } else {
        to_piece(app, (walk->piece + (ahead ? 1 : pieces - 1)) % pieces, ahead, !ahead && !by_kind);
    }
}

/* --- what mends it -------------------------------------------------------------------------- */

/* What is looked at; NULL: nothing is. */
static const struct finding *looked_at(struct app *app)
{
    const struct inspection *inspection = app->walk.on ? faults_of(app, app->walk.piece) : NULL;
    return inspection && app->walk.finding < inspection->finding_count
               ? &inspection->finding[app->walk.finding]
               : NULL;
}

const struct op *walk_mends(struct app *app)
{
    const struct finding *finding = looked_at(app);
    const char *name = finding ? finding->check->mend : NULL;
    return name ? op_named(name, strlen(name)) : NULL;
}

/* "at=1,2,3 piece=2 ": on its surface there, in the middle of a triangle. */
static void values_there(struct app *app, const struct op *op, const struct finding *finding,
                         char *text, size_t size)
{
    bool whole;
    const struct piece *piece = app->scene->piece[app->walk.piece];
    const struct mesh *mesh = study_inspection(app, piece, &whole)->mesh;
    const struct param *place = act_place_param(op);
    size_t n = 0, which = app->walk.place;
    text[0] = '\0';
    if (place && which < finding->place_count &&
        finding->places[which].triangle < mesh_triangles(mesh)) {
        struct vec at = mesh_world(mesh, middle_of(mesh, finding->places[which].triangle));
        n = (size_t)snprintf(text, size, "%s=%.3f,%.3f,%.3f ", place->name, at.x, at.y, at.z);
    }
    for (const struct param *p = op->params; p && p->name; p++)
        if (p->kind == PARAM_PIECE && strcmp(p->name, "piece") == 0 && app_pieces(app) > 1)
            snprintf(text + n, size - n, "piece=%zu ", app->walk.piece + 1);
}

void act_mend_this(struct app *app)
{
    char values[192], line[512];
    if (!app->walk.on)
        go(app, true, false);
    const struct finding *finding = looked_at(app);
    const struct op *op = walk_mends(app);
    if (!finding)
        return; /* which is told */
    if (!op) {
        app_say(app, false, "%s: nothing needs mending", finding->check->title);
        return;
    }
    app_say(app, false, "%s", ""); /* the line below it lists what it can be told */
    values_there(app, op, finding, values, sizeof values);
    act_line_with(op, values, line, sizeof line);
    prompt_open(&app->prompt, line);
    preview_update(app);
    app->stale = true;
}

/* A table of keys. */
/* clang-format off */
void act_next_finding(struct app *app) { go(app, true, false); }
void act_previous_finding(struct app *app) { go(app, false, false); }
void act_next_kind(struct app *app) { go(app, true, true); }
void act_previous_kind(struct app *app) { go(app, false, true); }
/* clang-format on */

size_t tools_marks(struct app *app, int part, struct raster_mark *mark, size_t most)
{
    if (app->where == WHERE_PAIRS)
        return pairs_tool_marks(app, part, mark, most);
    size_t n = point_marks(app, mark, most);
    bool whole;
    const struct walk *walk = &app->walk;
    const struct inspection *inspection =
        walk->on && walk->piece < app->scene->count
            ? study_inspection(app, app->scene->piece[walk->piece], &whole)
            : NULL;
    if (!inspection || walk->finding >= inspection->finding_count)
        return n;
    const struct finding *finding = &inspection->finding[walk->finding];
    for (size_t i = 0; i < finding->place_count && n < most; i++) {
        /* the chosen one first, so that it is always among those drawn */
        size_t j = i == 0 ? walk->place : i <= walk->place ? i - 1 : i;
        if (j >= finding->place_count)
            continue;
        const struct place *place = &finding->places[j];
        mark[n++] = (struct raster_mark){.at = mesh_world(inspection->mesh, point_vec(place->at)),
                                         .reach = place->reach,
                                         .glyph = 'x',
                                         .chosen = j == walk->place};
    }
    return n;
}

/* Of coordinates: no more than the pointer can tell apart, and no less. */
static int places_of(double cell)
{
    return cell >= 1 ? 1 : cell >= 0.1 ? 2 : 3;
}

const char *tools_pointed(const struct app *app, const struct vec *at, char text[POINTED_TEXT])
{
    double wide = view_cell(app);
    int places = places_of(wide), few = wide >= 9.95 ? 0 : wide >= 0.0995 ? 1 : 3;
    int n = 0;
    if (at)
        n = snprintf(text, POINTED_TEXT, "%.*f, %.*f, %.*f mm", places, positive(at->x), places,
                     positive(at->y), places, positive(at->z));
    else
        n = snprintf(text, POINTED_TEXT, "beside the part");
    snprintf(text + n, (size_t)(POINTED_TEXT - n), "; a cell: %.*f x %.*f mm", few, wide, few,
             2 * wide);
    return text;
}

void tools_line(struct app *app, char *text, size_t size)
{
    const struct plane_tool *plane = &app->plane;
    struct vec world;
    char pointed[POINTED_TEXT];
    text[0] = '\0';
    if (app->where == WHERE_PAIRS)
        pairs_tool_pointed(app, text, size);
    else if (app->where == WHERE_PLANE)
        snprintf(text, size,
                 "%s through %.2f, %.2f, %.2f mm, normal %.2f, %.2f, %.2f: the pale side goes",
                 plane->op->name, positive(plane->through.x), positive(plane->through.y),
                 positive(plane->through.z), positive(plane->normal.x), positive(plane->normal.y),
                 positive(plane->normal.z));
    else if (app->where == WHERE_POINT) {
        bool on = view_pick(app, app->point.column, app->point.row, NULL, NULL, &world);
        snprintf(text, size, "%s%spointing %s%s", app->point.op ? app->point.op->name : "",
                 app->point.op ? ": " : "", on ? "at " : "",
                 tools_pointed(app, on ? &world : NULL, pointed));
    }
}
