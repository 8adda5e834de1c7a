#include "solid/foot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/exact.h"

static int order(const void *x, const void *y)
{
    const double *a = x, *b = y;
    for (int k = 0; k < 2; k++)
        if (a[k] != b[k])
            return a[k] < b[k] ? -1 : 1;
    return 0;
}

size_t foot_outline(double (*at)[2], size_t count, double (*corner)[2])
{
    size_t n = 0, distinct = 0;
    qsort(at, count, sizeof *at, order);
    for (size_t i = 0; i < count; i++)
        if (distinct == 0 || order(at[distinct - 1], at[i]) != 0)
            memmove(at[distinct++], at[i], sizeof *at);
    for (size_t i = 0; i < distinct; i++) { /* the lower chain */
        while (n > 1 && exact_turn(corner[n - 2], corner[n - 1], at[i]) <= 0)
            n--;
        memcpy(corner[n++], at[i], sizeof *corner);
    }
    size_t lower = n;
    for (size_t i = distinct; i-- > 1;) { /* the upper one, back to the first */
        const double *p = at[i - 1];
        while (n > lower && exact_turn(corner[n - 2], corner[n - 1], p) <= 0)
            n--;
        memcpy(corner[n++], p, sizeof *corner);
    }
    return n > 1 ? n - 1 : n;
}

double foot_area(const double (*corner)[2], size_t count)
{
    double area2 = 0;
    for (size_t i = 1; i + 1 < count; i++) {
        const double *o = corner[0], *a = corner[i], *b = corner[i + 1];
        area2 += (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
    }
    return area2 / 2;
}

double foot_margin(const double (*corner)[2], size_t count, double x, double y)
{
    if (count == 1)
        return -hypot(x - corner[0][0], y - corner[0][1]);
    double margin = count ? INFINITY : -INFINITY;
    for (size_t i = 0; i < count; i++) {
        const double *a = corner[i], *b = corner[(i + 1) % count];
        double u = b[0] - a[0], v = b[1] - a[1];
        margin = fmin(margin, (u * (y - a[1]) - v * (x - a[0])) / hypot(u, v));
    }
    return margin;
}
