/* The pieces of the scene, where there are several: each with its number as on the picture, whether
 * it is hidden or locked, or its size; the one worked on is marked. */
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

/* Remembers what a click on the lines from `first` on chooses. */
static void remember(struct app *app, const struct area *area, int first, size_t what)
{
    for (int at = first; at < area->at && at < area->rows; at++)
        if (area->row + at < PANEL_ROWS)
            app->row_piece[area->row + at] = what;
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
    remember(app, area, first, i + 2);
}

static void draw(struct app *app, struct area *area)
{
    const struct scene *scene = app->scene;
    for (int row = 0; row < PANEL_ROWS; row++)
        app->row_piece[row] = 0;
    if (scene->count < 2)
        return;
    area_line(area, scene->selected == 0 ? TONE_MARK : TONE_PLAIN, "all");
    remember(app, area, 0, 1);
    for (size_t i = 0; i < scene->count; i++)
        draw_piece(app, area, i);
}

const struct panel panel_pieces = {"PIECES", draw};
