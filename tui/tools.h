/* The tools that are used on the picture: the pointer, the cutting plane, the walk from finding to
 * finding. Their keys are rows of acts.def. */
#ifndef FETTLE_TUI_TOOLS_H
#define FETTLE_TUI_TOOLS_H

#include "raster/raster.h"

struct app;

/* The marks to draw: the places of the finding looked at, and the picked point. At most `most`;
 * returns how many. */
size_t tools_marks(struct app *app, struct raster_mark *mark, size_t most);

/* One line on what the tool in hand shows ("" when none is out). */
void tools_line(struct app *app, char *text, size_t size);

/* Draws the pointer over the picture. */
void tools_draw(struct app *app);

struct op;

/* Takes out the plane for an operation of tool OP_PLANE, in the middle of what is there. */
void plane_begin(struct app *app, const struct op *op);

/* Takes out the pointer for an operation of tool OP_POINT, which runs when the point is put. */
void point_begin(struct app *app, const struct op *op);

/* Puts the picked point where the pointer is; false: no surface there (and says so). */
bool point_pick(struct app *app);

/* Moves the pointer to a cell of the picture. */
void point_to(struct app *app, int column, int row);

#endif
