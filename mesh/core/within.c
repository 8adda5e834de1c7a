/* The proof that two surfaces lie within a tolerance of one another.
 *
 * The distance to a triangle is a convex function (the triangle is a convex set), so a flat convex
 * piece whose corners all lie within the tolerance of one triangle lies within it altogether. Each
 * triangle is taken whole first; what cannot be accepted is cut along the border of the triangle
 * that its middle is nearest to, or halved, and its parts are tried in turn. A middle that is too
 * far off disproves. Cf. M. Guthe, P. Borodin, R. Klein, "Fast and accurate Hausdorff distance
 * calculation between meshes", Journal of WSCG 13 (2005), who bound pieces from the same two sides.
 *
 * Pieces shrink: the middle stays with the part that is cut out, and at least each eighth cut
 * halves. A piece smaller than a thousandth of the tolerance decides by its middle. */
#include "core/within.h"

#include <omp.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "core/closest.h"
#include "core/job.h"
#include "core/topology.h"
#include "core/tree_nodes.h"

enum { CORNERS = 10, DEPTH = 400, BLOCK = 256 };

struct piece { /* convex, flat, in local coordinates of the other mesh */
    struct vec corner[CORNERS];
    int count, level;   /* level: cuts that led to it */
    uint32_t candidate; /* a triangle of the other mesh that may hold it; NO_INDEX: none is known */
};

struct breaches { /* of one thread */
    struct breach *breach;
    size_t count, room;
    bool failed; /* out of memory */
};

struct prover { /* one a thread */
    const struct mesh *mesh, *other;
    const struct tree *from, *to;
    const struct topology *neighbours; /* of the other mesh */
    struct vec shift; /* from local coordinates of the mesh to those of the other */
    double tolerance;
    struct piece *stack;       /* DEPTH + 2 */
    double slack;              /* over 0: a place that disproves makes the tolerance so much more
                                  than its distance, and all goes on */
    const uint8_t *ask;        /* one a triangle of the mesh: whether to prove it; NULL: all */
    struct breaches *breaches; /* to be listed; NULL: the first one will do */
    struct vec at;             /* the place that disproves, */
    double distance;           /* and how far it is */
};

static void corners_of(const struct mesh *mesh, uint32_t t, struct vec corner[3])
{
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
}

static bool held_by(const struct prover *prover, const struct piece *piece, uint32_t candidate)
{
    struct vec corner[3];
    corners_of(prover->other, candidate, corner);
    double most = prover->tolerance * prover->tolerance;
    for (int i = 0; i < piece->count; i++)
        if (!(closest_distance2(piece->corner[i], corner) <= most))
            return false;
    return true;
}

/* --- parts ----------------------------------------------------------------------------------- */

static void add_corner(struct piece *piece, struct vec p)
{
    piece->corner[piece->count++] = p;
}

/* The two sides of a piece, by the heights of its corners over a straight cut. */
static void cut(const struct piece *piece, const double *height, struct piece *below,
                struct piece *above)
{
    for (int i = 0; i < piece->count; i++) {
        int j = (i + 1) % piece->count;
        struct vec p = piece->corner[i], q = piece->corner[j];
        if (height[i] <= 0)
            add_corner(below, p);
        if (height[i] >= 0)
            add_corner(above, p);
        if ((height[i] < 0 && height[j] > 0) || (height[i] > 0 && height[j] < 0)) {
            double s = height[i] / (height[i] - height[j]);
            struct vec x = vec_along(p, s, vec_sub(q, p));
            add_corner(below, x);
            add_corner(above, x);
        }
    }
}

/* Through two corners, so that neither part has many. */
static void part_corners(const struct piece *piece, struct piece *below, struct piece *above)
{
    int half = piece->count / 2;
    for (int i = 0; i <= half; i++)
        add_corner(below, piece->corner[i]);
    for (int i = half; i <= piece->count; i++)
        add_corner(above, piece->corner[i % piece->count]);
}

