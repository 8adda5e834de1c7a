/* Holes found in the surface alone, of solids that "bore" and "keyhole" did not cut: against their
 * own figures; and that there are none where there are none. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check/round.h"
#include "core/job.h"
#include "core/topology.h"
#include "core/tree.h"
#include "solid/place.h"
#include "solid/screws.h"
#include "tests/support/cancelling.h"
#include "tests/support/file_solids.h"
#include "tests/support/round_holes.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"
#include "tests/support/steps.h"
#include "tests/support/turned.h"

static const double pi = 3.14159265358979323846;

/* --- made another way ------------------------------------------------------------------------ */

/* Vertices moved to the next multiple of `grid`, as a file of few digits has them; turned first. */
static struct mesh *posed(struct mesh *mesh, uint64_t *seed, double grid)
{
    struct vec axis =
        vec_unit(vec(shape_random(seed) - 0.5, shape_random(seed) - 0.5, shape_random(seed) - 0.5));
    struct motion turn = motion_turn(axis, 6 * shape_random(seed), vec(7, 8, 9));
    struct mesh *out = motion_mesh(&turn, mesh, NULL);
    mesh_free(mesh);
    for (size_t v = 0; v < mesh_vertices(out) && grid > 0; v++) {
        struct vec p = point_vec(mesh_point(out)[v]);
        mesh_point_edit(out)[v] = vec_point(
            vec(grid * round(p.x / grid), grid * round(p.y / grid), grid * round(p.z / grid)));
    }
    out->joined = true;
    return out;
}

static const uint32_t facets[] = {12, 13, 16, 24, 48, 90, 180, 360};
enum { FACETS = sizeof facets / sizeof *facets };

/* A washer: its hole is one, its rim, a peg, is none. The edges lie on the circle, so the facets
 * leave the cosine of half their angle of it. */
START_TEST(washers)
{
    uint64_t seed = 21 + (uint64_t)_i;
    uint32_t n = facets[_i];
    for (int i = 0; i < 12; i++) {
        double d = 1.5 + 2 * i, h = i % 2 ? 12 : 2, grid = i % 3 ? 0 : 1e-4;
        const double outline[4][2] = {{d / 2, 0}, {d, 0}, {d, h}, {d / 2, h}};
        struct mesh *mesh = posed(turned(outline, 4, n, 0.1 * i), &seed, grid);
        const struct screw_holes *holes = holes_of(mesh);
        ck_assert_msg(holes->count == 1, "%u facets, %g mm: %zu holes", n, d, holes->count);
        const struct screw_hole *hole = holes->item;
        ck_assert_double_eq_tol(hole->corners, d, 0.002);
        ck_assert_double_eq_tol(hole->width, d * cos(pi / n), 0.003);
        ck_assert_double_eq_tol(hole->length, h, 0.002);
        ck_assert(hole->through && hole->recess == RECESS_NONE);
        mesh_free(mesh);
    }
}
END_TEST

/* Blind with a drill's point of 118 degrees; countersunk at 90 and 82; a chamfer that is no
 * recess; a countersink below a counterbore. */
static const struct {
    double outline[9][2];
    uint32_t count;
    double width, length, mouth, sunk, angle;
    bool through;
    enum screw_hole_recess recess;
} lathe_work[] = {
    {{{0, 0}, {12, 0}, {12, 20}, {2, 20}, {2, 8}, {0, 6.798}},
     6,
     4,
     12,
     0,
     0,
     0,
     false,
     RECESS_NONE},
    {{{2.25, 0}, {12, 0}, {12, 8}, {4.7, 8}, {2.25, 5.55}},
     5,
     4.5,
     8,
     9.4,
     2.45,
     90,
     true,
     RECESS_SUNK},
    {{{2.25, 0}, {12, 0}, {12, 8}, {4.7, 8}, {2.25, 5.1816}},
     5,
     4.5,
     8,
     9.4,
     2.8184,
     82,
     true,
     RECESS_SUNK},
    {{{2.25, 0}, {12, 0}, {12, 8}, {2.5, 8}, {2.25, 7.75}},
     5,
     4.5,
     8,
     5,
     0.25,
     90,
     true,
     RECESS_NONE},
    {{{2.25, 0}, {12, 0}, {12, 8}, {4.7, 8}, {4.7, 6}, {2.25, 3.55}},
     6,
     4.5,
     8,
     9.4,
     4.45,
     90,
     true,
     RECESS_SUNK},
    {{{0, 0}, {12, 0}, {12, 20}, {4, 20}, {4, 15}, {2.25, 15}, {2.25, 5}, {0, 5}},
     8,
     4.5,
     15,
     8,
     5,
     0,
     false,
     RECESS_BORED},
};

