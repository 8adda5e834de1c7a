/* Whether what was scanned still has its table. */
#ifndef FETTLE_SCAN_TABLE_EDGE_H
#define FETTLE_SCAN_TABLE_EDGE_H

#include "core/mesh.h"

/* mm of the longest rim that ends a table (scan/table.h): nearly all of it lies in that. 0: the
 * longest rim is less than half of the mesh's size, or more than `most` mm (0: any); it is a cloud;
 * no table is found. Whoever closes that rim makes the table a part of the object. */
enum status table_edge(const struct mesh *mesh, double most, double *rim, struct job *job);

#endif
