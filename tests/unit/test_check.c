/* Inspection: figures of known solids, of shapes counted in another way, and of made-up wrecks. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "check/report.h"
#include "core/job.h"
#include "core/topology.h"
#include "tests/support/shapes.h"
#include "tests/support/wrecks.h"

static struct inspection inspected(const struct mesh *mesh)
{
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, NULL, &inspection, NULL), STATUS_OK);
    return inspection;
}

static int64_t count_of(const struct inspection *inspection, enum figure figure)
{
    ck_assert_msg(inspection->figure[figure].known, "%s is not known", figure_row(figure)->name);
    return inspection->figure[figure].count;
}

static double real_of(const struct inspection *inspection, enum figure figure)
{
    ck_assert_msg(inspection->figure[figure].known, "%s is not known", figure_row(figure)->name);
    return inspection->figure[figure].real;
}

static const struct finding *found(const struct inspection *inspection, const char *check)
{
    for (size_t i = 0; i < inspection->finding_count; i++)
        if (strcmp(inspection->finding[i].check->name, check) == 0)
            return &inspection->finding[i];
    return NULL;
}

static void is_sound(const struct inspection *inspection)
{
    for (size_t i = 0; i < inspection->finding_count; i++)
        ck_assert_msg(inspection->finding[i].severity != SEVERITY_ERROR, "%s: %s",
                      inspection->finding[i].check->name, inspection->finding[i].text);
    ck_assert_str_eq(inspection_verdict(inspection), "sound");
    ck_assert_str_eq(inspection->figure[FIGURE_verdict].text, "sound");
}

/* --- solids -------------------------------------------------------------------------------------
 */

/* Relative deficit of volume and area of the sphere's inscribed geodesic polyhedra, percent:
 * computed from the construction by a separate program (NumPy), which shares nothing with this one.
 */
static const struct {
    int level;
    double triangles, volume, area;
} deficits[] = {{3, 1280, 0.8606, 0.4765},
                {4, 5120, 0.2161, 0.1195},
                {5, 20480, 0.0541, 0.0299},
                {6, 81920, 0.0135, 0.0075}};

START_TEST(spheres_have_the_known_deficit)
{
    struct mesh *mesh = shape_sphere(50, deficits[_i].level);
    struct inspection inspection = inspected(mesh);
    /* 4/3 pi R^3 and 4 pi R^2, R = 50 */
    ck_assert_int_eq(count_of(&inspection, FIGURE_triangles), (int64_t)deficits[_i].triangles);
    ck_assert_double_eq_tol(100 * (1 - real_of(&inspection, FIGURE_volume) / 523598.776),
                            deficits[_i].volume, 6e-5);
    ck_assert_double_eq_tol(100 * (1 - real_of(&inspection, FIGURE_area) / 31415.927),
                            deficits[_i].area, 6e-5);
    ck_assert_int_eq(count_of(&inspection, FIGURE_euler_characteristic), 2);
    ck_assert_int_eq(count_of(&inspection, FIGURE_genus), 0);
    ck_assert_int_eq(count_of(&inspection, FIGURE_components), 1);
    ck_assert_int_eq(count_of(&inspection, FIGURE_self_intersections), 0);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* 2 pi^2 R r^2 = 78 956.835 and 4 pi^2 R r = 15 791.367 (Pappus).
 * Inscribed polygons of 600 and 300 sides lack about (2 pi / n)^2 / 6 of their circles' area each.
 */
START_TEST(torus_has_one_handle)
{
    struct mesh *mesh = shape_torus(40, 10, 600, 300);
    struct inspection inspection = inspected(mesh);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume) / 78956.835, 1, 1.2e-4);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_area) / 15791.367, 1, 1e-4);
    ck_assert_double_lt(real_of(&inspection, FIGURE_volume), 78956.835);
    ck_assert_int_eq(count_of(&inspection, FIGURE_euler_characteristic), 0);
    ck_assert_int_eq(count_of(&inspection, FIGURE_genus), 1);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(frustum_by_the_handbook)
{
    struct mesh *mesh = shape_frustum(30, 20, 40, 3600);
    struct inspection inspection = inspected(mesh);
    /* pi h/3 (R^2 + R r + r^2) and pi (R^2 + r^2 + (R + r) s), s the slant height */
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume) / 79587.014, 1, 1e-6);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_area) / 10560.630, 1, 1e-6);
    ck_assert_double_eq_tol(inspection.figure[FIGURE_size].vec[2], 40, 1e-12);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(ellipsoid_by_the_handbook)
{
    struct mesh *mesh = shape_sphere(1, 7);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = mesh_point_edit(mesh) + v;
        *p = (struct point){50 * p->x, 40 * p->y, 30 * p->z};
    }
    struct inspection inspection = inspected(mesh);
    /* 4/3 pi a b c; the area by numerical integration over the parameters (NumPy, separately) */
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume) / 251327.412, 1, 4e-5);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_area) / 19945.51, 1, 3e-5);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* A part far from the origin loses no digits to it, neither by the mesh's own origin nor by its
 * floats (here 1e6 mm off, where floats step by 1/16 mm; the box's corners are exact). */
START_TEST(far_parts_measure_the_same)
{
    struct mesh *mesh = shape_box(10, 20, 30, 1);
    for (int k = 0; k < 3; k++)
        mesh->origin[k] = _i ? -4.5e9 : 0;
    for (size_t v = 0; v < mesh_vertices(mesh) && !_i; v++)
        mesh_point_edit(mesh)[v].x += 1e6f;
    struct inspection inspection = inspected(mesh);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume), 6000, 1e-6);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_area), 2200, 1e-6);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* --- faults -------------------------------------------------------------------------------------
 */

