#include "tests/support/drawing.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "core/exact.h"
#include "core/job.h"

uint32_t drawing_point(struct drawing *d, double x, double y)
{
    if (d->points == d->point_room) {
        d->point_room = 2 * d->point_room + 16;
        d->at = realloc(d->at, d->point_room * sizeof *d->at);
    }
    d->at[d->points][0] = x;
    d->at[d->points][1] = y;
    return (uint32_t)d->points++;
}

void drawing_edge(struct drawing *d, uint32_t a, uint32_t b)
{
    if (d->edges == d->edge_room) {
        d->edge_room = 2 * d->edge_room + 16;
        d->edge = realloc(d->edge, d->edge_room * sizeof *d->edge);
    }
    d->edge[d->edges][0] = a;
    d->edge[d->edges++][1] = b;
}

void drawing_ring(struct drawing *d, size_t from)
{
    for (size_t i = from; i < d->points; i++)
        drawing_edge(d, (uint32_t)i, (uint32_t)(i + 1 < d->points ? i + 1 : from));
}

void drawing_square(struct drawing *d, double x, double y, double side, bool hole)
{
    size_t from = d->points;
    static const int corner[4][2] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
    for (int k = 0; k < 4; k++) {
        const int *c = corner[hole ? 3 - k : k];
        drawing_point(d, x + side * c[0], y + side * c[1]);
    }
    drawing_ring(d, from);
}

void drawing_release(struct drawing *d)
{
    free(d->at);
    free(d->edge);
    *d = (struct drawing){0};
}

struct side { /* lower end first; +1 or -1 by direction; `given`: from the contours */
    uint32_t a, b;
    int way;
    bool given;
};

static int side_order(const void *x, const void *y)
{
    const struct side *p = x, *q = y;
    if (p->a != q->a)
        return p->a < q->a ? -1 : 1;
    return p->b < q->b ? -1 : p->b > q->b;
}

static struct side side(uint32_t a, uint32_t b, bool given)
{
    return a < b ? (struct side){a, b, 1, given} : (struct side){b, a, -1, given};
}

static void judge_sides(struct side *sides, size_t count, struct verdict *v)
{
    qsort(sides, count, sizeof *sides, side_order);
    for (size_t i = 0, j; i < count; i = j) {
        long given[2] = {0, 0}, made[2] = {0, 0};
        for (j = i; j < count && sides[j].a == sides[i].a && sides[j].b == sides[i].b; j++)
            *(sides[j].given ? &given[sides[j].way > 0] : &made[sides[j].way > 0]) += 1;
        if (given[0] + given[1] > 0)
            v->unmatched += given[0] != made[0] || given[1] != made[1];
        else
            v->unpaired += made[0] != 1 || made[1] != 1;
    }
}

static double cross(const double a[2], const double b[2], const double c[2])
{
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

struct verdict drawing_judge(const struct drawing *d, const struct contours_fill *fill)
{
    struct verdict v = {0};
    struct side *sides = malloc((d->edges + 3 * fill->triangles + 1) * sizeof *sides);
    size_t count = 0, open = 0;
    for (size_t e = 0; e < d->edges; e++) {
        if (open < fill->opens && fill->open[open] == e) {
            open++;
            continue;
        }
        sides[count++] = side(d->edge[e][0], d->edge[e][1], true);
        v.contour_area += cross(d->at[0], d->at[d->edge[e][0]], d->at[d->edge[e][1]]) / 2;
    }
    for (size_t t = 0; t < fill->triangles; t++) {
        const uint32_t *p = fill->triangle[t].v;
        for (int k = 0; k < 3; k++)
            sides[count++] = side(p[k], p[(k + 1) % 3], false);
        double area = cross(d->at[p[0]], d->at[p[1]], d->at[p[2]]) / 2;
        int turn = exact_turn(d->at[p[0]], d->at[p[1]], d->at[p[2]]);
        v.degenerate += turn == 0;
        v.turned_over += turn < 0;
        v.area += area;
        v.absolute += fabs(area);
    }
    judge_sides(sides, count, &v);
    free(sides);
    return v;
}

struct contours_fill drawing_fill(const struct drawing *d, int threads)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    struct contours contours = {(const double(*)[2])d->at, d->points, (const uint32_t(*)[2])d->edge,
                                d->edges, 0};
    struct contours_fill fill;
    ck_assert_int_eq(contours_fill(&contours, &fill, &job), STATUS_OK);
    job_release(&job);
    return fill;
}

double drawing_area(const struct drawing *d)
{
    double area = 0;
    for (size_t e = 0; e < d->edges; e++)
        area += cross(d->at[0], d->at[d->edge[e][0]], d->at[d->edge[e][1]]) / 2;
    return area;
}

size_t drawing_not_delaunay(const struct drawing *d, const struct contours_fill *fill)
{
    size_t bad = 0;
    for (size_t t = 0; t < fill->triangles; t++)
        for (size_t u = 0; u < fill->triangles; u++)
            for (int k = 0; k < 3; k++)
                for (int m = 0; m < 3; m++) {
                    const uint32_t *p = fill->triangle[t].v, *q = fill->triangle[u].v;
                    if (p[k] != q[(m + 1) % 3] || p[(k + 1) % 3] != q[m])
                        continue;
                    bool contour = false;
                    for (size_t e = 0; e < d->edges; e++)
                        contour |= (d->edge[e][0] == p[k] && d->edge[e][1] == q[m]) ||
                                   (d->edge[e][1] == p[k] && d->edge[e][0] == q[m]);
                    bad += !contour && exact_circle(d->at[p[0]], d->at[p[1]], d->at[p[2]],
                                                    d->at[q[(m + 2) % 3]]) > 0;
                }
    return bad;
}

void drawing_expect_clean(struct drawing *d, double area, size_t loops)
{
    struct contours_fill fill = drawing_fill(d, 1);
    struct verdict v = drawing_judge(d, &fill);
    ck_assert_uint_eq(fill.opens, 0);
    ck_assert_uint_eq(fill.loops, loops);
    ck_assert_uint_eq(v.unmatched, 0);
    ck_assert_uint_eq(v.unpaired, 0);
    ck_assert_uint_eq(v.degenerate, 0);
    ck_assert_uint_eq(v.turned_over, 0);
    ck_assert_double_eq_tol(v.area, area, 1e-9 * area);
    contours_release(&fill);
    drawing_release(d);
}
