#include "core/derive.h"

#include <pthread.h>
#include <stdlib.h>

#define DERIVED(name, help) extern const struct derived_row derived_##name;
#include "core/derived.def"
#undef DERIVED

static const struct derived_row *const rows[] = {
#define DERIVED(name, help) &derived_##name,
#include "core/derived.def"
#undef DERIVED
};

struct derived_slots {
    struct {
        pthread_mutex_t making;
        _Atomic(void *) data;
    } slot[DERIVED_COUNT];
};

struct derived_slots *derived_slots_new(void)
{
    struct derived_slots *slots = malloc(sizeof *slots);
    if (!slots)
        return NULL;
    for (int i = 0; i < DERIVED_COUNT; i++) {
        pthread_mutex_init(&slots->slot[i].making, NULL);
        atomic_init(&slots->slot[i].data, NULL);
    }
    return slots;
}

void derived_slots_free(struct derived_slots *slots)
{
    if (!slots)
        return;
    for (int i = 0; i < DERIVED_COUNT; i++) {
        void *data = atomic_load(&slots->slot[i].data);
        if (data)
            rows[i]->free(data);
        pthread_mutex_destroy(&slots->slot[i].making);
    }
    free(slots);
}

const void *mesh_derived(const struct mesh *mesh, enum derived which)
{
    return atomic_load_explicit(&mesh->slots->slot[which].data, memory_order_acquire);
}

const void *mesh_derive(const struct mesh *mesh, enum derived which, struct job *job)
{
    const void *ready = mesh_derived(mesh, which);
    if (ready)
        return ready;
    pthread_mutex_lock(&mesh->slots->slot[which].making);
    void *data = atomic_load(&mesh->slots->slot[which].data);
    if (!data) {
        data = rows[which]->make(mesh, job);
        atomic_store_explicit(&mesh->slots->slot[which].data, data, memory_order_release);
    }
    pthread_mutex_unlock(&mesh->slots->slot[which].making);
    return data;
}
