#include "solid/needles.h"

#include <float.h>

#include "core/crossings.h"
#include "core/topology.h"
#include "solid/graft.h"

enum { BLOCK = 1 << 16 };

/* One step of single precision at the largest coordinate, mm. */
static double step_of(const struct mesh *mesh)
{
    const struct bounds *box = mesh_bounds(mesh, NULL);
    double most = 0;
    for (int k = 0; box && k < 3; k++) {
        double low = (&box->min.x)[k] - mesh->origin[k], high = low + (&box->size.x)[k];
        most = fmax(most, fmax(fabs(low), fabs(high)));
    }
    return (double)FLT_EPSILON * most;
}

bool needles_low(const struct vec corner[3], double least)
{
    double longest2 = 0;
    for (int k = 0; k < 3; k++)
        longest2 = fmax(longest2, vec_length2(vec_sub(corner[(k + 1) % 3], corner[k])));
    struct vec b = vec_sub(corner[1], corner[0]), c = vec_sub(corner[2], corner[0]);
    return vec_length2(vec_cross(b, c)) < least * least * longest2;
}

/* --- the needles and what is around them -------------------------------------------------------
 */

static bool is_low(const struct mesh *mesh, size_t t, double least)
{
    struct vec corner[3];
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    return needles_low(corner, least);
}

static struct vec normal_of(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    return vec_unit(vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                              vec_sub(point_vec(mesh_point(mesh)[v[2]]), a)));
}

/* Whether a triangle lies flat on a neighbour, or on two. */
static bool is_folded(const struct mesh *mesh, const struct topology *topology, size_t t)
{
    struct vec n = normal_of(mesh, t);
    int folded = 0, flat = 0;
    for (uint32_t h = (uint32_t)(3 * t); h < 3 * t + 3; h++) {
        uint32_t across = half_across(topology, h);
        double cosine = across == NO_INDEX ? 1 : vec_dot(n, normal_of(mesh, across / 3));
        folded += cosine < GRAFT_FOLDED;
        flat += cosine < GRAFT_FLAT;
    }
    return flat || folded >= 2;
}

static bool has_marked(const struct mesh *mesh, size_t t, const uint8_t *mark)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    return mark[v[0]] || mark[v[1]] || mark[v[2]];
}

static void mark_corners(const struct mesh *mesh, size_t t, uint8_t *mark)
{
    for (int k = 0; k < 3; k++)
        mark[mesh_triangle(mesh)[t].v[k]] = 1;
}

/* Marks the vertices of what is to go, then those of all triangles at one of these, `rings` times:
 * what more than one flip in a row may come upon. Returns how many triangles have a marked one. */
static size_t mark_around(const struct mesh *mesh, const struct topology *topology, double least,
                          int rings, uint8_t *mark, uint8_t *next)
{
    size_t count = 0, triangles = mesh_triangles(mesh);
    memset(mark, 0, mesh_vertices(mesh));
    for (size_t t = 0; t < triangles; t++)
        if (is_low(mesh, t, least) || is_folded(mesh, topology, t))
            mark_corners(mesh, t, mark);
    for (int ring = 0; ring < rings; ring++) {
        memcpy(next, mark, mesh_vertices(mesh));
        for (size_t t = 0; t < triangles; t++)
            if (has_marked(mesh, t, mark))
                mark_corners(mesh, t, next);
        memcpy(mark, next, mesh_vertices(mesh));
    }
    for (size_t t = 0; t < triangles; t++)
        count += has_marked(mesh, t, mark);
    return count;
}

/* Vertices that are marked have all their triangles in the graft. */
static enum status take_graft(const struct mesh *mesh, const uint8_t *mark, size_t count,
                              uint32_t *triangle, struct graft *g)
{
    size_t n = 0;
    if (!graft_new(g, count))
        return STATUS_MEMORY;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        if (has_marked(mesh, t, mark)) {
            memcpy(&g->corner[3 * n], mesh_triangle(mesh)[t].v, sizeof mesh_triangle(mesh)[t].v);
            triangle[n++] = (uint32_t)t;
        }
    graft_number(g);
    for (size_t v = 0; v < g->vertices; v++) {
        g->at[v] = point_vec(mesh_point(mesh)[g->ref[v]]);
        g->whole[v] = mark[g->ref[v]];
    }
    return STATUS_OK;
}

