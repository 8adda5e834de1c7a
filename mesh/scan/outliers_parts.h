/* Shared by the files that find stray points. */
#ifndef FETTLE_SCAN_OUTLIERS_PARTS_H
#define FETTLE_SCAN_OUTLIERS_PARTS_H

#include "scan/outliers.h"

/* The most a logarithm may be: `sigma` spreads above the median of those that are finite, the
 * spread being 1.4826 times their median deviation from it, but not less than 0.2. Takes every
 * so-many-th where there are very many. */
enum status outliers_limit(const float *logarithm, size_t count, double sigma, double *limit,
                           struct job *job);

/* keep[v]: whether the vertex is no stray. *factor: of struct outliers_report. */
enum status outliers_in_cloud(const struct mesh *mesh, const struct outliers_options *options,
                              uint8_t *keep, double *factor, struct job *job);
enum status outliers_in_mesh(const struct mesh *mesh, double sigma, uint8_t *keep, double *factor,
                             struct job *job);

#endif
