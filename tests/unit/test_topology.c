/* Who is whose neighbour: against counts made in another way, on solids and on random soups. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/fans.h"
#include "core/job.h"
#include "core/topology.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

static bool drop_first(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t == 0;
}

static bool drop_low(const struct mesh *mesh, size_t t)
{
    return mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]].z < -6;
}

static struct mesh *less(struct mesh *mesh, bool (*drop)(const struct mesh *, size_t))
{
    struct mesh *rest = shape_without(mesh, drop);
    mesh_free(mesh);
    return rest;
}

static struct mesh *solid(int i)
{
    switch (i) {
    case 0:
        return shape_sphere(10, 3);
    case 1:
        return shape_box(10, 20, 30, 4);
    case 2:
        return shape_torus(40, 10, 24, 12);
    case 3:
        return shape_patch(10, 9, NULL);
    case 4:
        return less(shape_sphere(10, 3), drop_first);
    case 5:
        return less(shape_sphere(10, 3), drop_low);
    case 6:
        return mesh_new(0, 0);
    case 7:
        return shape_make((const double[][3]){{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, 3,
                          (const uint32_t[][3]){{0, 1, 2}}, 1);
    default:
        return NULL;
    }
}
enum { SOLIDS = 8 };

enum { BROKEN = 150 };

static void agrees_with_count(const struct mesh *mesh)
{
    const struct topology *topology = mesh_topology(mesh, NULL);
    struct shape_count count = shape_count(mesh);
    ck_assert_ptr_nonnull(topology);
    ck_assert_uint_eq(topology->edges, count.edges);
    ck_assert_uint_eq(topology->boundary, count.boundary);
    ck_assert_uint_eq(topology->nonmanifold, count.nonmanifold);
    ck_assert_uint_eq(topology->misoriented, count.misoriented);
    long used = (long)(mesh_vertices(mesh) - topology->unused_vertices);
    ck_assert_int_eq(used - (long)topology->edges + (long)mesh_triangles(mesh), count.euler);
}

START_TEST(counts_of_solids)
{
    struct mesh *mesh = solid(_i);
    agrees_with_count(mesh);
    mesh_free(mesh);
}
END_TEST

START_TEST(counts_of_broken)
{
    struct mesh *mesh = wreck(_i);
    agrees_with_count(mesh);
    mesh_free(mesh);
}
END_TEST

START_TEST(twins_pair)
{
    struct mesh *mesh = wreck(_i);
    const uint32_t *twin = mesh_topology(mesh, NULL)->twin;
    const struct triangle *triangle = mesh_triangle(mesh);
    for (uint32_t h = 0; h < 3 * mesh_triangles(mesh); h++) {
        uint32_t from = half_from(triangle, h), to = half_to(triangle, h);
        if (twin[h] == TWIN_NONE || twin[h] == TWIN_MANY) {
            ck_assert(from != to || twin[h] == TWIN_MANY);
            continue;
        }
        uint32_t flip = twin[h] & TWIN_FLIPPED, other = twin[h] ^ flip;
        ck_assert_uint_lt(other, 3 * mesh_triangles(mesh));
        ck_assert_uint_eq(twin[other], h | flip);
        ck_assert_uint_eq(half_from(triangle, other), flip ? from : to);
        ck_assert_uint_eq(half_to(triangle, other), flip ? to : from);
    }
    mesh_free(mesh);
}
END_TEST

START_TEST(fans_start_well)
{
    struct mesh *mesh = wreck(_i);
    const struct topology *topology = mesh_topology(mesh, NULL);
    size_t vertices = mesh_vertices(mesh);
    bool *used = calloc(vertices, 1), *rim = calloc(vertices, 1);
    for (uint32_t h = 0; h < 3 * mesh_triangles(mesh); h++) {
        used[half_from(mesh_triangle(mesh), h)] = true;
        rim[half_from(mesh_triangle(mesh), h)] |= topology->twin[h] == TWIN_NONE;
    }
    for (size_t v = 0; v < vertices; v++) {
        uint32_t h = topology->fan[v];
        ck_assert_int_eq(h != NO_INDEX, used[v]);
        if (!used[v])
            continue;
        ck_assert_uint_eq(half_from(mesh_triangle(mesh), h), v);
        ck_assert_int_eq(topology->twin[h] == TWIN_NONE, rim[v]);
    }
    free(used);
    free(rim);
    mesh_free(mesh);
}
END_TEST

/* --- an independent judgement by search: triangles are neighbours when they share an edge -------
 */

