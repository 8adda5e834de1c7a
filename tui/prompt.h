/* The prompt: one line of the operations' language, edited, with history and completion. */
#ifndef FETTLE_TUI_PROMPT_H
#define FETTLE_TUI_PROMPT_H

#include <stdbool.h>
#include <stddef.h>

#include "tui/complete.h"

enum { PROMPT_MOST = 2000, PROMPT_HISTORY = 100 };

struct prompt {
    bool on;
    char line[PROMPT_MOST + 1];
    size_t length, cursor;         /* bytes */
    char *history[PROMPT_HISTORY]; /* oldest first */
    size_t histories, at;          /* at == histories: the new line */
    char kept[PROMPT_MOST + 1];    /* the new line while an old one is shown */
    struct completion completion;  /* what Tab offered last; empty after any other key */
};

enum prompt_end { PROMPT_GOES_ON, PROMPT_DONE, PROMPT_LEFT };

/* Opens it on a line (copied), the cursor behind it. */
void prompt_open(struct prompt *prompt, const char *line);

/* What a key does: PROMPT_DONE when the line is finished (it is in prompt->line and has joined
 * the history), PROMPT_LEFT when the user gave up. `key` is a curses key code or a byte. */
enum prompt_end prompt_key(struct prompt *prompt, int key);

void prompt_release(struct prompt *prompt);

#endif
