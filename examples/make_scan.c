/* Makes the demo's data: what a scanner left of the finial after its pieces were merged - with the
 * table still below it, specks floating about, holes where nothing was seen, noise, colour - and
 * the true shape to compare with. All of it invented, and the same every time.
 *
 *     make_scan FOLDER [SPACING]     writes FOLDER/finial-scan.ply and FOLDER/finial-true.ply
 *     make_scan raw FOLDER [SPACING] writes four raw scans of it instead: raw_scans.h
 *     make_scan shells FOLDER [SPACING] the same, each a mesh of eight overlapping shells */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "examples/finial.h"
#include "examples/polygonise.h"
#include "examples/raw_scans.h"
#include "format/format.h"

enum { HOLES = 60, SPECKS = 40, SPECK_FACES = 20, SPECK_POINTS = 12 };
static const double noise_mm = 0.03, table_radius = 48, foot_mm = 0.8;

static uint64_t seed = 20260611;

static double uniform(void) /* 0 to 1 */
{
    seed += 0x9E3779B97F4A7C15ull;
    uint64_t z = seed;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return (double)((z ^ z >> 31) >> 11) / 9007199254740992.0;
}

static double gauss(void)
{
    return sqrt(-2 * log(uniform() + 1e-300)) * cos(6.283185307179586 * uniform());
}

/* The iron and the table it stands on, as one surface. */
static double with_table(struct vec p)
{
    return fmin(finial_distance(p), p.z);
}

/* The iron above the plane at which the demo cuts its foot. */
static double above_foot(struct vec p)
{
    return fmax(finial_distance(p), foot_mm - p.z);
}

/* --- taking away -------------------------------------------------------------------------------------------- */

struct hole {
    struct vec at;
    double radius;
};

static void place_holes(const struct mesh *mesh, struct hole hole[HOLES])
{
    for (int i = 0; i < HOLES;) {
        size_t v = (size_t)(uniform() * (double)mesh_vertices(mesh));
        struct vec at = point_vec(mesh_point(mesh)[v]);
        if (at.z < 9) /* the foot stays whole; it is cut off flat later */
            continue;
        hole[i].at = at;
        hole[i].radius = 0.5 * pow(10, uniform() * uniform()); /* 0.5 to 5 mm, most of them small */
        i++;
    }
}

/* Holes have ragged rims. */
static bool is_gone(struct vec p, const struct hole hole[HOLES])
{
    if (p.z < 0.5 && hypot(p.x, p.y) > table_radius)
        return true;
    for (int i = 0; i < HOLES; i++) {
        double far = vec_length(vec_sub(p, hole[i].at));
        if (far < 1.4 * hole[i].radius && far < hole[i].radius * (1 + 0.3 * finial_noise(vec_scale(p, 1.5))))
            return true;
    }
    return false;
}

/* The mesh without the triangles at whose middle `gone` holds, with room for the specks. */
static struct mesh *with_holes(const struct mesh *mesh, size_t *points, size_t *triangles)
{
    struct hole hole[HOLES];
    place_holes(mesh, hole);
    size_t n = mesh_triangles(mesh), v = mesh_vertices(mesh);
    struct mesh *rest = mesh_new(v + SPECKS * SPECK_POINTS, n + SPECKS * SPECK_FACES);
    uint32_t *number = malloc(v * sizeof *number);
    if (!rest || !number)
        return NULL;
    memset(number, 255, v * sizeof *number);
    *points = *triangles = 0;
    for (size_t t = 0; t < n; t++) {
        struct triangle triangle = mesh_triangle(mesh)[t];
        struct vec middle = vec(0, 0, 0);
        for (int k = 0; k < 3; k++)
            middle = vec_along(middle, 1.0 / 3, point_vec(mesh_point(mesh)[triangle.v[k]]));
        if (is_gone(middle, hole))
            continue;
        for (int k = 0; k < 3; k++) {
            uint32_t old = triangle.v[k];
            if (number[old] == NO_INDEX) {
                number[old] = (uint32_t)*points;
                mesh_point_edit(rest)[(*points)++] = mesh_point(mesh)[old];
            }
            triangle.v[k] = number[old];
        }
        mesh_triangle_edit(rest)[(*triangles)++] = triangle;
    }
    free(number);
    return rest;
}

/* --- adding ---------------------------------------------------------------------------------------------------- */

