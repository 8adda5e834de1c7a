/* Crossings against clipping one triangle by the other in whole numbers. */
#include <check.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/job.h"
#include "core/meet.h"
#include "core/tree.h"
#include "tests/support/shapes.h"

Suite *suite_crossings(void);

/* --- the reference: homogeneous whole numbers, kept small by their common divisor --- */

__extension__ typedef __int128 wide;

struct whole { /* x / w, y / w, z / w; w > 0. A plane: x X + y Y + z Z + w >= 0 */
    int64_t x, y, z, w;
};

static struct whole reduced(wide x, wide y, wide z, wide w)
{
    const wide all[4] = {x, y, z, w};
    wide divisor = 0;
    for (int k = 0; k < 4; k++)
        for (wide a = all[k] < 0 ? -all[k] : all[k]; a;) {
            wide rest = divisor % a;
            divisor = a;
            a = rest;
        }
    if (divisor == 0)
        divisor = 1;
    return (struct whole){(int64_t)(x / divisor), (int64_t)(y / divisor), (int64_t)(z / divisor),
                          (int64_t)(w / divisor)};
}

static struct whole less(struct whole a, struct whole b)
{
    return (struct whole){a.x - b.x, a.y - b.y, a.z - b.z, 0};
}

static struct whole cross(struct whole a, struct whole b)
{
    return (struct whole){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x, 0};
}

/* The half-space that the normal points into, from a point of its border (w = 1). */
static struct whole half_space(struct whole normal, struct whole at)
{
    normal.w = -(normal.x * at.x + normal.y * at.y + normal.z * at.z);
    return normal;
}

static wide height(struct whole plane, struct whole p)
{
    return (wide)plane.x * p.x + (wide)plane.y * p.y + (wide)plane.z * p.z + (wide)plane.w * p.w;
}

static size_t clip(const struct whole *in, size_t count, struct whole plane, struct whole *out)
{
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        struct whole p = in[i], q = in[(i + 1) % count];
        wide hp = height(plane, p), hq = height(plane, q);
        if (hp >= 0)
            out[n++] = p;
        if ((hp > 0 && hq < 0) || (hp < 0 && hq > 0)) {
            wide s = hp > 0 ? hp : -hp, t = hq > 0 ? hq : -hq;
            out[n++] =
                reduced(s * q.x + t * p.x, s * q.y + t * p.y, s * q.z + t * p.z, s * q.w + t * p.w);
        }
    }
    return n;
}

static bool no_area(const struct whole t[3])
{
    struct whole n = cross(less(t[1], t[0]), less(t[2], t[0]));
    return !n.x && !n.y && !n.z;
}

/* The corners of what a and b have in common. */
static size_t common_part(const struct whole a[3], const struct whole b[3], struct whole out[16])
{
    struct whole polygon[2][16] = {{b[0], b[1], b[2]}}, plane[5];
    struct whole n = cross(less(a[1], a[0]), less(a[2], a[0]));
    plane[0] = half_space(n, a[0]);
    plane[1] = half_space((struct whole){-n.x, -n.y, -n.z, 0}, a[0]);
    for (int k = 0; k < 3; k++)
        plane[2 + k] = half_space(cross(n, less(a[(k + 1) % 3], a[k])), a[k]);
    size_t count = 3;
    for (int k = 0; k < 5; k++)
        count = clip(polygon[k % 2], count, plane[k], polygon[(k + 1) % 2]);
    memcpy(out, polygon[1], count * sizeof *out);
    return count;
}

static bool same(struct whole a, struct whole b)
{
    return a.x * b.w == b.x * a.w && a.y * b.w == b.y * a.w && a.z * b.w == b.z * a.w;
}

/* p, on the edge from u to v (w = 1)? */
static bool on_edge(struct whole p, struct whole u, struct whole v)
{
    struct whole up = {p.x - u.x * p.w, p.y - u.y * p.w, p.z - u.z * p.w, 0}, uv = less(v, u);
    struct whole n = cross(up, uv);
    wide along = (wide)up.x * uv.x + (wide)up.y * uv.y + (wide)up.z * uv.z;
    wide length2 = (wide)uv.x * uv.x + (wide)uv.y * uv.y + (wide)uv.z * uv.z;
    return !n.x && !n.y && !n.z && along >= 0 && along <= length2 * p.w;
}

