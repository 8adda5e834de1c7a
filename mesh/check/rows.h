/* What the rows of checks.def share. */
#ifndef FETTLE_CHECK_ROWS_H
#define FETTLE_CHECK_ROWS_H

#include "check/check.h"

/* --- finding things by the thousand --------------------------------------------------------- */

struct hits { /* which of many things are so */
    uint64_t count;
    uint32_t *index; /* the first PLACES_MOST of them, ascending; NULL when none */
    size_t kept;
};

/* Asks `is` for every i below n, with all threads. The caller frees hits->index by scratch_free; on
 * failure nothing is owned. */
enum status hits_find(size_t n, bool (*is)(const void *context, size_t i), const void *context,
                      struct hits *hits, struct job *job);

/* --- places --------------------------------------------------------------------------------- */

/* A place at the middle of a triangle, reaching its corners; at the middle of an edge, reaching its
 * ends. */
struct place place_triangle(const struct mesh *mesh, uint32_t triangle);
struct place place_edge(const struct mesh *mesh, uint32_t half);

/* Turns hits into places one by one and frees the hits. NULL when there are none or no memory
 * (*status then says so). */
struct place *places_of_hits(const struct mesh *mesh, struct hits *hits,
                             struct place (*place)(const struct mesh *mesh, uint32_t index),
                             enum status *status, struct job *job);

/* --- words ---------------------------------------------------------------------------------- */

/* "s" unless n is 1. */
static inline const char *plural(uint64_t n)
{
    return n == 1 ? "" : "s";
}

#endif
