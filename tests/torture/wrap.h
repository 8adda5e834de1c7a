/* Memory that fails on demand. Linked with --wrap (tests/build.mk), so that every allocation our
 * own code makes goes through here; what other libraries allocate for themselves does not. */
#ifndef FETTLE_TESTS_WRAP_H
#define FETTLE_TESTS_WRAP_H

#include <stdbool.h>
#include <stddef.h>

/* From here on the `n`th allocation fails (counted from 1; 0: none does), and only that one. */
void wrap_begin(size_t n);

/* Ends it. How many allocations there were, and whether one was made to fail. */
size_t wrap_end(bool *failed);

/* How many blocks that our code allocated are not freed yet. */
size_t wrap_alive(void);

#endif
