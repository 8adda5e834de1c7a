#include "core/mass.h"

#include <string.h>

#include "core/eigen.h"
#include "core/job.h"
#include "core/topology.h"

enum { BLOCK = 4096 }; /* summed in order, so that the result does not depend on threads */

/* What amount, first and second moments must be divided by; see add_corners. */
static const double divisor[][3] = {
    [MASS_SOLID] = {6, 24, 120}, [MASS_SURFACE] = {2, 6, 24}, [MASS_POINTS] = {1, 1, 1}};

/* Adds weight times 1, s, s s' + sum of v v', where s is the sum of the corners v. */
static void add_corners(struct moments *m, double weight, struct vec a, struct vec b, struct vec c)
{
    struct vec s = vec_add(a, vec_add(b, c));
    const double term[10] = {1,
                             s.x,
                             s.y,
                             s.z,
                             s.x * s.x + a.x * a.x + b.x * b.x + c.x * c.x,
                             s.y * s.y + a.y * a.y + b.y * b.y + c.y * c.y,
                             s.z * s.z + a.z * a.z + b.z * b.z + c.z * c.z,
                             s.y * s.z + a.y * a.z + b.y * b.z + c.y * c.z,
                             s.z * s.x + a.z * a.x + b.z * b.x + c.z * c.x,
                             s.x * s.y + a.x * a.y + b.x * b.y + c.x * c.y};
    for (int i = 0; i < 10; i++)
        sum_add(&m->sum[i], weight * term[i]);
}

static void add_point(struct moments *m, struct vec a)
{
    const double term[10] = {1,         a.x,       a.y,       a.z,       a.x * a.x,
                             a.y * a.y, a.z * a.z, a.y * a.z, a.z * a.x, a.x * a.y};
    for (int i = 0; i < 10; i++)
        sum_add(&m->sum[i], term[i]);
}

struct measure {
    struct moments solid, surface;
};

static void measure_block(const struct mesh *mesh, struct vec middle, size_t from, size_t end,
                          struct measure *out)
{
    const struct point *point = mesh_point(mesh);
    *out = (struct measure){0};
    for (size_t t = from; t < end; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct vec p = point_vec(point[v[0]]), q = point_vec(point[v[1]]),
                   r = point_vec(point[v[2]]);
        struct vec cross = vec_cross(vec_sub(q, p), vec_sub(r, p));
        struct vec a = vec_sub(p, middle), b = vec_sub(q, middle), c = vec_sub(r, middle);
        add_corners(&out->solid, vec_dot(a, cross), a, b, c);
        add_corners(&out->surface, vec_length(cross), a, b, c);
    }
}

static void add_moments(struct moments *to, const struct moments *from)
{
    for (int i = 0; i < 10; i++)
        sum_add(&to->sum[i], sum_total(from->sum[i]));
}

enum status mesh_moments(const struct mesh *mesh, struct vec about, struct moments *solid,
                         struct moments *surface, struct job *job)
{
    size_t triangles = mesh_triangles(mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
    struct vec middle = mesh_local(mesh, about);
    struct measure *part = scratch_new(blocks, sizeof *part);
    if (!part)
        return job_fail_memory(job, blocks * sizeof *part);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < blocks; i++)
        if (!job_cancelled(job))
            measure_block(mesh, middle, i * BLOCK,
                          (i + 1) * BLOCK < triangles ? (i + 1) * BLOCK : triangles, &part[i]);
    enum status status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    for (size_t i = 0; i < blocks && status == STATUS_OK; i++) {
        add_moments(solid, &part[i].solid);
        add_moments(surface, &part[i].surface);
    }
    scratch_free(part);
    return status;
}

struct mass mass_of(const struct moments *moments, enum mass_kind kind, struct vec about)
{
    double m[10];
    for (int i = 0; i < 10; i++)
        m[i] = sum_total(moments->sum[i]) / divisor[kind][i == 0 ? 0 : i < 4 ? 1 : 2];
    struct mass mass = {.kind = kind, .amount = m[0], .centre = about};
    if (m[0] == 0)
        return mass;
    struct vec d = vec_scale(vec(m[1], m[2], m[3]), 1 / m[0]);
    mass.centre = vec_add(about, d);
    const double xx = m[4] - m[0] * d.x * d.x, yy = m[5] - m[0] * d.y * d.y,
                 zz = m[6] - m[0] * d.z * d.z, yz = m[7] - m[0] * d.y * d.z,
                 zx = m[8] - m[0] * d.z * d.x, xy = m[9] - m[0] * d.x * d.y;
    const double inertia[3][3] = {{yy + zz, -xy, -zx}, {-xy, zz + xx, -yz}, {-zx, -yz, xx + yy}};
    memcpy(mass.inertia, inertia, sizeof inertia);
    return mass;
}

void mass_axes(const struct mass *mass, double moment[3], struct vec axis[3])
{
    double matrix[3][3], vector[3][3];
    memcpy(matrix, mass->inertia, sizeof matrix);
    eigen_symmetric(3, matrix[0], moment, vector[0]);
    for (int i = 0; i < 2; i++)
        axis[i] = vec(vector[i][0], vector[i][1], vector[i][2]);
    axis[2] = vec_cross(axis[0], axis[1]);
}

/* --- several together ------------------------------------------------------------------------ */

static enum status all_closed(const struct mesh *const *mesh, size_t count, bool *closed,
                              struct job *job)
{
    *closed = count > 0;
    for (size_t i = 0; i < count && *closed; i++) {
        const struct topology *t = mesh_topology(mesh[i], job);
        if (!t)
            return job_status(job);
        *closed = mesh_triangles(mesh[i]) > 0 && t->boundary == 0 && t->misoriented == 0 &&
                  t->nonmanifold == 0;
    }
    return STATUS_OK;
}

static enum status points_moments(const struct mesh *mesh, struct vec about, struct moments *points,
                                  struct job *job)
{
    struct vec middle = mesh_local(mesh, about);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        if (v % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        add_point(points, vec_sub(point_vec(mesh_point(mesh)[v]), middle));
    }
    return STATUS_OK;
}

enum status mass_find(const struct mesh *const *mesh, size_t count, struct mass *out,
                      struct job *job)
{
    bool closed;
    struct vec low, high;
    struct moments solid = {0}, surface = {0}, points = {0};
    enum status status = all_closed(mesh, count, &closed, job);
    if (status == STATUS_OK)
        status = meshes_box(mesh, count, &low, &high, job);
    if (status != STATUS_OK)
        return status;
    struct vec about = low.x <= high.x ? vec_scale(vec_add(low, high), 0.5) : vec(0, 0, 0);
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        status = mesh_moments(mesh[i], about, &solid, &surface, job);
    if (status != STATUS_OK)
        return status;
    *out = mass_of(&solid, MASS_SOLID, about);
    if (closed && out->amount > 0)
        return STATUS_OK;
    *out = mass_of(&surface, MASS_SURFACE, about);
    if (out->amount > 0)
        return STATUS_OK;
    for (size_t i = 0; i < count && status == STATUS_OK; i++)
        status = points_moments(mesh[i], about, &points, job);
    *out = mass_of(&points, MASS_POINTS, about);
    return status;
}
