/* Shared by the files that find stray points. */
#ifndef FETTLE_SCAN_OUTLIERS_PARTS_H
#define FETTLE_SCAN_OUTLIERS_PARTS_H

#include "scan/outliers.h"

/* The median and the spread (1.4826 times the median deviation from it) of the numbers that are
 * finite; 0 when there are none. Takes every so-many-th where there are very many. */
struct middle {
    double median, spread;
};
enum status outliers_middle(const float *number, size_t count, struct middle *out, struct job *job);

enum verdict { BY_RATIO, STAYS, GOES }; /* BY_RATIO: when its ratio is too large */

/* ratio[v]: the logarithm of vertex v's ratio; -INFINITY where there is none. verdict[v]: enum
 * verdict (a mesh's are left as they are). */
enum status outliers_in_cloud(const struct mesh *mesh, const struct outliers_options *options,
                              float *ratio, uint8_t *verdict, struct job *job);
enum status outliers_in_mesh(const struct mesh *mesh, float *ratio, struct job *job);

#endif
