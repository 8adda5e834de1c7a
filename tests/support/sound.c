#include "tests/support/sound.h"

#include <stdlib.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/topology.h"
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
