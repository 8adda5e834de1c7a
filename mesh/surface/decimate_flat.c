#include "surface/decimate_flat.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

static const double ROUNDING = 0x1p-21;    /* of the greatest coordinate */
static const double SMALLEST = 1.0 / 2000; /* of the whole area */
static const double ALIKE = 0.05;          /* sine below which two planes run alike */
enum {
    RUN = 8192,
    REFITS = 3,       /* a plane fitted to few triangles is fitted again to all it has found */
    FLATS_MOST = 4000 /* more than can be so large */
};

struct finding {
    const struct mesh *mesh;
    const struct topology *topology;
    double rounding;
    double *area; /* one a triangle: twice its area */
    double least; /* twice the area of the smallest flat place */
    uint8_t *state;
    uint32_t *queue;
    struct flats *flats;
    struct job *job;
};
enum { APART, MAYBE, SEEN }; /* APART: no neighbour lies in its plane */

static struct vec corner(const struct finding *f, uint32_t t, uint32_t k)
{
    return point_vec(mesh_point(f->mesh)[mesh_triangle(f->mesh)[t].v[k]]);
}

static struct vec area_vector(const struct finding *f, uint32_t t)
{
    struct vec a = corner(f, t, 0);
    return vec_cross(vec_sub(corner(f, t, 1), a), vec_sub(corner(f, t, 2), a));
}

static struct flat plane_of(const struct finding *f, uint32_t t)
{
    struct vec n = vec_unit(area_vector(f, t));
    return (struct flat){n, vec_dot(n, corner(f, t, 0))};
}

static bool lies_in(const struct finding *f, const struct flat *flat, uint32_t t)
{
    for (uint32_t k = 0; k < 3; k++)
        if (!(fabs(vec_dot(flat->normal, corner(f, t, k)) - flat->height) <= f->rounding))
            return false;
    return vec_dot(flat->normal, area_vector(f, t)) >= 0;
}

static uint8_t first_look(const struct finding *f, uint32_t t)
{
    if (!(f->area[t] > 0))
        return APART;
    struct flat flat = plane_of(f, t);
    for (uint32_t k = 0; k < 3; k++) {
        uint32_t across = half_across(f->topology, 3 * t + k);
        if (across != NO_INDEX && lies_in(f, &flat, across / 3))
            return MAYBE;
    }
    return APART;
}

