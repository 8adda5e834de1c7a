/* Mixing attribute values, whatever their type: for weld.c and lineage.c. */
#ifndef FETTLE_CORE_BLEND_H
#define FETTLE_CORE_BLEND_H

#include "core/mesh.h"

enum { BLEND_COMPONENTS_MOST = 4 };

struct blend_sum { /* a mixture in the making; zero it first */
    double value[BLEND_COMPONENTS_MOST];
    double weight;   /* of all added so far */
    double greatest; /* BLEND_FIRST: weight of the value kept */
};

/* Adds the element at `element` with its weight (not negative). */
void blend_add(struct blend_sum *sum, const struct attribute_row *row, const void *element,
               double weight);

/* Writes the mixture, rounded to the element's type; zeros when nothing of weight was added. */
void blend_write(const struct blend_sum *sum, const struct attribute_row *row, void *element);

#endif
