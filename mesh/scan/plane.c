#include "scan/plane.h"

#include <string.h>

#include "core/eigen.h"

/* --- the plane ------------------------------------------------------------------------------- */

static struct vec middle_of(const struct vec *point, size_t count)
{
    struct vec sum = vec(0, 0, 0);
    for (size_t i = 0; i < count; i++)
        sum = vec_along(sum, 1.0 / (double)count, point[i]);
    return sum;
}

bool plane_fit(const struct vec *point, size_t count, struct plane *out, double *rms)
{
    if (count < 3)
        return false;
    struct vec middle = middle_of(point, count);
    double matrix[9] = {0}, spread[3], vector[9], size = 0;
    for (size_t i = 0; i < count; i++) {
        struct vec d = vec_sub(point[i], middle);
        size = fmax(size, fmax(fabs(d.x), fmax(fabs(d.y), fabs(d.z))));
    }
    if (!(size > 0) || !isfinite(size))
        return false;
    for (size_t i = 0; i < count; i++) { /* scaled: squares of large numbers overflow nowhere */
        struct vec d = vec_scale(vec_sub(point[i], middle), 1 / size);
        const double x[3] = {d.x, d.y, d.z};
        for (int k = 0; k < 9; k++)
            matrix[k] += x[k / 3] * x[k % 3] / (double)count;
    }
    eigen_symmetric(3, matrix, spread, vector);
    if (!(spread[1] > 1e-12 * spread[2]))
        return false;
    *out = (struct plane){middle, vec_unit(vec(vector[0], vector[1], vector[2]))};
    *rms = size * sqrt(fmax(spread[0], 0));
    return true;
}

/* --- bent ------------------------------------------------------------------------------------ */

struct bent_plane bent_flat(const struct plane *plane, double scale)
{
    struct bent_plane bent = {.plane = *plane, .scale = scale};
    vec_frame(plane->normal, &bent.u, &bent.v);
    for (int k = 0; k < 2; k++) {
        bent.low[k] = -1;
        bent.high[k] = 1;
    }
    return bent;
}

/* The frame's numbers of a point. */
static void free_place(const struct bent_plane *bent, struct vec at, double place[2])
{
    struct vec d = vec_sub(at, bent->plane.through);
    place[0] = vec_dot(d, bent->u) / bent->scale;
    place[1] = vec_dot(d, bent->v) / bent->scale;
}

static void bent_place(const struct bent_plane *bent, struct vec at, double place[2])
{
    free_place(bent, at, place);
    for (int k = 0; k < 2; k++)
        place[k] = fmin(fmax(place[k], bent->low[k]), bent->high[k]);
}

static void terms_at(const double place[2], double term[BENT_TERMS])
{
    double a = place[0], b = place[1];
    const double all[BENT_TERMS] = {1, a, b, a * a, a * b, b * b};
    memcpy(term, all, sizeof all);
}

double bent_rise(const struct bent_plane *bent, struct vec at)
{
    double place[2], term[BENT_TERMS], rise = 0;
    bent_place(bent, at, place);
    terms_at(place, term);
    for (int k = 0; k < BENT_TERMS; k++)
        rise += bent->term[k] * term[k];
    return rise;
}

/* Cholesky; false when the matrix is not positive enough. */
static bool solve(double a[BENT_TERMS][BENT_TERMS], double b[BENT_TERMS], int n)
{
    for (int i = 0; i < n; i++)
        for (int j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (int k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            if (i == j && !(sum > 1e-9 * a[i][i]))
                return false;
            if (i == j)
                a[i][i] = sqrt(sum);
            else
                a[i][j] = sum / a[j][j];
        }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < i; k++)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    for (int i = n; i-- > 0;) {
        for (int k = i + 1; k < n; k++)
            b[i] -= a[k][i] * b[k];
        b[i] /= a[i][i];
    }
    return true;
}

static void find_box(struct bent_plane *bent, const struct vec *point, size_t count)
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY}, place[2];
    for (size_t i = 0; i < count; i++) {
        free_place(bent, point[i], place);
        for (int k = 0; k < 2; k++) {
            low[k] = fmin(low[k], place[k]);
            high[k] = fmax(high[k], place[k]);
        }
    }
    memcpy(bent->low, low, sizeof low);
    memcpy(bent->high, high, sizeof high);
}

bool bent_fit(struct bent_plane *bent, const struct vec *point, size_t count)
{
    double a[BENT_TERMS][BENT_TERMS] = {{0}}, b[BENT_TERMS] = {0}, sum = 0;
    memset(bent->term, 0, sizeof bent->term);
    if (count == 0)
        return false;
    find_box(bent, point, count);
    for (size_t i = 0; i < count; i++) {
        double place[2], term[BENT_TERMS], height = plane_height(&bent->plane, point[i]);
        free_place(bent, point[i], place);
        terms_at(place, term);
        sum += height;
        for (int r = 0; r < BENT_TERMS; r++) {
            b[r] += term[r] * height;
            for (int c = 0; c <= r; c++)
                a[r][c] += term[r] * term[c];
        }
    }
    if (count > BENT_TERMS && solve(a, b, BENT_TERMS)) {
        memcpy(bent->term, b, sizeof b);
        return true;
    }
    bent->term[0] = sum / (double)count;
    return false;
}
