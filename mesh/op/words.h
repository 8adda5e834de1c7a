/* A line of the language as words. */
#ifndef FETTLE_OP_WORDS_H
#define FETTLE_OP_WORDS_H

#include <stdbool.h>
#include <stddef.h>

struct word {
    char *key;  /* "smaller" of smaller=1%; NULL: a value alone, or the operation's name */
    char *text; /* unquoted */
    bool quoted;
};

/* Takes the next word off *cursor (which points into a line the words are cut from: the line is
 * overwritten). False: the line, or all before a comment, is used up, or `*why` says what is wrong.
 */
bool word_next(char **cursor, struct word *out, const char **why);

/* Appends the value to `out` quoted where it must be (out: room for 2 * strlen + 3); returns the
 * end. */
char *word_write(char *out, const char *text);

#endif
