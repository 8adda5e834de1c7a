#include "surface/decimate_split.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"

enum {
    PATCH = 6000,  /* vertices a patch, about */
    GRID_BITS = 6, /* a side of the grid has 2^6 cells */
    CELLS = 1 << (3 * GRID_BITS),
    CHUNKS = 64, /* the triangles are counted in so many runs */
    RUN = 65536, /* vertices between two looks at cancel */
    BOUND_SAMPLES = 1024
};

enum status surface_init(struct surface *surface, const struct mesh *mesh, struct job *job)
{
    *surface = (struct surface){
        .mesh = mesh, .vertices = mesh_vertices(mesh), .triangles = mesh_triangles(mesh)};
    const struct bounds *bounds = mesh_bounds(mesh, job);
    if (!bounds)
        return job_status(job);
    double size2 = vec_length2(bounds->size);
    surface->unit = size2 > 0 ? 1 / (size2 * size2) : 1;
    surface->parent = scratch_new(surface->vertices, sizeof *surface->parent);
    if (!surface->parent)
        return job_fail_memory(job, surface->vertices * sizeof *surface->parent);
    memset(surface->parent, 255, surface->vertices * sizeof *surface->parent);
    return STATUS_OK;
}

static enum status take_colours(struct surface *s, struct job *job)
{
    const uint8_t *rgba = mesh_attribute(s->mesh, ATTRIBUTE_colour);
    s->colour = scratch_new(s->vertices, sizeof *s->colour);
    if (!s->colour)
        return job_fail_memory(job, s->vertices * sizeof *s->colour);
    for (size_t v = 0; v < s->vertices; v++)
        for (size_t c = 0; c < 3; c++)
            s->colour[v][c] = (float)rgba[4 * surface_vertex_of(s, (uint32_t)v) + c] / 255;
    return STATUS_OK;
}

enum status surface_count_colour(struct surface *s, double contrast, struct job *job)
{
    s->contrast = contrast * contrast;
    return take_colours(s, job);
}

static void surface_drop(struct surface *surface)
{
    scratch_free(surface->colour);
    scratch_free(surface->point);
    scratch_free(surface->triangle);
    scratch_free(surface->vertex_of);
    scratch_free(surface->triangle_of);
    scratch_free(surface->head);
}

void surface_release(struct surface *surface)
{
    surface_drop(surface);
    scratch_free(surface->parent);
    *surface = (struct surface){0};
}

enum status surface_take(struct surface *s, const struct mesh *mesh, struct job *job)
{
    scratch_free(s->point);
    scratch_free(s->triangle);
    s->vertices = mesh_vertices(mesh);
    s->triangles = mesh_triangles(mesh);
    s->point = scratch_new(s->vertices, sizeof *s->point);
    s->triangle = scratch_new(s->triangles, sizeof *s->triangle);
    if (!s->point || !s->triangle)
        return job_fail_memory(job, 12 * (s->vertices + s->triangles));
    memcpy(s->point, mesh_point(mesh), s->vertices * sizeof *s->point);
    memcpy(s->triangle, mesh_triangle(mesh), s->triangles * sizeof *s->triangle);
    scratch_free(s->colour);
    s->colour = NULL;
    return s->contrast > 0 ? take_colours(s, job) : STATUS_OK;
}

void split_release(struct split *split)
{
    for (size_t i = 0; i < split->count && split->patch; i++)
        patch_release(&split->patch[i]);
    for (size_t i = 0; i < split->count && split->guard; i++)
        guard_release(&split->guard[i]);
    for (size_t i = 0; i < split->count && split->part; i++)
        trail_part_release(&split->part[i]);
    scratch_free(split->guard);
    scratch_free(split->part);
    scratch_free(split->patch);
    scratch_free(split->start);
    scratch_free(split->order);
    scratch_free(split->home);
    scratch_free(split->number);
    scratch_free(split->shared);
    *split = (struct split){0};
}

/* --- the grid -------------------------------------------------------------------------------- */

struct grid {
    float low[3], scale[3]; /* cell = (at - low) * scale */
};

