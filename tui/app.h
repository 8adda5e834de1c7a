/* The screen's state. One thread, the screen's, reads and writes it; the lanes get copies. */
#ifndef FETTLE_TUI_APP_H
#define FETTLE_TUI_APP_H

#include "raster/cells.h"
#include "scene/session.h"
#include "tui/lane.h"
#include "tui/pace.h"
#include "tui/pager.h"
#include "tui/pairs.h"
#include "tui/preview.h"
#include "tui/prompt.h"
#include "tui/study.h"
#include "tui/vet.h"
#include "tui/view.h"

enum where { WHERE_LOOK, WHERE_POINT, WHERE_PLANE, WHERE_PAIRS, WHERE_ALWAYS };

struct plane_tool {      /* the cutting plane being placed, world */
    const struct op *op; /* what it is placed for */
    struct vec normal, through;
};

struct point_tool { /* the pointer, a cell of the picture, and where a put point goes */
    int column, row;
    enum where back;
    const struct op *op;  /* that is run with it; NULL: none */
    struct camera camera; /* as it was when the last point was put */
};

enum { POINTS_MOST = 40, PANEL_ROWS = 256 };

struct points { /* in the order in which they were put */
    struct {
        struct vec at; /* world, mm */
        size_t piece;  /* index in the scene */
    } put[POINTS_MOST];
    size_t count;
};

struct drag { /* a mouse button held on the picture */
    int column, row;
    bool held, moved;
};

struct walk {     /* which finding of which piece is looked at, and which of its places */
    size_t piece; /* index in the scene */
    size_t finding, place;
    bool on;
    bool origin; /* it is about where the surface is from, which is shown */
    const struct check *kind; /* what was looked at before a step: the walk goes on there; or NULL */
};

struct row {
    enum { ROW_NOTHING, ROW_PIECE, ROW_FINDING } does;
    size_t piece;   /* to choose, counted from 1, 0: all; of the finding, index in the scene */
    size_t finding; /* to go to */
};

struct trail { /* the steps of the session, as they were when it was last taken over */
    struct session_step *step;
    size_t count, present; /* of them `present` are in effect */
};

struct question { /* something to be answered by one key before anything else */
    char text[512];
    void (*answer)(struct app *app, int key);
    bool on;
};

struct app {
    struct session *session; /* touched only while the work lane is free */
    struct scene *scene;     /* the present scene, held */
    struct trail trail;
    bool unsaved;
    const struct cli_options *options;
    char *journal_folder;  /* NULL: no journal is kept */
    struct recovery *left; /* what lost sessions left */
    size_t left_count;
    char **file; /* still to be opened */
    int files;
    struct lane work, study_lane, paint_lane;
    int wake[2];
    int rows, columns; /* of the terminal */
    int panel_columns; /* 0: the picture has the whole width */
    int picture_rows, picture_columns;
    int covered; /* from this row of the screen on, words lie over the picture */
    struct view view;
    struct pace pace;
    int held; /* a key that points, until the picture that it points at is made; 0: none */
    struct study study;
    struct prompt prompt;
    struct preview preview;
    enum where where;
    bool arrows_other; /* arrows shift the picture; with a tool out: they turn the part */
    struct plane_tool plane;
    struct point_tool point;
    struct pairs_tool pairs;
    struct points
        points; /* those put on the surface: "@" (the last), "@1", "@2" ... in a command */
    struct walk walk;
    struct drag drag;
    struct question question;
    struct row row[PANEL_ROWS]; /* of the screen: what a click on it in the panel does */
    size_t panel;    /* the panel shown first */
    bool panel_over; /* on a narrow screen: over the picture */
    struct pager pager;
    char message[512]; /* the line below the picture */
    bool message_bad;
    char *told;   /* all that the last step said; NULL: nothing yet */
    char *report; /* notes of the last step, shown over the picture until a key */
    char **queue; /* lines still to run */
    size_t queued;
    char *asked; /* the line that a question is about */
    struct written written;
    bool leaving;
    bool lost;  /* the terminal is gone: leave the journal open */
    bool stale; /* the screen must be drawn */
};

/* Says something on the line below the picture. */
void app_say(struct app *app, bool bad, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Runs a line of the language in the background (behind those queued before it). "@" stands for the
 * point put last. */
void app_run(struct app *app, const char *line);

/* The line as it is meant: points and the home folder in their places. False: a point in it has not
 * been put, which is said unless `quietly`. */
bool app_expand(struct app *app, const char *line, char *out, size_t size, bool quietly);

/* The same for a line as it is, without asking whether it may run. */
void app_queue(struct app *app, const char *line);

/* Asks a question that one key answers. */
void app_ask(struct app *app, void (*answer)(struct app *app, int key), const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The piece that is worked on: the selected one, or the first that is not hidden; NULL: none. */
const struct piece *app_piece(const struct app *app);

/* How many pieces are worked on at once: 1 when one is selected, else all that are not hidden. */
size_t app_pieces(const struct app *app);

/* Whether piece i of the scene is one of them. */
bool app_works_on(const struct app *app, size_t i);

/* Whether two meshes have the same surface in the same place, so that points on it hold. */
bool app_same_surface(const struct mesh *a, const struct mesh *b);

/* Chooses the piece that is worked on, counted from 1; 0: all of them. */
void app_choose(struct app *app, size_t piece);

/* Takes over what the session has now: scene, steps; the study begins anew, the picture is
 * drawn. */
void app_refresh(struct app *app);

/* Shows the manual of an operation, or what the help of the keys has of a word; "": all of it. */
void app_help(struct app *app, const char *name);

/* Undoes (or redoes) a step. */
void app_undo(struct app *app, bool redo);

#endif
