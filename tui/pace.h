/* Keeping pace with the line. Over a slow one pictures would pile up on their way, and every key be
 * answered seconds late. So the terminal is asked to report once it has shown a picture (ECMA-48's
 * device status report: CSI 5 n, answered by CSI 0 n, which a VT100 knows), and until it has, no
 * other picture is made; what is typed meanwhile counts, and words are always drawn. */
#ifndef FETTLE_TUI_PACE_H
#define FETTLE_TUI_PACE_H

#include <stdbool.h>

enum { KEY_SHOWN = 01000 }; /* the answer, as curses hands it out: beyond its own keys */

struct pace {
    bool able;    /* the terminal may answer */
    bool proved;  /* it has */
    int waiting;  /* answers still to come */
    double since; /* when it was asked last, seconds */
    double lag;   /* how long the last answer took, seconds */
};

/* After initscr(). */
void pace_begin(struct pace *pace);

/* A picture was written: asks. */
void pace_shown(struct pace *pace);

/* An answer came. */
void pace_answered(struct pace *pace);

/* 0: another picture may be made; else after how many milliseconds to ask again, unless an answer
 * comes before. */
int pace_wait(struct pace *pace);

/* Before the terminal is given back: waits a little for answers, which would else be taken for what
 * somebody typed. */
void pace_end(struct pace *pace);

#endif
