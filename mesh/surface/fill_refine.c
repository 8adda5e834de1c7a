#include "surface/fill_refine.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

/* Liepa's square root of 2 leaves triangles a little larger than those around; this gives as many
 * as there were where a hole was cut out of an even mesh (measured). */
static const double split_from = 1.5;

static const double dense_rows = 16; /* of edges from the rim, before they grow longer */
static const double growth = 0.25;   /* of their length, by distance */

enum { PASSES_MOST = 64, LOOK = 4096 };

struct refining {
    struct patch *patch;
    double scale;
    double *far; /* one a vertex: distance from the rim along edges, mm */
    size_t room;
    bool wide; /* some vertex is so far that edges grow there */
    const struct job *job;
};

static double wanted(const struct refining *r, uint32_t v)
{
    double size = r->scale * r->patch->size[v], beyond = r->far[v] - dense_rows * size;
    return beyond > 0 ? size + growth * beyond : size;
}

/* Whether the triangle is to be split at *at. */
static bool is_large(const struct refining *r, const uint32_t *v, struct vec *at)
{
    const struct patch *p = r->patch;
    struct vec a = p->at[v[0]], b = p->at[v[1]], c = p->at[v[2]];
    *at = vec_scale(vec_add(vec_add(a, b), c), 1.0 / 3);
    double size[3] = {wanted(r, v[0]), wanted(r, v[1]), wanted(r, v[2])};
    double mean = (size[0] + size[1] + size[2]) / 3;
    for (int k = 0; k < 3; k++) {
        double least = fmax(mean, size[k]);
        double distance2 = split_from * split_from * vec_length2(vec_sub(*at, p->at[v[k]]));
        if (!(distance2 > least * least))
            return false;
    }
    return true;
}

static bool split(struct refining *r, uint32_t t, struct vec at)
{
    struct patch *p = r->patch;
    const uint32_t v[3] = {p->corner[3 * t], p->corner[3 * t + 1], p->corner[3 * t + 2]};
    double size = (p->size[v[0]] + p->size[v[1]] + p->size[v[2]]) / 3, far = INFINITY;
    for (int k = 0; k < 3; k++)
        far = fmin(far, r->far[v[k]] + vec_length(vec_sub(at, p->at[v[k]])));
    if (!list_grow(&r->far, &r->room, p->vertices + 1, sizeof *r->far))
        return false;
    r->wide |= far > dense_rows * r->scale * size;
    r->far[p->vertices] = far;
    return patch_split(p, t, at) && patch_relax(p, r->job);
}

static void reach(struct refining *r, uint32_t half)
{
    uint32_t a = patch_from(r->patch, half), b = patch_to(r->patch, half);
    double length = vec_length(vec_sub(r->patch->at[a], r->patch->at[b]));
    r->far[b] = fmin(r->far[b], r->far[a] + length);
    r->far[a] = fmin(r->far[a], r->far[b] + length);
}

/* Distances were taken when vertices were few: edges made since may be shorter ways. */
static void update_far(struct refining *r)
{
    uint32_t halves = (uint32_t)(3 * r->patch->triangles);
    r->wide = false;
    for (uint32_t h = 0; h < halves; h++)
        reach(r, h);
    for (uint32_t h = halves; h-- > 0;)
        reach(r, h);
    for (size_t v = r->patch->rim; v < r->patch->vertices; v++)
        r->wide |= r->far[v] > dense_rows * r->scale * r->patch->size[v];
}

/* Splits the large ones among the triangles there are now; *made counts them. Diagonals are relaxed
 * at once: of a row of long thin triangles, which a first triangulation has many of, the next one
 * then has the new vertex as a corner and need not be split itself. */
static bool split_large(struct refining *r, size_t *made)
{
    size_t triangles = r->patch->triangles;
    *made = 0;
    for (uint32_t t = 0; t < triangles; t++) {
        struct vec at;
        if (t % LOOK == 0 && job_cancelled(r->job))
            return false;
        if (!is_large(r, r->patch->corner + (size_t)3 * t, &at))
            continue;
        if (!split(r, t, at))
            return false;
        ++*made;
    }
    return true;
}

static bool relax_all(struct refining *r)
{
    for (uint32_t h = 0; h < 3 * r->patch->triangles; h++)
        if (r->patch->twin[h] != NO_INDEX && h < r->patch->twin[h] && !patch_look_at(r->patch, h))
            return false;
    return patch_relax(r->patch, r->job);
}

bool refine_patch(struct patch *patch, double scale, const struct job *job)
{
    struct refining r = {.patch = patch, .scale = scale, .job = job};
    bool ok = list_grow(&r.far, &r.room, patch->vertices, sizeof *r.far);
    for (size_t v = 0; v < patch->vertices && ok; v++)
        r.far[v] = v < patch->rim ? 0 : INFINITY;
    ok = ok && relax_all(&r);
    if (ok)
        update_far(&r);
    for (int pass = 0; pass < PASSES_MOST && ok; pass++) {
        size_t made;
        ok = split_large(&r, &made);
        if (!ok || made == 0)
            break;
        if (r.wide)
            update_far(&r);
    }
    free(r.far);
    return ok;
}
