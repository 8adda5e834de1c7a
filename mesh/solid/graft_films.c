/* What crossings do not tell, and what is too thin to be told apart. */
#include <stdlib.h>

#include "core/sets.h"
#include "solid/graft.h"

/* --- vertices in one place ---------------------------------------------------------------------
 */

static int place_order(const void *x, const void *y, void *context)
{
    const struct vec *at = context;
    const struct vec *a = &at[*(const uint32_t *)x], *b = &at[*(const uint32_t *)y];
    if (a->x != b->x)
        return a->x < b->x ? -1 : 1;
    if (a->y != b->y)
        return a->y < b->y ? -1 : 1;
    if (a->z != b->z)
        return a->z < b->z ? -1 : 1;
    return (*(const uint32_t *)x > *(const uint32_t *)y) -
           (*(const uint32_t *)x < *(const uint32_t *)y);
}

enum status graft_places(const struct graft *p, uint32_t **order, size_t *used)
{
    *used = 0;
    *order = scratch_new(p->vertices, sizeof **order);
    if (!*order)
        return job_fail_memory(p->job, p->vertices * sizeof **order);
    for (uint32_t v = 0; v < p->vertices; v++)
        if (p->start[v + 1] > p->start[v])
            (*order)[(*used)++] = v;
    if (*used)
        qsort_r(*order, *used, sizeof **order, place_order, p->at);
    return STATUS_OK;
}

/* --- films --------------------------------------------------------------------------------------
 */

struct film { /* a component of the graft */
    double volume6, area2;
    bool open; /* it goes on beyond the graft */
};

static void measure(const struct graft *p, uint32_t *group, struct film *film)
{
    for (size_t v = 0; v < p->vertices; v++)
        film[v] = (struct film){0};
    for (size_t t = 0; t < p->triangles; t++) {
        if (p->corner[3 * t] == NO_INDEX)
            continue;
        uint32_t of = sets_find(group, p->corner[3 * t]);
        struct vec c[3];
        for (size_t k = 0; k < 3; k++) {
            c[k] = vec_sub(p->at[p->corner[3 * t + k]], p->at[of]);
            film[of].open = film[of].open || !p->whole[p->corner[3 * t + k]];
        }
        film[of].volume6 += vec_dot(c[0], vec_cross(c[1], c[2]));
        film[of].area2 += vec_length(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
    }
}

enum status graft_drop_films(struct graft *p, double least)
{
    uint32_t *group = scratch_new(p->vertices, sizeof *group);
    struct film *film = scratch_new(p->vertices, sizeof *film);
    for (uint32_t v = 0; group && v < p->vertices; v++)
        group[v] = v;
    for (size_t i = 0; group && i < 3 * p->triangles; i++)
        if (p->corner[i] != NO_INDEX)
            group[sets_find(group, p->corner[i])] = sets_find(group, beside(p, (uint32_t)i, 1));
    if (group && film)
        measure(p, group, film);
    for (uint32_t t = 0; group && film && t < p->triangles; t++) {
        if (p->corner[3 * t] == NO_INDEX)
            continue;
        const struct film *of = &film[sets_find(group, p->corner[3 * t])];
        if (!of->open && fabs(of->volume6) * 2 / 3 <= least * of->area2)
            drop(p, t);
    }
    enum status status =
        group && film ? STATUS_OK : job_fail_memory(p->job, p->vertices * sizeof *film);
    scratch_free(group);
    scratch_free(film);
    return status;
}

/* --- what crossings do not tell ----------------------------------------------------------------
 */

/* Whether the triangles around the vertex are one fan. */
static bool one_fan(const struct graft *p, uint32_t v)
{
    uint32_t first = p->start[v], count = p->start[v + 1] - first, at = first, walked = 0;
    do {
        uint32_t next = beside(p, p->star[at], 2), i = first;
        while (i < first + count && beside(p, p->star[i], 1) != next)
            i++;
        if (i == first + count)
            return false;
        at = i;
        walked++;
    } while (at != first && walked < count);
    return at == first && walked == count;
}

enum status graft_faults(const struct graft *p, uint64_t *faults)
{
    uint32_t *order;
    size_t used;
    enum status status = graft_places(p, &order, &used);
    for (size_t i = 0; i < used && status == STATUS_OK; i++) {
        uint32_t v = order[i];
        *faults +=
            (i > 0 && same_place(p->at[order[i - 1]], p->at[v])) || (p->whole[v] && !one_fan(p, v));
    }
    scratch_free(order);
    return status;
}
