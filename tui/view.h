/* The picture: where the camera is, what is drawn, and the pictures that the paint lane makes. */
#ifndef FETTLE_TUI_VIEW_H
#define FETTLE_TUI_VIEW_H

#include "raster/cells.h"
#include "tui/plate.h"

struct app;

struct close_up { /* what was seen before it; the part may be turned meanwhile */
    bool on, whole;
    struct vec centre;
    double height;
};

struct view {
    struct camera camera; /* of the part that the keys are for */
    enum shade shade;
    enum paint paint;
    bool painted; /* the user chose it; else several pieces are told apart, and one has its own */
    struct cell_look look;
    bool furniture;
    bool alone;               /* only the chosen piece is seen, where one is chosen */
    struct close_up close[2]; /* of each part */
    bool whole;            /* all of it is shown: after a step it is fitted anew */
    struct plate frame[2]; /* the one shown and the one being made */
    int shown;
    bool fresh;        /* the one shown has not been on the screen yet */
    bool dirty;        /* what is shown is not what should be */
    double moved;      /* when it last changed, seconds */
    double exact_cost; /* seconds the last exact picture took */
};

void view_init(struct view *view);
void view_release(struct view *view);

/* The camera, the scene or a tool changed: a picture is due. */
void view_touch(struct app *app);

/* Starts a picture when one is due and the lane is free. Returns after how many milliseconds it
 * wants to be called again; -1: when something happens. */
int view_pump(struct app *app);

/* How the picture is painted now. */
enum paint view_paint(const struct app *app);

/* The picture has one part, or two while two pieces stand side by side: columns of each. */
int view_parts(const struct app *app);
void view_span(const struct app *app, int part, int *column, int *columns);

/* Whether piece i of the scene is seen in that part. */
bool view_shows(const struct app *app, size_t i, int part);

/* Shows everything that is visible (in the part that the keys are for), from three-quarters above; from where it is seen now. */
void view_whole(struct app *app);
void view_fit(struct app *app);

/* The scene is another: fits it anew where all of it was shown, or where it went out of the picture
 * or has another size by far than `was` (view_extent before). */
void view_follow(struct app *app, double was);

/* Makes things look `factor` times as large; what is at that cell, or at the pointer, or in the
 * middle stays where it is. */
void view_zoom_at(struct app *app, int column, int row, double factor);
void view_zoom(struct app *app, double factor);

/* Close up on what the pointer points at, which comes to the middle; or back, the pointer still at
 * the same place. */
void view_close_up(struct app *app);
void view_close_up_end(struct app *app);

/* The width of a cell where it shows the camera's centre, mm; it is twice as high. */
double view_cell(const struct app *app);

/* Looks at a place squarely: `normal` is the surface's there, `reach` how much must be seen. */
void view_look_at(struct app *app, struct vec at, struct vec normal, double reach);

/* What lies under a cell of the shown picture: piece of the scene, triangle and world point; false: background
 * (up to a cell away), or the picture is not there yet. */
bool view_pick(struct app *app, int column, int row, size_t *piece, uint32_t *triangle,
               struct vec *world);

/* Whether the picture that is shown is of another view than the present one, which is on its way. */
bool view_is_behind(struct app *app);

/* Draws the shown picture on the screen. */
void view_draw(struct app *app);

/* The size of what is visible (diagonal, mm), at least a little. */
double view_extent(struct app *app);
/* The box around what is visible; false: nothing is. */
bool view_box(struct app *app, struct vec *min, struct vec *max);

#endif
