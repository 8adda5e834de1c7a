#include "solid/shell.h"

#include <string.h>

#include "core/job.h"
#include "core/join.h"
#include "core/turn_over.h"
#include "core/weld.h"
#include "solid/judge.h"

enum status shell_mark_made(struct mesh *mesh, struct job *job)
{
    uint8_t *origin = mesh_attribute_new(mesh, ATTRIBUTE_origin);
    if (!origin)
        return job_fail_memory(job, mesh_triangles(mesh));
    memset(origin, ORIGIN_MADE, mesh_triangles(mesh));
    return STATUS_OK;
}

static struct mesh *turned(const struct mesh *mesh, struct job *job)
{
    struct mesh *made = mesh_new_like(mesh);
    if (!made) {
        job_fail_memory(job, sizeof *made);
        return NULL;
    }
    if (mesh_turn_over(made, mesh, NULL, NULL, job) == STATUS_OK)
        return made;
    mesh_free(made);
    return NULL;
}

static enum status nothing_left(const struct mesh *mesh, double by, struct job *job)
{
    double depth = 0;
    struct vec at;
    enum status status = offset_deepest(mesh, &depth, &at, job);
    if (status != STATUS_OK)
        return status;
    return job_fail(job, STATUS_REFUSED,
                    "nothing lies %.4g mm inside: the part is %.4g mm thick at most; go less than "
                    "%.4g mm inward",
                    by, 2 * depth, depth);
}

/* The surface as it bounds the solid, and the mesh's own with it. */
static enum status put_together(const struct mesh *mesh, const struct shell_options *options,
                                struct mesh *surface, struct mesh **out, struct job *job)
{
    bool inward = options->offset.inward;
    enum status status = shell_mark_made(surface, job);
    if (status != STATUS_OK)
        return status;
    if (!options->skin) {
        *out = inward ? turned(surface, job) : mesh_share(surface);
        return *out ? STATUS_OK : job_status(job);
    }
    struct mesh *own = inward ? mesh_share(mesh) : turned(mesh, job);
    const struct mesh *const both[2] = {own, surface};
    *out = own ? mesh_join(both, 2, job) : NULL;
    if (*out)
        (*out)->joined = true;
    mesh_free(own);
    return *out ? STATUS_OK : job_status(job);
}

enum status shell_mesh(const struct mesh *mesh, const struct shell_options *options,
                       struct mesh **out, struct offset_report *report, struct job *job)
{
    struct mesh *surface = NULL;
    struct mesh *joined = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    enum status status = joined ? solid_judge(joined, job) : job_status(job);
    struct job_part whole = job_stage(job, 900);
    if (status == STATUS_OK)
        status = offset_surface(joined, &options->offset, &surface, report, job);
    job_part_end(job, whole);
    if (status == STATUS_OK && mesh_triangles(surface) == 0)
        status = nothing_left(joined, options->offset.by, job);
    if (status == STATUS_OK)
        status = put_together(joined, options, surface, out, job);
    mesh_free(surface);
    mesh_free(joined);
    return status;
}