/* Across the longest extent from the middle. */
static void halve(const struct piece *piece, struct vec middle, struct piece *below,
                  struct piece *above)
{
    double height[CORNERS], most = -1;
    struct vec along = vec(0, 0, 0);
    for (int i = 0; i < piece->count; i++) {
        struct vec d = vec_sub(piece->corner[i], middle);
        if (vec_length2(d) > most) {
            most = vec_length2(d);
            along = d;
        }
    }
    for (int i = 0; i < piece->count; i++)
        height[i] = vec_dot(along, vec_sub(piece->corner[i], middle));
    cut(piece, height, below, above);
}

/* How far the corners of the piece lie beyond one edge of a triangle, in its plane; returns the
 * greatest. */
static double heights_over(const struct piece *piece, const struct vec corner[3], int edge,
                           struct vec normal, double *height)
{
    struct vec a = corner[edge], along = vec_sub(corner[(edge + 1) % 3], a);
    struct vec outward = vec_unit(vec_cross(along, normal));
    double most = -INFINITY;
    for (int i = 0; i < piece->count; i++) {
        height[i] = vec_dot(outward, vec_sub(piece->corner[i], a));
        most = fmax(most, height[i]);
    }
    return most;
}

/* Along the edge of the candidate that the piece reaches farthest over, but a little way out, as
 * far as the tolerance leaves room: then slivers along it are held as well. False when it reaches
 * over none, or the middle itself does. */
static bool cut_border(const struct prover *prover, const struct piece *piece,
                       const struct nearest *nearest, struct vec middle, struct piece *below,
                       struct piece *above)
{
    struct vec corner[3];
    corners_of(prover->other, nearest->triangle, corner);
    struct vec normal = vec_cross(vec_sub(corner[1], corner[0]), vec_sub(corner[2], corner[0]));
    double square = prover->tolerance * prover->tolerance;
    double room = 0.3 * sqrt(fmax(0, square - nearest->distance * nearest->distance));
    double height[2][CORNERS], most = 1.2 * room;
    int best = 0, edge = -1;
    for (int k = 0; k < 3; k++) {
        double reach = heights_over(piece, corner, k, normal, height[!best]);
        if (!(reach > most))
            continue;
        most = reach;
        edge = k;
        best = !best;
    }
    if (edge < 0)
        return false;
    struct piece dot = {.corner = {middle}, .count = 1};
    double own;
    if (heights_over(&dot, corner, edge, normal, &own) > room)
        return false;
    for (int i = 0; i < piece->count; i++)
        height[best][i] -= room;
    cut(piece, height[best], below, above);
    uint32_t across = half_across(prover->neighbours, 3 * nearest->triangle + (uint32_t)edge);
    above->candidate = across < TWIN_MANY ? across / 3 : nearest->triangle;
    return true;
}

/* --- one triangle ---------------------------------------------------------------------------- */

static struct vec middle_of(const struct piece *piece, double *radius)
{
    struct vec sum = vec(0, 0, 0);
    for (int i = 0; i < piece->count; i++)
        sum = vec_add(sum, piece->corner[i]);
    struct vec middle = vec_scale(sum, 1.0 / piece->count);
    double most = 0;
    for (int i = 0; i < piece->count; i++)
        most = fmax(most, vec_length2(vec_sub(piece->corner[i], middle)));
    *radius = sqrt(most);
    return middle;
}

enum verdict { HELD, BROKEN, OPEN };

/* A triangle near the middle, and how far: the candidate if it will do, else the nearest one. */
static bool near_enough(const struct prover *prover, const struct piece *piece, struct vec middle,
                        struct nearest *near)
{
    if (piece->candidate == NO_INDEX)
        return false;
    struct vec corner[3];
    corners_of(prover->other, piece->candidate, corner);
    near->triangle = piece->candidate;
    near->distance = sqrt(closest_distance2(middle, corner));
    return near->distance <= 0.7 * prover->tolerance;
}

