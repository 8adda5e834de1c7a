#include "scan/fuse_parts.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "scan/fuse_samples.h"

/* A shell has so many triangles, and this share of its piece's, at least; a piece has so many. */
enum { SHELL_LEAST = 200, SHELLS_MOST = 256 };
static const double shell_share = 0.005;

static bool room_for(struct fuse_parts *p, size_t more)
{
    if (p->count + more <= p->room)
        return true;
    size_t room = 2 * (p->count + more);
    struct fuse_piece *part = realloc(p->part, room * sizeof *part);
    p->part = part ? part : p->part;
    uint32_t *of = realloc(p->of, room * sizeof *of);
    p->of = of ? of : p->of;
    size_t *samples = realloc(p->samples, room * sizeof *samples);
    p->samples = samples ? samples : p->samples;
    if (!part || !of || !samples)
        return false;
    p->room = room;
    return true;
}

static enum status add(struct fuse_parts *p, const struct mesh *mesh, uint32_t of, struct job *job)
{
    if (!room_for(p, 1))
        return job_fail_memory(job, (p->count + 1) * sizeof *p->part);
    struct fuse_piece *part = &p->part[p->count];
    enum status status = fuse_piece_make(mesh, part, job);
    if (status != STATUS_OK)
        return status;
    p->of[p->count] = of;
    p->samples[p->count++] = mesh_vertices(part->mesh);
    return STATUS_OK;
}

/* --- shells ---------------------------------------------------------------------------------- */

/* Gives the large components numbers from 1 on; 0 is the rest. How many there are. */
static size_t number_shells(const struct components *c, size_t triangles, uint32_t *number)
{
    size_t shells = 0;
    for (size_t i = 0; i < c->count; i++) {
        bool large = c->triangles[i] >= SHELL_LEAST &&
                     (double)c->triangles[i] >= shell_share * (double)triangles &&
                     shells < SHELLS_MOST;
        number[i] = large ? (uint32_t)++shells : 0;
    }
    return shells;
}

static enum status add_shell(struct fuse_parts *p, const struct mesh *mesh,
                             const struct components *c, const uint32_t *number, uint32_t shell,
                             uint8_t *keep, uint32_t of, struct job *job)
{
    size_t kept = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        keep[t] = number[c->of[t]] == shell;
        kept += keep[t];
    }
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    if (kept == 0)
        return STATUS_OK;
    struct mesh *part = mesh_subset(mesh, keep, job);
    enum status status = part ? add(p, part, of, job) : job_status(job);
    mesh_free(part);
    return status;
}

/* Puts the latest part's shells in its place, if it has several. */
static enum status split(struct fuse_parts *p, struct job *job)
{
    struct fuse_piece *whole = &p->part[p->count - 1];
    size_t triangles = mesh_triangles(whole->mesh);
    if (triangles == 0 || whole->one_sided >= 1)
        return STATUS_OK;
    const struct components *c = mesh_components(whole->mesh, job);
    if (!c)
        return job_status(job);
    uint32_t *number = scratch_new(c->count, sizeof *number), of = p->of[p->count - 1];
    uint8_t *keep = scratch_new(triangles, 1);
    enum status status = number && keep ? STATUS_OK : job_fail_memory(job, triangles);
    size_t shells = status == STATUS_OK ? number_shells(c, triangles, number) : 0;
    if (shells > 1 && p->count + shells < SAMPLES_PIECES_MOST) {
        struct mesh *mesh = mesh_share(whole->mesh);
        fuse_piece_release(whole);
        p->count--;
        for (uint32_t shell = 0; shell <= shells && status == STATUS_OK; shell++)
            status = add_shell(p, mesh, c, number, shell, keep, of, job);
        mesh_free(mesh);
    }
    scratch_free(number);
    scratch_free(keep);
    return status;
}

/* --- all of them ----------------------------------------------------------------------------- */

/* Without what fill or an earlier fuse invented: no scan saw that, and what is invented now must be
 * told so again. */
static struct mesh *measured_of(const struct mesh *mesh, size_t *invented, struct job *job)
{
    size_t triangles = mesh_triangles(mesh), gone = 0;
    const uint8_t *origin = triangles ? mesh_attribute(mesh, ATTRIBUTE_origin) : NULL;
    for (size_t t = 0; origin && t < triangles; t++)
        gone += origin[t] == ORIGIN_INVENTED;
    *invented += gone;
    if (gone == 0)
        return mesh_share(mesh);
    uint8_t *keep = scratch_new(triangles, 1);
    if (!keep) {
        job_fail_memory(job, triangles);
        return NULL;
    }
    for (size_t t = 0; t < triangles; t++)
        keep[t] = origin[t] != ORIGIN_INVENTED;
    struct mesh *rest = mesh_subset(mesh, keep, job);
    scratch_free(keep);
    return rest;
}

enum status fuse_parts_make(const struct mesh *const *piece, size_t pieces, struct fuse_parts *out,
                            struct job *job)
{
    *out = (struct fuse_parts){0};
    if (!room_for(out, pieces + 1))
        return job_fail_memory(job, pieces * sizeof *out->part);
    for (size_t i = 0; i < pieces; i++) {
        struct mesh *mesh = measured_of(piece[i], &out->invented, job);
        enum status status = mesh ? add(out, mesh, (uint32_t)i, job) : job_status(job);
        mesh_free(mesh);
        if (status == STATUS_OK)
            status = split(out, job);
        if (status != STATUS_OK)
            return status;
        job_step(job, 1);
    }
    size_t samples = 0;
    for (size_t i = 0; i < out->count; i++) {
        out->jumps += out->part[i].jumps;
        samples += out->samples[i];
    }
    if (samples == 0 && out->invented > 0)
        return job_fail(job, STATUS_REFUSED,
                        "nothing of it was measured, all was invented before; open the scans and "
                        "fuse those");
    return STATUS_OK;
}

void fuse_parts_drop(struct fuse_parts *p)
{
    for (size_t i = 0; i < p->count && p->part; i++)
        fuse_piece_release(p->part + i);
    free(p->part);
    p->part = NULL;
}

void fuse_parts_release(struct fuse_parts *p)
{
    fuse_parts_drop(p);
    free(p->of);
    free(p->samples);
    *p = (struct fuse_parts){0};
}