START_TEST(turned_holes)
{
    uint64_t seed = 31;
    for (size_t i = 0; i < sizeof lathe_work / sizeof *lathe_work; i++)
        for (uint32_t n = 36; n <= 144; n *= 2) {
            struct mesh *mesh =
                posed(turned(lathe_work[i].outline, lathe_work[i].count, n, 0.03), &seed, 0);
            const struct screw_holes *holes = holes_of(mesh);
            ck_assert_msg(holes->count == 1, "case %zu: %zu holes", i, holes->count);
            const struct screw_hole *hole = holes->item;
            ck_assert_double_eq_tol(hole->corners, lathe_work[i].width, 0.002);
            ck_assert_double_eq_tol(hole->length, lathe_work[i].length, 0.002);
            ck_assert_int_eq(hole->through, lathe_work[i].through);
            ck_assert_msg(hole->recess == lathe_work[i].recess, "case %zu: %d", i, hole->recess);
            if (lathe_work[i].mouth > 0) {
                double leaves = lathe_work[i].mouth * cos(pi / n);
                ck_assert_double_eq_tol(hole->mouth, leaves, 0.005);
                ck_assert_double_eq_tol(hole->sunk, lathe_work[i].sunk, 0.005);
                ck_assert_msg(fabs(hole->angle - lathe_work[i].angle) < 0.5, "case %zu: %g degrees",
                              i, hole->angle);
            }
            mesh_free(mesh);
        }
}
END_TEST

/* A closed hollow, a peg in a pocket, a square pocket, a saucer, a ball's inside: none is a hole.
 */
START_TEST(what_is_no_hole)
{
    static const double cavity[4][2] = {{0, 3}, {0, 9}, {3, 9}, {3, 3}},
                        around[4][2] = {{0, 0}, {12, 0}, {12, 12}, {0, 12}},
                        peg[8][2] = {{0, 0},  {20, 0}, {20, 9}, {19, 9},
                                     {19, 3}, {3, 3},  {3, 12}, {0, 12}},
                        groove[8][2] = {{0, 0}, {12, 0}, {12, 9}, {6, 9},
                                        {6, 5}, {4, 5},  {4, 9},  {0, 9}},
                        saucer[6][2] = {{0, 0}, {20, 0}, {20, 5}, {15, 4.5}, {7, 3.2}, {0, 3}},
                        cone[4][2] = {{0, 0}, {12, 0}, {12, 20}, {6, 20}};
    struct mesh *in = turned(cavity, 4, 48, 0), *out = turned(around, 4, 48, 0);
    const struct mesh *const both[2] = {in, out};
    const double still[2][3] = {{0}, {0}};
    struct mesh *hollow = shape_join(both, still, 2), *mesh[7];
    hollow->joined = true;
    mesh[0] = hollow;
    mesh[1] = turned(peg, 8, 64, 0);
    mesh[2] = turned(saucer, 6, 64, 0);
    mesh[3] = turned(cone, 4, 64, 0);
    mesh[4] = shape_sphere(20, 5);
    mesh[5] = shape_torus(30, 10, 200, 80);
    mesh[6] = turned(groove, 8, 64, 0);
    for (int i = 0; i < 7; i++) {
        const struct screw_holes *holes = holes_of(mesh[i]);
        ck_assert_msg(holes->count == 0, "solid %d: %zu holes, the first %g mm", i, holes->count,
                      holes->count ? holes->item[0].width : 0);
        mesh_free(mesh[i]);
    }
    mesh_free(in);
    mesh_free(out);
}
END_TEST

