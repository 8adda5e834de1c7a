#include "scan/samples.h"

#include "core/blocks.h"
#include "core/job.h"

enum { BLOCK = 4096 };

double samples_random(uint64_t *state)
{
    *state += 0x9E3779B97F4A7C15ull;
    uint64_t z = *state;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return (double)((z ^ z >> 31) >> 11) / 9007199254740992.0;
}

static struct vec area_vector(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    return vec_scale(vec_cross(b, c), 0.5);
}

/* --- of a surface ---------------------------------------------------------------------------- */

/* The area of each block; the sums do not depend on the threads. */
static void measure(const struct mesh *mesh, size_t blocks, double *area, const struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++) {
        double sum = 0;
        for (size_t t = b * BLOCK;
             t < block_end(b, BLOCK, mesh_triangles(mesh)) && !job_cancelled(job); t++)
            sum += vec_length(area_vector(mesh, t));
        area[b] = sum;
    }
}

/* A point somewhere on the triangle: its two numbers follow from the sample's. */
static struct sample on_triangle(const struct mesh *mesh, size_t t, size_t i)
{
    uint64_t state = i;
    double r = sqrt(samples_random(&state)), s = samples_random(&state);
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec p = vec_scale(point_vec(mesh_point(mesh)[v[0]]), 1 - r);
    p = vec_along(p, r * (1 - s), point_vec(mesh_point(mesh)[v[1]]));
    p = vec_along(p, r * s, point_vec(mesh_point(mesh)[v[2]]));
    struct vec corner = point_vec(mesh_point(mesh)[v[i % 3]]);
    return (struct sample){p, corner, vec_unit(area_vector(mesh, t))};
}

/* Sample i stands (i + 0.5) * share along the areas: the first one that stands behind `area`. */
static size_t first_behind(double area, double share, size_t count)
{
    double first = ceil(area / share - 0.5);
    return !(first > 0) ? 0 : first < (double)count ? (size_t)first : count;
}

/* The samples between the areas `before` and `after`, which are what lies before this block and
 * before the next. */
static void sample_block(const struct mesh *mesh, size_t block, double before, double after,
                         double share, const struct samples *out)
{
    double sum = before;
    size_t next = first_behind(before, share, out->count), last = block * BLOCK;
    size_t end = first_behind(after, share, out->count);
    for (size_t t = last; t < block_end(block, BLOCK, mesh_triangles(mesh)); t++) {
        double area = vec_length(area_vector(mesh, t));
        sum += area;
        last = area > 0 ? t : last;
        for (; next < end && ((double)next + 0.5) * share < sum; next++)
            out->sample[next] = on_triangle(mesh, t, next);
    }
    for (; next < end; next++) /* which rounding has left over */
        out->sample[next] = on_triangle(mesh, last, next);
}

static enum status of_surface(const struct mesh *mesh, size_t most, struct samples *out,
                              struct job *job)
{
    size_t blocks = (mesh_triangles(mesh) + BLOCK - 1) / BLOCK;
    double *area = scratch_new(blocks + 1, sizeof *area), total = 0;
    if (!area)
        return job_fail_memory(job, blocks * sizeof *area);
    measure(mesh, blocks, area, job);
    for (size_t b = 0; b < blocks; b++) { /* areas become what lies before */
        double here = area[b];
        area[b] = total;
        total += here;
    }
    area[blocks] = total;
    out->count = total > 0 && isfinite(total) ? most : 0;
    double share = total / (double)most;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++)
        if (out->count && !job_cancelled(job))
            sample_block(mesh, b, area[b], area[b + 1], share, out);
    scratch_free(area);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- of a cloud ------------------------------------------------------------------------------ */

static void of_cloud(const struct mesh *mesh, size_t most, struct samples *out)
{
    size_t points = mesh_vertices(mesh);
    const struct point *normal = mesh_attribute(mesh, ATTRIBUTE_normal);
    out->count = points < most ? points : most;
    for (size_t i = 0; i < out->count; i++) {
        uint64_t state = i;
        size_t v =
            (size_t)(((double)i + samples_random(&state)) * (double)points / (double)out->count);
        if (out->count == points || v >= points)
            v = i;
        struct vec at = point_vec(mesh_point(mesh)[v]);
        out->sample[i] =
            (struct sample){at, at, normal ? vec_unit(point_vec(normal[v])) : vec(0, 0, 0)};
    }
}

enum status samples_take(const struct mesh *mesh, size_t most, struct samples *out, struct job *job)
{
    *out = (struct samples){scratch_new(most, sizeof *out->sample), 0};
    if (!out->sample)
        return job_fail_memory(job, most * sizeof *out->sample);
    enum status status = STATUS_OK;
    if (mesh_triangles(mesh))
        status = of_surface(mesh, most, out, job);
    else
        of_cloud(mesh, most, out);
    if (status != STATUS_OK)
        samples_release(out);
    return status;
}

void samples_release(struct samples *samples)
{
    scratch_free(samples->sample);
    *samples = (struct samples){0};
}
