#include "tests/support/shapes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct mesh *made(size_t vertices, size_t triangles)
{
    struct mesh *mesh = mesh_new(vertices, triangles);
    if (!mesh)
        abort();
    mesh->joined = true;
    return mesh;
}

struct mesh *shape_make(const double (*points)[3], size_t vertices, const uint32_t (*triangles)[3],
                        size_t count)
{
    struct mesh *mesh = made(vertices, count);
    for (size_t i = 0; i < vertices; i++)
        mesh_point_edit(mesh)[i] = vec_point(vec(points[i][0], points[i][1], points[i][2]));
    for (size_t t = 0; t < count; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[t].v[k] = triangles[t][k];
    mesh->joined = false; /* the caller's lists may repeat positions */
    return mesh;
}

static const double ico[12][3] = {
    {-1, 1.6180339887498949, 0},  {1, 1.6180339887498949, 0},   {-1, -1.6180339887498949, 0},
    {1, -1.6180339887498949, 0},  {0, -1, 1.6180339887498949},  {0, 1, 1.6180339887498949},
    {0, -1, -1.6180339887498949}, {0, 1, -1.6180339887498949},  {1.6180339887498949, 0, -1},
    {1.6180339887498949, 0, 1},   {-1.6180339887498949, 0, -1}, {-1.6180339887498949, 0, 1}};
static const uint32_t ico_face[20][3] = {
    {0, 11, 5},  {0, 5, 1},  {0, 1, 7},  {0, 7, 10}, {0, 10, 11}, {1, 5, 9}, {5, 11, 4},
    {11, 10, 2}, {10, 7, 6}, {7, 1, 8},  {3, 9, 4},  {3, 4, 2},   {3, 2, 6}, {3, 6, 8},
    {3, 8, 9},   {4, 9, 5},  {2, 4, 11}, {6, 2, 10}, {8, 6, 7},   {9, 8, 1}};

struct splitter { /* edge -> its middle vertex, open addressing */
    uint64_t *key;
    uint32_t *value;
    size_t capacity;
    double (*point)[3];
    size_t points;
};

static uint32_t middle(struct splitter *s, uint32_t a, uint32_t b)
{
    uint64_t key = a < b ? (uint64_t)a << 32 | b : (uint64_t)b << 32 | a;
    size_t i = (size_t)(key * 0x9E3779B97F4A7C15ull >> 32) % s->capacity;
    while (s->key[i] != UINT64_MAX && s->key[i] != key)
        i = (i + 1) % s->capacity;
    if (s->key[i] == UINT64_MAX) {
        s->key[i] = key;
        s->value[i] = (uint32_t)s->points;
        for (int k = 0; k < 3; k++)
            s->point[s->points][k] = s->point[a][k] + s->point[b][k];
        s->points++;
    }
    return s->value[i];
}

static void to_sphere(double p[3], double radius)
{
    double l = sqrt(p[0] * p[0] + p[1] * p[1] + p[2] * p[2]);
    for (int k = 0; k < 3; k++)
        p[k] *= radius / l;
}

struct mesh *shape_sphere(double radius, int level)
{
    size_t faces = (size_t)20 << (2 * level), points = faces / 2 + 2;
    double(*point)[3] = malloc(points * sizeof *point);
    uint32_t(*face)[3] = malloc(faces * sizeof *face), (*next)[3] = malloc(faces * sizeof *next);
    struct splitter s = {.capacity = 4 * points, .point = point, .points = 12};
    s.key = malloc(s.capacity * sizeof *s.key);
    s.value = malloc(s.capacity * sizeof *s.value);
    if (!point || !face || !next || !s.key || !s.value)
        abort();
    memcpy(point, ico, sizeof ico);
    memcpy(face, ico_face, sizeof ico_face);
    size_t count = 20;
    for (int i = 0; i < 12; i++)
        to_sphere(point[i], radius);
    for (int l = 0; l < level; l++) {
        memset(s.key, 255, s.capacity * sizeof *s.key);
        size_t from = s.points;
        for (size_t t = 0; t < count; t++) {
            uint32_t *v = face[t];
            uint32_t m[3] = {middle(&s, v[0], v[1]), middle(&s, v[1], v[2]),
                             middle(&s, v[2], v[0])};
            uint32_t four[4][3] = {
                {v[0], m[0], m[2]}, {m[0], v[1], m[1]}, {m[2], m[1], v[2]}, {m[0], m[1], m[2]}};
            memcpy(next[4 * t], four, sizeof four);
        }
        count *= 4;
        memcpy(face, next, count * sizeof *face);
        for (size_t i = from; i < s.points; i++)
            to_sphere(point[i], radius);
    }
    struct mesh *mesh =
        shape_make((const double(*)[3])point, s.points, (const uint32_t(*)[3])face, count);
    mesh->joined = true;
    free(point);
    free(face);
    free(next);
    free(s.key);
    free(s.value);
    return mesh;
}

static uint32_t box_vertex(const int at[3], int n, uint32_t *index, double (*point)[3],
                           size_t *points, const double size[3])
{
    size_t m = (size_t)n + 1, slot = ((size_t)at[2] * m + (size_t)at[1]) * m + (size_t)at[0];
    if (index[slot] == NO_INDEX) {
        index[slot] = (uint32_t)*points;
        for (int k = 0; k < 3; k++)
            point[*points][k] = size[k] * at[k] / n;
        ++*points;
    }
    return index[slot];
}

struct mesh *shape_box(double x, double y, double z, int n)
{
    size_t m = (size_t)n + 1, faces = 12 * (size_t)n * (size_t)n, points = 0, count = 0;
    const double size[3] = {x, y, z};
    uint32_t *index = malloc(m * m * m * sizeof *index);
    double(*point)[3] = malloc((faces / 2 + 2) * sizeof *point);
    uint32_t(*face)[3] = malloc(faces * sizeof *face);
    if (!index || !point || !face)
        abort();
    memset(index, 255, m * m * m * sizeof *index);
    for (int axis = 0; axis < 3; axis++)
        for (int side = 0; side < 2; side++)
            for (int i = 0; i < n; i++)
                for (int j = 0; j < n; j++) {
                    uint32_t q[4];
                    static const int di[4] = {0, 1, 1, 0}, dj[4] = {0, 0, 1, 1};
                    for (int k = 0; k < 4; k++) {
                        int at[3];
                        at[axis] = side ? n : 0;
                        at[(axis + 1) % 3] = i + di[side ? k : 3 - k];
                        at[(axis + 2) % 3] = j + dj[side ? k : 3 - k];
                        q[k] = box_vertex(at, n, index, point, &points, size);
                    }
                    uint32_t two[2][3] = {{q[0], q[1], q[2]}, {q[0], q[2], q[3]}};
                    memcpy(face[count], two, sizeof two);
                    count += 2;
                }
    struct mesh *mesh =
        shape_make((const double(*)[3])point, points, (const uint32_t(*)[3])face, count);
    mesh->joined = true;
    free(index);
    free(point);
    free(face);
    return mesh;
}

struct mesh *shape_torus(double ring, double tube, int around, int across)
{
    size_t vertices = (size_t)around * (size_t)across;
    struct mesh *mesh = made(vertices, 2 * vertices);
    const double turn = 6.283185307179586;
    for (int i = 0; i < around; i++)
        for (int j = 0; j < across; j++) {
            double a = turn * i / around, b = turn * j / across, r = ring + tube * cos(b);
            mesh_point_edit(mesh)[i * across + j] =
                vec_point(vec(r * cos(a), r * sin(a), tube * sin(b)));
            uint32_t p = (uint32_t)(i * across + j), q = (uint32_t)((i + 1) % around * across + j);
            uint32_t p1 = (uint32_t)(i * across + (j + 1) % across);
            uint32_t q1 = (uint32_t)((i + 1) % around * across + (j + 1) % across);
            mesh_triangle_edit(mesh)[2 * p] = (struct triangle){{p, q, q1}};
            mesh_triangle_edit(mesh)[2 * p + 1] = (struct triangle){{p, q1, p1}};
        }
    return mesh;
}

struct mesh *shape_frustum(double base, double top, double height, uint32_t n)
{
    struct mesh *mesh = made(2 * n + 2, 4 * n);
    struct point *p = mesh_point_edit(mesh);
    struct triangle *t = mesh_triangle_edit(mesh);
    p[2 * n] = (struct point){0, 0, 0};
    p[2 * n + 1] = vec_point(vec(0, 0, height));
    for (uint32_t i = 0; i < n; i++) {
        double a = 6.283185307179586 * i / n;
        uint32_t j = (i + 1) % n;
        p[i] = vec_point(vec(base * cos(a), base * sin(a), 0));
        p[n + i] = vec_point(vec(top * cos(a), top * sin(a), height));
        t[4 * i] = (struct triangle){{2 * n, j, i}};
        t[4 * i + 1] = (struct triangle){{2 * n + 1, n + i, n + j}};
        t[4 * i + 2] = (struct triangle){{i, j, n + j}};
        t[4 * i + 3] = (struct triangle){{i, n + j, n + i}};
    }
    return mesh;
}

struct mesh *shape_patch(double side, int n, double (*height)(double x, double y))
{
    size_t m = (size_t)n + 1, count = 0;
    struct mesh *mesh = made(m * m, 2 * (size_t)n * (size_t)n);
    for (size_t i = 0; i < m; i++)
        for (size_t j = 0; j < m; j++) {
            double x = side * (double)i / n, y = side * (double)j / n;
            mesh_point_edit(mesh)[i * m + j] = vec_point(vec(x, y, height ? height(x, y) : 0));
            if (i == m - 1 || j == m - 1)
                continue;
            uint32_t a = (uint32_t)(i * m + j), b = (uint32_t)((i + 1) * m + j);
            mesh_triangle_edit(mesh)[count++] = (struct triangle){{a, b, b + 1}};
            mesh_triangle_edit(mesh)[count++] = (struct triangle){{a, b + 1, a + 1}};
        }
    return mesh;
}

struct mesh *shape_without(const struct mesh *mesh, bool (*drop)(const struct mesh *mesh, size_t t))
{
    size_t count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        count += !drop(mesh, t);
    struct mesh *rest = made(mesh_vertices(mesh), count);
    memcpy(mesh_point_edit(rest), mesh_point(mesh), array_bytes(mesh->point));
    count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        if (!drop(mesh, t))
            mesh_triangle_edit(rest)[count++] = mesh_triangle(mesh)[t];
    return rest;
}

struct mesh *shape_join(const struct mesh *const *mesh, const double (*move)[3], size_t count)
{
    size_t vertices = 0, triangles = 0;
    for (size_t i = 0; i < count; i++) {
        vertices += mesh_vertices(mesh[i]);
        triangles += mesh_triangles(mesh[i]);
    }
    struct mesh *all = made(vertices, triangles);
    all->joined = false;
    struct point *point = mesh_point_edit(all);
    struct triangle *triangle = mesh_triangle_edit(all);
    uint32_t base = 0;
    for (size_t i = 0; i < count; i++) {
        struct vec d = move ? vec(move[i][0], move[i][1], move[i][2]) : vec(0, 0, 0);
        for (size_t v = 0; v < mesh_vertices(mesh[i]); v++)
            *point++ = vec_point(vec_add(point_vec(mesh_point(mesh[i])[v]), d));
        for (size_t t = 0; t < mesh_triangles(mesh[i]); t++, triangle++)
            for (int k = 0; k < 3; k++)
                triangle->v[k] = mesh_triangle(mesh[i])[t].v[k] + base;
        base += (uint32_t)mesh_vertices(mesh[i]);
    }
    return all;
}

struct half { /* an edge, smaller vertex first, and which way its triangle runs it */
    uint32_t a, b;
    int way;
};

static int half_order(const void *x, const void *y)
{
    const struct half *p = x, *q = y;
    if (p->a != q->a)
        return p->a < q->a ? -1 : 1;
    return p->b != q->b ? (p->b < q->b ? -1 : 1) : p->way - q->way;
}

static void count_edges(struct half *half, size_t halves, struct shape_count *count)
{
    qsort(half, halves, sizeof *half, half_order);
    for (size_t i = 0, j; i < halves; i = j) {
        int sum = 0;
        for (j = i; j < halves && half[j].a == half[i].a && half[j].b == half[i].b; j++)
            sum += half[j].way;
        count->edges++;
        count->boundary += j - i == 1;
        count->nonmanifold += j - i > 2;
        count->misoriented += j - i == 2 && sum != 0;
    }
}

struct shape_count shape_count(const struct mesh *mesh)
{
    struct shape_count count = {0};
    size_t n = mesh_triangles(mesh), vertices = mesh_vertices(mesh), used = 0, halves = 0;
    struct half *half = malloc((3 * n + 1) * sizeof *half);
    bool *seen = calloc(vertices + 1, 1);
    if (!half || !seen)
        abort();
    for (size_t t = 0; t < n; t++) {
        struct vec p[3];
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        for (int k = 0; k < 3; k++) {
            p[k] = point_vec(mesh_point(mesh)[v[k]]);
            used += !seen[v[k]];
            seen[v[k]] = true;
            uint32_t a = v[k], b = v[(k + 1) % 3];
            if (a != b)
                half[halves++] = a < b ? (struct half){a, b, 1} : (struct half){b, a, -1};
        }
        struct vec cross = vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]));
        count.area += vec_length(cross) / 2;
        count.degenerate += vec_length(cross) == 0;
        count.volume += vec_dot(p[0], vec_cross(p[1], p[2])) / 6;
    }
    count_edges(half, halves, &count);
    count.euler = (long)used - (long)count.edges + (long)n;
    free(half);
    free(seen);
    return count;
}

double shape_random(uint64_t *state)
{
    *state += 0x9E3779B97F4A7C15ull;
    uint64_t z = *state;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return (double)((z ^ z >> 31) >> 11) / 9007199254740992.0;
}

struct mesh *shape_rough(struct mesh *mesh, float noise)
{
    uint64_t seed = 7;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct point *p = &mesh_point_edit(mesh)[v];
        p->x += noise * (float)(shape_random(&seed) - 0.5);
        p->y += noise * (float)(shape_random(&seed) - 0.5);
        p->z += noise * (float)(shape_random(&seed) - 0.5);
    }
    return mesh;
}
