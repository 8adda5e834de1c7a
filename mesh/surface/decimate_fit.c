#include "surface/decimate_fit.h"

#include <stdlib.h>
#include <string.h>

#include "core/fans.h"
#include "core/job.h"
#include "surface/decimate_spot.h"

enum {
    RUN = 8192,  /* samples, vertices or faces a thread takes at a time */
    STEPS = 4,   /* of conjugate gradients */
    HALVINGS = 6 /* of displacements that would turn a face over, before they are given up */
};

static const double HOLD = 0.003;  /* of its own weight, that holds each vertex back */
static const double TURN = 0.2;    /* cosine: no face may turn more than this, */
static const double SHRINK = 0.25; /* nor lose more of its area than down to this */

enum freedom { FIXED, ALONG_NORMAL, FREE };

struct face {         /* a new face, for a quick look where above it a point lies */
    float at[3];      /* its first corner */
    float u[3], v[3]; /* weights of the second and third corner of p: u . (p - at), v . (p - at) */
    float normal[3];  /* unit; zero when it has none */
};

struct normal_part { /* sums over the samples of a face: weight b b^T (xx xy xz yy yz zz), and
                        weight residual b, for barycentric b */
    double square[6], right[3];
};

struct fit {
    const struct mesh *old;
    struct mesh *made;
    const struct topology *topology; /* of made */
    struct ground ground;            /* made */
    const uint32_t *home;
    const struct flats *flats;
    struct job *job;
    uint8_t *freedom; /* one a new vertex */
    struct face *face;
    uint32_t *sample_face; /* one an old triangle: the new face it lies on, or NO_INDEX */
    float (*sample)[3];    /* weights of the second and third corner; residual along the normal */
    struct normal_part *part;
    double *diagonal;                                         /* six a new vertex */
    struct vec *vectors, *move, *rest, *way, *image, *normal; /* one a new vertex each */
    double *share; /* three a face: scratch of the products */
};

static size_t runs_of(size_t count)
{
    return (count + RUN - 1) / RUN;
}

static size_t run_end(size_t run, size_t count)
{
    return (run + 1) * RUN < count ? (run + 1) * RUN : count;
}

static struct vec new_point(const struct fit *f, uint32_t v)
{
    return point_vec(mesh_point(f->made)[v]);
}

/* --- preparing ------------------------------------------------------------------------------- */

static void store(float to[3], struct vec a)
{
    to[0] = (float)a.x;
    to[1] = (float)a.y;
    to[2] = (float)a.z;
}

static void face_make(const struct fit *f, size_t t)
{
    struct face *face = &f->face[t];
    struct vec c[3];
    ground_corners(&f->ground, (uint32_t)t, c);
    struct vec p = vec_sub(c[1], c[0]), q = vec_sub(c[2], c[0]), n = vec_cross(p, q);
    double area2 = vec_length2(n), per = area2 > 0 ? 1 / area2 : 0;
    store(face->at, c[0]);
    store(face->u, vec_scale(vec_cross(q, n), per));
    store(face->v, vec_scale(vec_cross(n, p), per));
    store(face->normal, vec_unit(n));
}

static struct vec face_normal(const struct fit *f, size_t t)
{
    const float *n = f->face[t].normal;
    return vec(n[0], n[1], n[2]);
}

static enum status find_freedom(struct fit *f, const uint8_t *flat, bool keep_rim)
{
    uint32_t *pinched;
    size_t count;
    enum status status = fans_pinched(f->made, f->topology, &pinched, &count, f->job);
    if (status != STATUS_OK)
        return status;
    const struct triangle *triangle = mesh_triangle(f->made);
    memset(f->freedom, FREE, mesh_vertices(f->made));
    for (uint32_t h = 0; h < 3 * mesh_triangles(f->made); h++) {
        uint32_t twin = f->topology->twin[h], a = half_from(triangle, h), b = half_to(triangle, h);
        uint8_t most = twin == TWIN_NONE && !keep_rim ? ALONG_NORMAL
                       : twin & TWIN_FLIPPED          ? FIXED
                                                      : FREE;
        if (a == b || (flat && flat[h / 3]))
            most = FIXED;
        if (f->freedom[a] > most)
            f->freedom[a] = most;
        if (f->freedom[b] > most)
            f->freedom[b] = most;
    }
    for (size_t i = 0; i < count; i++)
        f->freedom[pinched[i]] = FIXED;
    scratch_free(pinched);
    return STATUS_OK;
}

