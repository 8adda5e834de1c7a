/* Area and volume: sums over the triangles, the volume by the divergence theorem about the middle
 * of the mesh (so that a part far from the origin loses no digits). */
#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_volume;

enum { BLOCK = 4096 }; /* summed in order, so that the result does not depend on threads */

struct measure {
    struct sum area2, volume6;
};

static struct measure measure_block(const struct mesh *mesh, struct vec middle, size_t from,
                                    size_t end)
{
    struct measure m = {0};
    const struct point *point = mesh_point(mesh);
    for (size_t t = from; t < end; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct vec a = point_vec(point[v[0]]);
        struct vec b = vec_sub(point_vec(point[v[1]]), a), c = vec_sub(point_vec(point[v[2]]), a);
        struct vec cross = vec_cross(b, c);
        sum_add(&m.area2, vec_length(cross));
        sum_add(&m.volume6, vec_dot(vec_sub(a, middle), cross));
    }
    return m;
}

static enum status measure_all(const struct mesh *mesh, struct vec middle, struct measure *out,
                               struct job *job)
{
    size_t triangles = mesh_triangles(mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
    struct measure *part = scratch_new(blocks, sizeof *part);
    if (!part)
        return job_fail_memory(job, blocks * sizeof *part);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < blocks; i++)
        if (!job_cancelled(job))
            part[i] = measure_block(mesh, middle, i * BLOCK,
                                    (i + 1) * BLOCK < triangles ? (i + 1) * BLOCK : triangles);
    enum status status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    for (size_t i = 0; i < blocks && status == STATUS_OK; i++) {
        sum_add(&out->area2, sum_total(part[i].area2));
        sum_add(&out->volume6, sum_total(part[i].volume6));
    }
    scratch_free(part);
    return status;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct mesh *mesh = inspection->mesh;
    const struct bounds *bounds = mesh_bounds(mesh, job);
    if (!bounds)
        return job_status(job);
    struct measure measure = {0};
    enum status status = measure_all(mesh, mesh_local(mesh, bounds->centre), &measure, job);
    if (status != STATUS_OK)
        return status;
    double volume = sum_total(measure.volume6) / 6;
    inspection_real(inspection, FIGURE_area, sum_total(measure.area2) / 2);
    if (!inspection->figure[FIGURE_closed].flag)
        return STATUS_OK;
    inspection_real(inspection, FIGURE_volume, volume);
    if (volume >= 0)
        return STATUS_OK;
    return inspection_find(inspection, &check_volume, SEVERITY_ERROR, mesh_triangles(mesh), NULL, 0,
                           job, "inside out: it encloses %.6g mm3", volume);
}

const struct check check_volume = {
    .name = "inside-out",
    .title = "Inside out",
    .help =
        "All triangles face inward, so that the solid is taken for a hole; \"orient\" turns them.",
    .severity = SEVERITY_ERROR,
    .run = run,
};
