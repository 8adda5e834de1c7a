/* Whether what was cut crosses itself. */
#include <stdlib.h>

#include "core/crossings.h"
#include "solid/boolean_parts.h"

static int vertex_order(const void *x, const void *y)
{
    uint32_t a = *(const uint32_t *)x, b = *(const uint32_t *)y;
    return (a > b) - (a < b);
}

/* The touched faces alone, with the vertices they have; NULL when there is no memory. */
static struct mesh *touched_mesh(const struct solid *s)
{
    size_t faces = s->touched.count, corners = 3 * faces, vertices = 0;
    uint32_t *vertex = scratch_new(corners, sizeof *vertex);
    for (size_t i = 0; vertex && i < corners; i++)
        vertex[i] = s->triangle[PILE(s->touched, uint32_t)[i / 3]].v[i % 3];
    if (vertex && corners)
        qsort(vertex, corners, sizeof *vertex, vertex_order);
    for (size_t i = 0; vertex && i < corners; i++)
        if (!vertices || vertex[vertices - 1] != vertex[i])
            vertex[vertices++] = vertex[i];
    struct mesh *mesh = vertex ? mesh_new(vertices, faces) : NULL;
    for (size_t v = 0; mesh && v < vertices; v++)
        mesh_point_edit(mesh)[v] = s->point[vertex[v]];
    for (size_t i = 0; mesh && i < corners; i++) {
        uint32_t v = s->triangle[PILE(s->touched, uint32_t)[i / 3]].v[i % 3];
        const uint32_t *found = bsearch(&v, vertex, vertices, sizeof v, vertex_order);
        mesh_triangle_edit(mesh)[i / 3].v[i % 3] = (uint32_t)(found - vertex);
    }
    scratch_free(vertex);
    return mesh;
}

enum status joint_own_crossings(const struct joint *j)
{
    enum status status = STATUS_OK;
    for (int s = 0; s < 2 && status == STATUS_OK; s++) {
        struct mesh *mesh = touched_mesh(&j->side[s]);
        struct crossing *pair = NULL;
        size_t kept = 0;
        uint64_t count = 0;
        status = mesh ? crossings_find(mesh, 1, &pair, &kept, &count, j->job)
                      : job_fail_memory(j->job, j->side[s].touched.count * 48);
        if (status == STATUS_OK && count)
            status = joint_crossed(j, s, PILE(j->side[s].touched, uint32_t)[pair->a]);
        free(pair);
        mesh_free(mesh);
    }
    return status;
}
