#include "core/buckets.h"

#include <omp.h>
#include <string.h>

#include "core/job.h"

enum { BLOCK = 8192, THREADS_MOST = 256 };

struct work {
    const struct triangle *triangle;
    size_t triangles;
    uint32_t *next; /* one a vertex: first how many, then where the next one goes */
    uint32_t *half;
    const struct job *job;
};

/* Each thread looks at all triangles and keeps the half-edges of its own vertices: so buckets are
 * filled in order without a lock, and the result does not depend on the number of threads. */
static inline __attribute__((always_inline)) void
sweep(const struct work *w, uint32_t low, uint32_t high, enum bucket_key key, bool place)
{
    for (size_t block = 0; block < w->triangles; block += BLOCK) {
        if (job_cancelled(w->job))
            return;
        size_t end = block + BLOCK < w->triangles ? block + BLOCK : w->triangles;
        for (size_t t = block; t < end; t++)
            for (unsigned k = 0; k < 3; k++) {
                uint32_t a = w->triangle[t].v[k], b = w->triangle[t].v[k == 2 ? 0 : k + 1];
                uint32_t v = key == BUCKET_FROM || a < b ? a : b;
                if (v - low >= high - low || (key == BUCKET_LOWER && a == b))
                    continue;
                if (place)
                    w->half[w->next[v]++] = (uint32_t)(3 * t + k);
                else
                    w->next[v]++;
            }
    }
}

static void sweep_key(const struct work *w, uint32_t low, uint32_t high, enum bucket_key key,
                      bool place)
{
    if (key == BUCKET_FROM)
        place ? sweep(w, low, high, BUCKET_FROM, true) : sweep(w, low, high, BUCKET_FROM, false);
    else
        place ? sweep(w, low, high, BUCKET_LOWER, true) : sweep(w, low, high, BUCKET_LOWER, false);
}

static uint32_t count_range(const struct work *w, uint32_t low, uint32_t high, enum bucket_key key)
{
    memset(w->next + low, 0, (size_t)(high - low) * sizeof *w->next);
    sweep_key(w, low, high, key, false);
    uint32_t sum = 0;
    for (uint32_t v = low; v < high; v++)
        sum += w->next[v];
    return sum;
}

static void fill_range(const struct work *w, uint32_t low, uint32_t high, enum bucket_key key,
                       uint32_t base)
{
    for (uint32_t v = low; v < high; v++) {
        uint32_t count = w->next[v];
        w->next[v] = base;
        base += count;
    }
    sweep_key(w, low, high, key, true);
}

enum status buckets_make(const struct mesh *mesh, enum bucket_key key, struct buckets *out,
                         struct job *job)
{
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    *out = (struct buckets){scratch_new(vertices + 1, sizeof *out->start),
                            scratch_new(3 * triangles, sizeof *out->half)};
    if (!out->start || !out->half) {
        buckets_release(out);
        return job_fail_memory(job, (vertices + 3 * triangles) * sizeof(uint32_t));
    }
    /* After filling, next[v] is where bucket v ends, which is where v + 1 starts. */
    struct work w = {mesh_triangle(mesh), triangles, out->start + 1, out->half, job};
    out->start[0] = 0;
    uint32_t sum[THREADS_MOST];
    int threads = job_threads(job) < THREADS_MOST ? job_threads(job) : THREADS_MOST;
#pragma omp parallel num_threads(threads)
    {
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        uint32_t low = (uint32_t)(vertices * i / n), high = (uint32_t)(vertices * (i + 1) / n);
        sum[i] = count_range(&w, low, high, key);
#pragma omp barrier
        uint32_t base = 0;
        for (size_t j = 0; j < i; j++)
            base += sum[j];
        fill_range(&w, low, high, key, base);
    }
    if (!job_cancelled(job))
        return STATUS_OK;
    buckets_release(out);
    return job_fail_cancelled(job);
}

void buckets_release(struct buckets *buckets)
{
    scratch_free(buckets->start);
    scratch_free(buckets->half);
    *buckets = (struct buckets){0};
}
