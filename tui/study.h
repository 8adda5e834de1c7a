/* What is known of each mesh on the screen: its inspection, and a coarse stand-in that is drawn
 * while it moves. Worked out in the background, a stage at a time, and kept for meshes that an undo
 * may bring back. */
#ifndef FETTLE_TUI_STUDY_H
#define FETTLE_TUI_STUDY_H

#include "check/check.h"
#include "op/scene.h"

struct app;

enum study_stage {
    STUDY_NOTHING,
    STUDY_STANDIN, /* the stand-in is there */
    STUDY_QUICK,   /* inspected, but for self-intersections */
    STUDY_WHOLE,   /* inspected */
    STUDY_FAILED   /* out of memory: there will be no more */
};

struct study_entry {
    struct piece *piece;  /* held; NULL: a free entry */
    struct mesh *standin; /* NULL: draw the mesh itself */
    struct inspection inspection;
    bool inspected;
    enum study_stage stage;
    unsigned long used; /* when it was last asked for */
};

struct study {
    struct study_entry *entry;
    size_t capacity; /* as many as the scene has pieces, and some for undo */
    unsigned long clock;
};

void study_release(struct study *study);

/* Starts the next stage for some piece of the present scene if the lane is free. */
void study_pump(struct app *app);

/* The inspection of a piece as far as it is known, or NULL. *whole says whether it is complete. */
const struct inspection *study_inspection(struct app *app, const struct piece *piece, bool *whole);

/* What to draw while moving: the stand-in, or the mesh itself. Borrowed. */
const struct mesh *study_standin(struct app *app, const struct piece *piece);

/* Whether it cannot be inspected further (out of memory). */
bool study_failed(struct app *app, const struct piece *piece);

/* How far the inspection that runs is, 0 to 1; negative: none runs, or it is quickly over. */
double study_progress(struct app *app);

#endif