/* Two rooms of a vessel with a neck between them: no hole, be the vessel closed, or open by one
 * that is as wide, in its bottom below the neck. A neck to the outside is one. */
START_TEST(a_neck_within)
{
    static const double closed[12][2] = {{0, 0},  {12, 0}, {12, 26}, {0, 26}, {0, 24}, {8, 24},
                                         {8, 16}, {2, 16}, {2, 10},  {8, 10}, {8, 2},  {0, 2}},
                        drained[12][2] = {{2, 0},  {12, 0}, {12, 26}, {0, 26}, {0, 24}, {8, 24},
                                          {8, 16}, {2, 16}, {2, 10},  {8, 10}, {8, 2},  {2, 2}},
                        flask[9][2] = {{0, 0},  {12, 0}, {12, 12}, {4, 12}, {4, 20},
                                       {2, 20}, {2, 10}, {10, 2},  {0, 2}};
    static const struct {
        const double (*outline)[2];
        uint32_t count;
        size_t holes;
        double at;
    } vessel[] = {{closed, 12, 0, 0}, {drained, 12, 1, 0}, {flask, 9, 1, 20}};
    uint64_t seed = 5;
    for (int i = 0; i < 3; i++) {
        struct mesh *mesh = turned(vessel[i].outline, vessel[i].count, 48, 0);
        const struct screw_holes *holes = holes_of(mesh);
        ck_assert_msg(holes->count == vessel[i].holes, "vessel %d: %zu holes", i, holes->count);
        for (size_t k = 0; k < holes->count; k++) {
            ck_assert_double_eq_tol(holes->item[k].at.z, vessel[i].at, 0.01);
            ck_assert_double_eq_tol(holes->item[k].corners, 4, 0.002);
            ck_assert(holes->item[k].along.z * (vessel[i].at > 0 ? 1 : -1) < 0);
        }
        mesh = posed(mesh, &seed, 0);
        ck_assert_uint_eq(holes_of(mesh)->count, vessel[i].holes);
        mesh_free(mesh);
    }
}
END_TEST

/* A dumbbell hollowed: its cavity has a neck 5 mm wide; holes are the drains alone. */
START_TEST(the_neck_of_a_hollow)
{
    double outline[16][2];
    uint32_t count = 0;
    for (int ball = 0; ball < 2; ball++)
        for (int i = 0; i < 8; i++, count++) { /* the last point of the first is the neck's */
            double a = pi * (i + ball) / 8, r = 15 * sin(a);
            outline[count][0] = i == 7 * ball ? 0 : fmax(r, 5);
            outline[count][1] = 44.0 * ball - 15 * cos(a);
        }
    struct scene *scene = steps_scene(turned((const double(*)[2])outline, count, 48, 0));
    scene = steps_told(scene, "hollow wall=2.5 drain=4", "1 cavity");
    const struct screw_holes *holes = holes_of(scene->piece[0]->mesh);
    ck_assert_uint_eq(holes->count, 2);
    for (int k = 0; k < 2; k++) {
        ck_assert_double_eq_tol(holes->item[k].corners, 4, 0.02);
        ck_assert_double_lt(holes->item[k].length, 4);
    }
    scene_free(scene);
}
END_TEST

/* A round room in a block, and a hole from the outside into its lid, beside its axis by a tenth of
 * that hole's width: one looks straight through it along the axis, but the room is no hole. */
START_TEST(a_round_room_is_no_hole)
{
    struct mesh *room = shape_frustum(10, 10, 18, 64);
    for (int k = 0; k < 3; k++)
        room->origin[k] = k < 2 ? 20 : 4;
    struct scene *scene = steps_pair(shape_box(40, 40, 24, 3), room);
    scene = steps_after(scene, "subtract tool=2 piece=1");
    scene = steps_after(scene, "bore 20.4,20,24 hole=4");
    const struct screw_holes *holes = holes_of(scene->piece[0]->mesh);
    ck_assert_uint_eq(holes->count, 1);
    ck_assert_double_eq_tol(holes->item[0].corners, 4, 0.02);
    ck_assert_double_eq_tol(holes->item[0].length, 2, 0.01);
    scene_free(scene);
}
END_TEST

