#include "scan/fuse_height.h"

#include <math.h>

static const double pivot_least = 1e-7; /* beside the sum of weights */

/* Cholesky's factor of the lower half, in place. */
static bool factor(double *a, int n, double least)
{
    for (int i = 0, row = 0; i < n; row += ++i)
        for (int j = 0, col = 0; j <= i; col += ++j) {
            double sum = a[row + j];
            for (int k = 0; k < j; k++)
                sum -= a[row + k] * a[col + k];
            if (i != j)
                a[row + j] = sum / a[col + j];
            else if (!(sum > least))
                return false;
            else
                a[row + j] = sqrt(sum);
        }
    return true;
}

bool height_solve(const struct height_sums *sums, int terms, double ridge, double c[HEIGHT_TERMS])
{
    double a[HEIGHT_TERMS * (HEIGHT_TERMS + 1) / 2];
    for (int i = 0; i < terms * (terms + 1) / 2; i++)
        a[i] = sums->matrix[i];
    for (int i = 3; i < terms; i++)
        a[i * (i + 3) / 2] += ridge * sums->matrix[0];
    for (int i = 0; i < HEIGHT_TERMS; i++)
        c[i] = 0;
    if (!(sums->matrix[0] > 0) || !factor(a, terms, pivot_least * sums->matrix[0]))
        return false;
    for (int i = 0, row = 0; i < terms; row += ++i) {
        double sum = sums->right[i];
        for (int k = 0; k < i; k++)
            sum -= a[row + k] * c[k];
        c[i] = sum / a[row + i];
    }
    for (int i = terms; i-- > 0;) {
        double sum = c[i];
        for (int k = i + 1; k < terms; k++)
            sum -= a[k * (k + 1) / 2 + i] * c[k];
        c[i] = sum / a[i * (i + 3) / 2];
    }
    return true;
}
