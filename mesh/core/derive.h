/* Derived data: computed when first asked for, cached with the mesh, freed with it.
 *
 * Asking is safe from any thread; whoever asks first computes while others who ask for the same
 * thing wait (use mesh_derived to look without waiting). Rows may ask for other rows, without
 * circles. */
#ifndef FETTLE_CORE_DERIVE_H
#define FETTLE_CORE_DERIVE_H

#include "core/mesh.h"

struct derived_row {
    /* Computes it; NULL on failure with the job's status set. */
    void *(*make)(const struct mesh *mesh, struct job *job);
    void (*free)(void *data);
};

/* The cached value, computing it when there is none yet. NULL on failure or cancel
 * (job_status(job) says which); nothing is cached then. */
const void *mesh_derive(const struct mesh *mesh, enum derived which, struct job *job);

/* The cached value if it is there now, else NULL. Never waits, never computes. */
const void *mesh_derived(const struct mesh *mesh, enum derived which);

/* Used by mesh.c. */
struct derived_slots *derived_slots_new(void);
void derived_slots_free(struct derived_slots *slots);

#endif
