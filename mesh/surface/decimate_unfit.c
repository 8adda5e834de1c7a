#include "surface/decimate_unfit.h"

#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/job.h"

enum { PAIRS = 4096 }; /* crossings looked at in one round */

/* Returns how many corners were not there already. */
static size_t take_back(struct mesh *made, const struct point *before, uint32_t triangle)
{
    struct point *point = mesh_point_edit(made);
    size_t count = 0;
    for (int k = 0; k < 3; k++) {
        uint32_t v = mesh_triangle(made)[triangle].v[k];
        if (!memcmp(&point[v], &before[v], sizeof *point))
            continue;
        point[v] = before[v];
        count++;
    }
    return count;
}

static enum status take_round(struct mesh *made, const struct point *before, size_t *count,
                              struct job *job)
{
    struct crossing *pair;
    size_t kept;
    uint64_t crossings;
    struct mesh *now = mesh_new_like(made); /* what was derived from `made` is of other positions */
    *count = 0;
    if (!now)
        return job_fail_memory(job, sizeof *now);
    enum status status = crossings_find(now, PAIRS, &pair, &kept, &crossings, job);
    for (size_t i = 0; status == STATUS_OK && i < kept; i++)
        *count += take_back(made, before, pair[i].a) + take_back(made, before, pair[i].b);
    if (status == STATUS_OK)
        free(pair);
    mesh_free(now);
    return status;
}

enum status unfit_crossings(struct mesh *made, const struct point *before, struct job *job)
{
    size_t count = 1;
    enum status status = STATUS_OK;
    while (status == STATUS_OK && count)
        status = take_round(made, before, &count, job);
    return status;
}
