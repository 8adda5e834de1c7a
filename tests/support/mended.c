#include "tests/support/mended.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/wrecks.h"

struct mesh *mended_so(const struct mesh *mesh, const struct mend_options *options,
                       struct mend_report *report, int threads, char why[768])
{
    struct job job;
    struct mesh *out = NULL;
    job_init(&job);
    job.threads = threads;
    enum status status = mend(mesh, options, &out, report, &job);
    ck_assert_msg(status == STATUS_OK || status == STATUS_REFUSED, "%s", job.message);
    if (why)
        strcpy(why, job.message);
    else
        ck_assert_msg(status == STATUS_OK, "%s", job.message);
    job_release(&job);
    return out;
}

struct mesh *mended(const struct mesh *mesh, struct mend_report *report)
{
    return mended_so(mesh, &(struct mend_options){.shape = FILL_SMOOTH}, report, 1, NULL);
}

void expect_mended(const struct mesh *mesh, const char *what, int number)
{
    const char *fault = sound_fault(mesh);
    uint64_t crossings = sound_crossings(mesh);
    struct shape_count count = shape_count(mesh);
    ck_assert_msg(!fault, "%s %d: %s", what, number, fault);
    ck_assert_msg(crossings == 0, "%s %d: %u crossings", what, number, (unsigned)crossings);
    ck_assert_msg(count.degenerate == 0, "%s %d: %zu degenerate", what, number, count.degenerate);
    ck_assert_msg(count.volume > 0, "%s %d: volume %g", what, number, count.volume);
}

struct mesh *mesh_moved(struct mesh *mesh, double x, double y, double z)
{
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        *p = vec_point(vec_add(point_vec(*p), vec(x, y, z)));
    }
    return mesh;
}

struct mesh *mesh_two(struct mesh *a, struct mesh *b)
{
    const struct mesh *const both[2] = {a, b};
    struct mesh *joined = shape_join(both, NULL, 2);
    mesh_free(a);
    mesh_free(b);
    return joined;
}

struct mesh *mesh_inside_out(struct mesh *mesh)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        uint32_t *v = mesh_triangle_edit(mesh)[t].v, w = v[1];
        v[1] = v[2];
        v[2] = w;
    }
    return mesh;
}

struct mesh *mesh_with(struct mesh *mesh, const uint32_t (*extra)[3], size_t count)
{
    size_t old = mesh_triangles(mesh);
    struct mesh *made = mesh_new(mesh_vertices(mesh), old + count);
    memcpy(mesh_point_edit(made), mesh_point(mesh), array_bytes(mesh->point));
    memcpy(mesh_triangle_edit(made), mesh_triangle(mesh), array_bytes(mesh->triangle));
    memcpy(mesh_triangle_edit(made) + old, extra, count * sizeof *extra);
    mesh_free(mesh);
    return made;
}

struct mesh *cube_at(double x, double y, double z, double side)
{
    return mesh_moved(shape_box(side, side, side, 1), x, y, z);
}

struct mesh *broken(uint64_t seed)
{
    uint64_t state = seed * 1099511628211u + 7;
    struct mesh *mesh = wreck_sphere(seed, shape_random(&state) < 0.5 ? 0 : 0.03,
                                     shape_random(&state) < 0.5 ? 0 : 0.05);
    if (shape_random(&state) < 0.5) /* another through it */
        mesh =
            mesh_two(mesh, mesh_moved(shape_torus(8, 3, 20, 12), 3 * shape_random(&state), 1, 2));
    if (shape_random(&state) < 0.3) /* a box with sides in line with others */
        mesh = mesh_two(mesh, mesh_two(cube_at(4, 4, 4, 9), cube_at(8, 4, 4, 9)));
    size_t count = (size_t)(20 * shape_random(&state)), triangles = mesh_triangles(mesh);
    uint32_t(*extra)[3] = calloc(count + 1, sizeof *extra);
    for (size_t i = 0; i < count; i++) {
        const uint32_t *v =
            mesh_triangle(mesh)[(size_t)(shape_random(&state) * (double)triangles)].v;
        int kind = (int)(4 * shape_random(&state));
        uint32_t other = (uint32_t)(shape_random(&state) * (double)mesh_vertices(mesh));
        extra[i][0] = v[0];
        extra[i][1] = kind == 1 ? v[2] : v[1]; /* doubled, either way, */
        extra[i][2] = kind == 1   ? v[1]
                      : kind == 2 ? v[1]
                      : kind == 3 ? other
                                  : v[2]; /* a line, a fin */
    }
    mesh = mesh_with(mesh, (const uint32_t(*)[3])extra, count);
    free(extra);
    for (int i = 0; i < 6 && shape_random(&state) < 0.7; i++) { /* spikes */
        struct point *p =
            &mesh_point_edit(mesh)[(size_t)(shape_random(&state) * (double)mesh_vertices(mesh))];
        float by = (float)(0.2 + 1.2 * shape_random(&state));
        *p = (struct point){p->x * by, p->y * by, p->z * by};
    }
    if (shape_random(&state) < 0.2)
        mesh_moved(mesh, 5000, -3000, 800);
    return mesh;
}
