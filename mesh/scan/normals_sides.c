#include "scan/normals_parts.h"

#include "core/job.h"

/* Links of less than about 20 degrees: what they join is one smooth patch, whatever lies around. */
enum { FLAT = 6 };
enum { PICTURE = 200 }; /* points: fewer make no picture */

static const double fits = 0.5;   /* of what its points could face the scanner, a patch does */
static const double slant = 0.15; /* cosine: seen at more of one, a patch says little by itself */
static const double squarely =
    0.17; /* cosine of 80 degrees: a view tells a point's side by itself */

/* --- the forest ------------------------------------------------------------------------------ */

/* The root of the tree that v is in, and whether v faces against it; shortens the way there. */
static uint32_t root_of(const struct estimate *e, uint32_t v, uint8_t *against)
{
    uint32_t root = v;
    uint8_t sum = 0;
    for (; e->parent[root] != root; root = e->parent[root])
        sum ^= e->against[root];
    *against = sum;
    while (e->parent[v] != root && v != root) {
        uint32_t up = e->parent[v];
        uint8_t own = e->against[v];
        e->parent[v] = root;
        e->against[v] = sum;
        sum ^= own;
        v = up;
    }
    return root;
}

static void join(const struct estimate *e, uint32_t a, uint32_t b)
{
    uint8_t against_a, against_b;
    uint32_t root_a = root_of(e, a, &against_a), root_b = root_of(e, b, &against_b);
    if (root_a == root_b)
        return;
    uint8_t opposed = vec_dot(point_vec(e->normal[a]), point_vec(e->normal[b])) < 0;
    uint32_t low = root_a < root_b ? root_a : root_b, high = root_a ^ root_b ^ low;
    e->parent[high] = low;
    e->against[high] = against_a ^ against_b ^ opposed;
}

/* Sorts each point's links into classes by the angle between the planes, the flattest first. */
static void class_links(const struct estimate *e, uint32_t v)
{
    for (int i = 0; i < SIDES_LINKS; i++) {
        struct vec a = point_vec(e->normal[v]), b = point_vec(e->normal[e->link[v][i]]);
        bool none = vec_length2(a) == 0 || vec_length2(b) == 0 || e->link[v][i] == v;
        double bend = sqrt(fmax(0, 1 - fabs(vec_dot(a, b)))); /* 0 to 1 */
        e->bend[v][i] =
            none ? SIDES_NO_LINK : (uint8_t)fmin(bend * SIDES_CLASSES, SIDES_CLASSES - 1);
    }
}

static void class_all(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
#pragma omp parallel for num_threads(job_threads(e->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += SIDES_BLOCK)
        if (job_step(e->job, SIDES_BLOCK))
            for (size_t v = from; v < from + SIDES_BLOCK && v < count; v++)
                class_links(e, (uint32_t)v);
}

/* Whether a known view turns two points that lie flat beside each other different ways. */
static bool is_turned_across(const struct estimate *e, uint32_t v, int link)
{
    uint32_t w = e->link[v][link];
    struct vec a = point_vec(e->normal[v]), b = point_vec(e->normal[w]);
    return vec_dot(a, point_vec(e->view[v])) * vec_dot(b, point_vec(e->view[w])) * vec_dot(a, b) <
           0;
}

/* Flat links that a known view contradicts are left out where they are few: a bridge of smeared
 * normals from one smooth patch to another would turn all of it against the view (16 links among
 * 10 918 points of a fan's blades turned 6 000 of them). Where the view cannot be right they are a
 * whole outline of them, many times the root of the number of points (9 times on a ball). */
static void leave_bridges(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud), across = 0;
    for (int pass = 0; pass < 2 && (double)across * (double)across <= (double)count; pass++)
        for (size_t v = 0; v < count; v++) {
            if (v % SIDES_BLOCK == 0 && job_cancelled(e->job))
                return;
            for (int i = 0; i < SIDES_LINKS; i++)
                if (e->bend[v][i] < FLAT && is_turned_across(e, (uint32_t)v, i)) {
                    across += pass == 0;
                    e->bend[v][i] = pass == 0 ? e->bend[v][i] : SIDES_NO_LINK;
                }
        }
}

/* Joins along the links of classes from `from` to before `end`. */
static void join_classes(const struct estimate *e, int from, int end)
{
    size_t count = mesh_vertices(e->cloud);
    for (int class = from; class < end; class ++)
        for (size_t v = 0; v < count; v++) {
            if (v % SIDES_BLOCK == 0 && !job_step(e->job, SIDES_BLOCK))
                return;
            for (int i = 0; i < SIDES_LINKS; i++)
                if (e->bend[v][i] == class)
                    join(e, (uint32_t)v, e->link[v][i]);
        }
}

/* Turns each point's normal as its root has it. */
static void face_as_root(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    for (size_t v = 0; v < count; v++) {
        uint8_t against;
        root_of(e, (uint32_t)v, &against);
        if (against)
            e->normal[v] = vec_point(vec_scale(point_vec(e->normal[v]), -1));
    }
    for (size_t v = 0; v < count; v++)
        e->against[v] = 0;
}

/* --- what parts say -------------------------------------------------------------------------- */

struct part { /* sums over what hangs together, kept at its root */
    struct vec middle, normal;
    double outward, across;
    double seen, looked; /* how far its points face their scanners, and how far they could */
    size_t points;
};