/* By position: on a grid the same position is the same vertex. */
static bool reference(const struct whole a[3], const struct whole b[3])
{
    if (no_area(a) || no_area(b))
        return false;
    struct whole common[3], part[16];
    size_t corners = 0, count = common_part(a, b, part);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            if (same(a[i], b[j]))
                common[corners++] = a[i];
    bool beyond = false;
    for (size_t i = 0; i < count; i++)
        beyond = beyond || corners == 0 || corners == 3 ||
                 (corners == 1 && !same(part[i], common[0])) ||
                 (corners == 2 && !on_edge(part[i], common[0], common[1]));
    return beyond;
}

/* --- pairs --- */

static struct vec as_vec(struct whole p)
{
    return vec((double)p.x, (double)p.y, (double)p.z);
}

static shared_corners shared_of(const struct whole a[3], const struct whole b[3])
{
    shared_corners shared = 0;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            shared |= (shared_corners)same(a[i], b[j]) << (3 * i + j);
    return shared;
}

static struct whole random_whole(uint64_t *state, int size)
{
    int64_t x = (int64_t)(shape_random(state) * size), y = (int64_t)(shape_random(state) * size);
    return (struct whole){x, y, (int64_t)(shape_random(state) * size), 1};
}

/* Triangles with _i % 4 common corners on grids of 3, 4 and 9 to a side; also all in one plane. */
START_TEST(pairs_on_a_grid)
{
    static const int sizes[] = {3, 4, 9};
    int corners = _i % 4, size = sizes[_i / 4 % 3], wrong = 0, yes = 0, no = 0;
    bool flat = _i >= 12;
    uint64_t state = (uint64_t)_i;
    for (int n = 0; n < 100000; n++) {
        struct whole a[3], b[3];
        int turn_a = n % 3, turn_b = n / 3 % 3;
        for (int k = 0; k < 3; k++) {
            a[(k + turn_a) % 3] = random_whole(&state, size);
            b[(k + turn_b) % 3] = random_whole(&state, size);
        }
        for (int k = 0; k < 3 && flat; k++) {
            a[k].z = a[k].x + 2 * a[k].y;
            b[k].z = b[k].x + 2 * b[k].y;
        }
        for (int k = 0; k < corners; k++)
            b[n / 9 % 2 ? k : 2 - k] = a[(k + turn_a) % 3];
        struct vec p[3] = {as_vec(a[0]), as_vec(a[1]), as_vec(a[2])};
        struct vec q[3] = {as_vec(b[0]), as_vec(b[1]), as_vec(b[2])};
        bool should = reference(a, b);
        wrong += triangles_meet(p, q, shared_of(a, b)) != should;
        wrong += triangles_meet(q, p, shared_of(b, a)) != should;
        yes += should;
        no += !should;
    }
    ck_assert_int_eq(wrong, 0);
    ck_assert_int_gt(yes, corners == 2 && !flat ? 10 : 100);
    ck_assert_int_gt(no, 100);
}
END_TEST

/* --- meshes --- */