/* A drain is as long as the wall is thick, not through the round room behind it; nor are the bends
 * of a ring's cavity holes. */
START_TEST(drains_of_round_cavities)
{
    static const double jug[8][2] = {{0, 0},   {18, 0},  {26, 20}, {24, 45},
                                     {12, 60}, {12, 80}, {9, 80},  {0, 80}};
    struct mesh *mesh[2] = {turned(jug, 8, 64, 0), shape_torus(30, 9, 160, 60)};
    for (int i = 0; i < 2; i++) {
        struct scene *scene = steps_after(steps_scene(mesh[i]), "hollow wall=2 drain=4");
        const struct screw_holes *holes = holes_of(scene->piece[0]->mesh);
        ck_assert_uint_eq(holes->count, 2);
        for (int k = 0; k < 2; k++) {
            ck_assert_double_eq_tol(holes->item[k].corners, 4, 0.02);
            ck_assert_double_eq_tol(holes->item[k].length, 2, 0.1);
        }
        scene_free(scene);
    }
}
END_TEST

/* A rounded rim is outside: the hole is as long as it is round. */
START_TEST(rounded_rims)
{
    for (int segments = 2; segments <= 8; segments++)
        for (uint32_t n = 24; n <= 96; n *= 2) {
            double outline[16][2] = {{12, 0}, {12, 10}}, first = 0;
            uint32_t count = 2;
            for (int i = 0; i <= segments; i++, count++) {
                double a = pi / 2 * i / segments;
                outline[count][0] = 2.25 + 1 - sin(a);
                outline[count][1] = 9 + cos(a);
                first = i + 1 == segments ? 1 - cos(a) : first; /* of the rim, still about round */
            }
            outline[count][0] = 2.25;
            outline[count++][1] = 0;
            struct mesh *mesh = turned((const double(*)[2])outline, count, n, 0.1);
            const struct screw_holes *holes = holes_of(mesh);
            ck_assert_msg(holes->count == 1, "%d segments, %u facets: %zu holes", segments, n,
                          holes->count);
            ck_assert_double_eq_tol(holes->item[0].corners, 4.5, 0.002);
            ck_assert(holes->item[0].recess == RECESS_NONE && holes->item[0].through);
            ck_assert(holes->item[0].length >= 9 - 0.002 && holes->item[0].length < 10 - first);
            mesh_free(mesh);
        }
}
END_TEST

/* Noise as a good scanner has it, on walls of small triangles whose edges run any way. */
START_TEST(rough_walls)
{
    for (int i = 0; i < 10; i++) {
        double outline[16][2] = {{8, 0}, {8, 12}};
        for (int k = 0; k < 13; k++) {
            outline[2 + k][0] = 2.5;
            outline[2 + k][1] = 12 - k;
        }
        struct mesh *mesh = turned((const double(*)[2])outline, 15, 48, 0.1 * i);
        mesh = shape_rough(mesh, 0.02F + 0.002F * (float)i);
        const struct screw_holes *holes = holes_of(mesh);
        ck_assert_msg(holes->count == 1, "noise %d: %zu holes", i, holes->count);
        ck_assert_double_eq_tol(holes->item[0].corners, 5, 0.01);
        ck_assert(degrees_between(holes->item[0].along, vec(0, 0, -1)) < holes_within_degrees);
        mesh_free(mesh);
    }
}
END_TEST

/* A wall of so many triangles that threads share it out, beside a surface that is nothing but
 * beginnings of walls. */
