#include "op/sketch.h"

#include <math.h>
#include <stdlib.h>

#include "core/topology.h"

static const double crease = 0.8660254037844386; /* cosine of 30 degrees */

void sketch_release(struct sketch *sketch)
{
    free(sketch->line);
    free(sketch->mark);
    *sketch = (struct sketch){0};
}

/* Room for one more; false: out of memory. */
static bool grow(void **list, size_t size, size_t count, size_t *room)
{
    if (count < *room)
        return true;
    size_t more = *room ? 2 * *room : 64;
    void *grown = realloc(*list, more * size);
    if (!grown)
        return false;
    *list = grown;
    *room = more;
    return true;
}

enum status sketch_line(struct sketch *sketch, struct vec from, struct vec to, struct job *job)
{
    void *list = sketch->line;
    bool ok = grow(&list, sizeof *sketch->line, sketch->lines, &sketch->lines_room);
    sketch->line = list;
    if (!ok)
        return job_fail_memory(job, 2 * sketch->lines * sizeof *sketch->line);
    sketch->line[sketch->lines++] = (struct raster_line){from, to};
    return STATUS_OK;
}

enum status sketch_mark(struct sketch *sketch, struct vec at, uint8_t glyph, struct job *job)
{
    void *list = sketch->mark;
    bool ok = grow(&list, sizeof *sketch->mark, sketch->marks, &sketch->marks_room);
    sketch->mark = list;
    if (!ok)
        return job_fail_memory(job, 2 * sketch->marks * sizeof *sketch->mark);
    sketch->mark[sketch->marks++] = (struct raster_mark){.at = at, .glyph = glyph, .chosen = true};
    return STATUS_OK;
}

static struct vec corner(const struct mesh *mesh, uint32_t half)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[half / 3].v[half % 3]]);
}

static struct vec facing(const struct mesh *mesh, uint32_t triangle)
{
    struct vec a = corner(mesh, 3 * triangle);
    return vec_unit(vec_cross(vec_sub(corner(mesh, 3 * triangle + 1), a),
                              vec_sub(corner(mesh, 3 * triangle + 2), a)));
}

static bool is_crease(const struct mesh *mesh, const struct topology *topology, uint32_t half)
{
    uint32_t across = half_across(topology, half);
    if (across == NO_INDEX)
        return true;
    return half < across && vec_dot(facing(mesh, half / 3), facing(mesh, across / 3)) < crease;
}

enum status sketch_creases(struct sketch *sketch, const struct mesh *mesh, struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    enum status status = topology ? STATUS_OK : job_status(job);
    for (uint32_t h = 0; status == STATUS_OK && h < 3 * mesh_triangles(mesh); h++)
        if (is_crease(mesh, topology, h))
            status = sketch_line(sketch, mesh_world(mesh, corner(mesh, h)),
                                 mesh_world(mesh, corner(mesh, half_next(h))), job);
    return status;
}
