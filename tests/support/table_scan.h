/* Made-up scans of things on a table, in which it is known what is the table's. */
#ifndef FETTLE_TESTS_SUPPORT_TABLE_SCAN_H
#define FETTLE_TESTS_SUPPORT_TABLE_SCAN_H

#include "core/mesh.h"
#include "core/vec.h"

#define table_noise 0.03 /* mm, of one point in each direction */

double table_flat(double x, double y);
double table_curved(double x, double y); /* by 0.2 mm over the 120 mm of the table */

/* A scene: a table whose first triangles (points) are the table's, then the object's. */
struct table_scan {
    struct mesh *mesh;
    size_t table; /* how many of them are the table's */
};

/* The table of the side, in squares of `fine` mm, from 0,0; the object's footprint is left out of
 * it where `drop` says so. */
struct mesh *table_sheet(double side, double fine, double (*height)(double x, double y),
                         bool (*drop)(const struct mesh *mesh, size_t t));

void table_shake(struct mesh *mesh, double by);

/* Both, the object moved; takes both over. */
struct table_scan table_with(struct mesh *table, struct mesh *object, double x, double y, double z,
                             double noise);

/* These take the scan over. */
struct table_scan table_turned(struct table_scan scan, struct vec axis, double angle,
                               struct vec shift);

/* What is seen from above, as points: the table's not below the object, the object's not on
 * triangles that look down. */
struct table_scan table_cloud(struct table_scan scan);

#endif