static struct mesh *finely_scanned(void)
{
    enum { ROWS = 12 };
    double outline[ROWS + 3][2] = {{8, 0}, {8, 12}};
    for (int k = 0; k <= ROWS; k++) {
        outline[2 + k][0] = 2.5;
        outline[2 + k][1] = 12 - 12.0 * k / ROWS;
    }
    struct mesh *wall = turned((const double(*)[2])outline, ROWS + 3, 360, 0.01);
    struct mesh *bumps = shape_rough(shape_sphere(20, 6), 0.03F);
    const double move[2][3] = {{40, 0, 0}, {0, 0, 0}};
    struct mesh *mesh =
        shape_join((const struct mesh *[]){shape_rough(wall, 0.001F), bumps}, move, 2);
    mesh->joined = true;
    mesh_free(wall);
    mesh_free(bumps);
    return mesh;
}

static struct rounds rounds_by(const struct mesh *mesh, int threads)
{
    struct rounds rounds;
    struct job job;
    job_init(&job);
    job.threads = threads;
    ck_assert_msg(rounds_find(mesh, &rounds, &job) == STATUS_OK, "%s", job.message);
    job_release(&job);
    return rounds;
}

START_TEST(threads_change_nothing)
{
    struct mesh *mesh = finely_scanned();
    struct rounds one = rounds_by(mesh, 1);
    ck_assert_uint_ge(one.count, 1);
    for (int threads = 2; threads < 6; threads++) {
        struct rounds many = rounds_by(mesh, threads);
        ck_assert_uint_eq(many.count, one.count);
        ck_assert_uint_eq(many.members, one.members);
        ck_assert_mem_eq(many.item, one.item, one.count * sizeof *one.item);
        ck_assert_mem_eq(many.member, one.member, one.members * sizeof *one.member);
        rounds_release(&many);
    }
    rounds_release(&one);
    mesh_free(mesh);
}
END_TEST

/* Shuffled (Fisher & Yates): what a wall is does not hang on which of its triangles comes first,
 * but for which of its many edges are fitted. */
static struct mesh *shuffled(const struct mesh *mesh)
{
    struct mesh *out = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    struct triangle *triangle = mesh_triangle_edit(out);
    uint64_t seed = 5;
    memcpy(mesh_point_edit(out), mesh_point(mesh), mesh_vertices(mesh) * sizeof(struct point));
    memcpy(triangle, mesh_triangle(mesh), mesh_triangles(mesh) * sizeof *triangle);
    for (size_t i = mesh_triangles(mesh) - 1; i > 0; i--) {
        size_t k = (size_t)(shape_random(&seed) * (double)(i + 1));
        struct triangle swap = triangle[i];
        triangle[i] = triangle[k];
        triangle[k] = swap;
    }
    out->joined = true;
    return out;
}

START_TEST(order_changes_nothing)
{
    struct mesh *mesh = finely_scanned(), *other = shuffled(mesh);
    const struct screw_holes *a = holes_of(mesh), *b = holes_of(other);
    ck_assert_uint_eq(a->count, 1);
    ck_assert_uint_eq(b->count, 1);
    ck_assert_double_eq_tol(a->item[0].corners, 5, 0.002);
    ck_assert_double_eq_tol(a->item[0].length, 12, 0.01);
    ck_assert_double_eq_tol(b->item[0].corners, a->item[0].corners, 1e-4);
    ck_assert_double_eq_tol(b->item[0].width, a->item[0].width, 1e-4);
    ck_assert_double_eq_tol(b->item[0].length, a->item[0].length, 1e-4);
    ck_assert_double_le(vec_length(vec_sub(b->item[0].at, a->item[0].at)), 1e-4);
    mesh_free(mesh);
    mesh_free(other);
}
END_TEST

