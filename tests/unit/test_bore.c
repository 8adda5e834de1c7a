/* Bores as one types them: the hole that results, and what is refused. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/op.h"
#include "solid/cutters.h"
#include "solid/screws.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"

/* What is left of the block, a solid whose new faces are made. *width: as the note measured it. */
static struct mesh *bored(const struct scene *scene, const char *line, double *width)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    const char *told = strstr(job.notes, "measured back: ");
    ck_assert_ptr_nonnull(told);
    *width = atof(told + strlen("measured back: "));
    job_release(&job);
    struct mesh *mesh = mesh_share(out->piece[0]->mesh);
    scene_free(out);
    const char *fault = sound_fault(mesh);
    ck_assert_msg(!fault, "%s: %s", line, fault);
    ck_assert_uint_eq(sound_crossings(mesh), 0);
    return mesh;
}

/* The diameter of the prism of n facets with that volume. */
static double diameter_of(double volume, double length, uint32_t n)
{
    return 2 * sqrt(volume / length / (n * tan(3.14159265358979323846 / n)));
}

static const char *const fits[] = {"fine", "medium", "coarse"};

/* On each side of a block. */
static const char *const sides[] = {"30,30,25", "30,30,0", "0,30,12", "30,60,12"};
static const double lengths[] = {25, 25, 60, 60};
enum { SIDES = 4 };

START_TEST(holes_are_as_wide_as_the_table_says)
{
    struct mesh *block = shape_box(60, 60, 25, 3);
    double whole = shape_count(block).volume;
    struct scene *scene = steps_scene(block);
    for (int s = SCREW_M2; s <= SCREW_M10; s++)
        for (int fit = 0; fit < 3; fit++) {
            char line[128];
            snprintf(line, sizeof line, "bore at=%s screw=%s fit=%s", sides[_i],
                     screw_name((enum screw)s), fits[fit]);
            double width, wanted = screw_measure((enum screw)s, (enum measure)fit);
            struct mesh *mesh = bored(scene, line, &width);
            double is = diameter_of(whole - shape_count(mesh).volume, lengths[_i],
                                    cutter_facets(wanted / 2));
            ck_assert_double_eq_tol(width, wanted, 0.01);
            ck_assert_double_eq_tol(is, wanted, 0.01);
            mesh_free(mesh);
        }
    scene_free(scene);
}
END_TEST

/* The recesses take away what the closed form of frustum and prism says. */
START_TEST(recesses_are_as_the_tables_say)
{
    static const struct {
        const char *words;
        enum measure mouth;
    } heads[] = {{"head=countersunk", MEASURE_sink},
                 {"head=countersunk series=socket", MEASURE_sink_socket},
                 {"head=counterbore", MEASURE_counterbore}};
    struct mesh *block = shape_box(60, 60, 25, 3);
    double whole = shape_count(block).volume;
    struct scene *scene = steps_scene(block);
    for (int s = SCREW_M3; s <= SCREW_M8; s++)
        for (int h = 0; h < 3; h++) {
            enum screw screw = (enum screw)s;
            char line[128];
            snprintf(line, sizeof line, "bore at=30,30,25 screw=%s %s", screw_name(screw),
                     heads[h].words);
            double width, D = screw_measure(screw, heads[h].mouth);
            double d = screw_measure(screw, MEASURE_medium);
            double deep = h < 2 ? (D - d) / 2 : screw_measure(screw, MEASURE_cap_height) + 0.4;
            struct mesh *mesh = bored(scene, line, &width);
            uint32_t n = cutter_facets(D / 2);
            double share = n * tan(3.14159265358979323846 / n) / 4;
            double recess = h < 2 ? deep / 3 * (D * D + D * d + d * d) : deep * D * D;
            double wanted = share * (recess + (25 - deep) * d * d);
            ck_assert_double_eq_tol(width, d, 0.01);
            ck_assert_double_eq_tol(whole - shape_count(mesh).volume, wanted, 1e-4 * wanted);
            mesh_free(mesh);
        }
    scene_free(scene);
}
END_TEST

