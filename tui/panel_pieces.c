/* The pieces of the scene; the one worked on is marked. */
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

static void draw(struct app *app, struct area *area)
{
    const struct scene *scene = app->scene;
    if (scene->count == 0)
        return;
    area_line(area, scene->selected == 0 ? TONE_MARK : TONE_PLAIN, "all");
    for (size_t i = 0; i < scene->count; i++) {
        const struct piece *piece = scene->piece[i];
        char count[TEXT_SIZE], name[128];
        size_t triangles = mesh_triangles(piece->mesh);
        text_count(triangles ? triangles : mesh_vertices(piece->mesh), count);
        snprintf(name, sizeof name, "%zu %s%s", i + 1, piece->name,
                 piece->hidden ? " (hidden)" : "");
        area_pair(area, scene->selected == i + 1 ? TONE_MARK : TONE_PLAIN, name, count);
    }
}

const struct panel panel_pieces = {"PIECES", draw};
