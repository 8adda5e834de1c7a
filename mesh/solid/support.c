#include "solid/support.h"

#include <math.h>

#include "core/job.h"

enum { LOOK = 4096 };

struct look {
    struct vec down;
    double floor, steep, level; /* local; sine of the lean */
};

static void add_triangle(const struct look *l, const struct point *at, const struct triangle *t,
                         struct support *s)
{
    struct vec p[3];
    double above[3];
    for (int k = 0; k < 3; k++) {
        p[k] = point_vec(at[t->v[k]]);
        above[k] = l->floor - vec_dot(l->down, p[k]);
    }
    if (fmax(above[0], fmax(above[1], above[2])) <= l->level)
        return;
    struct vec normal = vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]));
    double twice = vec_length(normal), downward = vec_dot(normal, l->down);
    if (!(downward > l->steep * twice * (1 + 1e-6)))
        return;
    s->area += twice / 2;
    s->volume += downward / 2 * (above[0] + above[1] + above[2]) / 3;
}

bool support_add(const struct mesh *mesh, struct vec down, double floor, double lean, double level,
                 struct support *support, const struct job *job)
{
    struct vec origin = vec(mesh->origin[0], mesh->origin[1], mesh->origin[2]);
    const struct look look = {down, floor - vec_dot(origin, down),
                              sin(lean * 3.14159265358979323846 / 180), level};
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % LOOK == 0 && job_cancelled(job))
            return false;
        add_triangle(&look, mesh_point(mesh), &mesh_triangle(mesh)[t], support);
    }
    return true;
}
