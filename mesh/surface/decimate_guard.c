#include "surface/decimate_guard.h"

#include <stdlib.h>
#include <string.h>

#include "core/closest.h"
#include "core/job.h"

static const double MARGIN = 0.998; /* the proof may say no from 0.999 of the tolerance on */
static const double FOLD = 0.5;     /* cosine: faces that turn more do not see each other's edges */

struct ridge {       /* an edge of the new surface, seen from above */
    uint32_t vertex; /* of a spoke: its other end */
    struct vec at, along, up, across;
    double per; /* 1 / length^2 */
};

/* The new star, prepared for a quick look at where a point lies above it. Ridges: one spoke a
 * vertex around, then the side of each face across from the new vertex. */
struct look {
    int spokes;
    int left[STAR_MOST], right[STAR_MOST]; /* of each face: its spokes, to p and to q */
    struct vec u[STAR_MOST], v[STAR_MOST], normal[STAR_MOST];
    struct ridge spoke[2 * STAR_MOST], side[STAR_MOST];
};

enum status tolerance_init(struct tolerance *t, const struct mesh *old, double within,
                           struct job *job)
{
    size_t n = mesh_vertices(old);
    *t = (struct tolerance){.old = {old, mesh_topology(old, job)}, .allowed = MARGIN * within};
    if (!t->old.topology)
        return job_status(job);
    t->next = scratch_new(n, sizeof *t->next);
    t->mark = scratch_new(n, sizeof *t->mark);
    if (!t->next || !t->mark)
        return job_fail_memory(job, 8 * n);
    for (size_t v = 0; v < n; v++)
        t->next[v] = SAMPLE_UNLISTED;
    memset(t->mark, 0, n * sizeof *t->mark);
    return STATUS_OK;
}

void tolerance_release(struct tolerance *t)
{
    scratch_free(t->next);
    scratch_free(t->mark);
}

/* The triangle of the surface that an old vertex lies on; NO_INDEX: it is there, unmoved, or
 * nowhere. */
static uint32_t triangle_below(const struct tolerance *t, const struct ground *surface,
                               const uint32_t *number, const uint32_t *parent, uint32_t v)
{
    uint32_t root = v;
    while (parent[root] != NO_INDEX)
        root = parent[root];
    const uint32_t home = number[root];
    const struct point *at = &mesh_point(t->old.mesh)[v];
    if (home == NO_INDEX ||
        (root == v && !memcmp(at, &mesh_point(surface->mesh)[home], sizeof *at)))
        return NO_INDEX;
    return spot_find(surface, point_vec(*at), &home, 1).triangle;
}

enum status tolerance_resample(struct tolerance *t, const struct mesh *mesh,
                               const uint32_t *vertex_of, const uint32_t *parent, uint32_t *head,
                               struct job *job)
{
    const struct ground surface = {mesh, mesh_topology(mesh, job)};
    size_t n = mesh_vertices(t->old.mesh);
    uint32_t *number = scratch_new(n, sizeof *number), *below = t->mark;
    if (!number || !surface.topology) {
        scratch_free(number);
        return surface.topology ? job_fail_memory(job, n * sizeof *number) : job_status(job);
    }
    memset(number, 255, n * sizeof *number);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        number[vertex_of[v]] = (uint32_t)v;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic, 4096)
    for (size_t v = 0; v < n; v++)
        if (!job_cancelled(job))
            below[v] = triangle_below(t, &surface, number, parent, (uint32_t)v);
    scratch_free(number);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    memset(head, 255, mesh_triangles(mesh) * sizeof *head); /* SAMPLE_NONE */
    for (size_t v = 0; v < n; v++) {
        t->next[v] = below[v] == NO_INDEX ? SAMPLE_UNLISTED : head[below[v]];
        if (below[v] != NO_INDEX)
            head[below[v]] = (uint32_t)v;
    }
    memset(t->mark, 0, n * sizeof *t->mark);
    return STATUS_OK;
}

void guard_release(struct guard *guard)
{
    free(guard->sample);
    guard->sample = NULL;
    guard->room = 0;
}

static bool add_sample(struct guard *g, uint32_t vertex)
{
    if (g->count == g->room) {
        size_t room = g->room ? 2 * g->room : 256;
        struct sample *sample = realloc(g->sample, room * sizeof *sample);
        if (!sample) {
            g->short_of_memory = true;
            return false;
        }
        g->sample = sample;
        g->room = room;
    }
    g->sample[g->count++].vertex = vertex;
    return true;
}

static bool add_list(struct guard *g, uint32_t head)
{
    for (uint32_t v = head; v != SAMPLE_NONE; v = g->tolerance->next[v])
        if (!add_sample(g, v))
            return false;
    return true;
}

