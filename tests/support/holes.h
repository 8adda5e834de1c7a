/* What the suites about filling holes share: cutting them, filling them, judging what came out. */
#ifndef FETTLE_TESTS_SUPPORT_HOLES_H
#define FETTLE_TESTS_SUPPORT_HOLES_H

#include "core/mesh.h"
#include "core/vec.h"
#include "surface/fill.h"

/* Fills `mesh`, which is freed. */
struct mesh *holes_filled(struct mesh *mesh, enum fill_shape shape, double longest,
                          struct fill_report *report);

/* `mesh`, which is freed, without the triangles that `drop` names. */
struct mesh *holes_cut(struct mesh *mesh, bool (*drop)(const struct mesh *mesh, size_t t));

struct vec holes_corner(const struct mesh *mesh, size_t t, int k);
struct vec holes_centre(const struct mesh *mesh, size_t t);

/* No edge open, shared by three or run the same way twice, no triangle without area. */
void holes_expect_closed(const struct mesh *mesh, long euler);

/* Triangles that have the same three vertices as an earlier one. */
size_t holes_doubles(const struct mesh *mesh);

/* Within 2 mm of the middle of a patch of 10 mm. */
bool holes_in_middle(const struct mesh *mesh, size_t t);

/* Within 0.3 rad of the pole of a sphere about the origin. */
bool holes_in_cap(const struct mesh *mesh, size_t t);

/* A height over x and y, mm. */
double holes_wave(double x, double y);

#endif