static int float_order(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* A grid over the middle 98 % of a sample of the vertices on each axis (so that a stray point far
 * away does not make it coarse), shifted differently in each round. */
static struct grid grid_make(const struct surface *s, unsigned round)
{
    static const float shifts[] = {0, 0.37f, 0.71f, 0.19f, 0.53f, 0.87f, 0.29f};
    float shift = shifts[round % (sizeof shifts / sizeof *shifts)], sample[BOUND_SAMPLES];
    const float *at = &surface_point(s)->x;
    size_t step = s->vertices / BOUND_SAMPLES + 1, count = (s->vertices + step - 1) / step;
    struct grid grid;
    for (size_t axis = 0; axis < 3; axis++) {
        for (size_t i = 0; i < count; i++)
            sample[i] = at[3 * i * step + axis];
        qsort(sample, count, sizeof *sample, float_order);
        float low = sample[count / 100], high = sample[count - 1 - count / 100];
        float size = (high - low) * 1.05f * (1 + shift);
        grid.low[axis] = low - (high - low) * (0.02f + shift);
        grid.scale[axis] = size > 0 ? (1 << GRID_BITS) / size : 0;
    }
    return grid;
}

static uint32_t spread(uint32_t x) /* two zero bits after each of its six bits */
{
    x = (x | x << 8) & 0x0300f;
    x = (x | x << 4) & 0x030c3;
    return (x | x << 2) & 0x09249;
}

static uint32_t along_grid(float at)
{
    const float most = (1 << GRID_BITS) - 1;
    return at < most ? at > 0 ? (uint32_t)at : 0 : (uint32_t)most;
}

static uint32_t grid_cell(const struct grid *g, struct point p)
{
    return spread(along_grid((p.x - g->low[0]) * g->scale[0])) |
           spread(along_grid((p.y - g->low[1]) * g->scale[1])) << 1 |
           spread(along_grid((p.z - g->low[2]) * g->scale[2])) << 2;
}

/* Gives each vertex its patch: runs of cells with about PATCH vertices. */
static enum status find_homes(struct split *split, const struct surface *s, unsigned round,
                              struct job *job)
{
    uint32_t *count = scratch_new(CELLS, sizeof *count);
    if (!count)
        return job_fail_memory(job, CELLS * sizeof *count);
    memset(count, 0, CELLS * sizeof *count);
    struct grid grid = grid_make(s, round);
    const struct point *point = surface_point(s);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t run = 0; run < s->vertices; run += RUN)
        for (size_t v = run; v < run + RUN && v < s->vertices && !job_cancelled(job); v++) {
            split->home[v] = grid_cell(&grid, point[v]);
            __atomic_fetch_add(&count[split->home[v]], 1, __ATOMIC_RELAXED);
        }
    if (job_cancelled(job)) {
        scratch_free(count);
        return job_fail_cancelled(job);
    }
    size_t parts = (s->vertices + PATCH / 2) / PATCH, most = s->vertices / (parts ? parts : 1);
    uint32_t patch = 0, sum = 0;
    for (size_t c = 0; c < CELLS; c++) {
        if (sum && sum + count[c] / 2 > most) {
            sum = 0;
            patch++;
        }
        sum += count[c];
        count[c] = patch;
    }
    split->count = patch + 1;
#pragma omp parallel for num_threads(job_threads(job))
    for (size_t v = 0; v < s->vertices; v++)
        split->home[v] = count[split->home[v]];
    scratch_free(count);
    return STATUS_OK;
}

/* --- triangles to patches -------------------------------------------------------------------- */

/* The patch of a triangle: that of most of its vertices, or of the first. */
static uint32_t owner(const struct split *split, const uint32_t *v)
{
    uint32_t b = split->home[v[1]];
    return b == split->home[v[2]] ? b : split->home[v[0]];
}

static void mark_shared(struct split *split, const uint32_t *v, uint32_t patch)
{
    for (int k = 0; k < 3; k++)
        if (split->home[v[k]] != patch)
            __atomic_store_n(&split->shared[v[k]], 1, __ATOMIC_RELAXED);
}

/* Sorts the triangles by patch: counts them in runs, then each run knows where its ones go. */
static enum status find_order(struct split *split, const struct surface *s, struct job *job)
{
    size_t n = s->triangles, patches = split->count, run = n / CHUNKS + 1;
    const struct triangle *triangle = surface_triangle(s);
    size_t *count = scratch_new(CHUNKS * patches, sizeof *count);
    if (!count)
        return job_fail_memory(job, CHUNKS * patches * sizeof *count);
    memset(count, 0, CHUNKS * patches * sizeof *count);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t c = 0; c < CHUNKS; c++)
        for (size_t t = c * run; t < (c + 1) * run && t < n && !job_cancelled(job); t++) {
            uint32_t patch = owner(split, triangle[t].v);
            mark_shared(split, triangle[t].v, patch);
            count[c * patches + patch]++;
        }
    size_t sum = 0;
    for (size_t i = 0; i < patches; i++) {
        split->start[i] = sum;
        for (size_t c = 0; c < CHUNKS; c++) {
            size_t here = count[c * patches + i];
            count[c * patches + i] = sum;
            sum += here;
        }
    }
    split->start[patches] = sum;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t c = 0; c < CHUNKS; c++)
        for (size_t t = c * run; t < (c + 1) * run && t < n && !job_cancelled(job); t++)
            split->order[count[c * patches + owner(split, triangle[t].v)]++] = (uint32_t)t;
    scratch_free(count);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- one patch ------------------------------------------------------------------------------- */

