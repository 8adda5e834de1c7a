/* What closes rims says when the table is still there. */
#ifndef FETTLE_OP_ON_TABLE_H
#define FETTLE_OP_ON_TABLE_H

#include "scan/table_edge.h"

/* As table_edge, as a part of the job that another work follows. */
enum status on_table_look(const struct mesh *mesh, double most, double *rim, struct job *job);

/* Notes it, when the rim was closed: 0 is none. */
void on_table_tell(double rim, struct job *job);

#endif
