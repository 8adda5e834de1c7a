#include "surface/decimate_apart.h"

#include <math.h>

#include "core/job.h"
#include "core/same.h"

static enum status apart_with(struct mesh *mesh, uint32_t *id, bool *moved, struct job *job)
{
    struct point *point = mesh_point_edit(mesh);
    const size_t n = mesh_vertices(mesh);
    const struct positions positions = {(const unsigned char *)point, 0, n};
    for (;;) {
        size_t distinct, next = 0;
        bool finite;
        enum status status = same_number(&positions, n, id, &distinct, &finite, job);
        if (status != STATUS_OK || distinct == n)
            return status;
        *moved = true;
        for (size_t v = 0; v < n; v++)
            if (id[v] == next)
                next++;
            else
                point[v].x = nextafterf(point[v].x, INFINITY);
    }
}

enum status move_apart(struct mesh *mesh, bool *moved, struct job *job)
{
    uint32_t *id = scratch_new(mesh_vertices(mesh), sizeof *id);
    *moved = false;
    if (!id)
        return job_fail_memory(job, mesh_vertices(mesh) * sizeof *id);
    enum status status = apart_with(mesh, id, moved, job);
    scratch_free(id);
    mesh->joined = status == STATUS_OK;
    return status;
}
