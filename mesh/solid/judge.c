#include "solid/judge.h"

#include <stdlib.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/mass.h"
#include "core/topology.h"

enum status solid_volume(const struct mesh *mesh, double *out, struct job *job)
{
    struct moments solid = {0}, surface = {0};
    const struct bounds *bounds = mesh_bounds(mesh, job);
    enum status status =
        bounds ? mesh_moments(mesh, bounds->centre, &solid, &surface, job) : job_status(job);
    if (status == STATUS_OK)
        *out = mass_of(&solid, MASS_SOLID, bounds->centre).amount;
    return status;
}

static enum status judge_edges(const struct mesh *mesh, struct job *job)
{
    const struct topology *t = mesh_topology(mesh, job);
    if (!t)
        return job_status(job);
    if (t->nonmanifold)
        return job_fail(job, STATUS_REFUSED,
                        "it is no solid: more than two triangles meet in %zu of its edges; "
                        "\"mend\" it first",
                        t->nonmanifold);
    if (t->boundary)
        return job_fail(job, STATUS_REFUSED,
                        "it is no solid: it is open along %zu edges; \"fill\" or \"mend\" it first",
                        t->boundary);
    if (t->misoriented)
        return job_fail(job, STATUS_REFUSED,
                        "it is no solid: its faces disagree along %zu edges; \"orient\" or "
                        "\"mend\" it first",
                        t->misoriented);
    return STATUS_OK;
}

static enum status judge_crossings(const struct mesh *mesh, struct job *job)
{
    struct crossing *pair = NULL;
    size_t kept;
    uint64_t count;
    enum status status = crossings_find(mesh, 1, &pair, &kept, &count, job);
    if (status == STATUS_OK && count) {
        struct vec at = vec(0, 0, 0);
        for (int k = 0; k < 3; k++)
            at = vec_along(at, 1 / 3.0,
                           point_vec(mesh_point(mesh)[mesh_triangle(mesh)[pair->a].v[k]]));
        at = mesh_world(mesh, at);
        status = job_fail(job, STATUS_REFUSED,
                          "it is no solid: %llu pairs of its triangles cross, the first at %.5g, "
                          "%.5g, %.5g; \"mend\" it first",
                          (unsigned long long)count, at.x, at.y, at.z);
    }
    free(pair);
    return status;
}

enum status solid_judge(const struct mesh *mesh, struct job *job)
{
    double volume = 0;
    if (mesh_triangles(mesh) == 0)
        return job_fail(job, STATUS_REFUSED,
                        "it has no triangles; \"fuse\" makes a solid of points");
    enum status status = judge_edges(mesh, job);
    if (status == STATUS_OK)
        status = solid_volume(mesh, &volume, job);
    if (status == STATUS_OK && !(volume > 0))
        status = job_fail(job, STATUS_REFUSED,
                          "it faces inward or holds nothing (its volume is %.5g mm3); \"orient\" "
                          "it first",
                          volume);
    if (status != STATUS_OK)
        return status;
    job_phase(job, "looking for crossings", 100, mesh_triangles(mesh));
    return judge_crossings(mesh, job);
}
