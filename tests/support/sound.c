#include "tests/support/sound.h"

#include <stdlib.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "core/weld.h"
#include "tests/support/shapes.h"

/* Small meshes are not worth a second thread. */
static struct job one_thread(void)
{
    struct job job;
    job_init(&job);
    job.threads = 1;
    return job;
}

struct mesh *sound_joined(const struct mesh *mesh)
{
    struct mesh *loose = mesh_new_like(mesh);
    struct job job = one_thread();
    if (loose)
        loose->joined = false;
    struct mesh *joined = loose ? weld_exact(loose, &job) : NULL;
    if (!joined)
        abort();
    mesh_free(loose);
    return joined;
}

static const char *fault(const struct mesh *joined, size_t vertices)
{
    struct shape_count count = shape_count(joined);
    struct job job = one_thread();
    const struct topology *topology = mesh_topology(joined, &job);
    if (!topology)
        abort();
    if (mesh_vertices(joined) != vertices)
        return "two vertices in one place";
    if (count.boundary)
        return "a boundary edge";
    if (count.nonmanifold)
        return "a non-manifold edge";
    if (count.misoriented)
        return "a misoriented edge";
    if (topology->nonmanifold_vertices)
        return "a non-manifold vertex";
    return topology->unused_vertices ? "a vertex no triangle uses" : NULL;
}

const char *sound_fault(const struct mesh *mesh)
{
    struct mesh *joined = sound_joined(mesh);
    const char *what = fault(joined, mesh_vertices(mesh));
    mesh_free(joined);
    return what;
}

uint64_t sound_crossings(const struct mesh *mesh)
{
    struct crossing *pairs;
    size_t kept;
    uint64_t count;
    struct job job = one_thread();
    if (crossings_find(mesh, 0, &pairs, &kept, &count, &job) != STATUS_OK)
        abort();
    free(pairs);
    return count;
}

double sound_least_distance(const struct mesh *surface, const struct mesh *mesh, int places,
                            double *most)
{
    const struct tree *tree = mesh_tree(mesh, NULL);
    double least = INFINITY;
    uint64_t seed = 7;
    *most = 0;
    for (int i = 0; i < places; i++) {
        size_t t = (size_t)(shape_random(&seed) * (double)mesh_triangles(surface));
        double a = shape_random(&seed), b = shape_random(&seed);
        const double weight[3] = {1 - sqrt(a), sqrt(a) * (1 - b), sqrt(a) * b};
        struct vec at = vec(0, 0, 0);
        for (int k = 0; k < 3; k++)
            at = vec_along(at, weight[k],
                           point_vec(mesh_point(surface)[mesh_triangle(surface)[t].v[k]]));
        at = mesh_local(mesh, mesh_world(surface, at));
        double distance = tree_nearest(tree, at, INFINITY).distance;
        least = fmin(least, distance);
        *most = fmax(*most, distance);
    }
    return least;
}
