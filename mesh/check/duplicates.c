/* Doubled triangles. Where a triangle has a double, each of its sides is either shared by just
 * these two or non-manifold: so the topology leaves few triangles to be compared. */
#include <stdlib.h>

#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_duplicates;

struct candidate {
    uint32_t v[3]; /* ascending */
    uint32_t triangle;
};

struct search {
    const struct mesh *mesh;
    const struct topology *topology;
};

static bool may_be_double(const struct search *s, size_t t)
{
    const uint32_t *twin = s->topology->twin + 3 * t;
    if (twin[0] == TWIN_NONE || twin[1] == TWIN_NONE || twin[2] == TWIN_NONE)
        return false;
    uint32_t other = NO_INDEX; /* the one triangle across all sides that have two */
    for (int k = 0; k < 3; k++) {
        if (twin[k] == TWIN_MANY)
            continue;
        uint32_t across = (twin[k] & ~TWIN_FLIPPED) / 3;
        if (other != NO_INDEX && other != across)
            return false;
        other = across;
    }
    return true;
}

static void order(uint32_t *a, uint32_t *b)
{
    if (*a > *b) {
        uint32_t swap = *a;
        *a = *b;
        *b = swap;
    }
}

static size_t count_candidates(const struct search *s, const struct job *job)
{
    size_t triangles = mesh_triangles(s->mesh), count = 0;
#pragma omp parallel for num_threads(job_threads(job)) reduction(+ : count)
    for (size_t t = 0; t < triangles; t++)
        count += !job_cancelled(job) && may_be_double(s, t);
    return count;
}

static void list_candidates(const struct search *s, struct candidate *list)
{
    for (size_t t = 0; t < mesh_triangles(s->mesh); t++) {
        if (!may_be_double(s, t))
            continue;
        struct candidate c = {.triangle = (uint32_t)t};
        for (int k = 0; k < 3; k++)
            c.v[k] = mesh_triangle(s->mesh)[t].v[k];
        order(&c.v[0], &c.v[1]);
        order(&c.v[1], &c.v[2]);
        order(&c.v[0], &c.v[1]);
        *list++ = c;
    }
}

static int by_vertices(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    for (int k = 0; k < 3; k++)
        if (a->v[k] != b->v[k])
            return a->v[k] < b->v[k] ? -1 : 1;
    return a->triangle < b->triangle ? -1 : a->triangle > b->triangle;
}

static int by_triangle(const void *x, const void *y)
{
    const struct candidate *a = x, *b = y;
    return a->triangle < b->triangle ? -1 : a->triangle > b->triangle;
}

/* Keeps those that are doubles, in the order of their triangles; returns how many. */
static size_t keep_doubles(struct candidate *list, size_t count)
{
    size_t doubles = 0;
    struct candidate last = {0};
    qsort(list, count, sizeof *list, by_vertices);
    for (size_t i = 0; i < count; i++) {
        struct candidate c = list[i];
        if (i && c.v[0] == last.v[0] && c.v[1] == last.v[1] && c.v[2] == last.v[2])
            list[doubles++] = c;
        last = c;
    }
    qsort(list, doubles, sizeof *list, by_triangle);
    return doubles;
}

static enum status find_doubles(struct inspection *inspection, const struct candidate *list,
                                size_t count, struct job *job)
{
    size_t kept = count < PLACES_MOST ? count : PLACES_MOST;
    struct place *places = malloc(kept * sizeof *places);
    if (!places)
        return job_fail_memory(job, kept * sizeof *places);
    for (size_t i = 0; i < kept; i++)
        places[i] = place_triangle(inspection->mesh, list[i].triangle);
    return inspection_find(inspection, &check_duplicates, SEVERITY_ERROR, count, places, kept, job,
                           "%zu triangle%s with the same corners as another", count, plural(count));
}

static enum status run(struct inspection *inspection, struct job *job)
{
    struct search s = {inspection->mesh, mesh_topology(inspection->mesh, job)};
    if (!s.topology)
        return job_status(job);
    size_t count = count_candidates(&s, job);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    inspection_count(inspection, FIGURE_duplicate_triangles, 0);
    if (count == 0)
        return STATUS_OK;
    struct candidate *list = scratch_new(count, sizeof *list);
    if (!list)
        return job_fail_memory(job, count * sizeof *list);
    list_candidates(&s, list);
    size_t doubles = keep_doubles(list, count);
    inspection_count(inspection, FIGURE_duplicate_triangles, (int64_t)doubles);
    enum status status = doubles ? find_doubles(inspection, list, doubles, job) : STATUS_OK;
    scratch_free(list);
    return status;
}

const struct check check_duplicates = {
    .name = "duplicate-triangles",
    .title = "Duplicate triangles",
    .help = "The same triangle twice encloses nothing; \"mend\" takes one of them, or both, "
            "away.",
    .mend = "mend",
    .severity = SEVERITY_ERROR,
    .run = run,
};
