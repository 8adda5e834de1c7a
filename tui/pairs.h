/* Two pieces side by side, each with its own camera, and the pairs of points put on them: the first
 * on the one is the same place as the first on the other, and so on. */
#ifndef FETTLE_TUI_PAIRS_H
#define FETTLE_TUI_PAIRS_H

#include "op/op.h"
#include "raster/raster.h"
#include "scan/horn.h"

struct app;
struct area;

enum { PAIRS_MOST = 20 };

struct pairs_side {
    struct piece *held;   /* whose surface the points are on; NULL: none yet */
    size_t piece;         /* its index in the scene */
    struct camera camera; /* while the keys are for the other side */
    int column, row;      /* of the pointer, likewise */
    struct vec at[PAIRS_MOST];
    size_t count;
};

struct pairs_tool {
    const struct op *op;
    struct pairs_side side[2];     /* left, right */
    int active;                    /* the side that the keys are for */
    int moves;                     /* the side whose piece moves */
    size_t chosen;                 /* pair */
    uint8_t order[2 * PAIRS_MOST]; /* on which side each point was put, the last one last */
    bool wide;                     /* the list is away, the pictures have its room */
    struct camera kept;            /* of the picture of all pieces */
    bool kept_whole;
};

struct pairs_solution { /* what pairs there are, and how they fit */
    size_t pairs;       /* both of whose points are put */
    bool solved;
    struct horn horn;        /* when solved, or its spreads */
    double left[PAIRS_MOST]; /* mm between the points of each pair after the motion */
    size_t worst;            /* without which the others fit best */
    double without;          /* mm, RMS: how well they fit then; negative: not known */
};

/* Takes the tool out for the operation: the chosen piece and the first other one, else the first
 * two. Points that were put on the same two are still there. */
void pairs_tool_begin(struct app *app, const struct op *op);

/* The line of an operation that moves one piece onto another ("moving", "fixed"): those paired
 * last, or those that the tool would take. False: it does not, or there are none. */
bool pairs_tool_line(const struct app *app, const struct op *op, char *line, size_t size);

/* Puts it away; the points stay. */
void pairs_tool_end(struct app *app);

/* The scene is to be replaced by this one: when a surface is another the tool is put away. */
void pairs_tool_scene(struct app *app, const struct scene *now);

void pairs_tool_release(struct pairs_tool *tool);

/* The side that the keys are for (0 when the tool is not out), and the camera of each. */
int pairs_tool_side(const struct app *app);
const struct camera *pairs_tool_camera(const struct app *app, int side);

/* Puts the list away, or brings it back. */
void pairs_tool_fold(struct app *app);

/* Columns for the list: 0: it is away, or there is no room. */
int pairs_tool_list(const struct app *app);

/* The screen has another size: both pieces are shown whole. */
void pairs_tool_layout(struct app *app);

/* Goes over to the side of a column of the picture. */
void pairs_tool_under(struct app *app, int column);

/* Puts a point where the pointer is, on the active side. */
void pairs_tool_put(struct app *app);

struct pairs_solution pairs_tool_solve(const struct pairs_tool *tool);

/* '1' to '9', then 'a' ...: as the pair is called on the picture and in the list. */
char pairs_tool_label(size_t pair);

/* The marks of a side's points; returns how many. */
size_t pairs_tool_marks(const struct app *app, int side, struct raster_mark *mark, size_t most);

/* One line on what the pointer points at; the line on top: which piece stands where, and which is
 * the active one. */
void pairs_tool_pointed(struct app *app, char *text, size_t size);
void pairs_tool_title(const struct app *app, char *text, size_t size);

/* The list of the pairs with what is left between their points. */
void pairs_tool_panel(struct app *app, struct area *area);

#endif