/* The recess as the note measures it, too: DIN 974-1 and ISO 15065, secondary tables. */
START_TEST(recesses_are_measured_back)
{
    static const struct {
        const char *line;
        double mouth;
    } cases[] = {{"bore 30,30,25 screw=M5 head=counterbore", 10},
                 {"bore 30,30,25 screw=M5 head=countersunk", 10.4},
                 {"bore 30,30,25 screw=M8 head=countersunk series=socket", 18.25}};
    struct scene *scene = steps_scene(shape_box(60, 60, 25, 3));
    for (int i = 0; i < 3; i++) {
        struct scene *out = NULL;
        struct job job;
        double width, mouth;
        ck_assert_int_eq(steps_run(scene, cases[i].line, &out, &job), STATUS_OK);
        const char *told = strstr(job.notes, "measured back: ");
        ck_assert_ptr_nonnull(told);
        ck_assert_int_eq(sscanf(told, "measured back: %lf mm, its recess %lf", &width, &mouth), 2);
        ck_assert_double_eq_tol(mouth, cases[i].mouth, 0.01);
        job_release(&job);
        scene_free(out);
    }
    scene_free(scene);
}
END_TEST

/* Pilots: makers' figures; 1 mm deeper than the insert is long, common practice. */
START_TEST(holes_for_inserts)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 25, 3));
    double whole = shape_count(scene->piece[0]->mesh).volume, width;
    struct mesh *mesh = bored(scene, "bore 30,30,25 screw=M4 insert=8.1", &width);
    ck_assert_double_eq_tol(width, 5.6, 0.01);
    double is = diameter_of(whole - shape_count(mesh).volume, 9.1, cutter_facets(2.8));
    ck_assert_double_eq_tol(is, 5.6, 0.01);
    mesh_free(mesh);
    steps_refused(scene, "bore 5,30,25 screw=M4 insert=8.1",
                  "only 2.2 mm of wall are left beside it");
    steps_refused(scene, "bore 30,30,25 screw=M4 insert=8.1 depth=9", "leave out depth=");
    steps_refused(scene, "bore 30,30,25 screw=M4 insert=8.1 fit=fine", "leave out fit=");
    steps_refused(scene, "bore 30,30,25 screw=M4 insert=8.1 head=counterbore", "leave out head=");
    steps_refused(scene, "bore 30,30,25 screw=M4 insert=24.5", "breaks through");
    steps_refused(scene, "bore 30,30,25 screw=M10 insert=8", "give it as hole=");
    steps_refused(scene, "bore 30,30,25 mouth=9", "say which with head=");
    steps_refused(scene, "bore 30,30,25 seat=3 head=countersunk", "say which with head=");
    scene_free(scene);
}
END_TEST

START_TEST(new_faces_are_made)
{
    struct mesh *block = shape_box(60, 60, 25, 3);
    struct scene *scene = steps_scene(block);
    double width;
    struct mesh *mesh = bored(scene, "bore 30,30,25 depth=12", &width);
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    ck_assert_ptr_nonnull(origin);
    size_t made = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        bool inside = true; /* of the hole: its corners are about the axis */
        for (int k = 0; k < 3; k++) {
            struct point p = mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]];
            inside = inside && hypot(p.x - 30, p.y - 30) < 2.3;
        }
        ck_assert_int_eq(origin[t], inside ? ORIGIN_MADE : ORIGIN_MEASURED);
        made += inside;
    }
    ck_assert_uint_gt(made, 90);
    mesh_free(mesh);
    scene_free(scene);
}
END_TEST

/* On a ball the axis goes through its middle, wherever the point is: the surface is averaged. */
START_TEST(square_to_the_surface)
{
    struct scene *scene = steps_scene(shape_rough(shape_sphere(50, 4), 0.05f));
    uint64_t seed = 7;
    for (int i = 0; i < 10; i++) {
        double x = shape_random(&seed) - 0.5, y = shape_random(&seed) - 0.5,
               z = shape_random(&seed) - 0.5, r = sqrt(x * x + y * y + z * z), width;
        char line[128];
        snprintf(line, sizeof line, "bore at=%.9g,%.9g,%.9g screw=M8 depth=10", 50 * x / r,
                 50 * y / r, 50 * z / r);
        struct mesh *mesh = bored(scene, line, &width);
        struct vec end = {0};
        int corners = 0;
        const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
        for (size_t t = 0; t < mesh_triangles(mesh); t++)
            for (int k = 0; k < 3 && origin[t] == ORIGIN_MADE; k++) {
                struct vec p = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
                if (vec_length(p) > 41)
                    continue;
                end = vec_add(end, p);
                corners++;
            }
        ck_assert_int_gt(corners, 0);
        double off = vec_length(vec_cross(vec(x / r, y / r, z / r), vec_scale(end, 1.0 / corners)));
        ck_assert_msg(off < 0.35, "the floor is %g mm off the radius",
                      off); /* 2 degrees in 10 mm */
        ck_assert_double_eq_tol(width, 9, 0.01);
        mesh_free(mesh);
    }
    scene_free(scene);
}
END_TEST

