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

/* Where the list would leave little room for the panels below it, what is out of sight is short. */
static void draw(struct app *app, struct area *area)
{
    const struct scene *scene = app->scene;
    if (scene->count < 2)
        return;
    bool brief = (int)scene->count + 1 > area->rows / 3;
    area_line(area, scene->selected == 0 ? TONE_MARK : TONE_PLAIN, "all");
    area_click(app, area, 0, &(struct row){ROW_PIECE, 0, 0});
    for (size_t i = 0; i < scene->count;)
        if (brief && aside(scene, i) && i + 1 < scene->count && aside(scene, i + 1))
            i = draw_aside(area, scene, i);
        else
            draw_piece(app, area, i++);
}

const struct panel panel_pieces = {"PIECES", draw};