static void turn_over(struct mesh *mesh)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        uint32_t *v = mesh_triangle_edit(mesh)[t].v, swap = v[1];
        v[1] = v[2];
        v[2] = swap;
    }
}

START_TEST(inside_out_is_an_error_but_a_cavity_is_not)
{
    struct mesh *outer = shape_box(30, 30, 30, 2), *inner = shape_box(10, 10, 10, 2);
    turn_over(inner);
    struct inspection inspection = inspected(inner);
    ck_assert_ptr_nonnull(found(&inspection, "inside-out"));
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume), -1000, 1e-9);
    ck_assert_str_eq(inspection_verdict(&inspection), "faulty");
    inspection_release(&inspection);
    struct mesh *both = shape_join((const struct mesh *const[]){outer, inner},
                                   (const double[][3]){{0, 0, 0}, {10, 10, 10}}, 2);
    inspection = inspected(both);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume), 26000, 1e-9);
    ck_assert_int_eq(count_of(&inspection, FIGURE_components), 2);
    ck_assert_int_eq(count_of(&inspection, FIGURE_genus), 0);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(outer);
    mesh_free(inner);
    mesh_free(both);
}
END_TEST

START_TEST(wrecks_agree_with_another_count)
{
    struct mesh *mesh = wreck(_i);
    struct shape_count count = shape_count(mesh);
    struct inspection inspection = inspected(mesh);
    ck_assert_int_eq(count_of(&inspection, FIGURE_boundary_edges), (int64_t)count.boundary);
    ck_assert_int_eq(count_of(&inspection, FIGURE_nonmanifold_edges), (int64_t)count.nonmanifold);
    ck_assert_int_eq(count_of(&inspection, FIGURE_misoriented_edges), (int64_t)count.misoriented);
    ck_assert_int_eq(count_of(&inspection, FIGURE_euler_characteristic), count.euler);
    ck_assert_int_eq(count_of(&inspection, FIGURE_degenerate_triangles), (int64_t)count.degenerate);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_area), count.area, 1e-9 * count.area);
    ck_assert(!inspection.figure[FIGURE_closed].flag);
    ck_assert(!inspection.figure[FIGURE_volume].known && !inspection.figure[FIGURE_genus].known);
    ck_assert_str_eq(inspection_verdict(&inspection), "faulty");
    int64_t twice = 0; /* by trying all pairs */
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (size_t s = 0; s < t; s++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v, *w = mesh_triangle(mesh)[s].v;
            static const int order[6][3] = {{0, 1, 2}, {0, 2, 1}, {1, 0, 2},
                                            {1, 2, 0}, {2, 0, 1}, {2, 1, 0}};
            bool same = false;
            for (int o = 0; o < 6; o++)
                same |= v[0] == w[order[o][0]] && v[1] == w[order[o][1]] && v[2] == w[order[o][2]];
            if (same) {
                twice++;
                break;
            }
        }
    ck_assert_int_eq(count_of(&inspection, FIGURE_duplicate_triangles), twice);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* A sphere to which is added: doubles, fins, needles without area, floating bits; some faces
 * turned. */