static double bump(double x, double y)
{
    return 1.5 * sin(x) * sin(y);
}

START_TEST(what_speaks_against_it)
{
    struct scene *block = steps_scene(shape_box(60, 60, 10, 3));
    steps_refused(block, "bore 30,30,10 depth=9.5", "only 0.5 mm of wall are left under it");
    steps_refused(block, "bore 30,30,10 depth=12", "the material is 10 mm thick");
    steps_refused(block, "bore 30,30,10 screw=M10 head=counterbore", "left to hold the head");
    steps_refused(block, "bore 30,30,10 screw=M10 head=countersunk series=socket",
                  "DIN 74 form F has nothing for M10");
    steps_refused(block, "bore 2.75,30,10", "only 0.5 mm of wall are left beside it");
    steps_refused(block, "bore 1,30,10", "over an edge");
    steps_refused(block, "bore 30,30,10 head=countersunk mouth=4", "no wider than the hole");
    steps_refused(block, "bore 30,30,10 along=x", "too little surface");
    steps_refused(block, "bore 30,30,21",
                  "lies 11 mm off the surface, the nearest of which is at 30,30,10");
    scene_free(steps_told(steps_scene(shape_box(60, 60, 10, 3)), "bore 30,30,18", "4.5 mm"));
    struct scene *out = NULL;
    struct job job;
    ck_assert_int_eq(steps_run(block, "bore 1,30,10 anyway=yes", &out, &job), STATUS_OK);
    ck_assert_ptr_nonnull(strstr(job.notes, "cut anyway"));
    ck_assert_ptr_null(sound_fault(out->piece[0]->mesh));
    job_release(&job);
    scene_free(out);
    scene_free(block);
    struct scene *open = steps_scene(shape_patch(40, 40, bump));
    steps_refused(open, "bore 20,20,0", "leaves the solid nowhere");
    steps_refused(open, "bore 20,20,0 depth=2", "uneven");
    steps_refused(open, "bore 20,20,0 depth=2 anyway=yes", "is no solid: it is open");
    scene_free(open);
    struct scene *ball = steps_scene(shape_sphere(5, 3));
    steps_refused(ball, "bore 0,0,5", "uneven by");
    scene_free(ball);
}
END_TEST

/* Through one wall of a hollow part, not the other. */
START_TEST(through_is_through_the_first_wall)
{
    struct mesh *outer = shape_box(60, 60, 40, 2), *inner = shape_box(54, 54, 34, 2);
    for (size_t t = 0; t < mesh_triangles(inner); t++) {
        uint32_t *v = mesh_triangle_edit(inner)[t].v, swap = v[0];
        v[0] = v[1];
        v[1] = swap;
    }
    const struct mesh *const both[2] = {outer, inner};
    const double move[2][3] = {{0, 0, 0}, {3, 3, 3}};
    struct mesh *hollow = shape_join(both, move, 2);
    double whole = shape_count(hollow).volume, width;
    struct scene *scene = steps_scene(hollow);
    struct mesh *mesh = bored(scene, "bore 20,25,40", &width);
    double is = diameter_of(whole - shape_count(mesh).volume, 3, cutter_facets(2.25));
    ck_assert_double_eq_tol(is, 4.5, 0.01);
    ck_assert_int_eq(shape_count(mesh).euler, 2); /* shells of genus 0 joined by one hole */
    mesh_free(mesh);
    mesh_free(outer);
    mesh_free(inner);
    scene_free(scene);
}
END_TEST

/* A narrow hole that crosses deep below is seen, too: 2 mm wide, 30 mm down. */
START_TEST(what_crosses_deep_below)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 60, 3)), *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, "bore 33.2,0,30.2 hole=2 along=y", &out, &job) == STATUS_OK,
                  "%s", job.message);
    job_release(&job);
    steps_refused(out, "bore 30,30,60", "it breaks into a hollow on one side, 29.");
    steps_refused(out, "bore 30,30,60 depth=40", "breaks through on the far side");
    steps_refused(out, "bore 29.5,30,60", "mm of wall are left beside it");
    scene_free(out);
    scene_free(scene);
}
END_TEST