static uint64_t count_of(const struct mesh *mesh)
{
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    ck_assert_int_eq(crossings_find(mesh, 0, &pair, &kept, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(kept, 0);
    ck_assert_ptr_null(pair);
    return count;
}

static uint64_t count_two(const double (*point)[3], size_t points, const uint32_t (*two)[3])
{
    struct mesh *mesh = shape_make(point, points, two, 2);
    uint64_t count = count_of(mesh);
    mesh_free(mesh);
    return count;
}

static const struct {
    const char *what;
    double point[6][3];
    uint32_t triangle[2][3];
    uint64_t count;
} pairs_by_hand[] = {
    {"a flat pair", {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {1, 1, 0}}, {{0, 1, 2}, {2, 1, 3}}, 0},
    {"folded flat over", {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {.2, .2, 0}}, {{0, 1, 2}, {2, 1, 3}}, 1},
    {"folded nearly flat",
     {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {.2, .2, 1e-9}},
     {{0, 1, 2}, {2, 1, 3}},
     0},
    {"a bow tie",
     {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {-1, 0, 0}, {0, -1, 0}},
     {{0, 1, 2}, {0, 3, 4}},
     0},
    {"a corner in common, overlapping flat",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, .1, 0}, {.1, 1, 0}},
     {{0, 1, 2}, {0, 3, 4}},
     1},
    {"a corner in common, sides on one line",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, 0, 0}, {0, -1, 0}},
     {{0, 1, 2}, {0, 3, 4}},
     1},
    {"a corner in common, through the face",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 1}, {1, 1, -1}},
     {{0, 1, 2}, {0, 3, 4}},
     1},
    {"a corner in common, beside the face",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {-1, 1, 1}, {-1, 1, -1}},
     {{0, 1, 2}, {0, 3, 4}},
     0},
    {"a corner that touches a face",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 0}, {1, 1, 1}, {2, 1, 1}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"a corner just above",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 1e-30}, {1, 1, 1}, {2, 1, 1}},
     {{0, 1, 2}, {3, 4, 5}},
     0},
    {"a corner that touches an edge",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, 0, 0}, {1, -1, 1}, {2, -1, 1}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"edge through edge",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, 0, 1}, {1, 0, -1}, {1, -2, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"edge through face",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 1}, {1, 1, -1}, {5, 5, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"a T: half an edge in common",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, 0, 0}, {1, -1, 0}},
     {{0, 1, 2}, {0, 4, 3}},
     1},
    {"overlapping in a plane",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {1, 1, 0}, {-1, 1, 0}, {1, -1, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"one inside the other",
     {{0, 0, 0}, {9, 0, 0}, {0, 9, 0}, {1, 1, 0}, {2, 1, 0}, {1, 2, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     1},
    {"side by side in a plane",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {2, 2, 0}, {2.5, 0, 0}, {3, 2, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     0},
    {"one above the other",
     {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}, {0, 0, 1}, {2, 0, 1}, {0, 2, 1}},
     {{0, 1, 2}, {3, 4, 5}},
     0},
    {"the same twice", {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}}, {{0, 1, 2}, {1, 2, 0}}, 1},
    {"the same, turned over", {{0, 0, 0}, {2, 0, 0}, {0, 2, 0}}, {{0, 1, 2}, {0, 2, 1}}, 1},
    {"without area, through a face",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 1}, {1, 1, -1}, {1, 1, 0}},
     {{0, 1, 2}, {3, 4, 5}},
     0},
    {"a corner named twice",
     {{0, 0, 0}, {3, 0, 0}, {0, 3, 0}, {1, 1, 1}},
     {{0, 1, 2}, {0, 3, 3}},
     0},
};

START_TEST(by_hand)
{
    for (size_t i = 0; i < sizeof pairs_by_hand / sizeof *pairs_by_hand; i++) {
        uint64_t count = count_two(pairs_by_hand[i].point, 6, pairs_by_hand[i].triangle);
        ck_assert_msg(count == pairs_by_hand[i].count, "%s: %d", pairs_by_hand[i].what, (int)count);
    }
}
END_TEST

START_TEST(sound_shapes_have_none)
{
    struct mesh *mesh[] = {shape_sphere(50, 5), shape_box(3, 2, 1, 12), shape_torus(40, 10, 90, 30),
                           shape_patch(10, 30, NULL), shape_make(NULL, 0, NULL, 0)};
    for (size_t i = 0; i < sizeof mesh / sizeof *mesh; i++) {
        ck_assert_uint_eq(count_of(mesh[i]), 0);
        mesh_free(mesh[i]);
    }
}
END_TEST

/* Not joined, every neighbour touches. */
START_TEST(joining_matters)
{
    struct mesh *box = shape_box(1, 1, 1, 1), *soup = mesh_new(36, 12);
    for (uint32_t t = 0; t < 12; t++)
        for (uint32_t k = 0; k < 3; k++) {
            mesh_point_edit(soup)[3 * t + k] = mesh_point(box)[mesh_triangle(box)[t].v[k]];
            mesh_triangle_edit(soup)[t].v[k] = 3 * t + k;
        }
    ck_assert_uint_eq(count_of(box), 0);
    ck_assert_uint_gt(count_of(soup), 17);
    mesh_free(box);
    mesh_free(soup);
}
END_TEST

/* Triangles between the points of a grid: everything happens there. */
static struct mesh *make_grid_soup(int size, int triangles, uint64_t state)
{
    struct mesh *mesh = mesh_new((size_t)(size * size * size), (size_t)triangles);
    for (int v = 0; v < size * size * size; v++)
        mesh_point_edit(mesh)[v] =
            (struct point){(float)(v % size), (float)(v / size % size), (float)(v / size / size)};
    for (int t = 0; t < triangles; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[t].v[k] =
                (uint32_t)(shape_random(&state) * size * size * size);
    return mesh;
}

static struct whole grid_point(const struct mesh *mesh, uint32_t t, int k)
{
    struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]];
    return (struct whole){(int64_t)p.x, (int64_t)p.y, (int64_t)p.z, 1};
}

