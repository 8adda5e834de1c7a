/* The tree against trying every triangle. */
#include <check.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "tests/support/shapes.h"

Suite *suite_tree(void);

static double random_between(uint64_t *state, double low, double high)
{
    return low + (high - low) * shape_random(state);
}

static struct vec random_vec(uint64_t *state, double low, double high)
{
    double x = random_between(state, low, high), y = random_between(state, low, high);
    return vec(x, y, random_between(state, low, high));
}

/* Independent of the library: the plane's foot if it is inside, else the nearest of three edges. */
static double distance_to_segment(struct vec p, struct vec a, struct vec b)
{
    struct vec ab = vec_sub(b, a);
    double l2 = vec_length2(ab), w = l2 > 0 ? vec_dot(vec_sub(p, a), ab) / l2 : 0;
    w = fmin(1, fmax(0, w));
    return vec_length(vec_sub(p, vec_along(a, w, ab)));
}

static double distance_to_triangle(const struct mesh *mesh, size_t t, struct vec p)
{
    struct vec a[3];
    double best = INFINITY;
    for (int k = 0; k < 3; k++)
        a[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    for (int k = 0; k < 3; k++)
        best = fmin(best, distance_to_segment(p, a[k], a[(k + 1) % 3]));
    struct vec n = vec_unit(vec_cross(vec_sub(a[1], a[0]), vec_sub(a[2], a[0])));
    bool inside = vec_length2(n) > 0;
    for (int k = 0; k < 3; k++)
        inside =
            inside && vec_dot(n, vec_cross(vec_sub(a[(k + 1) % 3], a[k]), vec_sub(p, a[k]))) >= 0;
    return inside ? fmin(best, fabs(vec_dot(n, vec_sub(p, a[0])))) : best;
}

static double distance_to_any(const struct mesh *mesh, struct vec p)
{
    double best = INFINITY;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        best = fmin(best, distance_to_triangle(mesh, t, p));
    for (size_t v = 0; v < (mesh_triangles(mesh) ? 0 : mesh_vertices(mesh)); v++)
        best = fmin(best, vec_length(vec_sub(p, point_vec(mesh_point(mesh)[v]))));
    return best;
}

static struct vec weighted(const struct mesh *mesh, uint32_t t, const double weight[3])
{
    struct vec p = vec(0, 0, 0);
    for (int k = 0; k < 3; k++)
        p = vec_along(p, weight[k], point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]));
    return p;
}

static double size_of(const struct mesh *mesh)
{
    double size = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        size = fmax(size, vec_length(point_vec(mesh_point(mesh)[v])));
    return size;
}

static bool same_nearest(struct nearest a, struct nearest b)
{
    return a.triangle == b.triangle && a.distance == b.distance &&
           memcmp(&a.point, &b.point, sizeof a.point) == 0;
}

static void check_nearest(const struct mesh *mesh, double extent, struct vec at, uint32_t guess)
{
    const struct tree *tree = mesh_tree(mesh, NULL);
    struct nearest n = tree_nearest(tree, at, INFINITY);
    double is = distance_to_any(mesh, at);
    double size = extent + vec_length(at) + 1e-30;
    ck_assert(n.triangle != NO_INDEX);
    ck_assert_double_eq_tol(n.distance, is, 1e-14 * size);
    ck_assert_double_eq_tol(vec_length(vec_sub(at, n.point)), n.distance, 1e-14 * size);
    if (mesh_triangles(mesh)) {
        struct vec p = weighted(mesh, n.triangle, n.weight);
        ck_assert_double_le(vec_length(vec_sub(p, n.point)), 1e-14 * size);
        ck_assert_double_eq_tol(distance_to_triangle(mesh, n.triangle, at), is, 1e-14 * size);
    }
    ck_assert(same_nearest(n, tree_nearest_from(tree, at, INFINITY, guess)));
    ck_assert(same_nearest(n, tree_nearest(tree, at, n.distance)));
    if (n.distance > 0)
        ck_assert(tree_nearest(tree, at, n.distance * (1 - 1e-12)).triangle == NO_INDEX);
}

