#include "surface/fill_front.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "core/job.h"

enum {
    BLOCK = 24,            /* columns factored at once */
    LOOK = 8 * 1024 * 1024 /* multiplications between two looks at cancel */
};

typedef double pair __attribute__((vector_size(16)));

static pair load(const double *p)
{
    pair value;
    memcpy(&value, p, sizeof value);
    return value;
}

/* Subtracts from two rows at two columns the products of rows a0, a1 with rows b0, b1 (n long). */
static void tile(const double *a0, const double *a1, const double *b0, const double *b1, size_t n,
                 double out[4])
{
    pair s00 = {0, 0}, s01 = {0, 0}, s10 = {0, 0}, s11 = {0, 0};
    size_t p = 0;
    for (; p + 2 <= n; p += 2) {
        pair x0 = load(a0 + p), x1 = load(a1 + p), y0 = load(b0 + p), y1 = load(b1 + p);
        s00 += x0 * y0;
        s01 += x0 * y1;
        s10 += x1 * y0;
        s11 += x1 * y1;
    }
    out[0] = s00[0] + s00[1];
    out[1] = s01[0] + s01[1];
    out[2] = s10[0] + s10[1];
    out[3] = s11[0] + s11[1];
    if (p < n) {
        out[0] += a0[p] * b0[p];
        out[1] += a0[p] * b1[p];
        out[2] += a1[p] * b0[p];
        out[3] += a1[p] * b1[p];
    }
}

/* front[i][j] -= sum over p < depth of front[i][p] front[j][p], for from <= j < to, j <= i < size.
 */
static bool subtract(double *front, size_t size, size_t from, size_t to, size_t depth,
                     const struct job *job)
{
    size_t work = 0;
    for (size_t i = from; i < size; i += 2) {
        double *a0 = front + i * size, *a1 = i + 1 < size ? a0 + size : a0;
        size_t end = i + 2 < to ? i + 2 : to;
        for (size_t j = from; j < end; j += 2) {
            const double *b0 = front + j * size, *b1 = j + 1 < size ? b0 + size : b0;
            double out[4];
            tile(a0, a1, b0, b1, depth, out);
            a0[j] -= out[0];
            if (j + 1 < end)
                a0[j + 1] -= out[1]; /* above the diagonal when j == i: unused */
            if (a1 == a0)
                continue;
            a1[j] -= out[2];
            if (j + 1 < end)
                a1[j + 1] -= out[3];
        }
        work += depth * (end - from) * 2;
        if (work > LOOK) {
            work = 0;
            if (job_cancelled(job))
                return false;
        }
    }
    return true;
}

/* value less the sum over from <= p < to of row[p] column[p]. */
static double less(double value, const double *row, const double *column, size_t from, size_t to)
{
    for (size_t p = from; p < to; p++)
        value -= row[p] * column[p];
    return value;
}

/* A row's columns from ... to - 1, by the rows of those numbers, which are done. */
static void finish_row(const double *front, size_t size, double *row, size_t from, size_t to)
{
    for (size_t j = from; j < to; j++) {
        const double *column = front + j * size;
        row[j] = less(row[j], row, column, from, j) / column[j];
    }
}

/* The same of four rows below one another at once: each sum waits for itself alone. */
static void finish_four(const double *front, size_t size, double *row, size_t from, size_t to)
{
    for (size_t j = from; j < to; j++) {
        const double *column = front + j * size;
        double *a = row, *b = a + size, *c = b + size, *d = c + size;
        double va = a[j], vb = b[j], vc = c[j], vd = d[j];
        for (size_t p = from; p < j; p++) {
            va -= a[p] * column[p];
            vb -= b[p] * column[p];
            vc -= c[p] * column[p];
            vd -= d[p] * column[p];
        }
        a[j] = va / column[j];
        b[j] = vb / column[j];
        c[j] = vc / column[j];
        d[j] = vd / column[j];
    }
}

/* Factors the columns from ... to - 1, from which all earlier ones were subtracted. */
static bool factor_block(double *front, size_t size, size_t from, size_t to, const double *diagonal)
{
    size_t i = from;
    for (; i < to; i++) {
        double *row = front + i * size;
        finish_row(front, size, row, from, i);
        double value = less(row[i], row, row, from, i);
        if (!(value > 16 * DBL_EPSILON * diagonal[i - from]) || !isfinite(value))
            return false;
        row[i] = sqrt(value);
    }
    for (; i + 4 <= size; i += 4)
        finish_four(front, size, front + i * size, from, to);
    for (; i < size; i++)
        finish_row(front, size, front + i * size, from, to);
    return true;
}

enum status front_factor(double *front, size_t size, size_t own, const struct job *job)
{
    for (size_t from = 0; from < own; from += BLOCK) {
        size_t to = from + BLOCK < own ? from + BLOCK : own;
        double diagonal[BLOCK];
        for (size_t j = from; j < to; j++)
            diagonal[j - from] = front[j * size + j];
        if (from > 0 && !subtract(front, size, from, to, from, job))
            return STATUS_CANCELLED;
        if (!factor_block(front, size, from, to, diagonal))
            return STATUS_REFUSED;
    }
    if (own < size && !subtract(front, size, own, size, own, job))
        return STATUS_CANCELLED;
    return STATUS_OK;
}
