/* Stray points: those that stand farther from their neighbours than these do from theirs. */
#ifndef FETTLE_SCAN_OUTLIERS_H
#define FETTLE_SCAN_OUTLIERS_H

#include "core/mesh.h"

enum { OUTLIERS_AROUND_LEAST = 4, OUTLIERS_AROUND_MOST = 64 };

struct outliers_options {
    double sigma;    /* how many spreads above the usual a point's ratio may lie; more than 0 */
    unsigned around; /* neighbours of a cloud's point that are asked */
};

struct outliers_report {
    size_t strays;    /* points that went, without the unused ones */
    size_t unused;    /* vertices no triangle used, which went too (a mesh's) */
    size_t triangles; /* that went with their corners */
    size_t left;      /* points that stay */
    double factor;    /* how much farther than its neighbours a point had to be to go */
    double spacing;   /* mm: how far apart points are (core/apart.h) */
};

/* The mesh without stray points, and without the triangles that had one for a corner; shared when
 * there are none.
 *
 * A point's distance is the mean of those to the `around` points nearest to it; of a mesh's vertex,
 * the mean length of its edges. Its ratio is that distance to its neighbours' own: to the one that
 * a quarter of them stay below in a cloud, so that a few strays close together are strays still; to
 * the median of theirs, edges to itself left out, in a mesh. So a sparse part of the scan is no
 * stray. A point goes when its ratio's logarithm lies more than sigma spreads above the median of
 * all, the spread being taken from the median deviation (and not less than 0.2: rims and corners of
 * a scan have ratios up to 1.5). In a cloud, where strays fill the air and are their own
 * neighbours, those go too whose distance exceeds the median of all by as many spreads of the
 * distances, where their neighbourhood is no sheet. After the statistical removal of Rusu et al.,
 * "Towards 3D Point Cloud Based Object Maps", 2008, and the local factor of Breunig et al., "LOF",
 * 2000, both made robust.
 *
 * NULL on failure: STATUS_MEMORY, STATUS_CANCELLED; STATUS_REFUSED when there is nothing in it or
 * nothing would be left. */
struct mesh *outliers(const struct mesh *mesh, const struct outliers_options *options,
                      struct outliers_report *report, struct job *job);

#endif