static struct mesh *make_soup(int triangles, double spread, double size, uint64_t seed)
{
    struct mesh *mesh = mesh_new(3 * (size_t)triangles, (size_t)triangles);
    for (int t = 0; t < triangles; t++) {
        struct vec c = random_vec(&seed, -spread, spread);
        for (int k = 0; k < 3; k++) {
            struct vec p = vec_add(c, random_vec(&seed, -size, size));
            mesh_point_edit(mesh)[3 * t + k] = vec_point(p);
            mesh_triangle_edit(mesh)[t].v[k] = (uint32_t)(3 * t + k);
        }
    }
    return mesh;
}

/* All sorts of meshes, by number; NULL past the last. */
static struct mesh *make_case(int i)
{
    uint64_t seed = 77;
    struct mesh *mesh;
    switch (i) {
    case 0:
        return shape_sphere(50, 3);
    case 1:
        return shape_box(10, 20, 30, 4); /* flat faces: boxes without thickness */
    case 2:
        return make_soup(700, 100, 10, 1);
    case 3:
        return make_soup(500, 1, 1e-5, 2); /* small triangles far apart */
    case 4:
        return make_soup(300, 1e-12, 1e-12, 3);
    case 5:
        return make_soup(300, 1e18, 1e17, 4);
    case 6: /* one triangle */
        return make_soup(1, 1, 1, 5);
    case 7: /* five: a second level */
        return make_soup(5, 1, 1, 6);
    case 8: /* degenerate: needles, and triangles that are a point */
        mesh = make_soup(200, 1, 0.1, 7);
        for (uint32_t t = 0; t < 200; t++) {
            struct point *p = mesh_point_edit(mesh) + 3 * t;
            p[2] = vec_point(vec_scale(vec_add(point_vec(p[0]), point_vec(p[1])), 0.5));
            p[1] = t % 3 ? p[1] : p[0];
            p[2] = t % 3 == 1 ? p[0] : p[2];
        }
        return mesh;
    case 9: /* all the same */
        mesh = mesh_new(3, 100);
        for (int k = 0; k < 3; k++)
            mesh_point_edit(mesh)[k] = vec_point(random_vec(&seed, -1, 1));
        for (int t = 0; t < 100; t++)
            mesh_triangle_edit(mesh)[t] = (struct triangle){{0, 1, 2}};
        return mesh;
    case 10: /* one far off: the grid of the root is coarse */
        mesh = make_soup(400, 1, 0.1, 8);
        mesh_point_edit(mesh)[5] = (struct point){1e9f, -1e9f, 3};
        return mesh;
    case 11: /* far from the origin */
        mesh = make_soup(400, 1, 0.1, 9);
        for (int v = 0; v < 1200; v++)
            mesh_point_edit(mesh)[v].x += 1e6f;
        return mesh;
    case 12: /* a cloud */
        mesh = mesh_new(777, 0);
        for (int v = 0; v < 777; v++)
            mesh_point_edit(mesh)[v] = vec_point(random_vec(&seed, -1, 1));
        return mesh;
    case 13: /* a cloud of one point many times */
        mesh = mesh_new(100, 0);
        for (int v = 0; v < 100; v++)
            mesh_point_edit(mesh)[v] = (struct point){1, 2, 3};
        return mesh;
    default:
        return NULL;
    }
}
enum { CASES = 14 };

START_TEST(nearest_is_that_of_all)
{
    struct mesh *mesh = make_case(_i);
    double size = size_of(mesh);
    size_t items = mesh_triangles(mesh) ? mesh_triangles(mesh) : mesh_vertices(mesh);
    uint64_t state = 3;
    for (int i = 0; i < 300; i++) {
        uint32_t guess = (uint32_t)(shape_random(&state) * (double)items);
        double far = i % 3 == 0 ? 1.2 : i % 3 == 1 ? 20 : 1e-3;
        struct vec near = point_vec(mesh_point(mesh)[i % (int)mesh_vertices(mesh)]);
        check_nearest(mesh, size, random_vec(&state, -far * size, far * size), guess);
        check_nearest(mesh, size, near, guess);
        check_nearest(mesh, size, vec_add(near, random_vec(&state, -1e-4 * size, 1e-4 * size)),
                      guess);
    }
    mesh_free(mesh);
}
END_TEST

