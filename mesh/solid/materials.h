/* What parts are made of, and what is made how. */
#ifndef FETTLE_SOLID_MATERIALS_H
#define FETTLE_SOLID_MATERIALS_H

#include <stdbool.h>
#include <stddef.h>

struct material {
    const char *name;
    double density; /* g/cm3 */
    bool recalled;  /* a rule of thumb, not a published value */
};

/* The rows of materials.def in their order; past the end a name of NULL. */
const struct material *material_row(size_t i);

/* Their names, the choices of a parameter. */
#define MATERIAL_NAMES (&material_names[1])
extern const char material_names[];

struct process {
    const char *name;
    double wall;   /* mm, supported on its sides, that it makes at least */
    double escape; /* mm: the narrowest hole that lets its resin or powder out; 0: it needs none */
};

/* The rows of processes.def. */
const struct process *process_row(size_t i);

#endif