/* --- the mesh without them ---------------------------------------------------------------------
 */

static struct mesh *with_graft(const struct mesh *mesh, const struct graft *g,
                               const uint32_t *triangle, struct job *job)
{
    struct mesh *made = mesh_new_like(mesh);
    struct array *now = made ? array_new(mesh_triangles(mesh), sizeof(struct triangle)) : NULL;
    if (!now) {
        mesh_free(made);
        job_fail_memory(job, mesh_triangles(mesh) * sizeof(struct triangle));
        return NULL;
    }
    memcpy(now->data, mesh_triangle(mesh), array_bytes(now));
    array_free(made->triangle);
    made->triangle = now;
    for (size_t t = 0; t < 3 * g->triangles; t++)
        mesh_triangle_edit(made)[triangle[t / 3]].v[t % 3] = g->ref[g->corner[t]];
    return made;
}

static bool carries_triangles(const struct mesh *mesh)
{
    for (int i = 0; i < ATTRIBUTE_COUNT; i++)
        if (mesh->attribute[i] && attribute_row((enum attribute)i)->domain != DOMAIN_VERTEX)
            return true;
    return false;
}

struct asking {
    bool (*may)(const void *context, struct vec now[2][3]);
    const void *context;
};

static bool ask(const void *context, uint32_t needle, uint32_t twin, struct vec now[2][3])
{
    const struct asking *asking = context;
    (void)needle, (void)twin;
    return !asking->may || asking->may(asking->context, now);
}

static enum status flip(const struct mesh *mesh, const uint8_t *mark, size_t count,
                        const struct graft_rule *rule, struct mesh **out, struct job *job)
{
    struct graft g = {.job = job};
    size_t flips = 0;
    uint32_t *triangle = scratch_new(count, sizeof *triangle);
    enum status status = triangle ? take_graft(mesh, mark, count, triangle, &g)
                                  : job_fail_memory(job, count * sizeof *triangle);
    if (status == STATUS_OK)
        status = graft_flip(&g, rule, &flips);
    if (status == STATUS_OK && flips && !(*out = with_graft(mesh, &g, triangle, job)))
        status = job_status(job);
    graft_release(&g);
    scratch_free(triangle);
    return status;
}

enum status needles_flip(const struct mesh *mesh,
                         bool (*may)(const void *context, struct vec now[2][3]),
                         const void *context, struct mesh **out, struct job *job)
{
    const struct asking asking = {may, context};
    const struct graft_rule rule = {NEEDLES * step_of(mesh), true, ask, &asking};
    size_t vertices = mesh_vertices(mesh);
    *out = NULL;
    if (carries_triangles(mesh))
        return STATUS_OK;
    const struct topology *topology = mesh_topology(mesh, job);
    uint8_t *mark = topology ? scratch_new(2 * vertices + 1, 1) : NULL;
    if (!mark)
        return topology ? job_fail_memory(job, 2 * vertices) : job_status(job);
    size_t count = mark_around(mesh, topology, rule.least, 2, mark, mark + vertices);
    enum status status = count ? flip(mesh, mark, count, &rule, out, job) : STATUS_OK;
    scratch_free(mark);
    uint64_t crossings = 0; /* with what is farther off than the graft reaches */
    struct crossing *pair = NULL;
    size_t kept;
    if (status == STATUS_OK && *out)
        status = crossings_find(*out, 0, &pair, &kept, &crossings, job);
    free(pair);
    if (status != STATUS_OK || crossings) {
        mesh_free(*out);
        *out = NULL;
    }
    return status;
}