START_TEST(nearest_of_equals_is_the_first)
{
    struct mesh *mesh = make_case(9);
    for (int k = 0; k < 3; k++) {
        struct nearest n = tree_nearest(mesh_tree(mesh, NULL), point_vec(mesh_point(mesh)[k]), 1);
        ck_assert_uint_eq(n.triangle, 0);
        ck_assert_double_eq(n.weight[k], 1);
        ck_assert_double_eq(n.weight[(k + 1) % 3], 0);
        ck_assert_double_eq(n.distance, 0);
    }
    mesh_free(mesh);
    mesh = make_case(13);
    ck_assert_uint_eq(tree_nearest(mesh_tree(mesh, NULL), vec(0, 0, 0), INFINITY).triangle, 0);
    mesh_free(mesh);
}
END_TEST

START_TEST(nothing_is_near)
{
    struct mesh *mesh = mesh_new(0, 0);
    const struct tree *tree = mesh_tree(mesh, NULL);
    ck_assert_ptr_nonnull(tree);
    ck_assert(tree_nearest(tree, vec(0, 0, 0), INFINITY).triangle == NO_INDEX);
    ck_assert(tree_ray(tree, vec(0, 0, 0), vec(1, 0, 0), 0, INFINITY).triangle == NO_INDEX);
    tree_box(tree, vec(-1, -1, -1), vec(1, 1, 1), NULL, NULL); /* nobody is called */
    mesh_free(mesh);
    mesh = shape_box(1, 1, 1, 2);
    tree = mesh_tree(mesh, NULL);
    ck_assert(tree_nearest(tree, vec((double)NAN, 0, 0), INFINITY).triangle == NO_INDEX);
    ck_assert(tree_nearest(tree, vec(0, 0, (double)INFINITY), INFINITY).triangle == NO_INDEX);
    ck_assert(tree_nearest(tree, vec(3, 0, 0), 1.9).triangle == NO_INDEX);
    ck_assert(tree_nearest(tree, vec(3, 0, 0), 2).triangle != NO_INDEX);
    ck_assert(tree_nearest(tree, vec(3, 0, 0), -1).triangle == NO_INDEX);
    ck_assert(tree_nearest(tree, vec(3, 0, 0), (double)NAN).triangle == NO_INDEX);
    ck_assert(tree_ray(tree, vec(0, 0, 0), vec(0, 0, 0), 0, INFINITY).triangle == NO_INDEX);
    ck_assert(tree_ray(tree, vec(0, 0, 0), vec((double)NAN, 0, 0), 0, INFINITY).triangle ==
              NO_INDEX);
    mesh_free(mesh);
}
END_TEST

/* --- which way the surface faces --- */

/* A wedge with an edge through the origin, where coordinates are small beside those of its
 * triangles' corners: all that lies outside is told to. */
START_TEST(outside_is_outside)
{
    uint64_t seed = 3 + (uint64_t)_i;
    struct vec a = vec_unit(random_vec(&seed, -1, 1)), b = vec_unit(random_vec(&seed, -1, 1));
    struct vec c = vec_scale(vec_unit(vec_cross(a, b)), 20);
    struct mesh *wedge = mesh_new(6, 8);
    static const struct triangle t[8] = {{{0, 2, 1}}, {{3, 4, 5}}, {{0, 1, 4}}, {{0, 4, 3}},
                                         {{1, 2, 5}}, {{1, 5, 4}}, {{2, 0, 3}}, {{2, 3, 5}}};
    for (int k = 0; k < 6; k++) {
        struct vec p = vec_scale(k % 3 == 1 ? a : b, k % 3 ? 60 : 0);
        mesh_point_edit(wedge)[k] = vec_point(vec_along(p, k < 3 ? -0.4 : 1, c));
    }
    memcpy(mesh_triangle_edit(wedge), t, sizeof t);
    const struct tree *tree = mesh_tree(wedge, NULL);
    for (int i = 0; i < 4000; i++) {
        double x = random_between(&seed, -30, 0), y = random_between(&seed, -30, 0);
        struct vec at =
            vec_along(vec_along(vec_scale(a, x), y, b), random_between(&seed, -0.3, 0.9), c);
        struct nearest near = tree_nearest(tree, at, INFINITY); /* beyond the edge */
        ck_assert_double_gt(vec_dot(vec_sub(at, near.point), tree_normal(tree, &near)), 0);
    }
    mesh_free(wedge);
}
END_TEST