static void add_square(double square[6], double weight, double x, double y, double z)
{
    square[0] += weight * x * x;
    square[1] += weight * x * y;
    square[2] += weight * x * z;
    square[3] += weight * y * y;
    square[4] += weight * y * z;
    square[5] += weight * z * z;
}

/* --- where the samples lie ------------------------------------------------------------------- */

/* The quick look: the face around v above which p lies, if one is. */
static bool look(const struct fit *f, struct vec p, uint32_t v, struct spot *spot)
{
    uint32_t first = f->topology->fan[v], h = first;
    *spot = spot_none();
    while (h != NO_INDEX) {
        const struct face *face = &f->face[h / 3];
        float x = (float)p.x - face->at[0], y = (float)p.y - face->at[1],
              z = (float)p.z - face->at[2];
        float a = face->u[0] * x + face->u[1] * y + face->u[2] * z;
        float b = face->v[0] * x + face->v[1] * y + face->v[2] * z;
        float d = face->normal[0] * x + face->normal[1] * y + face->normal[2] * z;
        if (a > 0 && b > 0 && a + b < 1 && d * d < spot->distance2)
            *spot = (struct spot){h / 3, {1 - a - b, a, b}, d * d};
        h = half_across(f->topology, half_prev(h));
        if (h == first)
            break;
    }
    return spot->distance2 < INFINITY;
}

static void take_sample(struct fit *f, size_t t)
{
    const uint32_t *v = mesh_triangle(f->old)[t].v;
    const uint32_t home[3] = {f->home[v[0]], f->home[v[1]], f->home[v[2]]};
    struct vec p = vec(0, 0, 0);
    struct spot spot;
    for (int k = 0; k < 3; k++)
        p = vec_along(p, 1.0 / 3, point_vec(mesh_point(f->old)[v[k]]));
    if (!look(f, p, home[0], &spot)) {
        spot = spot_find(&f->ground, p, home, 3);
        if (spot.triangle != NO_INDEX && spot_is_aside(&f->ground, p, &spot))
            spot.triangle = NO_INDEX;
    }
    f->sample_face[t] = spot.triangle;
    if (spot.triangle == NO_INDEX)
        return;
    struct vec offset = spot_offset(&f->ground, p, &spot);
    f->sample[t][0] = (float)spot.weight[1];
    f->sample[t][1] = (float)spot.weight[2];
    f->sample[t][2] = (float)vec_dot(face_normal(f, spot.triangle), offset);
}

static double old_area(const struct fit *f, size_t t)
{
    const uint32_t *v = mesh_triangle(f->old)[t].v;
    const struct point *point = mesh_point(f->old);
    struct vec a = point_vec(point[v[0]]);
    return vec_length(
        vec_cross(vec_sub(point_vec(point[v[1]]), a), vec_sub(point_vec(point[v[2]]), a)));
}

/* --- the sums of each face ------------------------------------------------------------------- */

static int index_order(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return (x > y) - (x < y);
}

/* In any order the samples have come: sorts them, so that the sums are always the same. */
static void sort_samples(uint32_t *sample, size_t count)
{
    if (count > 32) {
        qsort(sample, count, sizeof *sample, index_order);
        return;
    }
    for (size_t i = 1; i < count; i++) {
        uint32_t s = sample[i];
        size_t j = i;
        for (; j && sample[j - 1] > s; j--)
            sample[j] = sample[j - 1];
        sample[j] = s;
    }
}

static void sum_face(struct fit *f, size_t face, uint32_t *sample, size_t count)
{
    struct normal_part part = {0};
    sort_samples(sample, count);
    for (size_t i = 0; i < count; i++) {
        const float *s = f->sample[sample[i]];
        double weight = old_area(f, sample[i]),
               b[3] = {1.0 - (double)s[0] - (double)s[1], s[0], s[1]};
        add_square(part.square, weight, b[0], b[1], b[2]);
        for (int k = 0; k < 3; k++)
            part.right[k] += weight * s[2] * b[k];
    }
    f->part[face] = part;
}

