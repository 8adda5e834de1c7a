#include "tests/support/scanner.h"

#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "tests/support/shapes.h"

static const double pi = 3.14159265358979323846;

double scanner_gauss(uint64_t *seed)
{
    double u = shape_random(seed), v = shape_random(seed);
    return sqrt(-2 * log(u + 1e-300)) * cos(2 * pi * v);
}

/* --- solids ---------------------------------------------------------------------------------- */

enum { WAVES = 12 };
static double vary[8] = {0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5}; /* proportions, 0 to 1 */
static double wave[WAVES][4] = {
    {0.21, 0.05, 0.11, 1}, {-0.09, 0.24, 0.07, 2}, {0.13, -0.17, 0.19, 3}};

void scanner_vary(uint64_t seed)
{
    for (int i = 0; i < 8; i++)
        vary[i] = shape_random(&seed);
    for (int i = 0; i < WAVES; i++)
        for (int k = 0; k < 4; k++)
            wave[i][k] = k == 3 ? 6 * shape_random(&seed)
                                : (0.1 + 0.04 * i) * (shape_random(&seed) - 0.5) * 2;
}

/* A gentle unevenness of about the given depth. */
static double uneven(struct vec p, double depth)
{
    double sum = 0;
    for (int i = 0; i < WAVES; i++)
        sum += sin(wave[i][0] * p.x + wave[i][1] * p.y + wave[i][2] * p.z + wave[i][3]);
    return depth * sum / sqrt(WAVES);
}

static double blend(double a, double b, double radius)
{
    double h = fmax(radius - fabs(a - b), 0) / radius;
    return fmin(a, b) - h * h * radius / 4;
}

static double box(struct vec p, struct vec half, double round)
{
    struct vec d =
        vec(fabs(p.x) - half.x + round, fabs(p.y) - half.y + round, fabs(p.z) - half.z + round);
    struct vec out = vec(fmax(d.x, 0), fmax(d.y, 0), fmax(d.z, 0));
    return vec_length(out) + fmin(fmax(d.x, fmax(d.y, d.z)), 0) - round;
}

static double capsule(struct vec p, struct vec a, struct vec b, double radius)
{
    struct vec ab = vec_sub(b, a);
    double t = fmin(fmax(vec_dot(vec_sub(p, a), ab) / vec_length2(ab), 0), 1);
    return vec_length(vec_sub(p, vec_along(a, t, ab))) - radius;
}

double solid_jug(struct vec p)
{
    double rho = hypot(p.x, p.y), z = p.z + 45;
    double profile = 24 + 9 * sin(z * (0.05 + 0.02 * vary[0])) + 5 * cos(z * 0.11 + 3 * vary[1]);
    double d = fmax((rho - profile) * 0.75, fmax(-z, z - 90));
    d = blend(d, capsule(p, vec(20, 0, 36), vec(42 + 8 * vary[2], 3, 44), 6), 5);
    struct vec q = vec(p.x + 26 + 6 * vary[3], p.y, p.z + 4);
    double ring = hypot(hypot(q.x, q.z) - 22, q.y) - 4.5;
    d = blend(d, ring, 3);
    return (d + (d < 2 ? uneven(p, 0.35) : 0)) * 0.85;
}

double solid_bracket(struct vec p)
{
    double d = box(vec_sub(p, vec(0, 0, -18)), vec(50, 30, 5), 1);
    d = fmin(d, box(vec_sub(p, vec(-42 + 6 * vary[0], 0, 10)), vec(6, 30, 30), 1));
    d = fmin(d, capsule(p, vec(20 + 10 * vary[1], 5, -18), vec(20 + 10 * vary[1], 5, 8), 11));
    double rib = fmax(fabs(p.y + 10 * vary[2]) - 3, (p.x + p.z * 1.2 + 8) * 0.62);
    d = fmin(d, fmax(rib, fmax(-p.z - 18, -p.x - 40)));
    d = fmax(d, 5.5 - hypot(p.x - 20 - 10 * vary[1], p.y - 5));
    d = fmax(d, 4 - hypot(p.x - 42, p.y + 20));
    d = fmax(d, 7 + 2 * vary[3] - hypot(p.y - 8, p.z - 22));
    return d;
}

double solid_pebbles(struct vec p)
{
    double d = INFINITY;
    for (int i = 0; i < 7; i++) {
        double a = i * 2.4 + 2 * vary[i], h = 12 * i - 40;
        struct vec c = vec((18 + 8 * vary[7 - i]) * cos(a), (18 + 8 * vary[i]) * sin(a), h);
        struct vec q = vec_sub(p, c);
        double stretched = vec_length(vec(q.x * 0.9, q.y * (0.7 + 0.3 * vary[i]), q.z));
        d = i ? blend(d, stretched - 22, 8) : stretched - 22;
    }
    return (d + (d < 2 ? uneven(p, 0.5) : 0)) * 0.7;
}

double solid_mask(struct vec p)
{
    double bent = p.z - 0.008 * p.x * p.x - 0.004 * p.y * p.y + 12;
    double relief =
        2.5 * sin(p.x * 0.16 + 3 * vary[0]) * cos(p.y * 0.13 + 3 * vary[1]) + uneven(p, 0.8);
    double nose = 10 * exp(-(p.x * p.x + (p.y - 5) * (p.y - 5)) / (60 + 40 * vary[2]));
    double d = fabs(bent - relief - nose) - 3;
    return fmax(d * 0.45, box(p, vec(42, 55, 60), 8));
}

double solid_ball(struct vec p)
{
    return vec_length(p) - 40;
}

double solid_rod(struct vec p)
{
    return hypot(p.x, p.y) - 18;
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
                trace(solid, pixel(&image, s, x, y), image.along, 2 * s->radius);
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
