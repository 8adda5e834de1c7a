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

/* Reads until the text stands somewhere on the screen; false after so many seconds. */
bool terminal_wait(struct terminal *terminal, const char *text, double seconds);
/* The same, and a test fails with the whole screen when it does not come in time. */
#define TERMINAL_WAIT(terminal, text)                                                              \
    do {                                                                                           \
        if (!terminal_wait(terminal, text, 20)) {                                                  \
            char *screen_ = terminal_text(terminal);                                               \
            ck_abort_msg("\"%s\" does not come:\n%s", text, screen_);                              \
        }                                                                                          \
    } while (0)

/* Reads until nothing has come for so many seconds. */
void terminal_settle(struct terminal *terminal, double seconds);

/* Reads until the program has nothing more to do: however long that takes on a busy machine, its
 * threads have all slept a while, longer than the screen waits for anything, and nothing more has
 * come. A test fails when that is not so after a minute. */
void terminal_rest(struct terminal *terminal);

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
/* Waits for the program to end; its exit status, or -1 when it has not after so many seconds,
 * or 128 + the signal that ended it. */
int terminal_wait_end(struct terminal *terminal, double seconds);

/* How many bytes the program has written. */
size_t terminal_bytes(const struct terminal *terminal);

#endif