/* Keyholes through a wall: with a hollow behind it, and with nothing. */
START_TEST(keyholes_through_a_wall)
{
    struct mesh *block = shape_box(60, 30, 60, 3), *hollow = shape_box(50, 24, 50, 1);
    for (size_t t = 0; t < mesh_triangles(hollow); t++) { /* turned inside out */
        struct triangle *triangle = &mesh_triangle_edit(hollow)[t];
        uint32_t v = triangle->v[1];
        triangle->v[1] = triangle->v[2];
        triangle->v[2] = v;
    }
    const struct mesh *const both[2] = {block, hollow};
    const double move[2][3] = {{0, 0, 0}, {5, 3, 5}};
    for (int i = 0; i < 2; i++) {
        struct mesh *mesh = i ? shape_box(60, 3, 60, 3) : shape_join(both, move, 2);
        struct scene *scene = steps_scene(mesh);
        scene = steps_after(scene, "keyhole 30,0,25 anyway=yes lip=4 pocket=2");
        const struct screw_holes *holes = holes_of(scene->piece[0]->mesh);
        ck_assert_uint_eq(holes->count, 1);
        const struct screw_hole *hole = holes->item;
        ck_assert_int_eq(hole->kind, SCREW_HOLE_KEYHOLE);
        ck_assert_double_eq_tol(hole->entry, 9.25, holes_within_mm);
        ck_assert_double_eq_tol(hole->lip, 3, holes_within_mm);
        ck_assert_double_eq_tol(vec_dot(hole->up, vec(0, 0, 1)), 1, 1e-4);
        ck_assert_double_eq_tol(fabs(hole->along.y), 1, 1e-4);
        if (i == 0) { /* it is wide as the hollow there, and as deep */
            ck_assert(hole->along.y > 0);
            ck_assert_double_eq_tol(hole->pocket, 24, holes_within_mm);
            ck_assert_double_eq_tol(hole->room, 50, holes_within_mm);
        } else {
            ck_assert(isinf(hole->pocket) && isinf(hole->room));
        }
        struct scene *other = steps_scene(mesh_share(scene->piece[0]->mesh)); /* knows nothing */
        scene_free(scene);
        scene = steps_after(other, "fixings");
        ck_assert_ptr_nonnull(scene->piece[0]->fixings);
        scene = steps_after(scene, "turn axis=x by=20");
        ck_assert_ptr_nonnull(scene->piece[0]->fixings);
        scene = steps_after(scene, "weld"); /* it is looked for there again */
        ck_assert_msg(scene->piece[0]->fixings != NULL, "case %d: forgotten", i);
        ck_assert_uint_eq(scene->piece[0]->fixings->count, 1);
        scene_free(scene);
    }
    mesh_free(block);
    mesh_free(hollow);
}
END_TEST

/* --- where nobody cut any -------------------------------------------------------------------- */

/* Rays from the axis tell how round it is: a measurement that knows nothing of how it was found.
 * The share of 97 rays that end within 2.5 % of the radius of where they should, at the best of
 * nine depths (where another hole crosses, they end nowhere near). */
static double roundness(const struct mesh *mesh, const struct screw_hole *hole)
{
    const struct tree *tree = mesh_tree(mesh, NULL);
    struct vec side = vec_cross(hole->up, hole->along);
    double best = 0;
    for (int d = 1; d < 10; d++) {
        struct vec from = vec_along(hole->at, hole->length * d / 10, hole->along);
        int good = 0;
        for (int i = 0; i < 97; i++) {
            double a = 2 * pi * i / 97;
            struct vec way = vec_add(vec_scale(hole->up, cos(a)), vec_scale(side, sin(a)));
            double wide = 2 * tree_ray(tree, from, way, 0, INFINITY).t;
            good += wide > 0.975 * hole->width && wide < 1.025 * hole->corners;
        }
        best = fmax(best, good / 97.0);
    }
    return best;
}

/* Machine parts with round holes, and an aircraft with rings. */
static const char *const have_holes[] = {
    "anchor.off", "boeing.off", "cheese.off",          "couplingdown.off", "handle.off",
    "joint.off",  "oblong.off", "oblong-shuffled.off", "pinion.off",       "pinion_small.off",
    "pipe.off",   "rotor.off",  "rotor_small.off",     "spool.off",        "turbine.off"};
enum { HAVE_HOLES = sizeof have_holes / sizeof *have_holes };

/* The open files, 64 mm long: animals, heads, machine parts. Holes are found in those alone that
 * have them, and what is found is round. */