/* Numbers the vertices of one patch: those at home in split->number, the others in a table. */
struct numbering {
    struct split *split;
    uint32_t patch, count;
    uint32_t *vertex;       /* by number */
    uint32_t *table, slots; /* numbers, open addressing */
};

static uint32_t numbered(struct numbering *n, uint32_t v)
{
    uint32_t *place = &n->split->number[v];
    if (n->split->home[v] != n->patch) {
        uint32_t i = v * 0x9E3779B9u & (n->slots - 1);
        while (n->table[i] != NO_INDEX && n->vertex[n->table[i]] != v)
            i = (i + 1) & (n->slots - 1);
        place = &n->table[i];
    }
    if (*place == NO_INDEX) {
        n->vertex[n->count] = v;
        *place = n->count++;
    }
    return *place;
}

static bool numbering_make(struct numbering *n, const struct surface *s, size_t start, size_t count)
{
    uint32_t foreign = 0;
    for (size_t i = 0; i < count; i++)
        for (int k = 0; k < 3; k++) {
            uint32_t v = surface_triangle(s)[n->split->order[start + i]].v[k];
            foreign += n->split->home[v] != n->patch;
        }
    for (n->slots = 16; n->slots < 2 * foreign; n->slots *= 2)
        ;
    n->table = scratch_new(n->slots, sizeof *n->table);
    n->vertex = scratch_new(3 * count, sizeof *n->vertex);
    if (!n->table || !n->vertex)
        return false;
    memset(n->table, 255, n->slots * sizeof *n->table);
    return true;
}

static bool fill_patch(struct patch *p, const struct numbering *n, const struct surface *s)
{
    p->vertices = n->count;
    p->node = scratch_new(n->count, sizeof *p->node);
    p->mobility = scratch_new(n->count, 1);
    p->vertex_id = scratch_new(n->count, sizeof *p->vertex_id);
    p->contrast = s->contrast;
    p->tint = s->colour ? scratch_new(n->count, sizeof *p->tint) : NULL;
    if (!p->node || !p->mobility || !p->vertex_id || (s->colour && !p->tint))
        return false;
    for (uint32_t i = 0; i < n->count; i++) {
        uint32_t v = n->vertex[i];
        memcpy(p->node[i].at, &surface_point(s)[v], sizeof p->node[i].at);
        if (p->tint)
            memcpy(p->tint[i].colour, s->colour[v], sizeof p->tint[i].colour);
        p->vertex_id[i] = v;
        bool stays = n->split->shared[v] || n->split->home[v] != n->patch ||
                     (s->locked && s->locked[surface_vertex_of(s, v)]);
        p->mobility[i] = stays ? LOCKED : MOVES;
    }
    return true;
}

/* The flat places of the patch's triangles, if it has any. */
static bool fill_flats(struct patch *p, const uint32_t *order, const struct surface *s)
{
    bool any = false;
    p->flats = s->flats;
    for (size_t t = 0; t < p->triangles && s->flats->of && !any; t++)
        any = s->flats->of[surface_triangle_of(s, order[t])];
    if (!any)
        return true;
    p->flat = scratch_new(p->triangles, sizeof *p->flat);
    for (size_t t = 0; t < p->triangles && p->flat; t++)
        p->flat[t] = s->flats->of[surface_triangle_of(s, order[t])];
    return p->flat;
}

static bool make_patch(struct split *split, const struct surface *s, size_t i, bool keep_rim)
{
    size_t start = split->start[i], count = split->start[i + 1] - start;
    struct patch *p = &split->patch[i];
    struct numbering n = {.split = split, .patch = (uint32_t)i};
    p->triangles = count;
    p->unit = s->unit;
    p->corner = scratch_new(4 * count, sizeof *p->corner);
    bool ok = p->corner && numbering_make(&n, s, start, count);
    if (split->guard) {
        split->guard[i] = (struct guard){.tolerance = s->tolerance, .vertex_of = s->vertex_of};
        p->guard = &split->guard[i];
    }
    if (s->judge)
        p->judge = &split->judge;
    if (split->part)
        p->trail = &split->part[i];
    for (size_t t = 0; ok && t < count; t++) {
        p->corner[4 * t + 3] = s->head ? s->head[split->order[start + t]] : SAMPLE_NONE;
        for (size_t k = 0; k < 3; k++)
            p->corner[4 * t + k] = numbered(&n, surface_triangle(s)[split->order[start + t]].v[k]);
    }
    ok = ok && fill_patch(p, &n, s) && fill_flats(p, split->order + start, s);
    scratch_free(n.table);
    scratch_free(n.vertex);
    return ok && patch_build(p, keep_rim);
}

