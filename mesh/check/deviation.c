/* Samples are spread evenly along the area of the triangles in the order of the tree (which is one
 * through space), and within a triangle by an additive recurrence (Weyl 1916): each gets as many as
 * its area asks for, to within one, and neighbouring samples are neighbours in space, so that each
 * search starts from the answer before. Work is cut into blocks that do not depend on the threads,
 * and sums are taken block by block. */
#include "check/deviation.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/tree_nodes.h"
#include "core/weld.h"

enum {
    SAMPLE_BLOCK = 2048, /* samples */
    AREA_BLOCK = 256,    /* triangles */
    CORNER_BLOCK = 1024, /* triangles */
    LEAST_SAMPLES = 100000
};

struct sums { /* of one block */
    double plain, square, with_sign, most;
    uint64_t most_at; /* the sample or the vertex; the first of equals */
    struct vec worst; /* where, local to the mesh that is sampled */
};

struct survey { /* one way: from a mesh to another */
    const struct mesh *mesh;
    const struct tree *from, *to;
    struct vec shift; /* from local coordinates of the mesh to those of the other */
    uint64_t samples;
    bool at_vertices; /* the samples are the vertices: a cloud, or no area at all */
    size_t areas;     /* blocks of AREA_BLOCK triangles in tree order */
    double *area;     /* areas + 1: before each block, and in all */
    float *distance;  /* one a sample */
    size_t blocks;
    struct sums *sums; /* one a block */
};

/* --- measuring
 * ------------------------------------------------------------------------------------ */

/* The signed distance from a place of the mesh; the guess becomes the triangle found. */
static double measure(const struct survey *survey, struct vec at, uint32_t *guess)
{
    at = vec_add(at, survey->shift);
    struct nearest nearest = tree_nearest_from(survey->to, at, INFINITY, *guess);
    *guess = nearest.triangle;
    if (nearest.distance == 0)
        return 0;
    struct vec outward = tree_normal(survey->to, &nearest);
    bool inside = vec_dot(vec_sub(at, nearest.point), outward) < 0;
    return inside ? -nearest.distance : nearest.distance;
}

static void note_most(struct sums *sums, double distance, uint64_t which, struct vec at)
{
    if (distance < sums->most || (distance == sums->most && which >= sums->most_at))
        return;
    sums->most = distance;
    sums->most_at = which;
    sums->worst = at;
}

static void add_sample(const struct survey *survey, struct sums *sums, uint64_t i, struct vec at,
                       uint32_t *guess)
{
    double distance = measure(survey, at, guess), plain = fabs(distance);
    sums->plain += plain;
    sums->square += plain * plain;
    sums->with_sign += distance;
    survey->distance[i] = (float)plain;
    note_most(sums, plain, i, at);
}

/* --- samples by area
 * ------------------------------------------------------------------------------ */

static void corners_of(const struct survey *survey, size_t place, struct vec corner[3])
{
    const struct triangle *t = mesh_triangle(survey->mesh) + tree_item(survey->from, place);
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(survey->mesh)[t->v[k]]);
}

static double area_of(const struct vec corner[3])
{
    return vec_length(vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0]))) / 2;
}

static void sum_areas(struct survey *survey, int threads)
{
    size_t items = survey->from->items;
#pragma omp parallel for num_threads(threads)
    for (size_t block = 0; block < survey->areas; block++) {
        double sum = 0;
        for (size_t i = block * AREA_BLOCK; i < (block + 1) * AREA_BLOCK && i < items; i++) {
            struct vec corner[3];
            corners_of(survey, i, corner);
            sum += area_of(corner);
        }
        survey->area[block + 1] = sum;
    }
    survey->area[0] = 0;
    for (size_t block = 0; block < survey->areas; block++)
        survey->area[block + 1] += survey->area[block];
}

struct walk { /* along the area: at a triangle that has `before` in front of it */
    size_t place;
    double before, here;
    struct vec corner[3];
};

static void walk_to(const struct survey *survey, struct walk *walk, size_t place)
{
    walk->before += walk->here;
    if (place % AREA_BLOCK == 0)
        walk->before = survey->area[place / AREA_BLOCK];
    walk->place = place;
    corners_of(survey, place, walk->corner);
    walk->here = area_of(walk->corner);
}

static void walk_start(const struct survey *survey, struct walk *walk, double target)
{
    size_t low = 0, high = survey->areas - 1;
    while (low < high) { /* the last block that begins before the target */
        size_t middle = (low + high + 1) / 2;
        if (survey->area[middle] <= target)
            low = middle;
        else
            high = middle - 1;
    }
    *walk = (struct walk){0};
    walk_to(survey, walk, low * AREA_BLOCK);
}

/* The i-th of evenly spread points of a triangle: multiples of the powers of the inverse of the
 * cubic x^3 = x + 1, taken modulo 1 (in units of 2^-64). */