static enum verdict judge(struct prover *prover, const struct piece *piece, struct vec middle,
                          double radius, struct nearest *near)
{
    uint32_t guess = piece->candidate;
    if (guess != NO_INDEX && held_by(prover, piece, guess))
        return HELD;
    bool small = radius < 1e-3 * prover->tolerance || piece->level >= DEPTH;
    bool known = !small && near_enough(prover, piece, middle, near);
    if (!known)
        *near = tree_nearest_from(prover->to, middle, INFINITY, guess);
    if (near->distance + radius <= prover->tolerance)
        return HELD;
    if (known)
        return OPEN;
    if (near->distance > prover->tolerance || small) {
        prover->at = middle;
        prover->distance = near->distance;
        return BROKEN;
    }
    return near->triangle != guess && held_by(prover, piece, near->triangle) ? HELD : OPEN;
}

/* Proves a triangle in local coordinates of the other mesh; the guess becomes the triangle that
 * held its last piece. */
static bool prove_corners(struct prover *prover, const struct vec corner[3], uint32_t *guess)
{
    struct piece *stack = prover->stack;
    stack[0].count = 3;
    stack[0].level = 0;
    stack[0].candidate = *guess;
    memcpy(stack[0].corner, corner, 3 * sizeof *corner);
    for (int top = 1; top > 0;) {
        struct piece *piece = stack + top - 1;
        struct nearest near = {.triangle = piece->candidate};
        double radius;
        struct vec middle = middle_of(piece, &radius);
        enum verdict verdict = judge(prover, piece, middle, radius, &near);
        if (verdict == BROKEN && !(prover->slack > 0))
            return false;
        if (verdict == BROKEN) {
            double more = fmax(prover->slack, prover->distance > prover->tolerance ? 0 : radius);
            prover->tolerance = fmax(prover->tolerance, prover->distance + more);
            continue;
        }
        *guess = near.triangle;
        if (verdict == HELD) {
            top--;
            continue;
        }
        struct piece below = {.level = piece->level + 1, .candidate = near.triangle};
        struct piece above = below;
        if (piece->count + 1 >= CORNERS)
            part_corners(piece, &below, &above);
        else if (piece->level % 8 == 7 || !cut_border(prover, piece, &near, middle, &below, &above))
            halve(piece, middle, &below, &above);
        stack[top - 1] = above;
        stack[top++] = below;
    }
    return true;
}

/* The same of a triangle of the mesh. */
static bool prove(struct prover *prover, uint32_t triangle, uint32_t *guess)
{
    struct vec corner[3];
    corners_of(prover->mesh, triangle, corner);
    for (int k = 0; k < 3; k++)
        corner[k] = vec_add(corner[k], prover->shift);
    return prove_corners(prover, corner, guess);
}

/* --- all of them ----------------------------------------------------------------------------- */

struct verdicts {          /* of one direction */
    _Atomic size_t broken; /* the first block that was disproved */
    struct vec at;
    double distance;
};

static void note_broken(struct verdicts *verdicts, size_t block, const struct prover *prover)
{
#pragma omp critical(deviation_broken)
    if (block < atomic_load(&verdicts->broken)) {
        atomic_store(&verdicts->broken, block);
        verdicts->at = prover->at;
        verdicts->distance = prover->distance;
    }
}

static void list_breach(const struct prover *prover, uint32_t triangle)
{
    struct breaches *b = prover->breaches;
    if (b->count == b->room) {
        size_t room = b->room ? 2 * b->room : 64;
        struct breach *grown = realloc(b->breach, room * sizeof *grown);
        if (!grown) {
            b->failed = true;
            return;
        }
        b->breach = grown;
        b->room = room;
    }
    b->breach[b->count++] = (struct breach){triangle, prover->at, prover->distance};
}

