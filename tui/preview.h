/* What the line in the prompt would make, drawn over the picture before it is made. */
#ifndef FETTLE_TUI_PREVIEW_H
#define FETTLE_TUI_PREVIEW_H

#include "op/sketch.h"

struct app;
struct scene;

struct preview {
    char *line; /* whose sketch is drawn, points in their places; NULL: none */
    bool told;  /* something was said of it: it is drawn, or what speaks against it */
};

/* The line in the prompt is another: what it says is drawn with the next picture. */
void preview_update(struct app *app);

/* Draws this line's sketch from now on; NULL: none. */
void preview_set(struct app *app, const char *line);

/* In the paint lane: the sketch of the line, and what there is to say of it in `said` ("" when
 * nothing: it is not a whole line yet). False: something speaks against it. */
bool preview_sketch(const char *line, const struct scene *scene, struct sketch *sketch, char *said,
                    size_t size, struct job *job);

#endif