static enum status sum_faces(struct fit *f)
{
    size_t faces = mesh_triangles(f->made), samples = mesh_triangles(f->old);
    uint32_t *start = scratch_new(faces + 1, sizeof *start);
    uint32_t *order = scratch_new(samples, sizeof *order);
    if (!start || !order) {
        scratch_free(start);
        scratch_free(order);
        return job_fail_memory(f->job, 4 * (faces + samples));
    }
    memset(start, 0, (faces + 1) * sizeof *start);
#pragma omp parallel for num_threads(job_threads(f->job))
    for (size_t i = 0; i < samples; i++)
        if (f->sample_face[i] != NO_INDEX)
            __atomic_fetch_add(&start[f->sample_face[i]], 1, __ATOMIC_RELAXED);
    if (job_cancelled(f->job))
        samples = faces = 0;
    uint32_t sum = 0;
    for (size_t t = 0; t <= faces; t++)
        start[t] = sum += t < faces ? start[t] : 0;
#pragma omp parallel for num_threads(job_threads(f->job))
    for (size_t i = 0; i < samples; i++)
        if (f->sample_face[i] != NO_INDEX)
            order[__atomic_sub_fetch(&start[f->sample_face[i]], 1, __ATOMIC_RELAXED)] = (uint32_t)i;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(faces); r++)
        for (size_t t = r * RUN; t < run_end(r, faces) && !job_cancelled(f->job); t++)
            sum_face(f, t, order + start[t], start[t + 1] - start[t]);
    scratch_free(start);
    scratch_free(order);
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

/* --- the equations --------------------------------------------------------------------------- */

/* Around each vertex: its right side, the block of the matrix on the diagonal, its normal. */
static void gather_vertex(struct fit *f, uint32_t v)
{
    static const int diagonal[3] = {0, 3, 5};
    double *block = f->diagonal + 6 * (size_t)v;
    struct vec right = vec(0, 0, 0), normal = right;
    memset(block, 0, 6 * sizeof *block);
    uint32_t first = f->topology->fan[v], h = first;
    while (h != NO_INDEX) {
        const struct normal_part *part = &f->part[h / 3];
        struct vec n = face_normal(f, h / 3);
        add_square(block, part->square[diagonal[h % 3]], n.x, n.y, n.z);
        right = vec_along(right, part->right[h % 3], n);
        normal = vec_along(normal, part->square[diagonal[h % 3]], n);
        h = half_across(f->topology, half_prev(h));
        if (h == first)
            break;
    }
    double hold = HOLD * (block[0] + block[3] + block[5]);
    block[0] += hold;
    block[3] += hold;
    block[5] += hold;
    f->rest[v] = right;
    f->normal[v] = vec_unit(normal);
}

static struct vec solve_block(const double H[6], struct vec r)
{
    double l10 = H[1] / H[0], l20 = H[2] / H[0];
    double d1 = H[3] - l10 * H[1], e = H[4] - l20 * H[1], l21 = e / d1;
    double d2 = H[5] - l20 * H[2] - l21 * e;
    double y1 = r.y - l10 * r.x, y2 = r.z - l20 * r.x - l21 * y1;
    struct vec x;
    x.z = y2 / d2;
    x.y = y1 / d1 - l21 * x.z;
    x.x = r.x / H[0] - l10 * x.y - l20 * x.z;
    return x;
}

static double quadratic(const double H[6], struct vec x)
{
    return x.x * (H[0] * x.x + 2 * (H[1] * x.y + H[2] * x.z)) +
           x.y * (H[3] * x.y + 2 * H[4] * x.z) + x.z * H[5] * x.z;
}

/* The preconditioner: each vertex by itself, within its freedom. */
static struct vec precondition(const struct fit *f, size_t v)
{
    const double *block = f->diagonal + 6 * v;
    if (!(block[0] + block[3] + block[5] > 0) || f->freedom[v] == FIXED)
        return vec(0, 0, 0);
    if (f->freedom[v] == FREE)
        return solve_block(block, f->rest[v]);
    struct vec n = f->normal[v];
    double own = quadratic(block, n);
    return own > 0 ? vec_scale(n, vec_dot(n, f->rest[v]) / own) : vec(0, 0, 0);
}

/* image = matrix way: first each face's share, then gathered at the vertices. */
static void multiply_faces(struct fit *f)
{
    size_t faces = mesh_triangles(f->made);
#pragma omp parallel for num_threads(job_threads(f->job))
    for (size_t t = 0; t < faces; t++) {
        const uint32_t *v = mesh_triangle(f->made)[t].v;
        const double *m = f->part[t].square;
        struct vec n = face_normal(f, t);
        double s[3], *y = f->share + 3 * t;
        for (int k = 0; k < 3; k++)
            s[k] = vec_dot(n, f->way[v[k]]);
        y[0] = m[0] * s[0] + m[1] * s[1] + m[2] * s[2];
        y[1] = m[1] * s[0] + m[3] * s[1] + m[4] * s[2];
        y[2] = m[2] * s[0] + m[4] * s[1] + m[5] * s[2];
    }
}