/* --- how near a triangle comes --- */

/* By distances that change no faster than one walks: bounds from below and above, `fine` apart. */
static void bracket(const struct tree *tree, const struct vec c[3], double fine, double *above)
{
    struct vec middle = vec_scale(vec_add(vec_add(c[0], c[1]), c[2]), 1 / 3.0), m[3];
    double radius = 0, d = tree_nearest(tree, middle, INFINITY).distance;
    for (int k = 0; k < 3; k++) {
        radius = fmax(radius, vec_length(vec_sub(c[k], middle)));
        m[k] = vec_scale(vec_add(c[k], c[(k + 1) % 3]), 0.5);
    }
    *above = fmin(*above, d);
    if (d - radius > *above - fine)
        return;
    const struct vec part[4][3] = {
        {c[0], m[0], m[2]}, {m[0], c[1], m[1]}, {m[2], m[1], c[2]}, {m[0], m[1], m[2]}};
    for (int i = 0; i < 4; i++)
        bracket(tree, part[i], fine, above);
}

START_TEST(clearance_is_the_least_distance)
{
    struct mesh *mesh = make_case(_i);
    const struct tree *tree = mesh_tree(mesh, NULL);
    const struct bounds *bounds = mesh_bounds(mesh, NULL);
    double size = vec_length(bounds->size) + 1e-30, fine = 1e-3 * size;
    uint64_t seed = 5;
    for (int i = 0; i < (mesh_triangles(mesh) ? 150 : 0); i++) {
        struct vec c[3], from = vec_add(bounds->centre, random_vec(&seed, -size, size));
        double wide = (i % 3 ? 0.03 : 0.6) * size, above = INFINITY;
        for (int k = 0; k < 3; k++)
            c[k] = vec_add(from, random_vec(&seed, -wide, wide));
        c[2] = i % 10 == 9 ? vec_scale(vec_add(c[0], c[1]), 0.5) : c[2]; /* a needle */
        c[1] = i % 20 == 9 ? c[0] : c[1];                                /* a point */
        bracket(tree, c, fine, &above);
        double is = tree_clearance(tree, c, 1e3 * size);
        ck_assert_double_le(is, above * (1 + 1e-12) + 1e-14 * size);
        ck_assert_double_ge(is, above - 1.01 * fine);
        ck_assert_double_eq_tol(tree_clearance(tree, c, 1.001 * is + 1e-9 * size), is,
                                1e-14 * size);
        if (is > 0)
            ck_assert_double_eq(tree_clearance(tree, c, 0.999 * is), 0.999 * is);
    }
    mesh_free(mesh);
}
END_TEST

/* An edge goes through a large triangle's middle: all corners and edges are far off. */
START_TEST(what_passes_through_is_met)
{
    struct mesh *one = mesh_new(3, 1);
    const struct point p[3] = {{0, 0, -5}, {0.1f, 0, 5}, {0, 0.1f, 5}};
    memcpy(mesh_point_edit(one), p, sizeof p);
    mesh_triangle_edit(one)[0] = (struct triangle){{0, 1, 2}};
    const struct vec large[3] = {{-50, -50, 0}, {50, -50, 0}, {0, 70, 0}};
    ck_assert_double_le(tree_clearance(mesh_tree(one, NULL), large, 2), 1e-12);
    mesh_free(one);
}
END_TEST

/* --- rays --- */

/* The ray's parameter at the plane of the triangle when it passes inside, -INFINITY when it passes
 * outside, NAN when that is too close to say with what is rounded here. */