START_TEST(every_pair_of_a_soup)
{
    static const int size[] = {3, 5, 12, 40}, triangles[] = {60, 300, 500, 700};
    struct mesh *mesh = make_grid_soup(size[_i], triangles[_i], (uint64_t)_i);
    uint32_t n = (uint32_t)mesh_triangles(mesh);
    struct crossing *pair;
    size_t kept, at = 0;
    uint64_t count;
    ck_assert_int_eq(crossings_find(mesh, SIZE_MAX, &pair, &kept, &count, NULL), STATUS_OK);
    for (uint32_t s = 0; s < n; s++)
        for (uint32_t t = s + 1; t < n; t++) {
            struct whole a[3], b[3];
            for (int k = 0; k < 3; k++) {
                a[k] = grid_point(mesh, s, k);
                b[k] = grid_point(mesh, t, k);
            }
            if (!reference(a, b))
                continue;
            if (at >= kept || pair[at].a != s || pair[at].b != t)
                ck_abort_msg("pair %u %u", s, t);
            at++;
        }
    ck_assert_uint_eq(at, kept);
    ck_assert_uint_eq(count, kept);
    ck_assert_uint_gt(count, 100);
    free(pair);
    mesh_free(mesh);
}
END_TEST

START_TEST(the_first_are_kept_whatever_the_threads)
{
    struct mesh *mesh = make_grid_soup(9, 4000, 3);
    struct crossing *all, *some;
    size_t every, kept;
    uint64_t count, again;
    struct job job;
    job_init(&job);
    job.threads = 1;
    ck_assert_int_eq(crossings_find(mesh, SIZE_MAX, &all, &every, &count, &job), STATUS_OK);
    ck_assert_uint_eq(count, every);
    for (int threads = 1; threads <= 4; threads++) {
        job.threads = threads;
        ck_assert_int_eq(crossings_find(mesh, 1000, &some, &kept, &again, &job), STATUS_OK);
        ck_assert_uint_eq(again, count);
        ck_assert_uint_eq(kept, 1000);
        ck_assert_mem_eq(some, all, kept * sizeof *some);
        free(some);
    }
    free(all);
    job_release(&job);
    mesh_free(mesh);
}
END_TEST

/* Two spheres through each other, tiny, huge and far from the origin: an answer that depended on
 * the scale would not be exact. Steps of powers of two change no bit. */
START_TEST(scale_changes_nothing)
{
    struct mesh *sphere = shape_sphere(1, 4);
    const struct mesh *two[2] = {sphere, sphere};
    const double move[2][3] = {{0, 0, 0}, {0.75, 0.25, 0.125}};
    struct mesh *both = shape_join(two, move, 2);
    uint64_t count = count_of(both);
    ck_assert_uint_gt(count, 200);
    for (int e = -90; e <= 90; e += 30) {
        struct mesh *scaled = mesh_new(mesh_vertices(both), mesh_triangles(both));
        memcpy(mesh_triangle_edit(scaled), mesh_triangle(both), array_bytes(both->triangle));
        for (size_t v = 0; v < mesh_vertices(both); v++) {
            struct point p = mesh_point(both)[v];
            mesh_point_edit(scaled)[v] = vec_point(vec_scale(point_vec(p), ldexp(1, e)));
        }
        ck_assert_uint_eq(count_of(scaled), count);
        mesh_free(scaled);
    }
    mesh_free(sphere);
    mesh_free(both);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *mesh = shape_sphere(1, 5);
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    struct job job;
    job_init(&job);
    ck_assert_ptr_nonnull(mesh_tree(mesh, NULL));
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(crossings_find(mesh, 10, &pair, &kept, &count, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(pair);
    job_release(&job);
    mesh_free(mesh);
}
END_TEST

Suite *suite_crossings(void)
{
    Suite *suite = suite_create("crossings");
    TCase *tests = tcase_create("crossings");
    tcase_set_timeout(tests, 120);
    tcase_add_loop_test(tests, pairs_on_a_grid, 0, 24);
    tcase_add_test(tests, by_hand);
    tcase_add_test(tests, sound_shapes_have_none);
    tcase_add_test(tests, joining_matters);
    tcase_add_loop_test(tests, every_pair_of_a_soup, 0, 4);
    tcase_add_test(tests, the_first_are_kept_whatever_the_threads);
    tcase_add_test(tests, scale_changes_nothing);
    tcase_add_test(tests, cancelled);
    suite_add_tcase(suite, tests);
    return suite;
}
