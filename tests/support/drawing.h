/* Contours in the plane, drawn for tests, and a judge of what fills them that counts edges and adds
 * areas: independent of how the triangles were found. */
#ifndef FETTLE_TESTS_SUPPORT_DRAWING_H
#define FETTLE_TESTS_SUPPORT_DRAWING_H

#include "core/contours.h"

struct drawing { /* contours in the making */
    double (*at)[2];
    size_t points, point_room;
    uint32_t (*edge)[2];
    size_t edges, edge_room;
};

uint32_t drawing_point(struct drawing *d, double x, double y); /* its index */
void drawing_edge(struct drawing *d, uint32_t a, uint32_t b);

/* Joins the points from `from` on into one closed contour. */
void drawing_ring(struct drawing *d, size_t from);
void drawing_square(struct drawing *d, double x, double y, double side, bool hole);
void drawing_release(struct drawing *d);

struct contours_fill drawing_fill(const struct drawing *d, int threads);
double drawing_area(const struct drawing *d);

struct verdict {
    size_t unmatched; /* contour edges that are not a side once for each time they were given */
    size_t unpaired;  /* inner edges that do not have one triangle on each side */
    size_t degenerate, turned_over;
    double area, contour_area, absolute;
};

/* Compares the triangles with the contours, those left open not counted. */
struct verdict drawing_judge(const struct drawing *d, const struct contours_fill *fill);

/* Inner edges that are not Delaunay: all pairs of triangles that share one are looked at. */
size_t drawing_not_delaunay(const struct drawing *d, const struct contours_fill *fill);

/* The whole promise for contours that do not cross. Releases the drawing. */
void drawing_expect_clean(struct drawing *d, double area, size_t loops);

#endif