static void prove_block(struct prover *prover, struct verdicts *verdicts, size_t block,
                        const struct job *job)
{
    uint32_t guess = NO_INDEX;
    size_t items = prover->from->items;
    for (size_t i = block * BLOCK; i < (block + 1) * BLOCK && i < items; i++) {
        if (job_cancelled(job))
            return;
        uint32_t triangle = tree_item(prover->from, i);
        if ((prover->ask && !prover->ask[triangle]) || prove(prover, triangle, &guess))
            continue;
        if (!prover->breaches) {
            note_broken(verdicts, block, prover);
            return;
        }
        list_breach(prover, triangle);
    }
}

/* Blocks behind one that is disproved need not be looked at, those before it must: the place that
 * is named does not depend on the threads. */
static void prove_blocks(struct prover *provers, struct verdicts *verdicts, struct job *job)
{
    size_t blocks = (provers->from->items + BLOCK - 1) / BLOCK;
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t block = 0; block < blocks; block++) {
        if (block > atomic_load(&verdicts->broken) || job_cancelled(job))
            continue;
        prove_block(provers + omp_get_thread_num(), verdicts, block, job);
        job_step(job, BLOCK);
    }
}

static double extent_of(const struct tree *tree)
{
    const struct tree_node *root = tree->node + tree->first[tree->levels - 1];
    double most = 0;
    for (int k = 0; k < 3; k++)
        most = fmax(most, fabs((double)root->low[k]));
    return most + TREE_MASK * (double)root->step;
}

static enum status one_way(const struct mesh *mesh, const struct mesh *other, double tolerance,
                           struct proof *proof, const uint8_t *ask, struct breaches *breaches,
                           struct job *job)
{
    int threads = job_threads(job);
    struct prover *provers = calloc((size_t)threads, sizeof *provers);
    struct piece *stacks = scratch_new((size_t)threads * (DEPTH + 2), sizeof *stacks);
    struct verdicts verdicts = {.broken = SIZE_MAX};
    enum status status = STATUS_OK;
    if (!provers || !stacks)
        status = job_fail_memory(job, (size_t)threads * (DEPTH + 2) * sizeof *stacks);
    for (int i = 0; i < threads && status == STATUS_OK; i++) {
        struct prover *prover = provers + i;
        *prover = (struct prover){.mesh = mesh, .other = other, .stack = stacks + i * (DEPTH + 2)};
        prover->from = mesh_tree(mesh, NULL);
        prover->to = mesh_tree(other, NULL);
        prover->neighbours = mesh_topology(other, NULL);
        prover->shift = vec(mesh->origin[0] - other->origin[0], mesh->origin[1] - other->origin[1],
                            mesh->origin[2] - other->origin[2]);
        double extent = vec_length(prover->shift) + extent_of(prover->from) + extent_of(prover->to);
        prover->tolerance = tolerance + 1e-14 * extent;
        prover->ask = ask;
        prover->breaches = breaches ? breaches + i : NULL;
    }
    if (status == STATUS_OK)
        prove_blocks(provers, &verdicts, job);
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    if (status == STATUS_OK && atomic_load(&verdicts.broken) != SIZE_MAX) {
        proof->within = false;
        proof->at = mesh_world(other, verdicts.at);
        proof->distance = verdicts.distance;
    }
    scratch_free(stacks);
    free(provers);
    return status;
}

static enum status prepare(const struct mesh *a, const struct mesh *b, struct job *job)
{
    if (!mesh_triangles(a) || !mesh_triangles(b))
        return job_fail(job, STATUS_REFUSED,
                        "no surface to compare: %s mesh has no triangles; give two that have",
                        mesh_triangles(a) ? "the second" : "the first");
    bool ready =
        mesh_tree(a, job) && mesh_tree(b, job) && mesh_topology(a, job) && mesh_topology(b, job);
    return ready ? STATUS_OK : job_status(job);
}

