/* The quadric that lies best among weighted points: height over a plane, a polynomial of degree 2.
 */
#ifndef FETTLE_SCAN_FUSE_HEIGHT_H
#define FETTLE_SCAN_FUSE_HEIGHT_H

#include <stdbool.h>

enum { HEIGHT_TERMS = 6 }; /* 1, u, v, u^2, uv, v^2 */

struct height_sums {                                      /* zero it first */
    double matrix[HEIGHT_TERMS * (HEIGHT_TERMS + 1) / 2]; /* the lower half, row by row */
    double right[HEIGHT_TERMS];
};

/* Adds the point u, v (about -1 to 1) at `height` with its weight. */
static inline void height_add(struct height_sums *sums, double u, double v, double height,
                              double weight)
{
    const double term[HEIGHT_TERMS] = {1, u, v, u * u, u * v, v * v};
    for (int i = 0, at = 0; i < HEIGHT_TERMS; i++) {
        double w = weight * term[i];
        sums->right[i] += w * height;
        for (int j = 0; j <= i; j++)
            sums->matrix[at++] += w * term[j];
    }
}

static inline double height_at(const double c[HEIGHT_TERMS], double u, double v)
{
    return c[0] + u * (c[1] + u * c[3] + v * c[4]) + v * (c[2] + v * c[5]);
}

/* The coefficients of least squares, of the first `terms` terms (1, 3 or 6); the others are 0.
 * `ridge`, beside the sum of weights, holds the bends back where the points hardly show them.
 * False: the points do not determine the coefficients. */
bool height_solve(const struct height_sums *sums, int terms, double ridge, double c[HEIGHT_TERMS]);

#endif