/* Sums up each part: first its middle, then how its points face as seen from there. */
static void sum_parts(const struct estimate *e, const struct point *view, struct part *part)
{
    size_t count = mesh_vertices(e->cloud);
    for (size_t v = 0; v < count; v++)
        part[v] = (struct part){0};
    for (int round = 0; round < 2; round++)
        for (size_t v = 0; v < count; v++) {
            if (v % SIDES_BLOCK == 0 && job_cancelled(e->job))
                return;
            uint8_t against;
            struct part *mine = &part[root_of(e, (uint32_t)v, &against)];
            struct vec p = point_vec(mesh_point(e->cloud)[v]), n = point_vec(e->normal[v]);
            if (round == 0) {
                mine->middle = vec_add(mine->middle, p);
                mine->points++;
                continue;
            }
            struct vec d = vec_along(p, -1 / (double)mine->points, mine->middle);
            n = vec_scale(n, against ? -1 : 1);
            double facing = view ? vec_dot(n, point_vec(view[v])) : 0;
            mine->seen += facing;
            mine->looked += fabs(facing);
            mine->outward += vec_dot(n, d);
            mine->across += vec_length(d);
            mine->normal = vec_add(mine->normal, n);
        }
}

/* A scanner sees only what faces it. Where less than three quarters of a part would (weighed by how
 * squarely), the view cannot be the one it was scanned from, and is no help. */
static bool is_seen(const struct part *part)
{
    return fabs(part->seen) > fits * part->looked;
}

/* Whether a patch's side can be told from where it was seen. */
static bool tells(const struct part *part)
{
    return is_seen(part) && part->looked > slant * (double)part->points;
}

static bool faces_in(const struct part *part)
{
    if (is_seen(part))
        return part->seen < 0;
    if (fabs(part->outward) > 1e-3 * part->across)
        return part->outward < 0;
    return part->normal.z < 0;
}

/* --- patches --------------------------------------------------------------------------------- */

/* Turns the patches that the view fits towards it and makes one tree of them all, so that no link
 * across a fold or a jump of depth turns one against another. None if it fits less than half of all
 * points. */
static void face_patches(const struct estimate *e, const struct point *view, struct part *part)
{
    size_t count = mesh_vertices(e->cloud), fitting = 0;
    uint32_t first = NO_INDEX;
    sum_parts(e, view, part);
    for (size_t v = 0; v < count; v++)
        fitting += part[v].points && tells(&part[v]) ? part[v].points : 0;
    if (job_cancelled(e->job) || 2 * fitting < count)
        return;
    for (size_t v = 0; v < count; v++) {
        if (part[v].points == 0 || !tells(&part[v]))
            continue;
        if (first == NO_INDEX)
            first = (uint32_t)v;
        e->parent[v] = first;
        /* beside the first one's own way */
        e->against[v] = (part[v].seen < 0) != (part[first].seen < 0);
    }
}

static void face_out(const struct estimate *e, struct part *part)
{
    size_t count = mesh_vertices(e->cloud);
    sum_parts(e, e->view, part);
    for (size_t v = 0; v < count && !job_cancelled(e->job); v++) {
        uint8_t against;
        const struct part *mine = &part[root_of(e, (uint32_t)v, &against)];
        struct vec n = point_vec(e->normal[v]);
        bool turn = faces_in(mine) != (against != 0);
        double facing = e->view && is_seen(mine) ? vec_dot(n, point_vec(e->view[v])) : 0;
        if (fabs(facing) > squarely) /* it knows better than its neighbours across an edge */
            turn = facing < 0;
        if (turn)
            e->normal[v] = vec_point(vec_scale(n, -1));
    }
}

/* Once the patches hang together: by the view that is known, or one that can be guessed. */
static enum status see_patches(const struct estimate *e, struct part *part)
{
    struct point *guess = NULL;
    size_t count = mesh_vertices(e->cloud);
    enum status status = STATUS_OK;
    face_as_root(e);
    if (!e->view && count >= PICTURE) {
        uint8_t against;
        uint32_t *root = scratch_new(count, sizeof *root);
        if (!root)
            return job_fail_memory(e->job, count * sizeof *root);
        for (size_t v = 0; v < count; v++)
            root[v] = root_of(e, (uint32_t)v, &against);
        status = view_guess(e, root, &guess);
        scratch_free(root);
    }
    if (status == STATUS_OK && (e->view || guess))
        face_patches(e, e->view ? e->view : guess, part);
    scratch_free(guess);
    return status;
}

enum status sides_agree(struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    job_phase(e->job, "making neighbours agree", 400, count * (SIDES_CLASSES + 1));
    struct part *part = scratch_new(count, sizeof *part);
    if (!part)
        return job_fail_memory(e->job, count * sizeof *part);
    for (size_t v = 0; v < count; v++) {
        e->parent[v] = (uint32_t)v;
        e->against[v] = 0;
    }
    class_all(e);
    if (e->view)
        leave_bridges(e);
    join_classes(e, 0, FLAT);
    enum status status = job_cancelled(e->job) ? job_fail_cancelled(e->job) : see_patches(e, part);
    if (status == STATUS_OK) {
        join_classes(e, FLAT, SIDES_CLASSES);
        face_out(e, part);
        status = job_cancelled(e->job) ? job_fail_cancelled(e->job) : STATUS_OK;
    }
    scratch_free(part);
    return status;
}