static double ray_at(const struct mesh *mesh, double size, size_t t, struct vec from,
                     struct vec along)
{
    struct vec a[3];
    for (int k = 0; k < 3; k++)
        a[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    struct vec n = vec_cross(vec_sub(a[1], a[0]), vec_sub(a[2], a[0]));
    double slope = vec_dot(n, along), area2 = vec_length2(n), least = INFINITY;
    if (fabs(slope) < 1e-9 * sqrt(area2) * vec_length(along))
        return (double)NAN;
    double longest = fmax(vec_length(vec_sub(a[1], a[0])), vec_length(vec_sub(a[2], a[0])));
    double margin = 1e-7 + 1e-9 * (vec_length(from) + size) * longest / sqrt(area2);
    double s = vec_dot(n, vec_sub(a[0], from)) / slope;
    struct vec p = vec_along(from, s, along);
    for (int k = 0; k < 3; k++) {
        double w = vec_dot(n, vec_cross(vec_sub(a[(k + 1) % 3], a[k]), vec_sub(p, a[k]))) / area2;
        least = fmin(least, w);
    }
    return least > margin ? s : least < -margin ? -INFINITY : (double)NAN;
}

static void check_ray(const struct mesh *mesh, double extent, struct vec from, struct vec along,
                      double after, double before, int *hits)
{
    struct hit hit = tree_ray(mesh_tree(mesh, NULL), from, along, after, before);
    double best = INFINITY;
    bool sure = true;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        double s = ray_at(mesh, extent, t, from, along);
        if (isnan(s))
            sure = false;
        else if (s > after && s <= before)
            best = fmin(best, s);
    }
    if (!sure)
        return;
    ck_assert_int_eq(hit.triangle == NO_INDEX, isinf(best));
    if (isinf(best))
        return;
    double size = vec_length(from) + fabs(best) * vec_length(along);
    ck_assert_double_eq_tol(hit.t * vec_length(along), best * vec_length(along), 1e-9 * size);
    struct vec p = weighted(mesh, hit.triangle, hit.weight), q = vec_along(from, hit.t, along);
    ck_assert_double_le(vec_length(vec_sub(p, q)), 1e-9 * size);
    ++*hits;
}

START_TEST(ray_meets_the_first_of_all)
{
    struct mesh *mesh = make_case(_i);
    double size = size_of(mesh);
    uint64_t state = 5;
    int hits = 0;
    for (int i = 0; i < 600; i++) {
        double far = i % 3 == 0 ? 0.7 : i % 3 == 1 ? 3 : 1000;
        struct vec from = random_vec(&state, -far * size, far * size);
        struct vec aim = random_vec(&state, -0.5 * size, 0.5 * size);
        if (i % 2) /* at a triangle */
            aim = point_vec(mesh_point(mesh)[i % (int)mesh_vertices(mesh)]);
        struct vec along = vec_scale(vec_sub(aim, from), random_between(&state, 0.01, 2));
        if (i % 5 == 0)
            along = vec(i % 10 ? size : 0, 0, i % 10 ? 0 : -size); /* along an axis */
        check_ray(mesh, size, from, along, i % 7 ? 0 : -INFINITY, i % 11 ? INFINITY : 1, &hits);
    }
    if (_i == 0 || _i == 2)
        ck_assert_int_gt(hits, 100);
    mesh_free(mesh);
}
END_TEST

/* From inside a closed surface every ray meets it, also through its vertices and along its edges'
 * planes. */
START_TEST(no_ray_slips_through)
{
    struct mesh *mesh = _i ? shape_box(2, 2, 2, 8) : shape_sphere(1, 4);
    const struct tree *tree = mesh_tree(mesh, NULL);
    struct vec from = _i ? vec(1, 1, 1) : vec(0, 0, 0);
    uint64_t state = 9;
    int missed = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            struct vec a = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
            struct vec b = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[(k + 1) % 3]]);
            struct vec edge = vec_along(a, shape_random(&state), vec_sub(b, a));
            struct vec off = vec_add(from, random_vec(&state, -0.3, 0.3));
            missed += tree_ray(tree, from, vec_sub(a, from), 0, INFINITY).triangle == NO_INDEX;
            missed += tree_ray(tree, from, vec_sub(edge, from), 0, INFINITY).triangle == NO_INDEX;
            missed += tree_ray(tree, off, vec_sub(edge, off), 0, INFINITY).triangle == NO_INDEX;
        }
    ck_assert_int_eq(missed, 0);
    mesh_free(mesh);
}
END_TEST

/* --- boxes --- */

struct seen {
    unsigned char *count;
    size_t visits, most;
};

static bool see(uint32_t triangle, void *context)
{
    struct seen *seen = context;
    seen->count[triangle]++;
    return ++seen->visits < seen->most;
}