static enum status make_patches(struct split *split, const struct surface *s, bool keep_rim,
                                struct job *job)
{
    bool enough = true;
    split->patch = scratch_new(split->count, sizeof *split->patch);
    if (!split->patch)
        return job_fail_memory(job, split->count * sizeof *split->patch);
    memset(split->patch, 0, split->count * sizeof *split->patch);
    if (s->tolerance) {
        split->guard = scratch_new(split->count, sizeof *split->guard);
        if (!split->guard)
            return job_fail_memory(job, split->count * sizeof *split->guard);
        memset(split->guard, 0, split->count * sizeof *split->guard);
    }
    if (s->trail) {
        split->part = scratch_new(split->count, sizeof *split->part);
        if (!split->part)
            return job_fail_memory(job, split->count * sizeof *split->part);
        memset(split->part, 0, split->count * sizeof *split->part);
    }
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic) reduction(&& : enough)
    for (size_t i = 0; i < split->count; i++)
        if (!job_cancelled(job))
            enough = make_patch(split, s, i, keep_rim) && enough;
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return enough ? STATUS_OK : job_fail_memory(job, 100 * s->triangles);
}

static enum status split_room(struct split *split, const struct surface *s, struct job *job)
{
    split->order = scratch_new(s->triangles, sizeof *split->order);
    split->home = scratch_new(s->vertices, sizeof *split->home);
    split->number = scratch_new(s->vertices, sizeof *split->number);
    split->shared = scratch_new(s->vertices, 1);
    if (!split->order || !split->home || !split->number || !split->shared)
        return job_fail_memory(job, 4 * s->triangles + 9 * s->vertices);
    memset(split->number, 255, s->vertices * sizeof *split->number);
    memset(split->shared, 0, s->vertices);
    return STATUS_OK;
}

enum status split_make(struct split *split, const struct surface *s, unsigned round, bool keep_rim,
                       struct job *job)
{
    *split = (struct split){.judge = {s->judge, s->vertex_of}};
    enum status status = split_room(split, s, job);
    if (status == STATUS_OK)
        status = find_homes(split, s, round, job);
    if (status == STATUS_OK) {
        split->start = scratch_new(split->count + 1, sizeof *split->start);
        status = split->start ? find_order(split, s, job)
                              : job_fail_memory(job, (split->count + 1) * sizeof *split->start);
    }
    if (status == STATUS_OK)
        status = make_patches(split, s, keep_rim, job);
    if (status != STATUS_OK)
        split_release(split);
    scratch_free(split->home); /* not while sweeps need most memory */
    scratch_free(split->number);
    split->home = split->number = NULL;
    return status;
}

/* --- joining --------------------------------------------------------------------------------- */

static void note_merged(const struct patch *p, const struct surface *s)
{
    for (size_t i = 0; i < p->vertices; i++)
        if (p->mobility[i] == GONE)
            s->parent[surface_vertex_of(s, p->vertex_id[i])] =
                surface_vertex_of(s, p->vertex_id[p->node[i].half]);
}

/* Marks in shared[] the vertices that are still used. */
static void mark_used(struct split *split, const struct patch *p)
{
    for (size_t i = 0; i < p->vertices; i++)
        if (p->mobility[i] != GONE)
            __atomic_store_n(&split->shared[p->vertex_id[i]], 1, __ATOMIC_RELAXED);
}

static size_t renumber(struct split *split, size_t vertices)
{
    size_t count = 0;
    for (size_t v = 0; v < vertices; v++)
        split->number[v] = split->shared[v] ? (uint32_t)count++ : NO_INDEX;
    return count;
}

static void write_triangles(const struct split *split, size_t i, const struct surface *s,
                            struct surface *next, size_t at)
{
    const struct patch *p = &split->patch[i];
    for (size_t t = 0; t < p->triangles; t++) {
        if (p->corner[4 * t] == NO_INDEX)
            continue;
        uint32_t old = split->order[split->start[i] + t];
        if (next->head)
            next->head[at] = p->corner[4 * t + 3];
        next->triangle_of[at] = surface_triangle_of(s, old);
        for (size_t k = 0; k < 3; k++)
            next->triangle[at].v[k] = split->number[p->vertex_id[p->corner[4 * t + k]]];
        at++;
    }
}