/* How many triangles hold the edge a b. */
static int edge_users(const struct mesh *mesh, uint32_t a, uint32_t b)
{
    int count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v;
            uint32_t p = v[k], q = v[(k + 1) % 3];
            count += p != q && ((p == a && q == b) || (p == b && q == a));
        }
    return count;
}

/* Whether triangles s and t share an edge; through vertex `at` and of two users only, unless `at`
 * is NO_INDEX. */
static bool share_edge(const struct mesh *mesh, size_t s, size_t t, uint32_t at)
{
    const uint32_t *v = mesh_triangle(mesh)[s].v, *w = mesh_triangle(mesh)[t].v;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            uint32_t a = v[i], b = v[(i + 1) % 3], c = w[j], d = w[(j + 1) % 3];
            if (a == b || !((a == c && b == d) || (a == d && b == c)))
                continue;
            if (at == NO_INDEX || ((a == at || b == at) && edge_users(mesh, a, b) == 2))
                return true;
        }
    return false;
}

/* Sets group[] of the triangles that hold `at` (NO_INDEX: all); returns how many groups. */
static size_t search_groups(const struct mesh *mesh, uint32_t at, uint32_t *group)
{
    size_t n = mesh_triangles(mesh), groups = 0, *queue = malloc((n + 1) * sizeof *queue);
    for (size_t t = 0; t < n; t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        bool in = at == NO_INDEX || v[0] == at || v[1] == at || v[2] == at;
        bool is_point = at != NO_INDEX && v[0] == v[1] && v[1] == v[2];
        group[t] = in && !is_point ? NO_INDEX : NO_INDEX - 1;
    }
    for (size_t seed = 0; seed < n; seed++) {
        if (group[seed] != NO_INDEX)
            continue;
        size_t head = 0, tail = 0;
        queue[tail++] = seed;
        group[seed] = (uint32_t)groups;
        while (head < tail) {
            size_t s = queue[head++];
            for (size_t t = 0; t < n; t++)
                if (group[t] == NO_INDEX && share_edge(mesh, s, t, at)) {
                    group[t] = (uint32_t)groups;
                    queue[tail++] = t;
                }
        }
        groups++;
    }
    free(queue);
    return groups;
}

static bool pinched_by_search(const struct mesh *mesh, uint32_t v)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            uint32_t a = mesh_triangle(mesh)[t].v[k], b = mesh_triangle(mesh)[t].v[(k + 1) % 3];
            if ((a == v || b == v) && a != b && edge_users(mesh, a, b) > 2)
                return true;
        }
    uint32_t *group = malloc((mesh_triangles(mesh) + 1) * sizeof *group);
    size_t groups = search_groups(mesh, v, group);
    free(group);
    return groups > 1;
}