static enum status look_at_all(struct finding *f)
{
    size_t n = mesh_triangles(f->mesh);
    double greatest = 0, all = 0;
    for (size_t v = 0; v < mesh_vertices(f->mesh); v++) {
        const struct point p = mesh_point(f->mesh)[v];
        greatest = fmax(greatest, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
    }
    f->rounding = ROUNDING * greatest;
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic, RUN)
    for (size_t t = 0; t < n; t++)
        f->area[t] = vec_length(area_vector(f, (uint32_t)t));
#pragma omp parallel for num_threads(job_threads(f->job)) schedule(dynamic, RUN)
    for (size_t t = 0; t < n; t++)
        f->state[t] = job_cancelled(f->job) ? APART : first_look(f, (uint32_t)t);
    for (size_t t = 0; t < n; t++)
        all += f->area[t];
    f->least = SMALLEST * all;
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

/* Takes into the queue what hangs together with the seed in the plane; returns how many. */
static size_t grow(struct finding *f, uint32_t seed, const struct flat *flat, size_t had)
{
    size_t count = 1;
    for (size_t i = 0; i < had; i++)
        f->state[f->queue[i]] = MAYBE;
    f->queue[0] = seed;
    f->state[seed] = SEEN;
    for (size_t i = 0; i < count && !(i % RUN == 0 && job_cancelled(f->job)); i++)
        for (uint32_t k = 0; k < 3; k++) {
            uint32_t across = half_across(f->topology, 3 * f->queue[i] + k);
            if (across == NO_INDEX || f->state[across / 3] == SEEN || !lies_in(f, flat, across / 3))
                continue;
            f->state[across / 3] = SEEN;
            f->queue[count++] = across / 3;
        }
    return count;
}

/* The plane of the queue: the mean direction, through the mean of the middles. */
static struct flat fitted(const struct finding *f, size_t count, double *area)
{
    struct vec normal = vec(0, 0, 0), middle = normal;
    *area = 0;
    for (size_t i = 0; i < count; i++) {
        uint32_t t = f->queue[i];
        normal = vec_add(normal, area_vector(f, t));
        for (uint32_t k = 0; k < 3; k++)
            middle = vec_along(middle, f->area[t] / 3, corner(f, t, k));
        *area += f->area[t];
    }
    normal = vec_unit(normal);
    return (struct flat){normal, *area > 0 ? vec_dot(normal, middle) / *area : 0};
}

static enum status keep_flat(struct finding *f, size_t count, const struct flat *flat)
{
    struct flats *flats = f->flats;
    if (!flats->of) {
        flats->of = scratch_new(mesh_triangles(f->mesh), sizeof *flats->of);
        flats->flat = scratch_new(FLATS_MOST, sizeof *flats->flat);
        if (!flats->of || !flats->flat)
            return job_fail_memory(f->job, 2 * mesh_triangles(f->mesh));
        memset(flats->of, 0, mesh_triangles(f->mesh) * sizeof *flats->of);
    }
    if (flats->count == FLATS_MOST)
        return STATUS_OK;
    flats->flat[flats->count++] = *flat;
    for (size_t i = 0; i < count; i++)
        flats->of[f->queue[i]] = (uint16_t)flats->count;
    return STATUS_OK;
}

static enum status try_seed(struct finding *f, uint32_t seed)
{
    struct flat flat = plane_of(f, seed);
    size_t count = grow(f, seed, &flat, 0), before = 0;
    double area = 0;
    for (int i = 0; i < REFITS && count > before; i++) {
        before = count;
        flat = fitted(f, count, &area);
        count = grow(f, seed, &flat, count);
    }
    flat = fitted(f, count, &area);
    return count > 1 && area >= f->least ? keep_flat(f, count, &flat) : STATUS_OK;
}

/* Which of the flats the mesh stands on: all of its vertices are on their inner side. */
static void find_feet(struct finding *f)
{
    struct flats *flats = f->flats;
    const struct point *point = mesh_point(f->mesh);
    for (size_t i = 0; i < flats->count && flats->feet < FEET_MOST; i++) {
        const struct flat *flat = &flats->flat[i];
        size_t v = 0, n = mesh_vertices(f->mesh);
        while (v < n && vec_dot(flat->normal, point_vec(point[v])) <= flat->height + f->rounding)
            v++;
        if (v == n)
            flats->foot[flats->feet++] = *flat;
    }
}

static enum status find_with(struct finding *f)
{
    enum status status = look_at_all(f);
    for (uint32_t t = 0; t < mesh_triangles(f->mesh) && status == STATUS_OK; t++) {
        if (f->state[t] == MAYBE)
            status = try_seed(f, t);
        if (t % RUN == 0 && job_cancelled(f->job))
            return job_fail_cancelled(f->job);
    }
    f->flats->rounding = f->rounding;
    find_feet(f);
    return status;
}

enum status flats_find(const struct mesh *mesh, struct flats *flats, struct job *job)
{
    size_t n = mesh_triangles(mesh);
    struct finding f = {
        .mesh = mesh, .topology = mesh_topology(mesh, job), .flats = flats, .job = job};
    *flats = (struct flats){0};
    if (!f.topology)
        return job_status(job);
    f.area = scratch_new(n, sizeof *f.area);
    f.state = scratch_new(n, 1);
    f.queue = scratch_new(n, sizeof *f.queue);
    enum status status =
        f.area && f.state && f.queue ? find_with(&f) : job_fail_memory(job, 13 * n);
    scratch_free(f.area);
    scratch_free(f.state);
    scratch_free(f.queue);
    return status;
}

void flats_release(struct flats *flats)
{
    scratch_free(flats->of);
    scratch_free(flats->flat);
    *flats = (struct flats){0};
}

/* --- projecting ------------------------------------------------------------------------------ */

struct vec flats_project(const struct flats *flats, const uint16_t *which, int count, struct vec p,
                         double reach)
{
    struct vec axis[3];
    int axes = 0;
    for (int i = 0; i < count && axes < 3; i++) {
        const struct flat *flat = &flats->flat[which[i] - 1];
        struct vec way = flat->normal;
        double off = flat->height - vec_dot(flat->normal, p);
        for (int k = 0; k < axes; k++) /* along the flats before */
            way = vec_along(way, -vec_dot(way, axis[k]), axis[k]);
        double sine = vec_length(way);
        if (!(sine > ALIKE) || !(fabs(off) <= sine * reach))
            continue;
        axis[axes] = vec_scale(way, 1 / sine);
        p = vec_along(p, off / sine, axis[axes]);
        axes++;
    }
    return p;
}