static bool meets(const struct mesh *mesh, size_t t, struct vec min, struct vec max)
{
    for (int k = 0; k < 3; k++) {
        double low = INFINITY, high = -INFINITY;
        for (int i = 0; i < (mesh_triangles(mesh) ? 3 : 1); i++) {
            size_t v = mesh_triangles(mesh) ? mesh_triangle(mesh)[t].v[i] : t;
            low = fmin(low, (double)(&mesh_point(mesh)[v].x)[k]);
            high = fmax(high, (double)(&mesh_point(mesh)[v].x)[k]);
        }
        if (low > (&max.x)[k] || high < (&min.x)[k])
            return false;
    }
    return true;
}

START_TEST(box_visits_what_it_meets)
{
    struct mesh *mesh = make_case(_i);
    double size = size_of(mesh);
    size_t items = mesh_triangles(mesh) ? mesh_triangles(mesh) : mesh_vertices(mesh);
    uint64_t state = 11;
    for (int i = 0; i < 60; i++) {
        struct seen seen = {calloc(items, 1), 0, SIZE_MAX};
        struct vec c = i % 2 ? point_vec(mesh_point(mesh)[i % (int)mesh_vertices(mesh)])
                             : random_vec(&state, -size, size);
        struct vec half = vec_scale(random_vec(&state, 0, size), i % 4 ? 0.1 : 1);
        if (i % 10 == 9)
            half = vec(0, 0, 0);
        struct vec min = vec_sub(c, half), max = vec_add(c, half);
        tree_box(mesh_tree(mesh, NULL), min, max, see, &seen);
        for (size_t t = 0; t < items; t++)
            if (seen.count[t] != meets(mesh, t, min, max))
                ck_abort_msg("case %d box %d: triangle %zu visited %d times", _i, i, t,
                             seen.count[t]);
        size_t all = seen.visits;
        seen.visits = 0;
        seen.most = 2;
        tree_box(mesh_tree(mesh, NULL), min, max, see, &seen);
        ck_assert_uint_eq(seen.visits, all < 2 ? all : 2);
        free(seen.count);
    }
    mesh_free(mesh);
}
END_TEST

/* --- building --- */

START_TEST(threads_change_nothing)
{
    struct mesh *one = shape_sphere(50, 6), *two = mesh_new_like(one);
    struct job job;
    job_init(&job);
    job.threads = 1;
    const struct tree *a = mesh_tree(one, &job);
    job.threads = 3;
    const struct tree *b = mesh_tree(two, &job);
    struct seen seen[2] = {{calloc(mesh_triangles(one), 1), 0, 50000},
                           {calloc(mesh_triangles(one), 1), 0, 50000}};
    tree_box(a, vec(-50, -50, -50), vec(50, 50, 50), see, seen);
    tree_box(b, vec(-50, -50, -50), vec(50, 50, 50), see, seen + 1);
    ck_assert_mem_eq(seen[0].count, seen[1].count, mesh_triangles(one)); /* the same order */
    ck_assert_uint_eq(seen[0].visits, 50000);
    for (int i = 0; i < 2; i++)
        free(seen[i].count);
    job_release(&job);
    mesh_free(one);
    mesh_free(two);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *mesh = shape_sphere(50, 5);
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_ptr_null(mesh_tree(mesh, &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    job_release(&job);
    ck_assert_ptr_nonnull(mesh_tree(mesh, NULL)); /* nothing has been cached */
    mesh_free(mesh);
}
END_TEST

Suite *suite_tree(void)
{
    Suite *suite = suite_create("tree");
    TCase *tests = tcase_create("tree");
    tcase_set_timeout(tests, 120);
    tcase_add_loop_test(tests, nearest_is_that_of_all, 0, CASES);
    tcase_add_test(tests, nearest_of_equals_is_the_first);
    tcase_add_test(tests, nothing_is_near);
    tcase_add_loop_test(tests, outside_is_outside, 0, 10);
    tcase_add_loop_test(tests, clearance_is_the_least_distance, 0, CASES);
    tcase_add_test(tests, what_passes_through_is_met);
    tcase_add_loop_test(tests, ray_meets_the_first_of_all, 0, CASES);
    tcase_add_loop_test(tests, no_ray_slips_through, 0, 2);
    tcase_add_loop_test(tests, box_visits_what_it_meets, 0, CASES);
    tcase_add_test(tests, threads_change_nothing);
    tcase_add_test(tests, cancelled);
    suite_add_tcase(suite, tests);
    return suite;
}
