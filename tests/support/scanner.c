#include "tests/support/scanner.h"

#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "core/tree.h"
#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

double scanner_gauss(uint64_t *seed)
{
    double u = shape_random(seed), v = shape_random(seed);
    return sqrt(-2 * log(u + 1e-300)) * cos(2 * pi * v);
}

/* --- seeing ---------------------------------------------------------------------------------- */

struct image {
    int side;
    double *depth; /* along the ray; NAN: nothing seen */
    struct vec at, right, up, along;
};

static double trace(solid_distance solid, struct vec from, struct vec along, double far)
{
    double t = 0;
    for (int i = 0; i < 400 && t < far; i++) {
        double d = solid(vec_along(from, t, along));
        if (d < 1e-5)
            return t;
        t += d;
    }
    return NAN;
}

static double cast(const struct mesh *surface, struct vec from, struct vec along, double far)
{
    const struct tree *tree = mesh_tree(surface, NULL);
    struct hit hit = tree_ray(tree, mesh_local(surface, from), along, 0, far);
    return hit.triangle == NO_INDEX ? (double)NAN : hit.t;
}

static struct vec pixel(const struct image *image, const struct scanner *s, int x, int y)
{
    double half = (image->side - 1) / 2.0;
    struct vec p = vec_along(image->at, (x - half) * s->spacing, image->right);
    return vec_along(p, (y - half) * s->spacing, image->up);
}

static struct image take_image(solid_distance solid, const struct scanner *s)
{
    struct image image = {.side = (int)(2 * s->radius / s->spacing) + 1};
    struct vec u, v, from = vec_unit(s->from);
    vec_frame(from, &u, &v);
    image.along = vec_scale(from, -1);
    image.at = vec_scale(from, s->radius);
    image.right = vec_along(vec_scale(u, cos(s->roll)), sin(s->roll), v);
    image.up = vec_cross(from, image.right);
    image.depth = malloc((size_t)image.side * (size_t)image.side * sizeof *image.depth);
    if (!image.depth)
        abort();
#pragma omp parallel for schedule(dynamic, 4)
    for (int y = 0; y < image.side; y++)
        for (int x = 0; x < image.side; x++)
            image.depth[y * image.side + x] =
                s->surface ? cast(s->surface, pixel(&image, s, x, y), image.along, 2 * s->radius)
                           : trace(solid, pixel(&image, s, x, y), image.along, 2 * s->radius);
    return image;
}

/* Whether the surface runs on between two pixels that are `apart` mm apart. */
static bool runs_on(double a, double b, double apart)
{
    return fabs(a - b) < 3.73 * apart;
}

static size_t join_pixels(const struct image *image, const uint32_t *vertex, double spacing,
                          struct triangle *out)
{
    size_t count = 0;
    int n = image->side;
    for (int i = 0; i < (n - 1) * (n - 1); i++) {
        int at = i / (n - 1) * n + i % (n - 1);
        const int corner[2][3] = {{at, at + 1, at + n + 1}, {at, at + n + 1, at + n}};
        for (int k = 0; k < 2; k++) {
            bool seen = true;
            for (int c = 0; c < 3; c++) {
                int a = corner[k][c], b = corner[k][(c + 1) % 3];
                bool across = c == (k == 0 ? 2 : 0); /* the diagonal */
                seen = seen && vertex[a] != NO_INDEX && vertex[b] != NO_INDEX &&
                       runs_on(image->depth[a], image->depth[b], spacing * (across ? 1.414 : 1));
            }
            if (seen)
                out[count++] = (struct triangle){
                    {vertex[corner[k][0]], vertex[corner[k][1]], vertex[corner[k][2]]}};
        }
    }
    return count;
}

