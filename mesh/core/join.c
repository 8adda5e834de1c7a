#include "core/join.h"

#include <string.h>

#include "core/job.h"

enum { BLOCK = 65536 }; /* triangles or vertices between two looks at cancel */

static struct point *join_points(const struct mesh *mesh, const double origin[3], struct point *out,
                                 const struct job *job)
{
    size_t count = mesh_vertices(mesh);
    struct vec d =
        vec(mesh->origin[0] - origin[0], mesh->origin[1] - origin[1], mesh->origin[2] - origin[2]);
    bool moves = d.x != 0 || d.y != 0 || d.z != 0;
    for (size_t v = 0; v < count && !(v % BLOCK == 0 && job_cancelled(job)); v++)
        out[v] = moves ? vec_point(vec_add(point_vec(mesh_point(mesh)[v]), d))
                       : mesh_point(mesh)[v];
    return out + count;
}

static struct triangle *join_triangles(const struct mesh *mesh, uint32_t base, struct triangle *out,
                                       const struct job *job)
{
    size_t count = mesh_triangles(mesh);
    for (size_t t = 0; t < count && !(t % BLOCK == 0 && job_cancelled(job)); t++)
        for (int k = 0; k < 3; k++)
            out[t].v[k] = mesh_triangle(mesh)[t].v[k] + base;
    return out + count;
}

static bool join_attribute(struct mesh *all, const struct mesh *const *mesh, size_t count,
                           enum attribute attribute)
{
    const struct attribute_row *row = attribute_row(attribute);
    bool any = false;
    for (size_t i = 0; i < count; i++)
        any = any || mesh[i]->attribute[attribute];
    if (!any)
        return true;
    char *out = mesh_attribute_new(all, attribute);
    for (size_t i = 0; out && i < count; i++) {
        size_t bytes = mesh_domain(mesh[i], row->domain) * row->stride;
        const void *values = mesh_attribute(mesh[i], attribute);
        if (values)
            memcpy(out, values, bytes);
        else
            memset(out, attribute_blank(attribute), bytes);
        out += bytes;
    }
    return out;
}

/* Of no use when cancelled. */
static bool fill(struct mesh *all, const struct mesh *const *mesh, size_t count,
                 const struct job *job)
{
    struct point *point = mesh_point_edit(all);
    struct triangle *triangle = mesh_triangle_edit(all);
    for (int k = 0; k < 3; k++)
        all->origin[k] = mesh[0]->origin[k];
    for (size_t i = 0; i < count; i++) {
        triangle = join_triangles(mesh[i], (uint32_t)(point - mesh_point(all)), triangle, job);
        point = join_points(mesh[i], all->origin, point, job);
    }
    for (int a = 0; a < ATTRIBUTE_COUNT && !job_cancelled(job); a++)
        if (!join_attribute(all, mesh, count, (enum attribute)a))
            return false;
    return true;
}

struct mesh *mesh_join(const struct mesh *const *mesh, size_t count, struct job *job)
{
    if (count == 1)
        return mesh_share(mesh[0]);
    size_t vertices = 0, triangles = 0;
    for (size_t i = 0; i < count; i++) {
        vertices += mesh_vertices(mesh[i]);
        triangles += mesh_triangles(mesh[i]);
    }
    if (vertices > MESH_MOST || triangles > MESH_MOST) {
        job_fail(job, STATUS_REFUSED,
                 "%zu triangles are more than one mesh can hold (%d); take fewer pieces", triangles,
                 (int)MESH_MOST);
        return NULL;
    }
    struct mesh *all = mesh_new(vertices, triangles);
    bool filled = all && fill(all, mesh, count, job);
    if (filled && !job_cancelled(job))
        return all;
    mesh_free(all);
    if (filled)
        job_fail_cancelled(job);
    else
        job_fail_memory(job, vertices * sizeof(struct point) + triangles * sizeof(struct triangle));
    return NULL;
}
