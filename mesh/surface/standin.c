/* Vertex clustering with quadrics: Lindstrom 2000, "Out-of-core simplification of large polygonal
 * models". Two departures for speed: the quadric of a cell is summed over a sample of its
 * triangles, and in whole numbers, so that threads may add in any order and get the same sum. */
#include "surface/standin.h"

#include <string.h>

#include "core/job.h"
#include "core/lineage.h"
#include "core/topology.h"

enum {
    CELLS_MOST = 1 << 24,
    CHUNK = 1 << 14,      /* triangles or vertices a thread takes at a time */
    AREA_SAMPLE = 100000, /* triangles from which the area is estimated */
    PER_CELL = 8          /* triangles a cell whose planes are summed, about */
};

enum {
    SUM_XX,
    SUM_XY,
    SUM_XZ,
    SUM_YY,
    SUM_YZ,
    SUM_ZZ,
    SUM_X,
    SUM_Y,
    SUM_Z,
    SUM_MX,
    SUM_MY,
    SUM_MZ,
    SUM_W,
    SUMS
};

static const double FIXED = 1 << 30; /* of the whole numbers the sums are kept in */
static const double LOOSE = 0.75;    /* cells from the centre that a vertex may lie on each axis */

struct cell_sum { /* quadric and weighted middle about the cell's centre, in cells */
    _Atomic int64_t sum[SUMS];
};

struct clustering {
    const struct mesh *mesh;
    struct vec low; /* local corner of the grid */
    double cell;    /* mm */
    uint32_t size[3];
    uint32_t *cluster;       /* one a cell: is it used, then which cluster */
    uint32_t *of;            /* one a vertex: its cell, then its cluster */
    uint32_t *cell_of;       /* one a cluster */
    _Atomic uint32_t *first; /* one a cluster: its first vertex */
    struct cell_sum *sum;    /* one a cluster */
    struct triangle *made;   /* the triangles that span three clusters, each once */
    uint32_t *from;          /*   and where they come from */
    size_t clusters, candidates, triangles;
};

static void clustering_release(struct clustering *c)
{
    scratch_free(c->cluster);
    scratch_free(c->of);
    scratch_free(c->cell_of);
    scratch_free((void *)c->first);
    scratch_free(c->sum);
    scratch_free(c->made);
    scratch_free(c->from);
}

static size_t chunks_of(size_t count)
{
    return (count + CHUNK - 1) / CHUNK;
}

static size_t chunk_end(size_t chunk, size_t count)
{
    return (chunk + 1) * CHUNK < count ? (chunk + 1) * CHUNK : count;
}

static struct vec corner(const struct mesh *mesh, size_t t, int k)
{
    return point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

/* Twice the area times the unit normal. */
static struct vec area_vector(const struct mesh *mesh, size_t t)
{
    struct vec a = corner(mesh, t, 0);
    return vec_cross(vec_sub(corner(mesh, t, 1), a), vec_sub(corner(mesh, t, 2), a));
}

static double area_about(const struct mesh *mesh)
{
    size_t n = mesh_triangles(mesh), step = n / AREA_SAMPLE + 1, count = 0;
    double sum = 0;
    for (size_t t = 0; t < n; t += step, count++)
        sum += vec_length(area_vector(mesh, t)) / 2;
    return sum / (double)count * (double)n;
}

static uint32_t cells_along(double length, double cell)
{
    return (uint32_t)fmin(fmax(ceil(length / cell), 1), CELLS_MOST);
}

/* A plane of area A and random tilt meets 3/2 A / cell^2 cells of a grid; a closed surface has
 * about two triangles a vertex. */
static void grid_choose(struct clustering *c, const struct bounds *bounds, size_t target)
{
    struct vec size = bounds->size;
    double longest = fmax(size.x, fmax(size.y, size.z));
    c->cell = sqrt(3 * area_about(c->mesh) / (double)target);
    if (!(c->cell > 1e-6 * longest))
        c->cell = longest > 0 ? 1e-6 * longest : 1;
    for (;; c->cell *= 1.1) {
        c->size[0] = cells_along(size.x, c->cell);
        c->size[1] = cells_along(size.y, c->cell);
        c->size[2] = cells_along(size.z, c->cell);
        if ((double)c->size[0] * c->size[1] * c->size[2] <= CELLS_MOST)
            break;
    }
    c->low = mesh_local(c->mesh, bounds->min);
}

static size_t grid_cells(const struct clustering *c)
{
    return (size_t)c->size[0] * c->size[1] * c->size[2];
}

static uint32_t along_grid(double at, uint32_t size)
{
    return at < size ? at > 0 ? (uint32_t)at : 0 : size - 1;
}

static void vertices_to_cells(struct clustering *c, struct job *job)
{
    const struct point *point = mesh_point(c->mesh);
    size_t n = mesh_vertices(c->mesh);
    double scale = 1 / c->cell;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t chunk = 0; chunk < chunks_of(n); chunk++)
        for (size_t v = chunk * CHUNK; v < chunk_end(chunk, n); v++) {
            struct vec at = vec_scale(vec_sub(point_vec(point[v]), c->low), scale);
            uint32_t cell = along_grid(at.z, c->size[2]);
            cell = cell * c->size[1] + along_grid(at.y, c->size[1]);
            cell = cell * c->size[0] + along_grid(at.x, c->size[0]);
            c->of[v] = cell;
            __atomic_store_n(&c->cluster[cell], 1, __ATOMIC_RELAXED);
        }
}

