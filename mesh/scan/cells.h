/* Points sorted into cubes of space: which lie in one, which lie near one. */
#ifndef FETTLE_SCAN_CELLS_H
#define FETTLE_SCAN_CELLS_H

#include "core/mesh.h"

struct cells {
    double side;            /* of a cube, mm */
    size_t count;           /* cubes with a point in them, numbered by their first point */
    uint32_t *start;        /* count + 1: cube i has item[start[i]] ... item[start[i + 1] - 1] */
    uint32_t *item;         /* indices of points, ascending inside each cube */
    struct cell_slot *slot; /* the hash table */
    size_t slots;           /* a power of two */
};

/* Sorts finite points; cubes more than a million sides from zero are as one. The caller releases;
 * on failure nothing is owned. */
enum status cells_make(const struct point *point, size_t count, double side, struct cells *out,
                       struct job *job);
void cells_release(struct cells *cells);

/* The cube with the integer coordinates floor(p / side) + (dx, dy, dz); NO_INDEX: it is empty. */
uint32_t cells_near(const struct cells *cells, struct point p, int dx, int dy, int dz);

#endif