START_TEST(the_open_files)
{
    static struct file_solids list;
    size_t with = 0, there = 0;
    if (getenv("FETTLE_LONG"))
        file_solids_read(&list, 300000);
    else
        file_solids_read_found(&list, 300000);
    ck_assert_uint_gt(list.count, getenv("FETTLE_LONG") ? 100 : 70);
    for (size_t i = 0; i < list.count; i++) {
        const struct screw_holes *holes = holes_of(list.solid[i]);
        bool known = false;
        for (int k = 0; k < HAVE_HOLES; k++)
            known = known || strcmp(list.name[i], have_holes[k]) == 0;
        ck_assert_msg(known || holes->count == 0, "%s: %zu holes", list.name[i], holes->count);
        for (size_t k = 0; k < holes->count; k++) {
            double round = roundness(list.solid[i], &holes->item[k]);
            ck_assert_int_eq(holes->item[k].kind, SCREW_HOLE_BORE);
            ck_assert_msg(round > 0.8, "%s, hole %zu: %g", list.name[i], k, round);
        }
        there += known;
        with += known && holes->count > 0;
    }
    ck_assert_uint_eq(with, there);
    ck_assert_uint_ge(there, getenv("FETTLE_LONG") ? HAVE_HOLES : 8);
    file_solids_release(&list);
}
END_TEST

START_TEST(odd_input)
{
    struct mesh *none = mesh_new(0, 0), *cloud = mesh_new(3, 0), *one = mesh_new(3, 1),
                *flat = mesh_new(3, 2);
    for (int i = 0; i < 3; i++) {
        mesh_point_edit(cloud)[i] = (struct point){(float)i, 0, 0};
        mesh_point_edit(one)[i] = (struct point){(float)i, (float)(i * i), 0};
        mesh_point_edit(flat)[i] = (struct point){(float)i, 0, 0};
    }
    mesh_triangle_edit(one)[0] = (struct triangle){{0, 1, 2}};
    mesh_triangle_edit(flat)[0] = mesh_triangle_edit(flat)[1] = (struct triangle){{0, 1, 1}};
    struct mesh *all[] = {none, cloud, one, flat};
    for (int i = 0; i < 4; i++) {
        ck_assert_uint_eq(holes_of(all[i])->count, 0);
        mesh_free(all[i]);
    }
}
END_TEST

START_TEST(far_from_the_origin)
{
    const double outline[4][2] = {{2.25, 0}, {12, 0}, {12, 8}, {2.25, 8}};
    struct mesh *mesh = turned(outline, 4, 60, 0);
    mesh->origin[0] = 4.5e6; /* as a map has it */
    mesh->origin[1] = 5.4e6;
    const struct screw_holes *holes = holes_of(mesh);
    ck_assert_uint_eq(holes->count, 1);
    ck_assert_double_eq_tol(holes->item[0].corners, 4.5, 0.002);
    mesh_free(mesh);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *mesh = shape_rough(shape_sphere(40, 8), 0.05F);
    struct job job;
    struct cancelling c = {.job = &job, .from = 0.3};
    mesh->joined = true;
    ck_assert_ptr_nonnull(mesh_topology(mesh, NULL));
    while (cancelling_again(&c))
        ck_assert_ptr_null(mesh_screw_holes(mesh, &job));
    mesh_free(mesh);
}
END_TEST

Suite *suite_screw_holes(void);
Suite *suite_screw_holes(void)
{
    Suite *suite = suite_create("screw_holes");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 120);
    tcase_add_loop_test(all, washers, 0, FACETS);
    tcase_add_test(all, turned_holes);
    tcase_add_test(all, what_is_no_hole);
    tcase_add_test(all, a_neck_within);
    tcase_add_test(all, the_neck_of_a_hollow);
    tcase_add_test(all, a_round_room_is_no_hole);
    tcase_add_test(all, drains_of_round_cavities);
    tcase_add_test(all, rounded_rims);
    tcase_add_test(all, rough_walls);
    tcase_add_test(all, threads_change_nothing);
    tcase_add_test(all, order_changes_nothing);
    tcase_add_test(all, keyholes_through_a_wall);
    tcase_add_test(all, the_open_files);
    tcase_add_test(all, odd_input);
    tcase_add_test(all, far_from_the_origin);
    tcase_add_test(all, cancelled);
    suite_add_tcase(suite, all);
    return suite;
}