static void number_clusters(struct clustering *c)
{
    size_t cells = grid_cells(c);
    for (size_t i = 0; i < cells; i++)
        if (c->cluster[i])
            c->cluster[i] = (uint32_t)c->clusters++;
}

static void cells_to_clusters(struct clustering *c, struct job *job)
{
    size_t n = mesh_vertices(c->mesh);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t chunk = 0; chunk < chunks_of(n); chunk++)
        for (size_t v = chunk * CHUNK; v < chunk_end(chunk, n); v++) {
            uint32_t cell = c->of[v], i = c->cluster[cell];
            c->of[v] = i;
            uint32_t now = atomic_load_explicit(&c->first[i], memory_order_relaxed);
            while (v < now &&
                   !atomic_compare_exchange_weak_explicit(
                       &c->first[i], &now, (uint32_t)v, memory_order_relaxed, memory_order_relaxed))
                ;
            __atomic_store_n(&c->cell_of[i], cell, __ATOMIC_RELAXED);
        }
}

static struct vec cell_centre(const struct clustering *c, uint32_t cluster)
{
    uint32_t cell = c->cell_of[cluster], row = cell / c->size[0];
    struct vec at = vec(cell % c->size[0], row % c->size[1], row / c->size[1]);
    return vec_along(c->low, c->cell, vec_add(at, vec(0.5, 0.5, 0.5)));
}

/* Adds the plane of triangle t to the quadric of the cluster, weighted by its area. */
static void sum_plane(struct clustering *c, uint32_t cluster, size_t t)
{
    struct vec centre = cell_centre(c, cluster), area = area_vector(c->mesh, t), n = vec_unit(area);
    struct vec a = corner(c->mesh, t, 0);
    double weight = fmin(vec_length(area) / (2 * c->cell * c->cell), 1) * FIXED;
    double d = vec_dot(n, vec_sub(a, centre)) / c->cell; /* the plane is n x = d */
    struct vec middle = vec_add(vec_add(a, corner(c->mesh, t, 1)), corner(c->mesh, t, 2));
    middle = vec_scale(vec_sub(vec_scale(middle, 1.0 / 3), centre), weight / c->cell);
    if (!(vec_length(middle) < 4 * weight)) /* a giant: its middle says nothing about this cell */
        middle = vec(0, 0, 0);
    double add[SUMS] = {weight * n.x * n.x,
                        weight * n.x * n.y,
                        weight * n.x * n.z,
                        weight * n.y * n.y,
                        weight * n.y * n.z,
                        weight * n.z * n.z,
                        weight * d * n.x,
                        weight * d * n.y,
                        weight * d * n.z,
                        middle.x,
                        middle.y,
                        middle.z,
                        weight};
    for (int i = 0; i < SUMS; i++)
        atomic_fetch_add_explicit(&c->sum[cluster].sum[i], (int64_t)add[i], memory_order_relaxed);
}