enum { DOUBLES = 40, FINS = 30, LINES = 20, TURNED = 50, BITS = 7 };

/* The next triangle none of whose corners is marked; marks them, so that no two faults meet. */
static size_t untouched(const struct triangle *t, bool *marked, size_t at)
{
    while (marked[t[at].v[0]] || marked[t[at].v[1]] || marked[t[at].v[2]])
        at++;
    for (int k = 0; k < 3; k++)
        marked[t[at].v[k]] = true;
    return at;
}

static struct mesh *damaged(void)
{
    struct mesh *sphere = shape_sphere(50, 5), *bit = shape_sphere(1, 1);
    size_t n = mesh_triangles(sphere), nb = mesh_triangles(bit), vb = mesh_vertices(bit);
    size_t base = mesh_vertices(sphere), at = 0;
    bool *marked = calloc(base, 1);
    struct mesh *mesh = mesh_new(base + FINS + BITS * vb, n + DOUBLES + FINS + LINES + BITS * nb);
    struct point *p = mesh_point_edit(mesh);
    struct triangle *t = mesh_triangle_edit(mesh), *more = t + n;
    memcpy(p, mesh_point(sphere), array_bytes(sphere->point));
    memcpy(t, mesh_triangle(sphere), array_bytes(sphere->triangle));
    for (int i = 0; i < DOUBLES; i++) {
        at = untouched(t, marked, at);
        *more++ = t[at];
    }
    for (uint32_t i = 0; i < FINS; i++) {
        at = untouched(t, marked, at);
        p[base + i] = vec_point(vec_scale(point_vec(p[t[at].v[0]]), 1.1));
        *more++ = (struct triangle){{t[at].v[0], t[at].v[1], (uint32_t)base + i}};
    }
    for (int i = 0; i < LINES; i++) {
        at = untouched(t, marked, at);
        *more++ = (struct triangle){{t[at].v[0], t[at].v[1], t[at].v[1]}};
    }
    for (int i = 0; i < TURNED; i++) {
        at = untouched(t, marked, at);
        t[at] = (struct triangle){{t[at].v[0], t[at].v[2], t[at].v[1]}};
    }
    free(marked);
    for (uint32_t i = 0; i < BITS; i++)
        for (uint32_t j = 0; j < nb || j < vb; j++) {
            uint32_t first = (uint32_t)(base + FINS + i * vb);
            if (j < vb)
                p[first + j] =
                    vec_point(vec_add(point_vec(mesh_point(bit)[j]), vec(60 + 5 * i, 0, 0)));
            for (int k = 0; k < 3 && j < nb; k++)
                more[j + i * nb].v[k] = first + mesh_triangle(bit)[j].v[k];
        }
    mesh_free(sphere);
    mesh_free(bit);
    return mesh;
}

