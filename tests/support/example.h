/* A line for any row of the table of operations, so that a new row is tested the day it is written.
 */
#ifndef FETTLE_TESTS_EXAMPLE_H
#define FETTLE_TESTS_EXAMPLE_H

#include "op/op.h"

/* Carries out the operation with values made from its row: what is required, and if that is
 * refused, also one or two of its optional parameters. `file` stands where a file is to be read,
 * `out` where one is written. Returns the line that worked and its result, or NULL with the last
 * message in `why`. The caller frees both. */
enum { EXAMPLE_WHY = 800 };
char *example_run(const struct op *op, const struct scene *in, const char *file, const char *out,
                  struct scene **result, char why[EXAMPLE_WHY]);

/* A number made of all bytes of the scene's meshes and of what its pieces are. */
uint64_t scene_digest(const struct scene *scene);

#endif
