/* How often the samples' surface winds around a place: about 1 inside, 0 outside, between where the
 * surface is open (the generalised winding number of Jacobson et al. 2013, for oriented points by
 * Barill et al. 2018, "Fast Winding Numbers for Soups and Clouds"). */
#ifndef FETTLE_SCAN_FUSE_WINDING_H
#define FETTLE_SCAN_FUSE_WINDING_H

#include "scan/fuse_grid.h"

struct winding_node { /* a bundle of samples that stand together */
    float middle[3];
    float radius;    /* around the middle, no sample is farther */
    float dipole[3]; /* the sum of area times normal */
};

enum { WINDING_LEAF = 16, WINDING_FAN = 8, WINDING_LEVELS = 12 };

struct winding {
    const struct fuse_samples *samples;
    float *share; /* one a sample: what the area it stands for counts, where scans overlap */
    struct winding_node *level[WINDING_LEVELS]; /* level 0: one for each WINDING_LEAF samples */
    size_t count[WINDING_LEVELS];
    int levels;
    double inside; /* what is wound round more often than that is inside */
};

/* The threshold is 1/2 where the samples leave an opening or none: it is then spanned flat. Where
 * they leave more than that open, their own mean (as Kazhdan et al. 2006 choose it, "Poisson
 * Surface Reconstruction"), so that strips of surface get a body behind them; 0.3 at least, since
 * the body behind a flat sheet would have no end. On failure nothing is owned. */
enum status winding_make(const struct grid *grid, struct winding *out, struct job *job);
void winding_release(struct winding *winding);

/* At a place beside the samples' origin. Bundles count as one dipole from farther than about
 * 2.2 times their radius. */
double winding_at(const struct winding *winding, struct vec place);

#endif