static struct vec spread_point(const struct vec corner[3], uint64_t i)
{
    double u = (double)(i * UINT64_C(0xC13FA9A902A6328F) >> 11) * 0x1p-53;
    double v = (double)(i * UINT64_C(0x91E10DA5C79E7B1D) >> 11) * 0x1p-53;
    if (u + v > 1) {
        u = 1 - u;
        v = 1 - v;
    }
    struct vec p = vec_along(corner[0], u, vec_sub(corner[1], corner[0]));
    return vec_along(p, v, vec_sub(corner[2], corner[0]));
}

static void sample_area(const struct survey *survey, struct sums *sums, uint64_t from, uint64_t to)
{
    double step = survey->area[survey->areas] / (double)survey->samples;
    uint32_t guess = NO_INDEX;
    struct walk walk;
    walk_start(survey, &walk, ((double)from + 0.5) * step);
    for (uint64_t i = from; i < to; i++) {
        double target = ((double)i + 0.5) * step;
        while (walk.before + walk.here <= target && walk.place + 1 < survey->from->items)
            walk_to(survey, &walk, walk.place + 1);
        add_sample(survey, sums, i, spread_point(walk.corner, i), &guess);
    }
}

static void sample_vertices(const struct survey *survey, struct sums *sums, uint64_t from,
                            uint64_t to)
{
    uint32_t guess = NO_INDEX;
    for (uint64_t i = from; i < to; i++)
        add_sample(survey, sums, i, point_vec(mesh_point(survey->mesh)[i]), &guess);
}

static void take_samples(struct survey *survey, struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t block = 0; block < survey->blocks; block++) {
        uint64_t from = block * SAMPLE_BLOCK, to = from + SAMPLE_BLOCK;
        to = to < survey->samples ? to : survey->samples;
        struct sums *sums = survey->sums + block;
        *sums = (struct sums){.most = -1};
        if (job_cancelled(job))
            continue;
        if (survey->at_vertices)
            sample_vertices(survey, sums, from, to);
        else
            sample_area(survey, sums, from, to);
        job_step(job, to - from);
    }
}

/* --- the vertices, for the maximum
 * ---------------------------------------------------------------- */

/* Each vertex once, by whichever triangle comes to it first. */
static bool first_come(_Atomic uint64_t *seen, uint32_t vertex)
{
    uint64_t bit = UINT64_C(1) << vertex % 64;
    _Atomic uint64_t *word = seen + vertex / 64;
    if (atomic_load_explicit(word, memory_order_relaxed) & bit)
        return false;
    return !(atomic_fetch_or_explicit(word, bit, memory_order_relaxed) & bit);
}

static void try_corners(const struct survey *survey, _Atomic uint64_t *seen, size_t from,
                        struct sums *most)
{
    size_t items = survey->from->items;
    uint32_t guess = NO_INDEX;
    for (size_t i = from; i < from + CORNER_BLOCK && i < items; i++) {
        const struct triangle *t = mesh_triangle(survey->mesh) + tree_item(survey->from, i);
        for (int k = 0; k < 3; k++) {
            if (!first_come(seen, t->v[k]))
                continue;
            struct vec at = point_vec(mesh_point(survey->mesh)[t->v[k]]);
            struct nearest nearest =
                tree_nearest_from(survey->to, vec_add(at, survey->shift), INFINITY, guess);
            guess = nearest.triangle;
            note_most(most, nearest.distance, t->v[k], at);
        }
    }
}

static enum status try_vertices(const struct survey *survey, struct sums *most, struct job *job)
{
    size_t words = mesh_vertices(survey->mesh) / 64 + 1, items = survey->from->items;
    _Atomic uint64_t *seen = scratch_new(words, sizeof *seen);
    if (!seen)
        return job_fail_memory(job, words * sizeof *seen);
    memset((void *)seen, 0, words * sizeof *seen);
    most->most = -1;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t from = 0; from < items; from += CORNER_BLOCK) {
        struct sums here = {.most = -1};
        if (!job_cancelled(job))
            try_corners(survey, seen, from, &here);
        job_step(job, CORNER_BLOCK);
#pragma omp critical(deviation_most)
        if (here.most >= 0)
            note_most(most, here.most, here.most_at, here.worst);
    }
    scratch_free((void *)seen);
    return STATUS_OK;
}

/* --- figures
 * -------------------------------------------------------------------------------------- */

/* The value of the given rank (from 0) among non-negative floats, whose bits are ordered as they
 * are: by counting the upper halves, then the lower halves of those that share the upper one.
 * `bins` has 65536 entries. */
static float value_of_rank(const float *value, uint64_t count, uint64_t rank, uint64_t *bins)
{
    uint32_t found = 0;
    for (int shift = 16; shift >= 0; shift -= 16) {
        memset(bins, 0, 65536 * sizeof *bins);
        for (uint64_t i = 0; i < count; i++) {
            uint32_t bits;
            memcpy(&bits, value + i, sizeof bits);
            if (shift == 16 || bits >> 16 == found >> 16)
                bins[bits >> shift & 65535]++;
        }
        uint32_t bin = 0;
        for (; rank >= bins[bin]; bin++)
            rank -= bins[bin];
        found |= bin << shift;
    }
    float result;
    memcpy(&result, &found, sizeof result);
    return result;
}

