#include "surface/bit.h"

#include <string.h>

#include "core/apart.h"
#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/tree.h"

enum { BLOCK = 1024 };
static const double spacings = 3;

/* --- of a surface ---------------------------------------------------------------------------- */

static enum status mark_surface(const struct mesh *mesh, uint32_t at, uint8_t *in, struct job *job)
{
    const struct components *components = mesh_components(mesh, job);
    if (!components)
        return job_status(job);
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        in[t] = components->of[t] == components->of[at];
    return STATUS_OK;
}

/* --- of a cloud ------------------------------------------------------------------------------ */

struct growth {
    uint8_t *in;
    uint32_t *waiting; /* points whose neighbours are still to be asked for */
    size_t count;
};

static bool reach(uint32_t point, void *context)
{
    struct growth *g = context;
    if (!g->in[point])
        g->waiting[g->count++] = point;
    g->in[point] = 1;
    return true;
}

static enum status grow(const struct mesh *mesh, double far, struct growth *g, struct job *job)
{
    const struct tree *tree = mesh_tree(mesh, job);
    if (!tree)
        return job_status(job);
    for (size_t i = 0; g->count > 0; i++) {
        if (i % BLOCK == 0 && !job_step(job, BLOCK))
            return job_fail_cancelled(job);
        struct vec p = point_vec(mesh_point(mesh)[g->waiting[--g->count]]);
        tree_box(tree, vec(p.x - far, p.y - far, p.z - far), vec(p.x + far, p.y + far, p.z + far),
                 reach, g);
    }
    return STATUS_OK;
}

static enum status mark_cloud(const struct mesh *mesh, uint32_t at, uint8_t *in, struct job *job)
{
    double spacing;
    enum status status = mesh_spacing(mesh, &spacing, job);
    if (status != STATUS_OK)
        return status;
    struct growth growth = {in, scratch_new(mesh_vertices(mesh), sizeof(uint32_t)), 0};
    if (!growth.waiting)
        return job_fail_memory(job, mesh_vertices(mesh) * sizeof(uint32_t));
    memset(in, 0, mesh_vertices(mesh));
    reach(at, &growth);
    job_phase(job, "following the points", 800, mesh_vertices(mesh));
    status = grow(mesh, spacings * spacing, &growth, job);
    scratch_free(growth.waiting);
    return status;
}

/* --- both ------------------------------------------------------------------------------------ */

static double area_of(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    return vec_length(vec_cross(b, c)) / 2;
}

static enum status take(const struct mesh *mesh, bool others, uint8_t *keep, struct mesh **out,
                        struct bit_report *report, struct job *job)
{
    bool surface = mesh_triangles(mesh) > 0;
    size_t count = surface ? mesh_triangles(mesh) : mesh_vertices(mesh);
    for (size_t i = 0; i < count; i++) {
        keep[i] = (keep[i] != 0) == others;
        report->left += keep[i];
        report->taken += !keep[i];
        report->area += surface && !keep[i] ? area_of(mesh, i) : 0;
    }
    if (report->left == 0)
        return job_fail(
            job, STATUS_REFUSED,
            "all of it hangs together there: nothing would be left; \"close\" takes the "
            "piece away");
    *out = surface ? mesh_subset(mesh, keep, job) : mesh_subset_points(mesh, keep, job);
    return *out ? STATUS_OK : job_status(job);
}

enum status bit_drop(const struct mesh *mesh, uint32_t at, bool others, struct mesh **out,
                     struct bit_report *report, struct job *job)
{
    bool surface = mesh_triangles(mesh) > 0;
    size_t count = surface ? mesh_triangles(mesh) : mesh_vertices(mesh);
    *report = (struct bit_report){0};
    uint8_t *in = scratch_new(count, 1);
    if (!in)
        return job_fail_memory(job, count);
    enum status status = surface ? mark_surface(mesh, at, in, job) : mark_cloud(mesh, at, in, job);
    if (status == STATUS_OK)
        status = take(mesh, others, in, out, report, job);
    scratch_free(in);
    return status;
}
