#include "tests/support/pairs.h"

#include <stdlib.h>
#include <string.h>

#include "tests/support/carved.h"
#include "tests/support/shapes.h"

static int pick(uint64_t *seed, int count)
{
    return (int)(shape_random(seed) * count);
}

static struct mesh *rough_sphere(uint64_t *seed)
{
    struct mesh *mesh = shape_sphere(20, 2);
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        *p = vec_point(vec_scale(point_vec(*p), 1 + 0.05 * shape_random(seed)));
    }
    return mesh;
}

static struct mesh *shape(uint64_t *seed)
{
    double side[3];
    for (int k = 0; k < 3; k++)
        side[k] = 10 * (1 + pick(seed, 4));
    switch (pick(seed, 6)) {
    case 0:
        return shape_box(side[0], side[1], side[2], 1 + pick(seed, 3));
    case 1:
        return shape_sphere(10 + 20 * shape_random(seed), 1 + pick(seed, 3));
    case 2:
        return shape_torus(20, 4 + 10 * shape_random(seed), 6 + pick(seed, 20), 4 + pick(seed, 12));
    case 3:
        return rough_sphere(seed);
    case 4:
        return carved_block((uint64_t)pick(seed, 1000));
    default:
        return shape_box(10, 10, 10, 1);
    }
}

/* A rotation about all axes, rows first. */
static void turn_by(struct mesh *mesh, const double angle[3], struct vec move)
{
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        for (int k = 0; k < 3; k++) {
            double c = cos(angle[k]), s = sin(angle[k]);
            p = vec(p.y, p.z, p.x); /* each axis in its turn */
            p = vec(c * p.x - s * p.y, s * p.x + c * p.y, p.z);
        }
        mesh_point_edit(mesh)[v] = vec_point(vec_add(p, move));
    }
}

static struct vec anywhere(uint64_t *seed, double reach)
{
    return vec(reach * (shape_random(seed) - 0.5), reach * (shape_random(seed) - 0.5),
               reach * (shape_random(seed) - 0.5));
}

/* Onto a lattice that the boxes' and carved blocks' faces lie in, or half way between. */
static struct vec lattice(uint64_t *seed)
{
    struct vec move;
    for (int k = 0; k < 3; k++)
        (&move.x)[k] = 5 * (pick(seed, 9) - 4);
    return move;
}

static struct vec some_vertex(uint64_t *seed, const struct mesh *mesh)
{
    return point_vec(mesh_point(mesh)[pick(seed, (int)mesh_vertices(mesh))]);
}

static struct mesh *copy_of(const struct mesh *mesh)
{
    struct mesh *copy = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    memcpy(mesh_point_edit(copy), mesh_point(mesh), array_bytes(mesh->point));
    memcpy(mesh_triangle_edit(copy), mesh_triangle(mesh), array_bytes(mesh->triangle));
    copy->joined = mesh->joined;
    return copy;
}

void pair_make(uint64_t seed, struct mesh *pair[2])
{
    double angle[3];
    for (int i = 0; i < 5; i++) /* neighbouring seeds begin alike */
        shape_random(&seed);
    int kind = pick(&seed, 9);
    pair[0] = shape(&seed);
    if (kind == 4) { /* a copy, a vertex on another */
        pair[1] = copy_of(pair[0]);
        turn_by(pair[1], (double[3]){0, 0, 0},
                vec_sub(some_vertex(&seed, pair[0]), some_vertex(&seed, pair[1])));
        return;
    }
    pair[1] = shape(&seed);
    for (int k = 0; k < 3; k++) /* any, none, or what single precision can just tell from it */
        angle[k] = kind < 4    ? 6.3 * shape_random(&seed)
                   : kind == 8 ? 1e-6 * shape_random(&seed)
                               : 0;
    struct vec move = kind < 4 ? anywhere(&seed, 60) : lattice(&seed);
    if (kind == 3) /* turned, with a vertex on one of the other's */
        move = vec(0, 0, 0);
    turn_by(pair[1], angle, move);
    if (kind == 3)
        turn_by(pair[1], (double[3]){0, 0, 0},
                vec_sub(some_vertex(&seed, pair[0]), some_vertex(&seed, pair[1])));
}