START_TEST(damage_is_found_where_it_is)
{
    struct mesh *mesh = damaged();
    struct inspection inspection = inspected(mesh);
    static const struct {
        enum figure figure;
        int64_t want;
    } wanted[] = {{FIGURE_duplicate_triangles, DOUBLES},
                  {FIGURE_degenerate_triangles, LINES},
                  {FIGURE_boundary_edges, 2 * FINS},
                  {FIGURE_boundary_loops, FINS},
                  {FIGURE_nonmanifold_edges, 3 * DOUBLES + FINS + LINES},
                  {FIGURE_nonmanifold_vertices, 3 * DOUBLES + 2 * FINS + 2 * LINES},
                  {FIGURE_misoriented_edges, 3 * TURNED},
                  {FIGURE_components, 1 + BITS}};
    for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++)
        ck_assert_msg(count_of(&inspection, wanted[i].figure) == wanted[i].want, "%s: %ld, not %ld",
                      figure_row(wanted[i].figure)->name,
                      (long)count_of(&inspection, wanted[i].figure), (long)wanted[i].want);
    const struct finding *bits = found(&inspection, "bits");
    ck_assert_uint_eq(bits->count, BITS);
    ck_assert_uint_eq(bits->place_count, BITS);
    for (size_t i = 0; i < BITS; i++) {
        ck_assert_float_ge(bits->places[i].at.x, 58); /* out there, of that size */
        ck_assert_double_eq_tol((double)bits->places[i].reach, 1.6, 0.2);
    }
    ck_assert_uint_eq(found(&inspection, "duplicate-triangles")->places[3].triangle, 20480 + 3);
    ck_assert_uint_eq(found(&inspection, "nonmanifold-edges")->place_count,
                      3 * DOUBLES + FINS + LINES);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(places_lie_on_the_mesh)
{
    struct mesh *mesh = _i ? wreck(_i) : damaged();
    struct inspection inspection = inspected(mesh);
    for (size_t i = 0; i < inspection.finding_count; i++) {
        const struct finding *finding = &inspection.finding[i];
        ck_assert_uint_le(finding->place_count, PLACES_MOST);
        ck_assert(i == 0 || inspection.finding[i - 1].severity <= finding->severity);
        for (size_t j = 0; j < finding->place_count; j++) {
            const struct place *place = &finding->places[j];
            ck_assert(place->triangle < mesh_triangles(mesh) || place->triangle == NO_INDEX);
            ck_assert(isfinite(place->at.x) && isfinite(place->at.y) && isfinite(place->at.z));
            ck_assert(place->reach >= 0 && isfinite(place->reach));
            if (place->triangle == NO_INDEX)
                continue;
            double nearest =
                INFINITY; /* some corner of it is within reach, or it is large itself */
            struct vec a = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[place->triangle].v[0]]);
            double size = 0;
            for (int k = 0; k < 3; k++) {
                struct vec c =
                    point_vec(mesh_point(mesh)[mesh_triangle(mesh)[place->triangle].v[k]]);
                nearest = fmin(nearest, vec_length(vec_sub(c, point_vec(place->at))));
                size = fmax(size, vec_length(vec_sub(c, a)));
            }
            ck_assert_double_le(nearest, (double)place->reach * 1.001 + 1e-5 + size);
        }
    }
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* Exactly on one line, though no double cross product of floats would say so; and just off it. */
START_TEST(zero_area_is_decided_exactly)
{
    static const struct {
        double p[3][3];
        int64_t degenerate;
    } cases[] = {
        {{{0.1f, 0.1f, 0.1f}, {0.2f, 0.2f, 0.2f}, {0.4f, 0.4f, 0.4f}}, 1},
        {{{0.1f, 0.1f, 0.1f}, {0.2f, 0.2f, 0.2f}, {0.4f, 0.4f, 0x1.99999cp-2}}, 0},
        {{{1e-30, 0, 0}, {1e30, 0, 0}, {-1e30, 0, 1e-38}}, 0},
        {{{1e-30, 0, 0}, {1e30, 0, 0}, {-1e30, 0, 0}}, 1},
        {{{0, 0, 0}, {1e-40, 0, 0}, {0, 1e-40, 0}}, 0},
        {{{1, 2, 3}, {1, 2, 3}, {4, 5, 6}}, 1},
        {{{1, 2, 3}, {1, 2, 3}, {1, 2, 3}}, 1},
    };
    struct mesh *mesh = shape_make(cases[_i].p, 3, (const uint32_t[][3]){{0, 1, 2}}, 1);
    struct inspection inspection = inspected(mesh);
    ck_assert_int_eq(count_of(&inspection, FIGURE_degenerate_triangles), cases[_i].degenerate);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(positions_are_joined_first)
{
    struct mesh *box = shape_box(10, 20, 30, 1);
    struct mesh *mesh = mesh_new(36, 12); /* every triangle has corners of its own */
    for (size_t c = 0; c < 36; c++) {
        mesh_point_edit(mesh)[c] = mesh_point(box)[mesh_triangle(box)[c / 3].v[c % 3]];
        mesh_triangle_edit(mesh)[c / 3].v[c % 3] = (uint32_t)c;
    }
    struct inspection inspection = inspected(mesh);
    ck_assert_int_eq(count_of(&inspection, FIGURE_vertices), 8);
    ck_assert_double_eq_tol(real_of(&inspection, FIGURE_volume), 6000, 1e-9);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
    mesh_free(box);
}
END_TEST

START_TEST(clouds_and_nothing)
{
    struct mesh *mesh = mesh_new(_i ? 5 : 0, 0);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        mesh_point_edit(mesh)[v] = (struct point){(float)(v / 2) * 20, 1, 2}; /* pairs coincide */
    struct inspection inspection = inspected(mesh);
    ck_assert_int_eq(count_of(&inspection, FIGURE_triangles), 0);
    ck_assert_int_eq(count_of(&inspection, FIGURE_vertices), _i ? 3 : 0);
    ck_assert_int_eq(inspection.figure[FIGURE_size].known, _i);
    ck_assert(!inspection.figure[FIGURE_closed].flag && !inspection.figure[FIGURE_volume].known);
    ck_assert_str_eq(inspection_verdict(&inspection), _i ? "sound" : "faulty");
    ck_assert_uint_eq(inspection.finding_count, 1);
    ck_assert_str_eq(inspection.finding[0].check->name, "content");
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(unlikely_sizes_are_asked_about)
{
    static const struct {
        double size;
        const char *source, *says, *not ;
    } cases[] = {{3, "assumed", "76.2 mm (x25.4, in for mm)", "(/"},
                 {80000, "assumed", "80 mm (/1000, mm for m)", "(x"},
                 {80, "assumed", NULL, NULL},
                 {3, "given", NULL, NULL},
                 {1e9, "file", "large", "(/"}};
    struct mesh *mesh = shape_box(cases[_i].size, cases[_i].size / 2, cases[_i].size / 3, 1);
    struct check_input input = {.unit = "mm", .unit_source = cases[_i].source};
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, &input, &inspection, NULL), STATUS_OK);
    const struct finding *finding = found(&inspection, "unit");
    ck_assert_int_eq(finding != NULL, cases[_i].says != NULL);
    if (finding) {
        ck_assert_msg(strstr(finding->text, cases[_i].says) != NULL, "%s", finding->text);
        ck_assert_msg(strstr(finding->text, cases[_i].not ) == NULL, "%s", finding->text);
        ck_assert_int_eq(finding->severity, SEVERITY_HINT);
    }
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

START_TEST(slivers_and_stray_points_are_hints)
{
    struct mesh *mesh = shape_make(
        (const double[][3]){
            {0, 0, 0}, {200, 0, 0}, {100, 1.9, 0}, {100, 150, 90}, {7, 7, 7}, {8, 8, 8}},
        6, (const uint32_t[][3]){{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}}, 4);
    struct inspection inspection = inspected(mesh);
    const struct finding *slivers = found(&inspection, "slivers"),
                         *stray = found(&inspection, "unused-points");
    ck_assert_uint_eq(slivers->count, 1);
    ck_assert_uint_eq(slivers->places[0].triangle, 0);
    ck_assert_uint_eq(stray->count, 2);
    ck_assert_uint_eq(stray->places[1].triangle, NO_INDEX);
    ck_assert_float_eq(stray->places[1].at.x, 8);
    is_sound(&inspection);
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

/* --- threads, cancel ----------------------------------------------------------------------------
 */

START_TEST(threads_do_not_matter)
{
    struct mesh *mesh = _i ? wreck(_i) : damaged();
    char *first = NULL;
    for (int threads = 1; threads < 5; threads++) {
        struct job job;
        job_init(&job);
        job.threads = threads;
        struct mesh *like = mesh_new_like(mesh); /* nothing derived yet */
        struct inspection inspection;
        ck_assert_int_eq(inspect(like, NULL, &inspection, &job), STATUS_OK);
        char *text = inspection_json(&inspection);
        if (first) {
            ck_assert_str_eq(first, text);
            free(text);
        } else {
            first = text;
        }
        inspection_release(&inspection);
        mesh_free(like);
    }
    free(first);
    mesh_free(mesh);
}
END_TEST

START_TEST(cancel_is_answered)
{
    struct mesh *mesh = damaged();
    struct job job;
    job_init(&job);
    atomic_store(&job.cancel, true);
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, NULL, &inspection, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(inspection.mesh);
    ck_assert_ptr_null(inspection.finding);
    mesh_free(mesh);
}
END_TEST

START_TEST(self_intersections_can_wait)
{
    struct mesh *mesh = damaged();
    struct check_input input = {.skip_self_intersections = true};
    struct inspection inspection;
    ck_assert_int_eq(inspect(mesh, &input, &inspection, NULL), STATUS_OK);
    ck_assert(!inspection.figure[FIGURE_self_intersections].known);
    ck_assert_ptr_null(found(&inspection, "self-intersections"));
    inspection_release(&inspection);
    mesh_free(mesh);
}
END_TEST

Suite *suite_check(void);

Suite *suite_check(void)
{
    Suite *suite = suite_create("check");
    TCase *solids = tcase_create("solids");
    TCase *faults = tcase_create("faults"), *runs = tcase_create("runs");
    tcase_set_timeout(solids, 60);
    tcase_add_loop_test(solids, spheres_have_the_known_deficit, 0, 4);
    tcase_add_test(solids, torus_has_one_handle);
    tcase_add_test(solids, frustum_by_the_handbook);
    tcase_add_test(solids, ellipsoid_by_the_handbook);
    tcase_add_loop_test(solids, far_parts_measure_the_same, 0, 2);
    tcase_add_test(faults, inside_out_is_an_error_but_a_cavity_is_not);
    tcase_add_loop_test(faults, wrecks_agree_with_another_count, 0, 100);
    tcase_add_test(faults, damage_is_found_where_it_is);
    tcase_add_loop_test(faults, places_lie_on_the_mesh, 0, 30);
    tcase_add_loop_test(faults, zero_area_is_decided_exactly, 0, 7);
    tcase_add_test(faults, positions_are_joined_first);
    tcase_add_loop_test(faults, clouds_and_nothing, 0, 2);
    tcase_add_loop_test(faults, unlikely_sizes_are_asked_about, 0, 5);
    tcase_add_test(faults, slivers_and_stray_points_are_hints);
    tcase_set_timeout(faults, 60);
    tcase_add_loop_test(runs, threads_do_not_matter, 0, 12);
    tcase_add_test(runs, cancel_is_answered);
    tcase_add_test(runs, self_intersections_can_wait);
    tcase_set_timeout(runs, 60);
    suite_add_tcase(suite, solids);
    suite_add_tcase(suite, faults);
    suite_add_tcase(suite, runs);
    return suite;
}
