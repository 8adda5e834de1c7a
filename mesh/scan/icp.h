/* Best fit of one scan to another from a pose close by. */
#ifndef FETTLE_SCAN_ICP_H
#define FETTLE_SCAN_ICP_H

#include "scan/links.h"

struct icp_rule {
    size_t samples; /* points of the moving scan that are looked at */
    double reach;   /* mm: how far off the other surface is looked for */
    double still;   /* mm: a step that moves less than this is the last */
    int rounds;     /* at most so many steps */
    int threads;
    double within; /* mm: at first all that is nearer counts, so that a few places that hold what
                      the many do not are not taken for strays; 0: 2.5 sigma from the start */
};

/* Moves the pose (moving scan's coordinates to the fixed one's) to where the scans lie on each
 * other best: iterated closest points with the symmetric objective of S. Rusinkiewicz, "A Symmetric
 * Objective Function for ICP", ACM Transactions on Graphics 38 (2019), which is exact also where
 * the surface is curved; surfaces that face more than 60 degrees apart, rims, and distances beyond
 * 2.5 sigma are left out (there; Rusinkiewicz & Levoy 2001), and the others count by links_weight.
 * Directions in which nothing holds are left alone. `links` (links_make) keeps where the steps
 * ended. STATUS_CANCELLED is only returned, not recorded in the job, so that several may run at
 * once. */
enum status icp_run(const struct surfels *moving, const struct surfels *fixed,
                    const struct icp_rule *rule, struct links *links, struct rigid *pose,
                    struct job *job);

/* The step that Rusinkiewicz's equations give: solves the 6 x 6 system (turn, then shift) of sums
 * over centred pairs, weak directions damped. False when it is singular altogether. */
bool icp_solve(const double matrix[36], const double right[6], double out[6]);

#endif
