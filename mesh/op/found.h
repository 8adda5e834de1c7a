/* The fixing features of pieces: those that were cut in this session or recipe, and those that are
 * found in the surface. */
#ifndef FETTLE_OP_FOUND_H
#define FETTLE_OP_FOUND_H

#include "op/op.h"

/* All of the piece's, those it remembers first. The list is the caller's; NULL on success: there
 * are none. */
enum status found_fixings(const struct piece *piece, struct fixings **out, struct job *job);

/* Those of all chosen pieces, numbered from 1 through all of them. */
struct found {
    struct fixings **of; /* one a chosen piece */
    size_t pieces;
    const struct fixing **item;
    size_t count;
};
enum status found_all(const struct op_call *call,
                      struct found *out); /* release it also on failure */
void found_release(struct found *found);

/* What it is, in a few words: "a keyhole for M4: entry 9.25 mm, ..." */
enum { FOUND_TEXT = 256 };
void found_text(const struct fixing *fixing, char text[FOUND_TEXT]);

#endif