static struct vec multiply_vertex(const struct fit *f, uint32_t v)
{
    const double *block = f->diagonal + 6 * (size_t)v;
    double hold = HOLD / (1 + 3 * HOLD) * (block[0] + block[3] + block[5]);
    struct vec sum = vec_scale(f->way[v], hold);
    uint32_t first = f->topology->fan[v], h = first;
    while (h != NO_INDEX) {
        sum = vec_along(sum, f->share[h], face_normal(f, h / 3));
        h = half_across(f->topology, half_prev(h));
        if (h == first)
            break;
    }
    return sum;
}

/* Sums over runs of vertices in parallel, then over the runs in order. */
static double add_runs(const double *run, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += run[i];
    return sum;
}

/* way = preconditioned rest + keep * way; returns rest . preconditioned rest (in `run`). */
static double turn_way(struct fit *f, double *run, double before)
{
    size_t n = mesh_vertices(f->made);
    /* two passes: the factor needs the sum */
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(n); r++) {
        double sum = 0;
        for (size_t v = r * RUN; v < run_end(r, n); v++) {
            f->image[v] = precondition(f, v);
            sum += vec_dot(f->rest[v], f->image[v]);
        }
        run[r] = sum;
    }
    double now = add_runs(run, runs_of(n)), keep = before > 0 ? now / before : 0;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(n); r++)
        for (size_t v = r * RUN; v < run_end(r, n); v++)
            f->way[v] = before > 0 ? vec_along(f->image[v], keep, f->way[v]) : f->image[v];
    return now;
}

static void advance(struct fit *f, double *run, double now)
{
    size_t n = mesh_vertices(f->made);
    multiply_faces(f);
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(n); r++) {
        double sum = 0;
        for (size_t v = r * RUN; v < run_end(r, n); v++) {
            f->image[v] = multiply_vertex(f, (uint32_t)v);
            sum += vec_dot(f->way[v], f->image[v]);
        }
        run[r] = sum;
    }
    double curve = add_runs(run, runs_of(n)), step = curve > 0 ? now / curve : 0;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(n); r++)
        for (size_t v = r * RUN; v < run_end(r, n); v++) {
            f->move[v] = vec_along(f->move[v], step, f->way[v]);
            f->rest[v] = vec_along(f->rest[v], -step, f->image[v]);
        }
}

static enum status solve(struct fit *f)
{
    size_t n = mesh_vertices(f->made);
    double *run = scratch_new(runs_of(n), sizeof *run), now = 0;
    if (!run)
        return job_fail_memory(f->job, runs_of(n) * sizeof *run);
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(n); r++)
        for (size_t v = r * RUN; v < run_end(r, n) && !job_cancelled(f->job); v++) {
            gather_vertex(f, (uint32_t)v);
            f->move[v] = vec(0, 0, 0);
        }
    for (int step = 0; step < STEPS && !job_cancelled(f->job); step++) {
        now = turn_way(f, run, now);
        if (!(now > 0))
            break;
        advance(f, run, now);
    }
    scratch_free(run);
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

/* --- moving ---------------------------------------------------------------------------------- */

static struct vec moved(const struct fit *f, uint32_t v)
{
    return point_vec(vec_point(vec_add(new_point(f, v), f->move[v])));
}

static bool stays(const struct fit *f, size_t t)
{
    const uint32_t *v = mesh_triangle(f->made)[t].v;
    double all = 0;
    for (int k = 0; k < 3; k++)
        all += vec_length2(f->move[v[k]]);
    return !(all > 0);
}

/* Whether the face would turn over, or lose most of its area. */
static bool is_spoilt(const struct fit *f, size_t t)
{
    const uint32_t *v = mesh_triangle(f->made)[t].v;
    struct vec a = moved(f, v[0]), b = moved(f, v[1]), c = moved(f, v[2]), old[3];
    struct vec n = vec_cross(vec_sub(b, a), vec_sub(c, a));
    ground_corners(&f->ground, (uint32_t)t, old);
    struct vec m = vec_cross(vec_sub(old[1], old[0]), vec_sub(old[2], old[0]));
    double ln = vec_length(n), lm = vec_length(m);
    return !(vec_dot(n, m) > TURN * ln * lm) || ln < SHRINK * lm;
}