static void sum_planes(struct clustering *c, struct job *job)
{
    size_t n = mesh_triangles(c->mesh), step = n / (c->clusters * PER_CELL) + 1;
    size_t samples = (n + step - 1) / step;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t chunk = 0; chunk < chunks_of(samples); chunk++)
        for (size_t i = chunk * CHUNK; i < chunk_end(chunk, samples); i++) {
            const uint32_t *v = mesh_triangle(c->mesh)[i * step].v;
            uint32_t of[3] = {c->of[v[0]], c->of[v[1]], c->of[v[2]]};
            sum_plane(c, of[0], i * step);
            if (of[1] != of[0])
                sum_plane(c, of[1], i * step);
            if (of[2] != of[1] && of[2] != of[0])
                sum_plane(c, of[2], i * step);
        }
}

/* Solves the symmetric positive definite q x = r by Cholesky; false when it is not. */
static bool solve(const double q[6], const double r[3], double x[3])
{
    double l00 = sqrt(q[0]), l10 = q[1] / l00, l20 = q[2] / l00;
    double l11 = sqrt(q[3] - l10 * l10), l21 = (q[4] - l20 * l10) / l11;
    double l22 = sqrt(q[5] - l20 * l20 - l21 * l21);
    double y0 = r[0] / l00, y1 = (r[1] - l10 * y0) / l11, y2 = (r[2] - l20 * y0 - l21 * y1) / l22;
    x[2] = y2 / l22;
    x[1] = (y1 - l21 * x[2]) / l11;
    x[0] = (y0 - l10 * x[1] - l20 * x[2]) / l00;
    return l00 > 0 && l11 > 0 && l22 > 0;
}

/* The point that lies nearest to the planes of the cell, drawn a little to the middle of its
 * surface where the planes leave it open, and kept within the cell. */
static struct point cluster_point(const struct clustering *c, uint32_t cluster)
{
    const uint32_t first = atomic_load_explicit(&c->first[cluster], memory_order_relaxed);
    double s[SUMS];
    for (int i = 0; i < SUMS; i++)
        s[i] = (double)atomic_load_explicit(&c->sum[cluster].sum[i], memory_order_relaxed);
    if (!(s[SUM_W] > 0))
        return mesh_point(c->mesh)[first];
    double middle[3] = {s[SUM_MX] / s[SUM_W], s[SUM_MY] / s[SUM_W], s[SUM_MZ] / s[SUM_W]}, x[3];
    double pull = 0.02 * (s[SUM_XX] + s[SUM_YY] + s[SUM_ZZ]);
    double r[3] = {s[SUM_X] + pull * middle[0], s[SUM_Y] + pull * middle[1],
                   s[SUM_Z] + pull * middle[2]};
    s[SUM_XX] += pull;
    s[SUM_YY] += pull;
    s[SUM_ZZ] += pull;
    if (!solve(s, r, x))
        memcpy(x, middle, sizeof x);
    double part = 1; /* of the way from the middle: both are near the surface, so what is between */
    for (int k = 0; k < 3; k++)
        if (fabs(x[k]) > LOOSE && fabs(middle[k]) < LOOSE)
            part = fmin(part, (LOOSE - fabs(middle[k])) / fabs(x[k] - middle[k]));
    for (int k = 0; k < 3; k++)
        x[k] = fmin(fmax(middle[k] + part * (x[k] - middle[k]), -LOOSE), LOOSE);
    return vec_point(vec_along(cell_centre(c, cluster), c->cell, vec(x[0], x[1], x[2])));
}

static bool spans(const struct clustering *c, size_t t, uint32_t of[3])
{
    const uint32_t *v = mesh_triangle(c->mesh)[t].v;
    for (int k = 0; k < 3; k++)
        of[k] = c->of[v[k]];
    return of[0] != of[1] && of[1] != of[2] && of[2] != of[0];
}

static void rotate_smallest_first(uint32_t v[3])
{
    while (v[0] > v[1] || v[0] > v[2]) {
        uint32_t a = v[0];
        v[0] = v[1];
        v[1] = v[2];
        v[2] = a;
    }
}

static void count_spanning(const struct clustering *c, size_t *count, struct job *job)
{
    size_t n = mesh_triangles(c->mesh);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t chunk = 0; chunk < chunks_of(n); chunk++) {
        size_t found = 0;
        uint32_t of[3];
        for (size_t t = chunk * CHUNK; t < chunk_end(chunk, n); t++)
            found += spans(c, t, of);
        count[chunk] = found;
    }
}