static uint32_t original(const struct guard *g, const struct patch *p, uint32_t v)
{
    return g->vertex_of ? g->vertex_of[p->vertex_id[v]] : p->vertex_id[v];
}

/* The samples of all triangles of the star, and its two vertices if they are not samples yet. */
static bool collect(struct guard *g, const struct patch *p, const struct star *s)
{
    uint32_t a = original(g, p, edge_from(p, s->half)), b = original(g, p, edge_to(p, s->half));
    uint32_t twin = p->twin[s->half];
    g->count = 0;
    bool room = (g->tolerance->next[a] != SAMPLE_UNLISTED || add_sample(g, a)) &&
                (g->tolerance->next[b] != SAMPLE_UNLISTED || add_sample(g, b)) &&
                add_list(g, p->corner[s->half | 3]) &&
                (twin == NO_INDEX || add_list(g, p->corner[twin | 3]));
    for (int i = 0; i < s->count && room; i++)
        room = add_list(g, p->corner[4 * s->face[i] + 3]);
    return room;
}

static int spoke_to(const struct patch *p, struct look *look, uint32_t vertex, struct vec x)
{
    for (int i = 0; i < look->spokes; i++)
        if (look->spoke[i].vertex == vertex)
            return i;
    struct ridge *spoke = &look->spoke[look->spokes];
    *spoke = (struct ridge){.vertex = vertex, .at = x, .along = vec_sub(node_at(p, vertex), x)};
    return look->spokes++;
}

static void ridge_raise(struct ridge *ridge, struct vec up)
{
    ridge->up = vec_unit(up);
    ridge->across = vec_cross(ridge->along, up);
    ridge->per = 1 / vec_length2(ridge->along);
}

static void look_make(const struct patch *p, const struct star *s, struct look *look)
{
    struct vec up[2 * STAR_MOST] = {{0, 0, 0}};
    look->spokes = 0;
    for (int i = 0; i < s->count; i++) {
        struct vec a = vec_sub(node_at(p, s->p[i]), s->x), b = vec_sub(node_at(p, s->q[i]), s->x);
        struct vec n = s->new[i];
        double per = 1 / (s->new_length[i] * s->new_length[i]);
        look->u[i] = vec_scale(vec_cross(b, n), per);
        look->v[i] = vec_scale(vec_cross(n, a), per);
        look->normal[i] = vec_scale(n, 1 / s->new_length[i]);
        look->side[i] = (struct ridge){.at = node_at(p, s->p[i]), .along = vec_sub(b, a)};
        ridge_raise(&look->side[i], look->normal[i]);
        look->left[i] = spoke_to(p, look, s->p[i], s->x);
        look->right[i] = spoke_to(p, look, s->q[i], s->x);
        up[look->left[i]] = vec_add(up[look->left[i]], look->normal[i]);
        up[look->right[i]] = vec_add(up[look->right[i]], look->normal[i]);
    }
    for (int i = 0; i < look->spokes; i++)
        ridge_raise(&look->spoke[i], up[i]);
}

/* The face of the star nearest to p among those above which p lies; -1 when it lies above none. */
static int look_for(const struct star *s, const struct look *look, struct vec p, double *distance)
{
    struct vec d = vec_sub(p, s->x);
    int best = -1;
    *distance = INFINITY;
    for (int i = 0; i < s->count; i++) {
        double a = vec_dot(look->u[i], d), b = vec_dot(look->v[i], d);
        double h = fabs(vec_dot(look->normal[i], d));
        if (a >= 0 && b >= 0 && a + b <= 1 && h < *distance) {
            *distance = h;
            best = i;
        }
    }
    return best;
}

static int search(const struct patch *p, const struct star *s, struct vec at, double *distance)
{
    double least = INFINITY;
    int best = -1;
    for (int i = 0; i < s->count; i++) {
        const struct vec corner[3] = {s->x, node_at(p, s->p[i]), node_at(p, s->q[i])};
        double d = closest_distance2(at, corner);
        if (d < least) {
            least = d;
            best = i;
        }
    }
    *distance = sqrt(least);
    return best;
}

/* --- samples, and the new vertex -------------------------------------------------------------- */

/* Places each sample on the star; false when one is too far from it. */
static bool samples_allow(struct guard *g, const struct patch *p, const struct star *s,
                          const struct look *look)
{
    const struct point *point = mesh_point(g->tolerance->old.mesh);
    for (size_t i = 0; i < g->count; i++) {
        struct sample *sample = &g->sample[i];
        struct vec at = point_vec(point[sample->vertex]);
        double distance, allowed = g->tolerance->allowed;
        sample->face = look_for(s, look, at, &distance);
        if (!(distance <= allowed))
            sample->face = search(p, s, at, &distance);
        if (!(distance <= allowed))
            return false;
    }
    return true;
}