static void set_figures(const struct survey *survey, const struct sums *vertices, uint64_t *bins,
                        struct deviation *out)
{
    struct sums all = {.most = -1};
    for (size_t block = 0; block < survey->blocks; block++) {
        const struct sums *sums = survey->sums + block;
        all.plain += sums->plain;
        all.square += sums->square;
        all.with_sign += sums->with_sign;
        note_most(&all, sums->most, sums->most_at, sums->worst);
    }
    if (vertices->most > all.most)
        all.worst = vertices->worst;
    double n = (double)survey->samples, mean = all.with_sign / n;
    uint64_t rank = survey->samples - survey->samples / 20;
    *out = (struct deviation){
        .mean = all.plain / n,
        .rms = sqrt(all.square / n),
        .sd = sqrt(fmax(0, all.square / n - mean * mean)),
        .p95 = (double)value_of_rank(survey->distance, survey->samples, rank - 1, bins),
        .max = fmax(all.most, vertices->most),
        .signed_mean = mean,
        .samples = survey->samples,
        .worst = mesh_world(survey->mesh, all.worst),
    };
}

/* --- both ways
 * ------------------------------------------------------------------------------------ */

static enum status measure_all(struct survey *survey, struct deviation *out, struct job *job)
{
    struct sums vertices = {.most = -1};
    if (!survey->at_vertices)
        sum_areas(survey, job_threads(job));
    if (!survey->at_vertices && !(survey->area[survey->areas] > 0)) {
        survey->at_vertices = true;
        survey->samples = mesh_vertices(survey->mesh);
        survey->blocks = (size_t)(survey->samples + SAMPLE_BLOCK - 1) / SAMPLE_BLOCK;
    }
    take_samples(survey, job);
    enum status status = survey->at_vertices ? STATUS_OK : try_vertices(survey, &vertices, job);
    uint64_t *bins = scratch_new(65536, sizeof *bins);
    if (!bins)
        status = job_fail_memory(job, 65536 * sizeof *bins);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    if (status == STATUS_OK)
        set_figures(survey, &vertices, bins, out);
    scratch_free(bins);
    return status;
}

static enum status one_way(const struct mesh *mesh, const struct mesh *to, uint64_t samples,
                           struct deviation *out, struct job *job)
{
    struct survey survey = {.mesh = mesh, .from = mesh_tree(mesh, job), .to = mesh_tree(to, job)};
    if (!survey.from || !survey.to)
        return job_status(job);
    size_t triangles = mesh_triangles(mesh), vertices = mesh_vertices(mesh);
    survey.shift = vec(mesh->origin[0] - to->origin[0], mesh->origin[1] - to->origin[1],
                       mesh->origin[2] - to->origin[2]);
    survey.at_vertices = triangles == 0;
    survey.samples = triangles ? samples : vertices;
    survey.areas = (triangles + AREA_BLOCK - 1) / AREA_BLOCK;
    /* without area the vertices are the samples, which may be more */
    size_t most = samples > vertices ? samples : vertices;
    survey.blocks = (size_t)(survey.samples + SAMPLE_BLOCK - 1) / SAMPLE_BLOCK;
    survey.area = scratch_new(survey.areas + 1, sizeof *survey.area);
    survey.distance = scratch_new(most, sizeof *survey.distance);
    survey.sums = scratch_new(most / SAMPLE_BLOCK + 1, sizeof *survey.sums);
    enum status status = STATUS_OK;
    if (!survey.area || !survey.distance || !survey.sums)
        status = job_fail_memory(job, most * sizeof *survey.distance);
    else
        status = measure_all(&survey, out, job);
    scratch_free(survey.area);
    scratch_free(survey.distance);
    scratch_free(survey.sums);
    return status;
}

static uint64_t steps_of(const struct mesh *mesh, uint64_t samples)
{
    size_t triangles = mesh_triangles(mesh);
    return triangles ? samples + triangles : mesh_vertices(mesh);
}

enum status deviation_compare(const struct mesh *a, const struct mesh *b, uint64_t samples,
                              struct comparison *out, struct job *job)
{
    size_t more = mesh_triangles(a) > mesh_triangles(b) ? mesh_triangles(a) : mesh_triangles(b);
    if (!mesh_vertices(a) || !mesh_vertices(b))
        return job_fail(job, STATUS_REFUSED,
                        "nothing to compare with: %s mesh is empty; give two that have a surface",
                        mesh_vertices(a) ? "the second" : "the first");
    if (!samples)
        samples = more > LEAST_SAMPLES ? more : LEAST_SAMPLES;
    job_phase(job, "getting ready to measure", 100, 0);
    if (!mesh_tree(a, job) || !mesh_tree(b, job))
        return job_status(job);
    job_phase(job, "measuring the deviation", 450, steps_of(a, samples));
    enum status status = one_way(a, b, samples, &out->a_to_b, job);
    if (status != STATUS_OK)
        return status;
    job_phase(job, "measuring the deviation the other way", 450, steps_of(b, samples));
    status = one_way(b, a, samples, &out->b_to_a, job);
    out->hausdorff = fmax(out->a_to_b.max, out->b_to_a.max);
    return status;
}