START_TEST(nonmanifold_vertices_by_search)
{
    struct mesh *mesh = wreck_soup((uint64_t)_i, 4 + (size_t)_i % 30, 1 + (size_t)_i % 40);
    uint32_t *list;
    size_t count, i = 0;
    const struct topology *topology = mesh_topology(mesh, NULL);
    ck_assert_int_eq(fans_pinched(mesh, topology, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, topology->nonmanifold_vertices);
    for (uint32_t v = 0; v < mesh_vertices(mesh); v++) {
        bool listed = i < count && list[i] == v;
        ck_assert_int_eq(listed, pinched_by_search(mesh, v));
        i += listed;
    }
    ck_assert_uint_eq(i, count);
    scratch_free(list);
    mesh_free(mesh);
}
END_TEST

START_TEST(components_by_search)
{
    struct mesh *mesh = _i % 2 ? wreck_soup((uint64_t)_i, 10 + (size_t)_i % 50, 1 + (size_t)_i % 40)
                               : wreck_sphere((uint64_t)_i, 0.6, 0.2);
    size_t n = mesh_triangles(mesh);
    uint32_t *group = malloc((n + 1) * sizeof *group);
    const struct components *components = mesh_components(mesh, NULL);
    ck_assert_uint_eq(components->count, search_groups(mesh, NO_INDEX, group));
    double area = 0;
    size_t triangles = 0;
    for (size_t t = 0; t < n; t++)
        ck_assert_uint_eq(components->of[t], group[t]);
    for (size_t i = 0; i < components->count; i++) {
        area += components->area[i];
        triangles += components->triangles[i];
    }
    ck_assert_uint_eq(triangles, n);
    ck_assert_double_eq_tol(area, shape_count(mesh).area, 1e-9 * (1 + area));
    free(group);
    mesh_free(mesh);
}
END_TEST

START_TEST(loops_hold_each_boundary_edge_once)
{
    struct mesh *mesh = wreck(_i);
    const struct topology *topology = mesh_topology(mesh, NULL);
    const struct loops *loops = mesh_loops(mesh, NULL);
    const struct triangle *triangle = mesh_triangle(mesh);
    size_t all = loops->count + loops->chains, halves = 3 * mesh_triangles(mesh);
    bool *seen = calloc(halves + 1, 1);
    uint32_t *visited = calloc(mesh_vertices(mesh) + 1, sizeof *visited);
    ck_assert_uint_eq(loops->start[all], topology->boundary);
    for (size_t i = 0; i < all; i++) {
        uint32_t from = loops->start[i], end = loops->start[i + 1];
        double length = 0;
        ck_assert_uint_lt(from, end);
        for (uint32_t j = from; j < end; j++) {
            uint32_t h = loops->half[j], a = half_from(triangle, h), b = half_to(triangle, h);
            ck_assert_uint_eq(topology->twin[h], TWIN_NONE);
            ck_assert(!seen[h]);
            seen[h] = true;
            ck_assert_uint_ne(visited[a], (uint32_t)i + 1); /* no vertex twice */
            visited[a] = (uint32_t)i + 1;
            if (j + 1 < end)
                ck_assert_uint_eq(b, half_from(triangle, loops->half[j + 1]));
            length +=
                vec_length(vec_sub(point_vec(mesh_point(mesh)[b]), point_vec(mesh_point(mesh)[a])));
        }
        bool closed =
            half_to(triangle, loops->half[end - 1]) == half_from(triangle, loops->half[from]);
        ck_assert_int_eq(closed, i < loops->count);
        ck_assert_double_eq_tol(length, loops->length[i], 1e-9);
    }
    if (topology->misoriented == 0 && topology->nonmanifold == 0)
        ck_assert_uint_eq(loops->chains, 0);
    free(seen);
    free(visited);
    mesh_free(mesh);
}
END_TEST

/* Two holes that touch in a vertex are two loops; two sheets that touch in a vertex keep apart. */
START_TEST(loops_split_where_they_touch)
{
    struct mesh *patch = shape_patch(6, 6, NULL);
    size_t count = 0;
    struct mesh *mesh = mesh_new(mesh_vertices(patch), mesh_triangles(patch));
    memcpy(mesh_point_edit(mesh), mesh_point(patch), array_bytes(patch->point));
    for (size_t t = 0; t < mesh_triangles(patch); t++) {
        struct vec sum = vec(0, 0, 0);
        for (int k = 0; k < 3; k++)
            sum = vec_add(sum, point_vec(mesh_point(patch)[mesh_triangle(patch)[t].v[k]]));
        int x = (int)floor(sum.x / 3), y = (int)floor(sum.y / 3);
        if (!((x == 2 && y == 2) || (x == 3 && y == 3)))
            mesh_triangle_edit(mesh)[count++] = mesh_triangle(patch)[t];
    }
    array_shrink(mesh->triangle, count);
    const struct loops *loops = mesh_loops(mesh, NULL);
    ck_assert_uint_eq(loops->count, 3);
    ck_assert_uint_eq(mesh_topology(mesh, NULL)->nonmanifold_vertices, 1);
    size_t four = 0, rim = 0;
    for (size_t i = 0; i < 3; i++) {
        four += loops->start[i + 1] - loops->start[i] == 4 && fabs(loops->length[i] - 4) < 1e-9;
        rim += loops->start[i + 1] - loops->start[i] == 24 && fabs(loops->length[i] - 24) < 1e-9;
    }
    ck_assert_uint_eq(four, 2);
    ck_assert_uint_eq(rim, 1);
    mesh_free(mesh);
    mesh_free(patch);

    mesh = shape_make((const double[][3]){{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {-1, 0, 0}, {0, -1, 0}},
                      5, (const uint32_t[][3]){{0, 1, 2}, {0, 3, 4}}, 2);
    loops = mesh_loops(mesh, NULL);
    ck_assert_uint_eq(loops->count, 2);
    ck_assert_uint_eq(loops->start[1], 3);
    ck_assert_uint_eq(loops->half[0] / 3, loops->half[2] / 3);
    mesh_free(mesh);
}
END_TEST

/* --- adverse sizes ------------------------------------------------------------------------------
 */

/* A disc of triangles about vertex 0: one bucket holds them all. */
static struct mesh *wheel(uint32_t spokes)
{
    struct mesh *mesh = mesh_new(spokes + 1, spokes);
    mesh_point_edit(mesh)[0] = (struct point){0, 0, 0};
    for (uint32_t i = 0; i < spokes; i++) {
        double a = 6.283185307179586 * i / spokes;
        mesh_point_edit(mesh)[i + 1] = vec_point(vec(cos(a), sin(a), 0));
        mesh_triangle_edit(mesh)[i] = (struct triangle){{0, i + 1, (i + 1) % spokes + 1}};
    }
    return mesh;
}

START_TEST(one_vertex_of_very_many_triangles)
{
    struct mesh *mesh = wheel(400000);
    const struct topology *topology = mesh_topology(mesh, NULL);
    ck_assert_uint_eq(topology->edges, 800000);
    ck_assert_uint_eq(topology->boundary, 400000);
    ck_assert_uint_eq(topology->nonmanifold_vertices, 0);
    ck_assert_uint_eq(mesh_loops(mesh, NULL)->count, 1);
    ck_assert_uint_eq(mesh_components(mesh, NULL)->count, 1);
    mesh_free(mesh);
}
END_TEST

START_TEST(one_triangle_very_many_times)
{
    struct mesh *mesh = mesh_new(3, 400000);
    memset(mesh_point_edit(mesh), 0, array_bytes(mesh->point));
    for (size_t t = 0; t < 400000; t++)
        mesh_triangle_edit(mesh)[t] = (struct triangle){{0, 1, 2}};
    const struct topology *topology = mesh_topology(mesh, NULL);
    ck_assert_uint_eq(topology->edges, 3);
    ck_assert_uint_eq(topology->nonmanifold, 3);
    ck_assert_uint_eq(topology->nonmanifold_vertices, 3);
    ck_assert_uint_eq(mesh_components(mesh, NULL)->count, 1);
    mesh_free(mesh);
}
END_TEST

/* --- the same bytes whatever the number of threads ----------------------------------------------
 */

static void with_threads(const struct mesh *mesh, int threads, struct mesh **like)
{
    struct job job;
    job_init(&job);
    job.threads = threads;
    *like = mesh_new_like(mesh);
    ck_assert_ptr_nonnull(mesh_loops(*like, &job));
    ck_assert_ptr_nonnull(mesh_components(*like, &job));
    ck_assert_ptr_nonnull(mesh_normals(*like, &job));
}

START_TEST(threads_do_not_matter)
{
    struct mesh *mesh = _i ? wreck(_i) : shape_torus(40, 10, 300, 150), *one, *many;
    size_t n = mesh_triangles(mesh), vertices = mesh_vertices(mesh);
    with_threads(mesh, 1, &one);
    with_threads(mesh, 2 + _i % 6, &many);
    const struct topology *a = mesh_topology(one, NULL), *b = mesh_topology(many, NULL);
    ck_assert_mem_eq(a->twin, b->twin, 3 * n * sizeof *a->twin);
    ck_assert_mem_eq(a->fan, b->fan, vertices * sizeof *a->fan);
    ck_assert_uint_eq(a->nonmanifold_vertices, b->nonmanifold_vertices);
    const struct components *c = mesh_components(one, NULL), *d = mesh_components(many, NULL);
    ck_assert_mem_eq(c->of, d->of, n * sizeof *c->of);
    ck_assert_mem_eq(c->area, d->area, c->count * sizeof *c->area);
    if (a->boundary)
        ck_assert_mem_eq(mesh_loops(one, NULL)->half, mesh_loops(many, NULL)->half,
                         a->boundary * sizeof(uint32_t));
    ck_assert_mem_eq(mesh_normals(one, NULL)->vertex, mesh_normals(many, NULL)->vertex,
                     vertices * sizeof(struct point));
    mesh_free(one);
    mesh_free(many);
    mesh_free(mesh);
}
END_TEST

START_TEST(cancel_is_answered)
{
    static const enum derived all[] = {DERIVED_topology, DERIVED_loops, DERIVED_components,
                                       DERIVED_normals};
    struct mesh *mesh = shape_torus(40, 10, 300, 150);
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    ck_assert_ptr_null(mesh_derive(mesh, all[_i], &job));
    ck_assert_int_eq(job.status, STATUS_CANCELLED);
    ck_assert_ptr_nonnull(mesh_derive(mesh, all[_i], NULL));
    mesh_free(mesh);
}
END_TEST

/* --- bounds and normals --------------------------------------------------------------------------
 */

START_TEST(bounds_in_the_world)
{
    struct mesh *mesh = shape_box(10, 20, 30, 2);
    mesh->origin[0] = 4e9; /* beyond what a float could tell apart */
    mesh->origin[2] = -5;
    const struct bounds *bounds = mesh_bounds(mesh, NULL);
    ck_assert_double_eq(bounds->min.x, 4e9);
    ck_assert_double_eq(bounds->max.x, 4e9 + 10);
    ck_assert_double_eq(bounds->size.y, 20);
    ck_assert_double_eq(bounds->min.z, -5);
    ck_assert_double_eq(bounds->centre.z, 10);
    mesh_free(mesh);
    mesh = mesh_new(0, 0);
    mesh->origin[0] = 7;
    ck_assert_double_eq(mesh_bounds(mesh, NULL)->max.x, 0);
    mesh_free(mesh);
}
END_TEST

START_TEST(normals_of_sphere)
{
    struct mesh *mesh = shape_sphere(50, 4);
    const struct point *normal = mesh_normals(mesh, NULL)->vertex;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec n = point_vec(normal[v]), r = vec_unit(point_vec(mesh_point(mesh)[v]));
        ck_assert_double_eq_tol(vec_length(n), 1, 1e-6);
        ck_assert_double_gt(vec_dot(n, r), 0.9998); /* one degree */
    }
    mesh_free(mesh);
}
END_TEST

/* A corner of a box has one or two triangles on a side; weighted by angle all sides count alike. */
START_TEST(normals_do_not_see_the_triangulation)
{
    struct mesh *mesh = shape_box(10, 20, 30, 1);
    const struct point *normal = mesh_normals(mesh, NULL)->vertex;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        ck_assert_double_eq_tol(fabs((double)normal[v].x), 1 / sqrt(3), 1e-6);
        ck_assert_double_eq_tol(fabs((double)normal[v].y), 1 / sqrt(3), 1e-6);
        ck_assert_int_eq(normal[v].x > 0, mesh_point(mesh)[v].x > 0);
    }
    mesh_free(mesh);
}
END_TEST

