/* Completion of a line of the operations' language, from the tables. */
#ifndef FETTLE_TUI_COMPLETE_H
#define FETTLE_TUI_COMPLETE_H

#include <stdbool.h>
#include <stddef.h>

struct completion {
    char **word; /* what could stand there, sorted */
    size_t count;
    size_t from;  /* byte of the line where the word begins */
    bool none;    /* it was looked for, and nothing was found */
    char *common; /* what all begin with (with the blank or '=' behind a single one) or NULL */
};

/* What could stand at `cursor`: an operation, one of its parameters, a choice, a file. */
void completion_find(struct completion *completion, const char *line, size_t cursor);
void completion_release(struct completion *completion);

#endif
