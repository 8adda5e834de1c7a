#include "core/eigen.h"

#include <math.h>

enum { SWEEPS = 40 }; /* six or so suffice */

/* Turns rows and columns p and q so that their common element becomes zero. */
static void turn(int n, double *a, double *vector, int p, int q)
{
    double apq = a[p * n + q];
    double theta = (a[q * n + q] - a[p * n + p]) / (2 * apq);
    double t = copysign(1, theta) / (fabs(theta) + sqrt(theta * theta + 1));
    double c = 1 / sqrt(t * t + 1), s = t * c;
    for (int k = 0; k < n; k++) {
        double x = a[k * n + p], y = a[k * n + q];
        a[k * n + p] = c * x - s * y;
        a[k * n + q] = s * x + c * y;
    }
    for (int k = 0; k < n; k++) {
        double x = a[p * n + k], y = a[q * n + k];
        a[p * n + k] = c * x - s * y;
        a[q * n + k] = s * x + c * y;
    }
    a[p * n + q] = a[q * n + p] = 0;
    for (int k = 0; k < n; k++) {
        double x = vector[p * n + k], y = vector[q * n + k];
        vector[p * n + k] = c * x - s * y;
        vector[q * n + k] = s * x + c * y;
    }
}

/* One turn for each pair whose element still counts beside its diagonal; false: none did. */
static int sweep(int n, double *a, double *vector)
{
    int turned = 0;
    for (int p = 0; p < n; p++)
        for (int q = p + 1; q < n; q++) {
            double off = fabs(a[p * n + q]), beside = fabs(a[p * n + p]) + fabs(a[q * n + q]);
            if (off > 0 && off + beside * 4 > beside * 4) {
                turn(n, a, vector, p, q);
                turned = 1;
            }
        }
    return turned;
}

static void put_least_first(int n, double *value, double *vector)
{
    for (int i = 0; i < n; i++) {
        int least = i;
        for (int j = i + 1; j < n; j++)
            least = value[j] < value[least] ? j : least;
        double v = value[i];
        value[i] = value[least];
        value[least] = v;
        for (int k = 0; k < n && least != i; k++) {
            double x = vector[i * n + k];
            vector[i * n + k] = vector[least * n + k];
            vector[least * n + k] = x;
        }
    }
}

void eigen_symmetric(int n, double *matrix, double *value, double *vector)
{
    for (int i = 0; i < n * n; i++)
        vector[i] = i % (n + 1) == 0;
    for (int i = 0; i < SWEEPS && sweep(n, matrix, vector); i++)
        continue;
    for (int i = 0; i < n; i++)
        value[i] = matrix[i * n + i];
    put_least_first(n, value, vector);
}