/* Lessens the moves of the corners of spoilt faces to `part`; returns how many faces there are. */
static size_t hold_back(struct fit *f, double part)
{
    size_t faces = mesh_triangles(f->made), vertices = mesh_vertices(f->made), count = 0;
    uint8_t *less = f->freedom; /* no longer needed */
    memset(less, 0, vertices);
#pragma omp parallel for num_threads(job_threads(f->job)) reduction(+ : count)
    for (size_t t = 0; t < faces; t++)
        if (!stays(f, t) && is_spoilt(f, t)) {
            count++;
            for (int k = 0; k < 3; k++)
                __atomic_store_n(&less[mesh_triangle(f->made)[t].v[k]], 1, __ATOMIC_RELAXED);
        }
    for (size_t v = 0; count && v < vertices; v++)
        if (less[v])
            f->move[v] = vec_scale(f->move[v], part);
    return count;
}

static void move_vertices(struct fit *f)
{
    for (size_t v = 0; v < mesh_vertices(f->made) && f->flats->feet; v++) {
        struct vec at = new_point(f, (uint32_t)v), to = vec_add(at, f->move[v]);
        f->move[v] = vec_sub(flats_above(f->flats, to), at);
    }
    for (int i = 0; hold_back(f, i < HALVINGS ? 0.5 : 0); i++)
        ;
    struct point *point = mesh_point_edit(f->made);
    for (size_t v = 0; v < mesh_vertices(f->made); v++)
        if (vec_length2(f->move[v]) > 0)
            point[v] = vec_point(vec_add(point_vec(point[v]), f->move[v]));
}

/* --- all together ---------------------------------------------------------------------------- */

static enum status fit_room(struct fit *f)
{
    size_t v = mesh_vertices(f->made), t = mesh_triangles(f->made), old = mesh_triangles(f->old);
    f->freedom = scratch_new(v, 1);
    f->face = scratch_new(t, sizeof *f->face);
    f->sample_face = scratch_new(old, sizeof *f->sample_face);
    f->sample = scratch_new(old, sizeof *f->sample);
    f->part = scratch_new(t, sizeof *f->part);
    f->diagonal = scratch_new(6 * v, sizeof *f->diagonal);
    f->share = scratch_new(3 * t, sizeof *f->share);
    f->vectors = scratch_new(5 * v, sizeof *f->vectors);
    if (!f->freedom || !f->face || !f->sample_face || !f->sample || !f->part || !f->diagonal ||
        !f->share || !f->vectors)
        return job_fail_memory(f->job, 16 * old + 144 * t + 170 * v);
    f->move = f->vectors;
    f->rest = f->move + v;
    f->way = f->rest + v;
    f->image = f->way + v;
    f->normal = f->image + v;
    return STATUS_OK;
}

static void fit_release(struct fit *f)
{
    scratch_free(f->freedom);
    scratch_free(f->face);
    scratch_free(f->sample_face);
    scratch_free(f->sample);
    scratch_free(f->part);
    scratch_free(f->diagonal);
    scratch_free(f->share);
    scratch_free(f->vectors);
}

static enum status take_samples(struct fit *f)
{
    size_t faces = mesh_triangles(f->made), samples = mesh_triangles(f->old);
#pragma omp parallel for num_threads(job_threads(f->job))
    for (size_t t = 0; t < faces; t++)
        face_make(f, t);
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic)
    for (size_t r = 0; r < runs_of(samples); r++)
        if (!job_cancelled(f->job))
            for (size_t t = r * RUN; t < run_end(r, samples); t++)
                take_sample(f, t);
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

enum status fit_surface(const struct mesh *old, struct mesh *made, const uint32_t *home,
                        const struct flats *flats, const uint8_t *flat, bool keep_rim,
                        struct job *job)
{
    struct fit fit = {.old = old, .made = made, .home = home, .flats = flats, .job = job};
    fit.topology = mesh_topology(made, job);
    if (!fit.topology)
        return job_status(job);
    fit.ground = (struct ground){made, fit.topology};
    enum status status = fit_room(&fit);
    if (status == STATUS_OK)
        status = find_freedom(&fit, flat, keep_rim);
    if (status == STATUS_OK)
        status = take_samples(&fit);
    if (status == STATUS_OK)
        status = sum_faces(&fit);
    if (status == STATUS_OK)
        status = solve(&fit);
    if (status == STATUS_OK)
        move_vertices(&fit);
    fit_release(&fit);
    return status;
}
