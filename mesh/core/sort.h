/* Sorting so many things that it takes long. */
#ifndef FETTLE_CORE_SORT_H
#define FETTLE_CORE_SORT_H

#include <stddef.h>

#include "core/status.h"

struct job;

/* Sorts `count` items of `size` bytes, as qsort does, by an order in which no two that differ are
 * equal: short runs, then merges of two and two (von Neumann's; Knuth, "The Art of Computer
 * Programming" 5.2.4), on all threads, and the job is asked meanwhile. Takes as much memory again.
 * On failure (cancelled, memory) they are in any order, and some may be missing. */
enum status sort_items(void *items, size_t count, size_t size,
                       int (*order)(const void *, const void *), struct job *job);

#endif
