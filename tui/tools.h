/* The tools that are used on the picture: the pointer, the cutting plane, the walk from finding to
 * finding. Their keys are rows of acts.def. */
#ifndef FETTLE_TUI_TOOLS_H
#define FETTLE_TUI_TOOLS_H

#include "raster/raster.h"

struct app;

/* The marks to draw in a part of the picture: the places of the finding looked at, and the points
 * put. At most `most`; returns how many. */
size_t tools_marks(struct app *app, int part, struct raster_mark *mark, size_t most);

struct op;

/* The operation that mends what is looked at; NULL: nothing is, or none does. */
const struct op *walk_mends(struct app *app);

/* Goes to the first place of a finding of piece i. */
void walk_to(struct app *app, size_t piece, size_t finding);

/* One line on what the tool in hand shows, how fine it points too ("" when none is out). */
void tools_line(struct app *app, char *text, size_t size);

/* "1.2, 3.4, 5.6 mm; a cell: 2.1 x 4.2 mm": where the pointer points (NULL: beside the part), and
 * how far apart places must be for it to tell them apart. Returns text. */
enum { POINTED_TEXT = 192 };
const char *tools_pointed(const struct app *app, const struct vec *at, char text[POINTED_TEXT]);

/* Draws the pointer over the picture. */
void tools_draw(struct app *app);

/* Takes out the plane for an operation of tool OP_PLANE, in the middle of what is there. */
void plane_begin(struct app *app, const struct op *op);

/* Takes out the pointer for an operation of tool OP_POINT, which runs when the point is put. */
void point_begin(struct app *app, const struct op *op);

/* Puts the pointer away. */
void point_leave(struct app *app);

/* What a click at a cell of the picture does: it is put where the pointer would put it. */
void point_click(struct app *app, int column, int row);

/* The marks of the points that are put; returns how many. */
size_t point_marks(const struct app *app, struct raster_mark *mark, size_t most);

/* Moves the pointer to a cell of the picture, or of the part that the keys are for. */
void point_to(struct app *app, int column, int row);

#endif