static void write_vertices(const struct split *split, const struct patch *p, struct surface *next)
{
    for (size_t i = 0; i < p->vertices; i++)
        if (p->mobility[i] < LOCKED) {
            uint32_t v = split->number[p->vertex_id[i]];
            memcpy(&next->point[v], p->node[i].at, sizeof(struct point));
            if (p->tint)
                memcpy(next->colour[v], p->tint[i].colour, sizeof next->colour[v]);
        }
}

static void write_surface(struct split *split, const struct surface *s, struct surface *next,
                          struct job *job)
{
#pragma omp parallel for num_threads(job_threads(job))
    for (size_t v = 0; v < s->vertices; v++)
        if (split->number[v] != NO_INDEX) {
            next->point[split->number[v]] = surface_point(s)[v];
            if (s->colour)
                memcpy(next->colour[split->number[v]], s->colour[v], sizeof s->colour[v]);
            next->vertex_of[split->number[v]] = surface_vertex_of(s, (uint32_t)v);
        }
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++) {
        size_t at = 0;
        for (size_t j = 0; j < i; j++)
            at += split->patch[j].left;
        write_triangles(split, i, s, next, at);
        write_vertices(split, &split->patch[i], next);
    }
}

/* Tells the trail what patch i has done, in the numbers of the original. */
static enum status tell_trail(const struct split *split, size_t i, const struct surface *s,
                              struct job *job)
{
    const struct patch *p = &split->patch[i];
    uint32_t *vertex = scratch_new(p->vertices + p->triangles, sizeof *vertex);
    if (!vertex)
        return job_fail_memory(job, (p->vertices + p->triangles) * sizeof *vertex);
    uint32_t *triangle = vertex + p->vertices;
    for (size_t v = 0; v < p->vertices; v++)
        vertex[v] = surface_vertex_of(s, p->vertex_id[v]);
    for (size_t t = 0; t < p->triangles; t++) {
        uint32_t old = split->order[split->start[i] + t];
        triangle[t] = surface_triangle_of(s, old);
    }
    enum status status = trail_append(s->trail, &split->part[i], vertex, triangle, job);
    scratch_free(vertex);
    return status;
}

/* Each patch gives back what sweeps needed, then what it noted, as soon as the trail has it: this
 * is where most memory is in use. */
static enum status finish_patches(struct split *split, const struct surface *s, struct job *job)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < split->count; i++) {
        patch_finish(&split->patch[i]);
        if (split->guard)
            guard_release(&split->guard[i]);
    }
    for (size_t i = 0; i < split->count && s->trail && status == STATUS_OK; i++) {
        status = tell_trail(split, i, s, job);
        trail_part_release(&split->part[i]);
    }
    return status;
}

enum status split_join(struct split *split, struct surface *s, struct job *job)
{
    struct surface next = {.mesh = s->mesh,
                           .unit = s->unit,
                           .parent = s->parent,
                           .contrast = s->contrast,
                           .flats = s->flats,
                           .tolerance = s->tolerance,
                           .judge = s->judge,
                           .trail = s->trail,
                           .locked = s->locked};
    enum status status = finish_patches(split, s, job);
    if (status != STATUS_OK)
        return status;
    split->number = scratch_new(s->vertices, sizeof *split->number);
    if (!split->number)
        return job_fail_memory(job, s->vertices * sizeof *split->number);
    memset(split->shared, 0, s->vertices);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t i = 0; i < split->count; i++) {
        note_merged(&split->patch[i], s);
        mark_used(split, &split->patch[i]);
    }
    next.vertices = renumber(split, s->vertices);
    for (size_t i = 0; i < split->count; i++)
        next.triangles += split->patch[i].left;
    next.point = scratch_new(next.vertices, sizeof *next.point);
    next.triangle = scratch_new(next.triangles, sizeof *next.triangle);
    next.vertex_of = scratch_new(next.vertices, sizeof *next.vertex_of);
    next.triangle_of = scratch_new(next.triangles, sizeof *next.triangle_of);
    next.head = s->tolerance ? scratch_new(next.triangles, sizeof *next.head) : NULL;
    next.colour = s->colour ? scratch_new(next.vertices, sizeof *next.colour) : NULL;
    if (!next.point || !next.triangle || !next.vertex_of || !next.triangle_of ||
        (s->tolerance && !next.head) || (s->colour && !next.colour)) {
        surface_drop(&next);
        return job_fail_memory(job, 16 * (next.vertices + next.triangles));
    }
    write_surface(split, s, &next, job);
    surface_drop(s);
    *s = next;
    return STATUS_OK;
}