static void take_spanning(struct clustering *c, const size_t *start, struct job *job)
{
    size_t n = mesh_triangles(c->mesh);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t chunk = 0; chunk < chunks_of(n); chunk++) {
        size_t at = start[chunk];
        struct triangle triangle;
        for (size_t t = chunk * CHUNK; t < chunk_end(chunk, n); t++)
            if (spans(c, t, triangle.v)) {
                rotate_smallest_first(triangle.v);
                c->made[at] = triangle;
                c->from[at++] = (uint32_t)t;
            }
    }
}

static size_t triangle_hash(const uint32_t v[3])
{
    uint64_t h =
        v[0] * 0x9E3779B97F4A7C15ull ^ v[1] * 0xBF58476D1CE4E5B9ull ^ v[2] * 0x94D049BB133111EBull;
    return (size_t)(h ^ h >> 29);
}

/* Keeps the first of equal triangles. */
static enum status drop_doubled(struct clustering *c, struct job *job)
{
    size_t slots = 64;
    while (slots < 2 * c->candidates)
        slots *= 2;
    uint32_t *slot = scratch_new(slots, sizeof *slot);
    if (!slot)
        return job_fail_memory(job, slots * sizeof *slot);
    memset(slot, 255, slots * sizeof *slot);
    for (size_t i = 0; i < c->candidates; i++) {
        struct triangle triangle = c->made[i];
        size_t h = triangle_hash(triangle.v) & (slots - 1);
        while (slot[h] != NO_INDEX && memcmp(&c->made[slot[h]], &triangle, sizeof triangle) != 0)
            h = (h + 1) & (slots - 1);
        if (slot[h] != NO_INDEX)
            continue;
        slot[h] = (uint32_t)c->triangles;
        c->made[c->triangles] = triangle;
        c->from[c->triangles++] = c->from[i];
    }
    scratch_free(slot);
    return STATUS_OK;
}

static enum status make_triangles(struct clustering *c, struct job *job)
{
    size_t chunks = chunks_of(mesh_triangles(c->mesh)), bytes = chunks * sizeof(size_t);
    size_t *start = scratch_new(chunks, sizeof *start);
    if (!start)
        return job_fail_memory(job, bytes);
    count_spanning(c, start, job);
    for (size_t i = 0; i < chunks; i++) {
        size_t count = start[i];
        start[i] = c->candidates;
        c->candidates += count;
    }
    c->made = scratch_new(c->candidates, sizeof *c->made);
    c->from = scratch_new(c->candidates, sizeof *c->from);
    bool room = c->made && c->from;
    if (room)
        take_spanning(c, start, job);
    scratch_free(start);
    bytes = c->candidates * (sizeof *c->made + sizeof *c->from);
    return room ? drop_doubled(c, job) : job_fail_memory(job, bytes);
}

/* Numbers the clusters that triangles use in the order of use: number[] one a cluster, chosen[]
 * its inverse. Returns how many. */
static size_t number_used(const struct clustering *c, uint32_t *number, uint32_t *chosen)
{
    size_t used = 0;
    memset(number, 255, c->clusters * sizeof *number);
    for (size_t t = 0; t < c->triangles; t++)
        for (int k = 0; k < 3; k++) {
            uint32_t cluster = c->made[t].v[k];
            if (number[cluster] != NO_INDEX)
                continue;
            number[cluster] = (uint32_t)used;
            chosen[used++] = cluster;
        }
    return used;
}

static struct mesh *publish_with(struct clustering *c, uint32_t *number, uint32_t *chosen,
                                 struct job *job)
{
    size_t used = number_used(c, number, chosen);
    struct mesh *made = mesh_new(used, c->triangles);
    if (!made) {
        job_fail_memory(job, used * sizeof(struct point) + c->triangles * sizeof(struct triangle));
        return NULL;
    }
    for (size_t t = 0; t < c->triangles; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(made)[t].v[k] = number[c->made[t].v[k]];
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 1024)
    for (size_t i = 0; i < used; i++) {
        mesh_point_edit(made)[i] = cluster_point(c, chosen[i]);
        chosen[i] = atomic_load_explicit(&c->first[chosen[i]], memory_order_relaxed);
    }
    const struct lineage lineage = {.plain_vertices = used,
                                    .vertex = chosen,
                                    .plain_triangles = c->triangles,
                                    .triangle = c->from};
    if (lineage_carry(&lineage, c->mesh, made, job) == STATUS_OK)
        return made;
    mesh_free(made);
    return NULL;
}

