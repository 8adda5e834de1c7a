#include "tests/support/table_scan.h"

#include <stdlib.h>
#include <string.h>

#include "solid/place.h"
#include "tests/support/shapes.h"

static double gauss(uint64_t *state)
{
    double u = shape_random(state), v = shape_random(state);
    return sqrt(-2 * log(u + 1e-300)) * cos(6.283185307179586 * v);
}

double table_flat(double x, double y)
{
    (void)x;
    (void)y;
    return 0;
}

double table_curved(double x, double y)
{
    double a = x / 60 - 1, b = y / 60 - 1;
    return 0.1 * (a * a + 0.6 * a * b + 0.4 * b * b);
}

struct mesh *table_sheet(double side, double fine, double (*height)(double x, double y),
                         bool (*drop)(const struct mesh *mesh, size_t t))
{
    struct mesh *patch = shape_patch(side, (int)lround(side / fine), height);
    if (!drop)
        return patch;
    struct mesh *rest = shape_without(patch, drop);
    mesh_free(patch);
    return rest;
}

void table_shake(struct mesh *mesh, double by)
{
    uint64_t state = 7;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        p->x += (float)(by * gauss(&state));
        p->y += (float)(by * gauss(&state));
        p->z += (float)(by * gauss(&state));
    }
}

struct table_scan table_with(struct mesh *table, struct mesh *object, double x, double y, double z,
                             double noise)
{
    const struct mesh *part[] = {table, object};
    const double move[][3] = {{0, 0, 0}, {x, y, z}};
    struct table_scan scan = {shape_join(part, move, 2), mesh_triangles(table)};
    if (noise > 0)
        table_shake(scan.mesh, noise);
    mesh_free(table);
    mesh_free(object);
    return scan;
}

struct table_scan table_turned(struct table_scan scan, struct vec axis, double angle,
                               struct vec shift)
{
    struct motion turn = motion_turn(vec_unit(axis), angle, vec(10, 20, 30));
    struct motion move = motion_shift(shift), both = motion_then(&turn, &move);
    struct mesh *mesh = motion_mesh(&both, scan.mesh, NULL);
    mesh_free(scan.mesh);
    scan.mesh = mesh;
    return scan;
}

/* Marks the squares of 0.5 mm over which the object lies. */
enum { SHADE = 1024 };
static void mark_shade(const struct table_scan *scan, uint8_t shade[SHADE][SHADE])
{
    memset(shade, 0, SHADE * SHADE);
    for (size_t t = scan->table; t < mesh_triangles(scan->mesh); t++)
        for (int k = 0; k < 3; k++) {
            struct point p = mesh_point(scan->mesh)[mesh_triangle(scan->mesh)[t].v[k]];
            for (int i = -1; i <= 1; i++)
                for (int j = -1; j <= 1; j++)
                    shade[(int)(2 * p.x + 100) + i][(int)(2 * p.y + 100) + j] = 1;
        }
}

struct table_scan table_cloud(struct table_scan scan)
{
    static uint8_t shade[SHADE][SHADE];
    size_t vertices = mesh_vertices(scan.mesh), count[2] = {0, 0};
    uint8_t *seen = calloc(vertices, 1); /* 1: of the table, 2: of the object */
    mark_shade(&scan, shade);
    for (size_t t = 0; t < mesh_triangles(scan.mesh); t++)
        for (int k = 0; k < 3; k++) {
            const uint32_t *v = mesh_triangle(scan.mesh)[t].v;
            struct vec p[3];
            for (int j = 0; j < 3; j++)
                p[j] = point_vec(mesh_point(scan.mesh)[v[j]]);
            bool up = vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])).z > -0.02;
            if (t >= scan.table && up)
                seen[v[k]] = 2;
            else if (t < scan.table && !shade[(int)(2 * p[k].x + 100)][(int)(2 * p[k].y + 100)])
                seen[v[k]] = 1;
        }
    for (size_t v = 0; v < vertices; v++)
        if (seen[v])
            count[seen[v] - 1]++;
    struct mesh *cloud = mesh_new(count[0] + count[1], 0);
    size_t next[2] = {0, count[0]};
    for (size_t v = 0; v < vertices; v++)
        if (seen[v])
            mesh_point_edit(cloud)[next[seen[v] - 1]++] = mesh_point(scan.mesh)[v];
    free(seen);
    mesh_free(scan.mesh);
    return (struct table_scan){cloud, count[0]};
}
