/* The real program, as a user runs it. */
#ifndef FETTLE_TESTS_PROGRAM_H
#define FETTLE_TESTS_PROGRAM_H

#include <stddef.h>

struct ran {
    int status; /* what it ended with; 128 + n when signal n killed it */
    char *out, *err;
    size_t out_size;
};

/* Runs $FETTLE_PROGRAM with the words of `line` (blanks part them; 'a b' in single quotes is one
 * word) in the present folder; `input` of `size` bytes is its standard input (NULL: empty). */
struct ran program_run(const char *line, const void *input, size_t size);
void program_release(struct ran *ran);

#endif