static struct mesh *publish(struct clustering *c, struct job *job)
{
    uint32_t *number = scratch_new(c->clusters, sizeof *number);
    uint32_t *chosen = scratch_new(c->clusters, sizeof *chosen);
    struct mesh *made = NULL;
    if (number && chosen)
        made = publish_with(c, number, chosen, job);
    else
        job_fail_memory(job, 2 * c->clusters * sizeof *number);
    scratch_free(number);
    scratch_free(chosen);
    return made;
}

static enum status find_clusters(struct clustering *c, struct job *job)
{
    size_t cells = grid_cells(c), vertices = mesh_vertices(c->mesh);
    c->cluster = scratch_new(cells, sizeof *c->cluster);
    c->of = scratch_new(vertices, sizeof *c->of);
    if (!c->cluster || !c->of)
        return job_fail_memory(job, (cells + vertices) * sizeof *c->of);
    memset(c->cluster, 0, cells * sizeof *c->cluster);
    vertices_to_cells(c, job);
    number_clusters(c);
    c->cell_of = scratch_new(c->clusters, sizeof *c->cell_of);
    c->first = scratch_new(c->clusters, sizeof *c->first);
    c->sum = scratch_new(c->clusters, sizeof *c->sum);
    if (!c->cell_of || !c->first || !c->sum)
        return job_fail_memory(job, c->clusters * (sizeof *c->sum + 8));
    memset((void *)c->first, 255, c->clusters * sizeof *c->first);
    memset(c->sum, 0, c->clusters * sizeof *c->sum);
    cells_to_clusters(c, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static enum status cluster_surface(struct clustering *c, struct job *job)
{
    enum status status = find_clusters(c, job);
    if (status == STATUS_OK)
        sum_planes(c, job);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    return status == STATUS_OK ? make_triangles(c, job) : status;
}

static struct mesh *thin_surface(const struct mesh *mesh, size_t target, struct job *job)
{
    struct clustering c = {.mesh = mesh};
    struct mesh *made = NULL;
    const struct bounds *bounds = mesh_bounds(mesh, job);
    if (!bounds)
        return NULL;
    grid_choose(&c, bounds, target);
    if (cluster_surface(&c, job) == STATUS_OK)
        made = publish(&c, job);
    clustering_release(&c);
    return made;
}

/* Takes each point with the same chance, decided by its number. */
static bool taken(size_t v, double chance)
{
    uint64_t z = (v + 1) * 0x9E3779B97F4A7C15ull;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    return (double)(z >> 11) < chance * 9007199254740992.0;
}

static struct mesh *thin_points(const struct mesh *mesh, size_t target, struct job *job)
{
    size_t n = mesh_vertices(mesh), count = 0;
    double chance = (double)target / (double)n;
    for (size_t v = 0; v < n; v++)
        count += taken(v, chance);
    uint32_t *from = scratch_new(count, sizeof *from);
    struct mesh *made = from ? mesh_new(count, 0) : NULL;
    if (!made) {
        scratch_free(from);
        job_fail_memory(job, count * (sizeof *from + sizeof(struct point)));
        return NULL;
    }
    for (size_t v = 0, i = 0; v < n; v++)
        if (taken(v, chance)) {
            from[i] = (uint32_t)v;
            mesh_point_edit(made)[i++] = mesh_point(mesh)[v];
        }
    const struct lineage lineage = {.plain_vertices = count, .vertex = from};
    enum status status = lineage_carry(&lineage, mesh, made, job);
    scratch_free(from);
    if (status == STATUS_OK)
        return made;
    mesh_free(made);
    return NULL;
}

struct mesh *decimate_quick(const struct mesh *mesh, size_t target, struct job *job)
{
    size_t triangles = mesh_triangles(mesh);
    if ((triangles ? triangles : mesh_vertices(mesh)) <= target)
        return mesh_share(mesh);
    target = target ? target : 1;
    return triangles ? thin_surface(mesh, target, job) : thin_points(mesh, target, job);
}
