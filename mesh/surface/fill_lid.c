#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_around.h"
#include "surface/fill_fair.h"
#include "surface/fill_parts.h"
#include "surface/fill_plane.h"
#include "surface/fill_smoothly.h"
#include "surface/fill_walk.h"
#include "surface/fill_weigh.h"

/* From the shape that is best to those that keep most to the rim. With a twentieth of the slope's
 * strength a lid still leans the way its surroundings do, but hardly shoots beyond them; without any
 * it is a membrane, all but within the hull of its rim. Which they are, and their order, comes from
 * trying on the open files of tests/unit/test_fill_clear.c. */
/* clang-format off */
static const struct manner smooth[] = { /* first, clear, dense, slope */
    {FILL_SMOOTH, false, true, SLOPE_FULL}, {FILL_SMOOTH, false, true, 0.05 * SLOPE_FULL},
    {FILL_SMOOTH, true, true, SLOPE_FULL},  {FILL_SMOOTH, true, true, 0.05 * SLOPE_FULL},
    {FILL_SMOOTH, false, true, 0},          {FILL_FLAT, false, true, 0},
    {FILL_SMOOTH, true, true, 0},           {FILL_FLAT, true, true, 0},
    {FILL_SMOOTH, true, true, -1},          {FILL_FLAT, false, false, -1},
    {FILL_SMOOTH, true, false, -1},         {FILL_FLAT, true, false, -1},
};
static const struct manner flat[] = {
    {FILL_FLAT, false, false, -1}, {FILL_FLAT, true, false, -1},
    {FILL_SMOOTH, false, false, -1}, {FILL_SMOOTH, true, false, -1},
};
/* clang-format on */

const struct manner *lid_manners(enum fill_shape shape, unsigned *count)
{
    *count = shape == FILL_SMOOTH ? sizeof smooth / sizeof *smooth : sizeof flat / sizeof *flat;
    return shape == FILL_SMOOTH ? smooth : flat;
}

size_t lid_edges(const struct rims *rims, uint32_t hole)
{
    size_t edges = 0;
    for (uint32_t m = rims->hole_start[hole]; m < rims->hole_start[hole + 1]; m++)
        edges += rims->start[rims->member[m] + 1] - rims->start[rims->member[m]];
    return edges;
}

static enum status lacking(const struct filling *f)
{
    return job_cancelled(f->job) ? STATUS_CANCELLED : STATUS_MEMORY;
}

static enum status shape_flatly(struct filling *f, struct patch *patch)
{
    patch->flat = 1 - 1e-9;
    for (uint32_t h = 0; h < 3 * patch->triangles; h++)
        if (!patch_look_at(patch, h))
            return STATUS_MEMORY;
    return patch_relax(patch, f->job) ? STATUS_OK : lacking(f);
}

/* Whether every triangle has three vertices. */
static bool is_whole(const struct patch *patch)
{
    for (uint32_t h = 0; h < 3 * patch->triangles; h++)
        if (patch_from(patch, h) == patch_to(patch, h))
            return false;
    return true;
}

/* The triangulation that goes round what is there: found once, since that takes long. */
static bool triangulate_clear(struct filling *f, enum fill_shape first, const struct walk *walk,
                              struct lid *lid)
{
    struct patch *patch = &lid->patch;
    const struct clearing clearing = {f->mesh, f->tree};
    size_t bytes = 3 * lid->clear_triangles * sizeof *lid->clear;
    bool known = lid->clear && first == FILL_SMOOTH;
    if (known && !patch_reserve(patch, patch->vertices, lid->clear_triangles))
        return false;
    if (known) {
        memcpy(patch->corner, lid->clear, bytes);
        memcpy(patch->twin, lid->clear + 3 * lid->clear_triangles, bytes);
        patch->triangles = lid->clear_triangles;
        return true;
    }
    if (!weigh_walk(walk, first, &clearing, patch, f->job))
        return false;
    if (!is_whole(patch)) { /* so much was in the way that it pinched itself */
        patch->triangles = 0;
        if (!weigh_walk(walk, first, NULL, patch, f->job))
            return false;
    }
    if (first == FILL_FLAT)
        return true;
    lid->clear = malloc((6 * patch->triangles + 1) * sizeof *lid->clear);
    if (!lid->clear)
        return false;
    lid->clear_triangles = patch->triangles;
    bytes = 3 * patch->triangles * sizeof *lid->clear;
    memcpy(lid->clear, patch->corner, bytes);
    memcpy(lid->clear + 3 * patch->triangles, patch->twin, bytes);
    return true;
}

static bool triangulate(struct filling *f, const struct manner *manner, const struct walk *walk,
                        struct lid *lid)
{
    bool done = false;
    struct patch *patch = &lid->patch;
    if (manner->clear)
        return triangulate_clear(f, manner->first, walk, lid) && patch_settle(patch);
    if (!manner->dense && plane_is_flat(walk, patch) && !plane_fill(walk, patch, &done, f->job))
        return false;
    if (done && !patch_fits(patch)) { /* weighing looks for another way */
        patch->triangles = 0;
        done = false;
    }
    return (done || weigh_walk(walk, manner->first, NULL, patch, f->job)) && patch_settle(patch);
}

enum status lid_make(struct filling *f, uint32_t hole)
{
    struct lid *lid = f->lid + hole;
    unsigned count;
    const struct manner *manner = lid_manners(f->shape, &count) + lid->manner;
    struct around around = {0};
    struct walk walk = {0};
    size_t edges = lid_edges(&f->rims, hole);
    fill_patch_release(&lid->patch);
    lid->rough = false;
    bool ok = walk_make(f->mesh, &f->rims, hole, &lid->patch, &walk, f->job) &&
              around_read(f->mesh, f->topology, &lid->patch, &around);
    job_step(f->job, edges);
    ok = ok && triangulate(f, manner, &walk, lid);
    job_step(f->job, edges);
    enum status status = ok ? STATUS_OK : lacking(f);
    if (ok && manner->dense)
        status = smoothly_shape(&lid->patch, &around, &walk, manner->slope, &lid->rough, f->job);
    else if (ok)
        status = shape_flatly(f, &lid->patch);
    job_step(f->job, edges);
    walk_release(&walk);
    around_release(&around);
    return status;
}

/* --- all of them -------------------------------------------------------------------------- */

struct size {
    size_t edges;
    uint32_t hole;
};

static int size_order(const void *a, const void *b)
{
    const struct size *x = a, *y = b;
    if (x->edges != y->edges)
        return x->edges > y->edges ? -1 : 1;
    return x->hole < y->hole ? -1 : x->hole > y->hole;
}

enum status lids_make(struct filling *f)
{
    uint32_t holes = (uint32_t)f->rims.holes, count = 0;
    struct size *size = malloc((holes + 1) * sizeof *size);
    atomic_int failed = size ? STATUS_OK : STATUS_MEMORY;
    for (uint32_t i = 0; i < holes && size; i++)
        if (f->lid[i].reshape)
            size[count++] = (struct size){lid_edges(&f->rims, i), i};
    if (count > 0)
        qsort(size, count, sizeof *size, size_order);
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (uint32_t i = 0; i < count; i++) {
        enum status status = failed == STATUS_OK ? lid_make(f, size[i].hole) : STATUS_OK;
        if (status != STATUS_OK)
            failed = (int)status;
        f->lid[size[i].hole].reshape = false;
    }
    free(size);
    if (failed == STATUS_CANCELLED)
        return job_fail_cancelled(f->job);
    return failed == STATUS_OK ? STATUS_OK
                               : job_fail_memory(f->job, mesh_triangles(f->mesh) / 8 * 64);
}
