/* Counted arrays: the storage of meshes.
 *
 * An array is written by the one who made it and never again once it is shared: published arrays
 * are immutable, so that scenes, history and the picture hold the same bytes without copying.
 * Sharing and freeing are safe from any thread. */
#ifndef FETTLE_CORE_ARRAY_H
#define FETTLE_CORE_ARRAY_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/status.h"

struct job;

struct array {
    void *data;          /* aligned to 64 bytes at least */
    size_t count;        /* elements */
    size_t stride;       /* bytes an element */
    size_t mapped;       /* bytes of its own mapping; 0: on the heap */
    atomic_size_t refs;  /* holders */
    atomic_bool spilled; /* its pages live in a file */
};

/* A new array with one holder; its contents are undefined. NULL when there is no memory or
 * count * stride overflows. count may be 0. */
struct array *array_new(size_t count, size_t stride);

/* One more holder of the same array; returns it. NULL gives NULL. */
struct array *array_share(struct array *array);

/* One holder less; the last one frees it. NULL is allowed. */
void array_free(struct array *array);

/* Cuts the array to its first `count` elements and gives the rest of the memory back.
 * Only while it has one holder; count must not exceed the present one. */
void array_shrink(struct array *array, size_t count);

/* Makes the array `count` elements long, at least as long as it is; what it holds stays, the rest
 * is undefined. Large ones grow by moving pages, not bytes. Only while it has one holder.
 * False when there is no memory: it is then as it was. */
bool array_grow(struct array *array, size_t count);

static inline size_t array_bytes(const struct array *array)
{
    return array ? array->count * array->stride : 0;
}

/* Moves the contents into an unlinked file in `folder` and maps them back at the same address:
 * the array stays readable all the while and afterwards (pages come back when they are touched),
 * but no longer takes memory. Small arrays are left as they are (STATUS_OK).
 * Fails with STATUS_FILE when the disk is full; the array is then unchanged. */
enum status array_spill(struct array *array, const char *folder, struct job *job);

/* Scratch memory for one algorithm: like malloc(count * size) with the overflow checked, and
 * backed by huge pages where the system has them. NULL when there is none. Free with
 * scratch_free. */
void *scratch_new(size_t count, size_t size);
/* All zeros; large ones take memory only where they are written. */
void *scratch_zeros(size_t count, size_t size);
void scratch_free(void *scratch);

#endif
