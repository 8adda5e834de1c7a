#include "core/weld.h"

#include <omp.h>

#include "core/blend.h"
#include "core/job.h"
#include "core/same.h"

enum { THREADS_MOST = 256 };

/* --- vertices with their attributes --------------------------------------------------------- */

static void take_points(struct mesh *joined, const struct mesh *mesh, const uint32_t *id)
{
    uint32_t next = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        if (id[v] == next)
            mesh_point_edit(joined)[next++] = mesh_point(mesh)[v];
}

static void take_triangles(struct mesh *joined, const struct mesh *mesh, const uint32_t *id,
                           int threads)
{
    size_t triangles = mesh_triangles(mesh);
    const struct triangle *from = mesh_triangle(mesh);
    struct triangle *to = mesh_triangle_edit(joined);
#pragma omp parallel for num_threads(threads)
    for (size_t t = 0; t < triangles; t++)
        for (int k = 0; k < 3; k++)
            to[t].v[k] = id[from[t].v[k]];
}

static bool mean_attribute(struct mesh *joined, const struct mesh *mesh, enum attribute attribute,
                           const uint32_t *id)
{
    const struct attribute_row *row = attribute_row(attribute);
    const char *from = mesh_attribute(mesh, attribute);
    char *to = mesh_attribute_new(joined, attribute);
    size_t vertices = mesh_vertices(joined);
    struct blend_sum *sum = scratch_new(vertices, sizeof *sum);
    if (!to || !sum) {
        scratch_free(sum);
        return false;
    }
    memset(sum, 0, vertices * sizeof *sum);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        blend_add(sum + id[v], row, from + v * row->stride, 1);
    for (size_t v = 0; v < vertices; v++)
        blend_write(sum + v, row, to + v * row->stride);
    scratch_free(sum);
    return true;
}

static bool take_attributes(struct mesh *joined, const struct mesh *mesh, const uint32_t *id)
{
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        if (!mesh->attribute[i])
            continue;
        if (attribute_row(i)->domain != DOMAIN_VERTEX)
            joined->attribute[i] = array_share(mesh->attribute[i]);
        else if (!mean_attribute(joined, mesh, i, id))
            return false;
    }
    return true;
}

struct mesh *weld_numbered(const struct mesh *mesh, const uint32_t *id, size_t distinct,
                           struct job *job)
{
    struct mesh *joined = mesh_new(distinct, mesh_triangles(mesh));
    if (!joined || !take_attributes(joined, mesh, id)) {
        job_fail_memory(job, mesh_bytes(mesh));
        mesh_free(joined);
        return NULL;
    }
    memcpy(joined->origin, mesh->origin, sizeof joined->origin);
    take_points(joined, mesh, id);
    take_triangles(joined, mesh, id, job_threads(job));
    joined->joined = true;
    return joined;
}

struct mesh *weld_exact(const struct mesh *mesh, struct job *job)
{
    if (mesh->joined)
        return mesh_share(mesh);
    struct positions positions = {(const unsigned char *)mesh_point(mesh), 0, mesh_vertices(mesh)};
    uint32_t *id = scratch_new(positions.count, sizeof *id);
    if (!id) {
        job_fail_memory(job, positions.count * sizeof *id);
        return NULL;
    }
    size_t distinct = 0;
    bool finite;
    struct mesh *joined = NULL;
    if (same_number(&positions, positions.count, id, &distinct, &finite, job) == STATUS_OK) {
        if (!finite) {
            job_fail(job, STATUS_REFUSED,
                     "some positions are not finite numbers; read the file anew");
        } else if (distinct < positions.count) {
            joined = weld_numbered(mesh, id, distinct, job);
        } else if ((joined = mesh_new_like(mesh))) {
            joined->joined = true;
        } else {
            job_fail_memory(job, sizeof *joined);
        }
    }
    scratch_free(id);
    return joined;
}

/* --- triangles without vertices ------------------------------------------------------------- */

/* Each thread takes the points that its triangles are the first to use: whose number is one more
 * than the highest before. */
static void soup_points(struct mesh *mesh, const struct positions *positions, int threads)
{
    const uint32_t *id = mesh_triangle(mesh)->v;
    uint32_t known[THREADS_MOST];
#pragma omp parallel num_threads(threads < THREADS_MOST ? threads : THREADS_MOST)
    {
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        size_t from = mesh_triangles(mesh) * i / n, end = mesh_triangles(mesh) * (i + 1) / n;
        known[i] = 0;
        for (size_t c = 3 * from; c < 3 * end; c++)
            known[i] = id[c] >= known[i] ? id[c] + 1 : known[i];
#pragma omp barrier
        uint32_t next = 0;
        for (size_t j = 0; j < i; j++)
            next = known[j] > next ? known[j] : next;
        for (size_t t = from; t < end; t++)
            for (size_t k = 0; k < 3; k++)
                if (id[3 * t + k] == next)
                    memcpy(&mesh_point_edit(mesh)[next++],
                           positions->base + t * positions->stride + 12 * k, sizeof(struct point));
    }
}

static struct mesh *soup_join(const struct positions *positions, bool *finite, struct job *job)
{
    size_t triangles = positions->count / 3, distinct = 0;
    struct mesh *mesh = mesh_new(0, triangles);
    if (!mesh) {
        job_fail_memory(job, triangles * sizeof(struct triangle));
        return NULL;
    }
    /* A closed surface has half as many vertices as triangles (Euler), an open one a few more. */
    enum status status = same_number(positions, triangles * 2 / 3, mesh_triangle_edit(mesh)->v,
                                     &distinct, finite, job);
    struct array *point = NULL;
    if (status == STATUS_OK && *finite && !(point = array_new(distinct, sizeof(struct point))))
        job_fail_memory(job, distinct * sizeof(struct point));
    if (!point) {
        mesh_free(mesh);
        return NULL;
    }
    array_free(mesh->point);
    mesh->point = point;
    soup_points(mesh, positions, job_threads(job));
    mesh->joined = true;
    return mesh;
}

/* A copy of the finite triangles alone, close together. */
static float *finite_only(const struct positions *positions, size_t *triangles, struct job *job)
{
    size_t all = positions->count / 3;
    float *copy = scratch_new(all, 9 * sizeof *copy);
    if (!copy) {
        job_fail_memory(job, all * 9 * sizeof *copy);
        return NULL;
    }
    *triangles = 0;
    for (size_t t = 0; t < all; t++)
        if (soup_finite(positions->base + t * positions->stride))
            memcpy(copy + 9 * (*triangles)++, positions->base + t * positions->stride,
                   9 * sizeof *copy);
    return copy;
}

struct mesh *weld_soup(const void *corners, size_t stride, size_t triangles, struct job *job)
{
    if (triangles > MESH_MOST) {
        job_fail(job, STATUS_REFUSED,
                 "%zu triangles are more than the %d that one mesh can hold; split the file",
                 triangles, MESH_MOST);
        return NULL;
    }
    struct positions positions = {corners, stride, 3 * triangles};
    bool finite = true;
    struct mesh *mesh = soup_join(&positions, &finite, job);
    if (mesh || finite)
        return mesh;
    float *copy = finite_only(&positions, &triangles, job);
    if (!copy)
        return NULL;
    positions = (struct positions){(const unsigned char *)copy, 9 * sizeof *copy, 3 * triangles};
    mesh = soup_join(&positions, &finite, job);
    scratch_free(copy);
    return mesh;
}
