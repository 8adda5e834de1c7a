/* No triangle nearer to the solid than it should be.
 *
 * The squared distance from a surface is the least of |x - q|^2 over its points q, so less |x|^2 it
 * is the least of functions that are linear in x: concave. In a triangle it is therefore at least
 * what its corners say in between, which leaves: d(x)^2 >= least d(corner)^2 less the greatest mean
 * of |x - corner|^2 by x's weights. That is the square of the circle's radius around the triangle,
 * or of half its longest side where that circle's middle lies outside. It is enough for small
 * triangles. Of the others the tree is asked how near its surface comes to them as a whole. */
#include <string.h>

#include "solid/offset_parts.h"

#include "core/blocks.h"

enum { BLOCK = 256, ROUNDS = 16 };

static double needed(const struct offsetting *o)
{
    return offset_nearest(o->field.by);
}

/* The greatest mean of |x - corner|^2 by x's weights, over the x in the triangle. */
static double spread2(const struct vec corner[3])
{
    struct vec a = vec_sub(corner[1], corner[0]), b = vec_sub(corner[2], corner[0]);
    double aa = vec_length2(a), bb = vec_length2(b), cc = vec_length2(vec_sub(a, b));
    double longest = fmax(aa, fmax(bb, cc)), area2 = vec_length2(vec_cross(a, b));
    if (2 * longest >= aa + bb + cc || !(area2 > 0))
        return longest / 4;
    return aa * bb * cc / (4 * area2);
}

double offset_short_of(const struct offsetting *o, const struct vec corner[3])
{
    return needed(o) - tree_clearance(o->field.tree, corner, needed(o));
}

/* By how much a triangle is too near, mm; 0: it is not. */
static float short_of(const struct offsetting *o, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    double need = needed(o), least = INFINITY;
    struct vec corner[3];
    for (int k = 0; k < 3; k++) {
        corner[k] = point_vec(o->net.at[v[k]]);
        least = fmin(least, (double)o->spot[v[k]].value + o->field.by);
    }
    if (least < need)
        return (float)(need - least);
    if (least * least - spread2(corner) >= need * need)
        return 0;
    return (float)offset_short_of(o, corner);
}

static bool is_asked(const struct offsetting *o, const uint8_t *ask, size_t t)
{
    const uint32_t *v = mesh_triangle(o->mesh)[t].v;
    return ask[v[0]] || ask[v[1]] || ask[v[2]];
}

static enum status prove_all(struct offsetting *o, const uint8_t *ask, float *lack)
{
    size_t triangles = mesh_triangles(o->mesh), blocks = (triangles + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++) {
        size_t end = block_end(b, BLOCK, triangles);
        for (size_t t = b * BLOCK; t < end && !job_cancelled(o->job); t++)
            lack[t] = is_asked(o, ask, t) ? short_of(o, t) : 0;
        job_step(o->job, end - b * BLOCK);
    }
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

/* The vertices of triangles that are too near are to stand farther off; how many. */
static size_t ask_more(struct offsetting *o, const float *lack, float *most)
{
    size_t count = 0;
    memset(most, 0, o->net.vertices * sizeof *most);
    for (size_t t = 0; t < mesh_triangles(o->mesh); t++)
        for (int k = 0; k < 3; k++) {
            uint32_t v = mesh_triangle(o->mesh)[t].v[k];
            most[v] = fmaxf(most[v], lack[t]);
        }
    for (size_t v = 0; v < o->net.vertices; v++) {
        o->spot[v].stale = most[v] > 0;
        count += o->spot[v].stale;
        if (most[v] > 0)
            o->spot[v].more = fmaxf(o->spot[v].more, o->spot[v].value) + 1.1f * most[v] +
                              0.2f * (float)OFFSET_SLACK;
    }
    return count;
}

static enum status push_all(struct offsetting *o)
{
    size_t blocks = (o->net.vertices + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(o->job)) schedule(dynamic, 1)
    for (size_t b = 0; b < blocks; b++)
        for (size_t v = b * BLOCK; v < (b + 1) * BLOCK && v < o->net.vertices; v++)
            if (o->spot[v].stale && !job_cancelled(o->job))
                offset_push(o, v);
    return job_cancelled(o->job) ? job_fail_cancelled(o->job) : STATUS_OK;
}

/* The vertices whose triangles are to be proved: those that are stale, and all of their quads,
 * which may be cut otherwise now. */
static void ask_stale(const struct offsetting *o, uint8_t *ask)
{
    for (size_t v = 0; v < o->net.vertices; v++)
        ask[v] = o->spot[v].stale;
    for (size_t q = 0; q < o->net.quads; q++) {
        const uint32_t *v = o->net.quad[q];
        bool stale = false;
        for (int k = 0; k < 4; k++)
            stale = stale || o->spot[v[k]].stale;
        for (int k = 0; k < 4 && stale; k++)
            ask[v[k]] = 1;
    }
}

static enum status prove(struct offsetting *o, uint8_t *ask, float *lack, float *most)
{
    ask_stale(o, ask);
    for (int round = 0;; round++) {
        enum status status = prove_all(o, ask, lack);
        if (status != STATUS_OK || ask_more(o, lack, most) == 0 || round == ROUNDS)
            return status;
        status = push_all(o);
        if (status != STATUS_OK)
            return status;
        for (size_t v = 0; v < o->net.vertices; v++)
            ask[v] = o->spot[v].stale;
    }
}

enum status offset_prove(struct offsetting *o)
{
    size_t triangles = mesh_triangles(o->mesh), vertices = o->net.vertices;
    float *lack = scratch_new(triangles, sizeof *lack);
    float *most = scratch_new(vertices, sizeof *most);
    uint8_t *ask = scratch_new(vertices + 1, 1);
    job_phase(o->job, "proving the distance", o->part * 2 / 5, 2 * triangles);
    enum status status = lack && most && ask
                             ? prove(o, ask, lack, most)
                             : job_fail_memory(o->job, (triangles + vertices) * sizeof *lack);
    for (size_t v = 0; v < vertices; v++) /* pushed in vain */
        o->spot[v].loose = o->spot[v].stale;
    scratch_free(lack);
    scratch_free(most);
    scratch_free(ask);
    return status;
}