/* The new vertex: where it lies on the old surface is found from the sample nearest to it. */
static bool vertex_allows(const struct guard *g, const struct star *s)
{
    const struct point *point = mesh_point(g->tolerance->old.mesh);
    uint32_t nearest = NO_INDEX;
    double least = INFINITY, allowed = g->tolerance->allowed;
    for (size_t i = 0; i < g->count; i++) {
        uint32_t v = g->sample[i].vertex;
        double d = vec_length2(vec_sub(point_vec(point[v]), s->x));
        if (d < least) {
            least = d;
            nearest = v;
        }
    }
    if (nearest == NO_INDEX)
        return true;
    struct spot spot = spot_find(&g->tolerance->old, s->x, &nearest, 1);
    return spot.distance2 <= allowed * allowed;
}

/* --- crossings -------------------------------------------------------------------------------- */

struct segment { /* an edge of the original */
    struct vec from, to;
    double allowed;
};

/* Whether the segment comes near enough where it passes over the ridge. */
static bool crossing_allows(const struct segment *e, const struct ridge *r)
{
    double a = vec_dot(r->across, vec_sub(e->from, r->at));
    double b = vec_dot(r->across, vec_sub(e->to, r->at));
    if ((a < 0) == (b < 0))
        return true;
    struct vec m = vec_along(e->from, a / (a - b), vec_sub(e->to, e->from));
    struct vec d = vec_sub(m, r->at);
    double part = vec_dot(d, r->along) * r->per;
    if (!(part > 0 && part < 1))
        return true;
    return vec_length2(vec_along(d, -part, r->along)) <= e->allowed * e->allowed;
}

/* A segment that begins above face i and ends above face j of the star, or outside it (j = -1). */
static bool segment_allows(const struct look *look, int i, int j, const struct segment *e)
{
    if (i == j)
        return true;
    if (j >= 0 && look->left[i] == look->right[j])
        return crossing_allows(e, &look->spoke[look->left[i]]);
    if (j >= 0 && look->right[i] == look->left[j])
        return crossing_allows(e, &look->spoke[look->right[i]]);
    if (!crossing_allows(e, &look->side[i]) || (j >= 0 && !crossing_allows(e, &look->side[j])))
        return false;
    for (int k = 0; k < look->spokes; k++) /* but not those beyond a fold */
        if (vec_dot(look->normal[i], look->spoke[k].up) > FOLD &&
            !crossing_allows(e, &look->spoke[k]))
            return false;
    return true;
}

/* The face of the star above which the old vertex lies; -1 when it is none of its samples. */
static int face_of(const struct guard *g, uint32_t vertex)
{
    /* relaxed: another patch may write the mark of a vertex that is none of ours */
    uint32_t i = __atomic_load_n(&g->tolerance->mark[vertex], __ATOMIC_RELAXED);
    return i < g->count && g->sample[i].vertex == vertex ? g->sample[i].face : -1;
}

/* The edges of the original that leave one sample. */
static bool fan_allows(const struct guard *g, const struct look *look, const struct sample *sample)
{
    const struct tolerance *t = g->tolerance;
    const struct point *point = mesh_point(t->old.mesh);
    uint32_t v = sample->vertex, first = t->old.topology->fan[v], h = first;
    while (h != NO_INDEX) {
        uint32_t other = half_to(mesh_triangle(t->old.mesh), h);
        int face = face_of(g, other);
        struct segment e = {point_vec(point[v]), point_vec(point[other]), t->allowed};
        bool once = face < 0 || v < other; /* between two samples: only from the lower one */
        if (once && !segment_allows(look, sample->face, face, &e))
            return false;
        h = half_across(t->old.topology, half_prev(h));
        if (h == first)
            break;
    }
    return true;
}

static bool crossings_allow(const struct guard *g, const struct look *look)
{
    for (size_t i = 0; i < g->count; i++)
        __atomic_store_n(&g->tolerance->mark[g->sample[i].vertex], (uint32_t)i, __ATOMIC_RELAXED);
    for (size_t i = 0; i < g->count; i++)
        if (!fan_allows(g, look, &g->sample[i]))
            return false;
    return true;
}

bool guard_allows(struct guard *g, const struct patch *p, const struct star *s)
{
    struct look look;
    if (g->short_of_memory || !collect(g, p, s))
        return false;
    look_make(p, s, &look);
    return samples_allow(g, p, s, &look) && vertex_allows(g, s) && crossings_allow(g, &look);
}

void guard_follow(struct guard *g, struct patch *p, const struct star *s)
{
    for (int i = 0; i < s->count; i++)
        p->corner[4 * s->face[i] + 3] = SAMPLE_NONE;
    for (size_t i = 0; i < g->count; i++) {
        uint32_t *head = &p->corner[4 * s->face[g->sample[i].face] + 3];
        g->tolerance->next[g->sample[i].vertex] = *head;
        *head = g->sample[i].vertex;
    }
}