/* Beside a hole that is there already, a shorter one; and beside a ledge. */
START_TEST(what_is_beside_it)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 30, 3)), *out = NULL;
    struct job job;
    ck_assert_int_eq(steps_run(scene, "bore 30,30,30 depth=10", &out, &job), STATUS_OK);
    job_release(&job);
    steps_refused(out, "bore 34.8,30,30 depth=15", "only 0.3 mm of wall are left beside it");
    steps_refused(out, "bore 34.8,30,30", "only 0.3 mm of wall are left beside it");
    scene_free(out);
    scene_free(scene);
    struct mesh *low = shape_box(60, 30, 20, 1), *high = shape_box(30, 30, 30, 1);
    low->origin[1] = 100;
    scene = steps_scene(high);
    low->joined = true;
    ck_assert_int_eq(scene_add(scene, piece_new(low, "low"), NULL), STATUS_OK);
    ck_assert_int_eq(steps_run(scene, "move 0,-100,0 piece=2", &out, &job), STATUS_OK);
    job_release(&job);
    scene_free(scene);
    ck_assert_msg(steps_run(out, "unite tool=2 piece=1", &scene, &job) == STATUS_OK, "%s",
                  job.message);
    job_release(&job);
    scene_free(out);
    steps_refused(scene, "bore 27.5,15,30 depth=25", "only 0.25 mm of wall are left beside it");
    scene_free(scene);
}
END_TEST

/* Slanted, the width stays. */
START_TEST(along_a_direction)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 20, 3));
    double width;
    struct mesh *mesh = bored(scene, "bore 30,30,20 along=0.3,0.2,-1 screw=M5", &width);
    ck_assert_double_eq_tol(width, 5.5, 0.01);
    mesh_free(mesh);
    steps_refused(scene, "bore 30,30,20 along=z", "leaves the solid nowhere");
    scene_free(scene);
}
END_TEST

START_TEST(the_nearest_piece_is_cut)
{
    struct scene *scene = steps_scene(shape_box(60, 60, 20, 3)), *out = NULL;
    struct mesh *cloud = mesh_new(1, 0);
    mesh_point_edit(cloud)[0] = (struct point){30, 30, 20}; /* nearest of all, but no surface */
    ck_assert_int_eq(scene_add(scene, piece_new(cloud, "cloud"), NULL), STATUS_OK);
    struct mesh *far = mesh_new_like(scene->piece[0]->mesh);
    far->origin[2] = 30;
    ck_assert_int_eq(scene_add(scene, piece_new(far, "far"), NULL), STATUS_OK);
    struct job job;
    ck_assert_msg(steps_run(scene, "bore 30,30,49", &out, &job) == STATUS_OK, "%s", job.message);
    ck_assert_ptr_nonnull(strstr(job.notes, "far: a hole of 4.5 mm (ISO 273 medium), through 20"));
    ck_assert_ptr_eq(out->piece[0]->mesh, scene->piece[0]->mesh);
    ck_assert_ptr_eq(out->piece[1]->mesh, cloud);
    job_release(&job);
    scene_free(out);
    steps_refused(scene, "bore 30,30,20 piece=2", "there is no surface to cut into");
    scene_free(scene);
}
END_TEST

Suite *suite_bore(void);
Suite *suite_bore(void)
{
    Suite *suite = suite_create("bore");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_loop_test(all, holes_are_as_wide_as_the_table_says, 0, SIDES);
    tcase_add_test(all, recesses_are_as_the_tables_say);
    tcase_add_test(all, recesses_are_measured_back);
    tcase_add_test(all, holes_for_inserts);
    tcase_add_test(all, new_faces_are_made);
    tcase_add_test(all, square_to_the_surface);
    tcase_add_test(all, what_speaks_against_it);
    tcase_add_test(all, through_is_through_the_first_wall);
    tcase_add_test(all, what_crosses_deep_below);
    tcase_add_test(all, what_is_beside_it);
    tcase_add_test(all, along_a_direction);
    tcase_add_test(all, the_nearest_piece_is_cut);
    suite_add_tcase(suite, all);
    return suite;
}