/* A dented icosahedron somewhere in the air. */
static void speck(struct mesh *mesh, size_t *points, size_t *triangles)
{
    static const double g = 1.618033988749895;
    static const uint8_t face[SPECK_FACES][3] = {
        {0, 11, 5}, {0, 5, 1},  {0, 1, 7},  {0, 7, 10}, {0, 10, 11}, {1, 5, 9}, {5, 11, 4},
        {11, 10, 2}, {10, 7, 6}, {7, 1, 8}, {3, 9, 4},  {3, 4, 2},   {3, 2, 6}, {3, 6, 8},
        {3, 8, 9},  {4, 9, 5},  {2, 4, 11}, {6, 2, 10}, {8, 6, 7},   {9, 8, 1}};
    const double corner[SPECK_POINTS][3] = {{-1, g, 0}, {1, g, 0}, {-1, -g, 0}, {1, -g, 0}, {0, -1, g}, {0, 1, g},
                                            {0, -1, -g}, {0, 1, -g}, {g, 0, -1}, {g, 0, 1}, {-g, 0, -1}, {-g, 0, 1}};
    struct vec at;
    do
        at = vec(100 * uniform() - 50, 100 * uniform() - 50, 3 + 140 * uniform());
    while (finial_distance(at) < 4);
    double size = 0.1 + 0.4 * uniform();
    uint32_t base = (uint32_t)*points;
    for (int i = 0; i < SPECK_POINTS; i++) {
        struct vec c = vec(corner[i][0], corner[i][1], corner[i][2]);
        mesh_point_edit(mesh)[(*points)++] = vec_point(vec_along(at, size * (0.6 + 0.4 * uniform()) / 1.9, c));
    }
    for (int i = 0; i < SPECK_FACES; i++)
        mesh_triangle_edit(mesh)[(*triangles)++] =
            (struct triangle){{base + face[i][0], base + face[i][1], base + face[i][2]}};
}

static bool paint(struct mesh *mesh)
{
    uint8_t(*colour)[4] = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; colour && v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]);
        static const uint8_t table[3] = {176, 164, 142};
        if (p.z < 0.2 && finial_distance(p) > 0.3)
            memcpy(colour[v], table, 3);
        else
            finial_colour(p, colour[v]);
        colour[v][3] = 255;
    }
    return colour != NULL;
}

/* The mesh moved along its normals, as a scanner errs. */
static struct mesh *shaken(const struct mesh *mesh)
{
    const struct normals *normals = mesh_normals(mesh, NULL);
    struct mesh *moved = normals ? mesh_new_like(mesh) : NULL;
    struct array *point = moved ? array_new(mesh_vertices(mesh), sizeof(struct point)) : NULL;
    if (!point) {
        mesh_free(moved);
        return NULL;
    }
    array_free(moved->point);
    moved->point = point;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = point_vec(mesh_point(mesh)[v]), n = point_vec(normals->vertex[v]);
        mesh_point_edit(moved)[v] = vec_point(vec_along(p, noise_mm * gauss(), n));
    }
    return moved;
}

static struct mesh *scan(double spacing)
{
    struct mesh *whole = polygonise(with_table, vec(-51, -51, -2), vec(51, 51, 144), spacing);
    size_t points, triangles;
    struct mesh *mesh = whole ? with_holes(whole, &points, &triangles) : NULL;
    mesh_free(whole);
    if (!mesh)
        return NULL;
    for (int i = 0; i < SPECKS; i++)
        speck(mesh, &points, &triangles);
    array_shrink(mesh->point, points);
    array_shrink(mesh->triangle, triangles);
    struct mesh *noisy = paint(mesh) ? shaken(mesh) : NULL;
    mesh_free(mesh);
    return noisy;
}

static int write(struct mesh *mesh, const char *folder, const char *name)
{
    char path[4096];
    struct job job;
    job_init(&job);
    const struct write_options options = {.unit = UNIT_MM};
    snprintf(path, sizeof path, "%s/%s", folder, name);
    enum status status = mesh ? file_write(mesh, path, NULL, &options, &job) : STATUS_MEMORY;
    if (status != STATUS_OK)
        fprintf(stderr, "make_scan: %s\n", job.message[0] ? job.message : status_meaning(status));
    else
        printf("made %s: %zu triangles\n", name, mesh_triangles(mesh));
    job_release(&job);
    mesh_free(mesh);
    return status_exit(status);
}

int main(int count, char **argument)
{
    bool shells = count > 2 && strcmp(argument[1], "shells") == 0;
    if (shells || (count > 2 && strcmp(argument[1], "raw") == 0)) {
        double apart = count > 3 ? atof(argument[3]) : 0.4;
        if (apart > 0.05)
            return raw_scans(argument[2], apart, shells);
        count = 0;
    }
    double spacing = count > 2 ? atof(argument[2]) : 0.7;
    if (count < 2 || !(spacing > 0.05)) {
        fprintf(stderr, "usage: make_scan [raw|shells] FOLDER [SPACING, mm, more than 0.05]\n");
        return 2;
    }
    int status = write(scan(spacing), argument[1], "finial-scan.ply");
    if (status == 0)
        status = write(polygonise(above_foot, vec(-51, -51, -2), vec(51, 51, 144), spacing), argument[1], "finial-true.ply");
    return status;
}
