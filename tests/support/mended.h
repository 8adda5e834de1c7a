/* What the tests of mending share. Every mesh that is returned is the caller's to free. */
#ifndef FETTLE_TESTS_SUPPORT_MENDED_H
#define FETTLE_TESTS_SUPPORT_MENDED_H

#include "solid/mend.h"

/* NULL when refused; the message is then in `why` (NULL: it must not be refused). */
struct mesh *mended_so(const struct mesh *mesh, const struct mend_options *options,
                       struct mend_report *report, int threads, char why[768]);
/* Holes closed smoothly, one thread, not refused. */
struct mesh *mended(const struct mesh *mesh, struct mend_report *report);

/* As a reader of the saved file would find it (sound.h), with a volume. */
void expect_mended(const struct mesh *mesh, const char *what, int number);

/* The mesh itself, changed. */
struct mesh *mesh_moved(struct mesh *mesh, double x, double y, double z);
struct mesh *mesh_inside_out(struct mesh *mesh);
/* The given ones go into what is returned. */
struct mesh *mesh_two(struct mesh *a, struct mesh *b);
struct mesh *mesh_with(struct mesh *mesh, const uint32_t (*extra)[3], size_t count);

struct mesh *cube_at(double x, double y, double z, double side);

/* A sphere of radius 10 and whatever else, broken in every way at once; the same number gives the
 * same mesh. */
struct mesh *broken(uint64_t number);

#endif
