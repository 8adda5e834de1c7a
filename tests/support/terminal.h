/* A terminal in a box: the real program on a pseudo-terminal, its output read by libvterm, so that
 * a test types keys and reads the screen as a person would. */
#ifndef FETTLE_TESTS_TERMINAL_H
#define FETTLE_TESTS_TERMINAL_H

#include <stdbool.h>
#include <stddef.h>

struct terminal;

struct terminal_options {
    int rows, columns;
    const char *term;   /* TERM; NULL: xterm-256color */
    const char *locale; /* LC_ALL; NULL: C.UTF-8 */
    const char *state;  /* XDG_STATE_HOME; NULL: a fresh folder that goes with the terminal */
    const char *folder; /* where it is run; NULL: here */
    const char *input;  /* a file for its standard input, from `folder`; NULL: the terminal */
    long memory_limit;  /* of its address space, bytes; 0: any */
    long file_limit;    /* no file may grow beyond so many bytes; 0: any */
};

/* Starts the program (named by FETTLE_PROGRAM) with arguments up to a NULL. Never NULL: a test
 * without a pseudo-terminal aborts. */
struct terminal *terminal_new(const struct terminal_options *options, const char *const *arguments);

/* Ends the program if it still runs (SIGKILL) and frees all. */
void terminal_free(struct terminal *terminal);

/* Types bytes as they are ("\033" is Esc). Named keys go through terminal_key. */
void terminal_type(struct terminal *terminal, const char *text);

enum terminal_key {
    TERMINAL_LEFT,
    TERMINAL_RIGHT,
    TERMINAL_UP,
    TERMINAL_DOWN,
    TERMINAL_ENTER,
    TERMINAL_TAB,
    TERMINAL_ESCAPE,
    TERMINAL_BACKSPACE
};
void terminal_key(struct terminal *terminal, enum terminal_key key);

/* A click of the first button (press and release) at a cell; nothing is sent when the program has
 * not asked for the mouse. */
void terminal_click(struct terminal *terminal, int row, int column);

/* The wheel turned by so many steps at a cell, away (nearer) or towards the user. */
void terminal_wheel(struct terminal *terminal, int row, int column, bool away, int steps);

/* Changes the size; the program is told by SIGWINCH. */
void terminal_resize(struct terminal *terminal, int rows, int columns);

/* Reads until it is so. A test fails with the whole screen when that has not come to be after so
 * long that it never will, on however busy a machine, or when the program has ended. */
#define TERMINAL_UNTIL(terminal, so, what)                                                         \
    do {                                                                                           \
        for (double end_ = terminal_patience(); !(so);)                                            \
            if (!terminal_listen(terminal, end_) && !(so)) {                                       \
                char *screen_ = terminal_text(terminal);                                           \
                ck_abort_msg("\"%s\" does not come to be:\n%s", what, screen_);                    \
            }                                                                                      \
    } while (0)

/* Until the text stands somewhere on the screen; until it does no more. */
#define TERMINAL_WAIT(terminal, text) TERMINAL_UNTIL(terminal, terminal_shows(terminal, text), text)
#define TERMINAL_GONE(terminal, text)                                                              \
    TERMINAL_UNTIL(terminal, !terminal_shows(terminal, text), "no " text)

/* When to give up what is waited for from now on; and one look whether more has come, a moment
 * long: false when there is none to come, or it is time to give up. */
double terminal_patience(void);
bool terminal_listen(struct terminal *terminal, double end);

/* Reads until the program has nothing more to do, however long that takes on a busy machine: it has
 * taken in all that was typed, all its threads sleep, and none would wake up by itself. A test
 * fails when it does not come to that. */
void terminal_rest(struct terminal *terminal);

/* Reads until the program has been stopped, by itself or by a signal. */
void terminal_wait_stopped(struct terminal *terminal);

/* What the program asks the terminal is not answered until it is let go: as if it still were on its
 * way over a slow line. */
void terminal_hold(struct terminal *terminal, bool held);

/* The line as UTF-8 without blanks at its end; valid until the next call. */
const char *terminal_line(struct terminal *terminal, int row);
/* All lines, each ending in '\n'; the caller frees. */
char *terminal_text(struct terminal *terminal);
/* Whether the text stands on the screen now. */
bool terminal_shows(struct terminal *terminal, const char *text);

/* Sends a signal to the program. */
void terminal_signal(struct terminal *terminal, int signal);
/* Waits for the program to end; its exit status, or 128 + the signal that ended it, or -1 when it
 * has not after so long that it never will. */
int terminal_wait_end(struct terminal *terminal);

/* How many bytes the program has written. */
size_t terminal_bytes(const struct terminal *terminal);

#endif