Suite *suite_topology(void);

Suite *suite_topology(void)
{
    Suite *suite = suite_create("topology");
    TCase *counts = tcase_create("counts"), *search = tcase_create("search");
    TCase *loops = tcase_create("loops"), *rest = tcase_create("rest");
    tcase_add_loop_test(counts, counts_of_solids, 0, SOLIDS);
    tcase_add_loop_test(counts, counts_of_broken, 0, BROKEN);
    tcase_add_loop_test(counts, twins_pair, 0, BROKEN);
    tcase_add_loop_test(counts, fans_start_well, 0, BROKEN);
    tcase_add_loop_test(search, nonmanifold_vertices_by_search, 0, 200);
    tcase_add_loop_test(search, components_by_search, 0, 40);
    tcase_add_loop_test(loops, loops_hold_each_boundary_edge_once, 0, BROKEN);
    tcase_add_test(loops, loops_split_where_they_touch);
    tcase_set_timeout(search, 60);
    tcase_set_timeout(rest, 60);
    tcase_add_test(rest, one_vertex_of_very_many_triangles);
    tcase_add_test(rest, one_triangle_very_many_times);
    tcase_add_loop_test(rest, threads_do_not_matter, 0, 30);
    tcase_add_loop_test(rest, cancel_is_answered, 0, 4);
    tcase_add_test(rest, bounds_in_the_world);
    tcase_add_test(rest, normals_of_sphere);
    tcase_add_test(rest, normals_do_not_see_the_triangulation);
    suite_add_tcase(suite, counts);
    suite_add_tcase(suite, search);
    suite_add_tcase(suite, loops);
    suite_add_tcase(suite, rest);
    return suite;
}
