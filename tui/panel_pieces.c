/* The pieces of the scene, where there are several: each with its number as on the picture, whether
 * it is hidden or locked, or its size; the one worked on is marked. A click chooses. */
#include <curses.h>
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

/* What stands to the right: how large it is, or what is not as usual. */
static void state(const struct piece *piece, char text[TEXT_SIZE])
{
    static const char *const words[] = {"", "hidden", "locked", "hidden, locked"};
    size_t triangles = mesh_triangles(piece->mesh);
    int unusual = piece->hidden + 2 * piece->locked;
    if (unusual)
        snprintf(text, TEXT_SIZE, "%s", words[unusual]);
    else
        text_count(triangles ? triangles : mesh_vertices(piece->mesh), text);
}

static void draw_piece(struct app *app, struct area *area, size_t i)
{
    const struct piece *piece = app->scene->piece[i];
    enum tone tone = app->scene->selected == i + 1 ? TONE_MARK
                     : piece->hidden               ? TONE_QUIET
                                                   : TONE_PLAIN;
    char right[TEXT_SIZE], name[128];
    int first = area->at;
    state(piece, right);
    snprintf(name, sizeof name, "    %.100s", piece->name);
    area_pair(area, tone, name, right);
    if (first < area->rows)
        paint_number(area->row + first, area->column, i + 1,
                     view_paint(app) == PAINT_PIECE && !piece->hidden);
    area_click(app, area, first, &(struct row){ROW_PIECE, i + 1, 0});
}

/* Whether a piece is only there to be brought back. */
static bool aside(const struct scene *scene, size_t i)
{
    return scene->piece[i]->hidden && scene->selected != i + 1;
}

/* Those in a row that are out of sight as one line, "1-4   hidden"; returns the one behind them. */
static size_t draw_aside(struct area *area, const struct scene *scene, size_t i)
{
    char name[64];
    size_t end = i + 1;
    while (end < scene->count && aside(scene, end))
        end++;
    snprintf(name, sizeof name, " %zu-%zu", i + 1, end);
    area_pair(area, TONE_QUIET, name, "hidden");
    return end;
}

/* --- a list that is longer than its room -------------------------------------------------------
 */

enum { LEAST = 4, BELOW = 5 }; /* lines for pieces; for the panels below, where there are as many */

struct list {             /* lines of it: a piece each, or several that are aside */
    size_t first, end;    /* the pieces shown */
    size_t lines, chosen; /* of all; which one the piece is in that is worked on */
};

/* The piece behind the line that begins with it. */
static size_t line_end(const struct scene *scene, bool brief, size_t i)
{
    size_t end = i + 1;
    while (brief && aside(scene, i) && end < scene->count && aside(scene, end))
        end++;
    return end;
}

/* As many lines as there is room for, the chosen piece among them. */
static struct list choose(const struct scene *scene, bool brief, size_t room)
{
    struct list list = {0, scene->count, 0, 0};
    for (size_t i = 0; i < scene->count; i = line_end(scene, brief, i)) {
        if (scene->selected == i + 1)
            list.chosen = list.lines;
        list.lines++;
    }
    if (list.lines <= room)
        return list;
    size_t from = list.chosen > room / 2 ? list.chosen - room / 2 : 0, line = 0;
    from = from < list.lines - room ? from : list.lines - room;
    for (size_t i = 0; i < scene->count; i = line_end(scene, brief, i), line++) {
        if (line == from)
            list.first = i;
        if (line == from + room)
            list.end = i;
    }
    return list;
}

/* "... 12 more", a click on which goes there. */
static void draw_more(struct app *app, struct area *area, size_t count, const char *where,
                      size_t piece)
{
    int first = area->at;
    if (count == 0)
        return;
    area_line(area, TONE_QUIET, "    ... %zu %s", count, where);
    area_click(app, area, first, &(struct row){ROW_PIECE, piece + 1, 0});
}

/* Where the list would leave little room for the panels below it, what is out of sight is short;
 * where it is still too long, the part of it around the chosen piece is shown. */
static void draw(struct app *app, struct area *area)
{
    const struct scene *scene = app->scene;
    if (scene->count < 2)
        return;
    bool brief = (int)scene->count + 1 > area->rows / 3;
    int most = area->rows - 1 > BELOW + LEAST ? area->rows - 1 - BELOW : LEAST;
    struct list list = choose(scene, brief, (size_t)most);
    if (list.first > 0 || list.end < scene->count)
        list = choose(scene, brief, (size_t)(most > LEAST ? most - 2 : LEAST - 1));
    area_line(area, scene->selected == 0 ? TONE_MARK : TONE_PLAIN, "all");
    area_click(app, area, 0, &(struct row){ROW_PIECE, 0, 0});
    draw_more(app, area, list.first, "before", list.first - 1);
    for (size_t i = list.first; i < list.end;)
        if (line_end(scene, brief, i) > i + 1)
            i = draw_aside(area, scene, i);
        else
            draw_piece(app, area, i++);
    draw_more(app, area, scene->count - list.end, "more", list.end);
}

const struct panel panel_pieces = {"PIECES", draw};