enum status deviation_within(const struct mesh *a, const struct mesh *b, double tolerance,
                             struct proof *proof, struct job *job)
{
    *proof = (struct proof){.within = true, .of_a = true};
    job_phase(job, "getting ready to prove", 100, 0);
    enum status status = prepare(a, b, job);
    if (status != STATUS_OK)
        return status;
    /* the coarser one first: it has fewer triangles to look at when the answer is no */
    bool a_first = mesh_triangles(a) <= mesh_triangles(b);
    for (int i = 0; i < 2 && proof->within; i++) {
        const struct mesh *from = a_first == !i ? a : b, *to = from == a ? b : a;
        job_phase(job, "proving the tolerance", 450, mesh_triangles(from));
        proof->of_a = from == a;
        status = one_way(from, to, tolerance, proof, NULL, NULL, job);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

static int breach_order(const void *a, const void *b)
{
    uint32_t x = ((const struct breach *)a)->triangle, y = ((const struct breach *)b)->triangle;
    return (x > y) - (x < y);
}

/* The threads' lists as one. */
static enum status gather(const struct breaches *part, int parts, struct breach **list,
                          size_t *count, struct job *job)
{
    bool failed = false;
    for (int i = 0; i < parts; i++) {
        *count += part[i].count;
        failed |= part[i].failed;
    }
    if (!failed && !*count)
        return STATUS_OK;
    *list = failed ? NULL : scratch_new(*count, sizeof **list);
    if (!*list)
        return job_fail_memory(job, (*count + 1) * sizeof **list);
    size_t at = 0;
    for (int i = 0; i < parts; i++)
        for (size_t j = 0; j < part[i].count; j++)
            (*list)[at++] = part[i].breach[j];
    qsort(*list, *count, sizeof **list, breach_order);
    return STATUS_OK;
}

enum status within_breaches(const struct mesh *mesh, const struct mesh *other, double tolerance,
                            const uint8_t *ask, struct breach **list, size_t *count,
                            struct job *job)
{
    int threads = job_threads(job);
    struct breaches *part = calloc((size_t)threads, sizeof *part);
    *list = NULL;
    *count = 0;
    if (!part)
        return job_fail_memory(job, (size_t)threads * sizeof *part);
    enum status status = prepare(mesh, other, job);
    if (status == STATUS_OK)
        status = one_way(mesh, other, tolerance, NULL, ask, part, job);
    if (status == STATUS_OK)
        status = gather(part, threads, list, count, job);
    for (int i = 0; i < threads; i++)
        free(part[i].breach);
    free(part);
    return status;
}

/* --- one after another ----------------------------------------------------------------------- */

struct prover *prover_new(const struct mesh *other, struct job *job)
{
    struct prover *prover = calloc(1, sizeof *prover);
    struct piece *stack = scratch_new(DEPTH + 2, sizeof *stack);
    const struct tree *tree = mesh_tree(other, job);
    const struct topology *topology = tree ? mesh_topology(other, job) : NULL;
    if (prover && stack && topology) {
        *prover = (struct prover){.other = other, .to = tree, .neighbours = topology};
        prover->stack = stack;
        return prover;
    }
    if (topology)
        job_fail_memory(job, (DEPTH + 2) * sizeof *stack);
    free(prover);
    scratch_free(stack);
    return NULL;
}

void prover_free(struct prover *prover)
{
    if (prover)
        scratch_free(prover->stack);
    free(prover);
}

bool prover_within(struct prover *prover, const struct vec corner[3], double tolerance,
                   uint32_t *guess, struct breach *breach)
{
    prover->tolerance = tolerance;
    prover->slack = 0;
    if (prove_corners(prover, corner, guess))
        return true;
    *breach = (struct breach){*guess, prover->at, prover->distance};
    return false;
}

double prover_bound(struct prover *prover, const struct vec corner[3], double least, double slack,
                    uint32_t *guess, struct breach *farthest)
{
    prover->tolerance = least;
    prover->slack = slack;
    prove_corners(prover, corner, guess);
    if (prover->tolerance > least)
        *farthest = (struct breach){*guess, prover->at, prover->distance};
    return prover->tolerance;
}