struct mesh *scanner_view(solid_distance solid, const struct scanner *s)
{
    struct image image = take_image(solid, s);
    size_t pixels = (size_t)image.side * (size_t)image.side, seen = 0;
    uint32_t *vertex = malloc(pixels * sizeof *vertex);
    struct mesh *mesh = mesh_new(pixels, 2 * pixels);
    uint64_t seed = s->seed + 77;
    if (!vertex || !mesh)
        abort();
    for (size_t i = 0; i < pixels; i++) {
        vertex[i] = NO_INDEX;
        if (isnan(image.depth[i]))
            continue;
        double depth = image.depth[i] + s->noise * scanner_gauss(&seed);
        struct vec p = pixel(&image, s, (int)i % image.side, (int)i / image.side);
        vertex[i] = (uint32_t)seen;
        mesh_point_edit(mesh)[seen++] = vec_point(vec_along(p, depth, image.along));
    }
    size_t joined =
        s->points_only ? 0 : join_pixels(&image, vertex, s->spacing, mesh_triangle_edit(mesh));
    array_shrink(mesh->point, seen);
    array_shrink(mesh->triangle, joined);
    free(vertex);
    free(image.depth);
    return mesh;
}

/* --- moving ---------------------------------------------------------------------------------- */

struct rigid scanner_pose(uint64_t *seed, double far)
{
    double q[4], length = 0;
    for (int k = 0; k < 4; k++) {
        q[k] = scanner_gauss(seed);
        length += q[k] * q[k];
    }
    length = sqrt(length);
    struct vec axis = vec_unit(vec(q[1], q[2], q[3]));
    struct rigid pose = rigid_turn(vec_scale(axis, 2 * acos(q[0] / length)));
    pose.shift = vec(far * (2 * shape_random(seed) - 1), far * (2 * shape_random(seed) - 1),
                     far * (2 * shape_random(seed) - 1));
    return pose;
}

struct mesh *scanner_moved(const struct mesh *mesh, const struct rigid *pose)
{
    struct mesh *moved = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    if (!moved)
        abort();
    memcpy(mesh_triangle_edit(moved), mesh_triangle(mesh), array_bytes(mesh->triangle));
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        mesh_point_edit(moved)[v] =
            vec_point(rigid_apply(pose, mesh_world(mesh, point_vec(mesh_point(mesh)[v]))));
    return moved;
}

struct rigid scanner_knock(double angle, double shift, uint64_t *seed)
{
    struct rigid any = scanner_pose(seed, 1), by;
    struct vec axis = vec_unit(vec(any.turn[0][0], any.turn[0][1], any.turn[0][2]));
    by = rigid_turn(vec_scale(axis, angle * pi / 180));
    by.shift = vec_scale(vec_unit(any.shift), shift);
    return by;
}

double scanner_error(const struct mesh *mesh, const struct rigid *found, const struct rigid *truth)
{
    double sum = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = mesh_world(mesh, point_vec(mesh_point(mesh)[v]));
        sum += vec_length2(vec_sub(rigid_apply(found, p), rigid_apply(truth, p)));
    }
    return sqrt(sum / (double)mesh_vertices(mesh));
}

struct mesh *scanner_stray(const struct mesh *mesh, double share, uint64_t *seed)
{
    size_t points = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    size_t more = (size_t)(share * (double)points) / 3;
    struct mesh *out = mesh_new(points + 3 * more, triangles + (triangles ? more : 0));
    const struct bounds *box = mesh_bounds(mesh, NULL);
    if (!out || !box)
        abort();
    memcpy(mesh_point_edit(out), mesh_point(mesh), array_bytes(mesh->point));
    memcpy(mesh_triangle_edit(out), mesh_triangle(mesh), array_bytes(mesh->triangle));
    for (size_t i = 0; i < 3 * more; i++) {
        struct vec at = vec(shape_random(seed), shape_random(seed), shape_random(seed));
        struct vec p = vec(box->min.x + at.x * box->size.x, box->min.y + at.y * box->size.y,
                           box->min.z + at.z * box->size.z);
        if (triangles && i % 3) /* the other corners of a speck */
            p = vec_along(point_vec(mesh_point(out)[points + i - i % 3]), 0.5, at);
        mesh_point_edit(out)[points + i] = vec_point(p);
    }
    for (size_t i = 0; i < (triangles ? more : 0); i++)
        for (uint32_t k = 0; k < 3; k++)
            mesh_triangle_edit(out)[triangles + i].v[k] = (uint32_t)(points + 3 * i) + k;
    return out;
}
