#include "examples/scanner.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "core/tree.h"

static const double pi = 3.14159265358979323846,
                    far_off = 380, /* mm, the camera from the middle of the disc */
    baseline = 0.22,               /* radians between camera and projector, seen from the disc */
    rim_height = 6,                /* mm, of the disc's edge */
    sag = 0.08,                    /* mm, by which the disc hangs at its edge */
    flattest = 0.13,               /* cosine to the ray below which nothing is measured */
    jump = 5; /* spacings in depth over which a shell's pixels are not joined */
enum { SPECKS = 40, SPECK_MOST = 8 };

double scanner_uniform(uint64_t *state)
{
    *state += 0x9E3779B97F4A7C15ull;
    uint64_t z = *state;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return (double)((z ^ z >> 31) >> 11) / 9007199254740992.0;
}

double scanner_gauss(uint64_t *state)
{
    double u = scanner_uniform(state), v = scanner_uniform(state);
    return sqrt(-2 * log(u + 1e-300)) * cos(2 * pi * v);
}

/* --- one view -------------------------------------------------------------------------------- */

enum what { NOTHING, OBJECT, DISC, FLYING };

struct shot {            /* a pixel's measurement */
    float depth;         /* along the ray, mm */
    float cosine;        /* between the surface's normal and the way to the camera */
    struct point normal; /* in the scanner's frame */
    uint8_t what;
};

struct view {
    const struct scanner *s;
    const struct tree *tree;
    const struct normals *normals;
    struct motion back;                             /* from the scanner's frame into the object's */
    struct vec camera, projector, ahead, right, up; /* in the scanner's frame */
    double step;                                    /* of the ray's direction, a pixel */
    int side;                                       /* pixels in a row, and rows */
    uint64_t seed;
    struct shot *shot;
};

static struct motion inverse(const struct motion *m)
{
    struct motion back = {.scale = 1};
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            back.turn[i][j] = m->turn[j][i];
    back.shift = vec_scale(motion_direction(&back, m->shift), -1);
    return back;
}

static struct vec ray_of(const struct view *v, int row, int column)
{
    double x = (column - v->side / 2.0) * v->step, y = (row - v->side / 2.0) * v->step;
    return vec_unit(vec_along(vec_along(v->ahead, x, v->right), y, v->up));
}

/* How far along the ray the disc's top or edge is met; INFINITY: not. */
static double meet_disc(const struct view *v, struct vec ray, struct vec *normal)
{
    double r2 = v->s->disc * v->s->disc, t = -v->camera.z / ray.z;
    struct vec at = vec_along(v->camera, t, ray);
    if (t > 0 && at.x * at.x + at.y * at.y <= r2) {
        *normal = vec(0, 0, 1);
        double sink = sag * (at.x * at.x + at.y * at.y) / r2;
        return t - sink / ray.z;
    }
    double a = ray.x * ray.x + ray.y * ray.y, b = ray.x * v->camera.x + ray.y * v->camera.y;
    double c = v->camera.x * v->camera.x + v->camera.y * v->camera.y - r2, d = b * b - a * c;
    if (!(d > 0))
        return INFINITY;
    t = (-b - sqrt(d)) / a;
    at = vec_along(v->camera, t, ray);
    *normal = vec_unit(vec(at.x, at.y, 0));
    return t > 0 && at.z < 0 && at.z > -rim_height ? t : INFINITY;
}

static struct hit meet_object(const struct view *v, struct vec from, struct vec ray, double before)
{
    return tree_ray(v->tree, motion_apply(&v->back, from), motion_direction(&v->back, ray), 0,
                    before);
}

static struct vec object_normal(const struct view *v, const struct hit *hit)
{
    const uint32_t *corner = mesh_triangle(v->s->object)[hit->triangle].v;
    struct vec sum = vec(0, 0, 0);
    for (int k = 0; k < 3; k++)
        sum = vec_along(sum, hit->weight[k], point_vec(v->normals->vertex[corner[k]]));
    return vec_unit(motion_direction(&v->s->stands, sum));
}

static bool projector_sees(const struct view *v, struct vec at, struct vec normal)
{
    struct vec way = vec_sub(at, v->projector);
    double length = vec_length(way);
    way = vec_scale(way, 1 / length);
    if (-vec_dot(way, normal) < flattest)
        return false;
    return meet_object(v, v->projector, way, length - 0.3).triangle == NO_INDEX;
}

static struct shot shoot(const struct view *v, int row, int column)
{
    struct shot shot = {0};
    struct vec ray = ray_of(v, row, column), normal;
    double disc = meet_disc(v, ray, &normal);
    struct hit hit = meet_object(v, v->camera, ray, fmin(disc, 2 * far_off));
    if (hit.triangle == NO_INDEX && !isfinite(disc))
        return shot;
    double depth = hit.triangle == NO_INDEX ? disc : hit.t;
    if (hit.triangle != NO_INDEX)
        normal = object_normal(v, &hit);
    double cosine = -vec_dot(ray, normal);
    uint64_t state = v->seed + 4u * (uint64_t)(row * v->side + column);
    /* The flatter, the likelier nothing is measured. */
    if (cosine < flattest + 0.2 * scanner_uniform(&state) * scanner_uniform(&state) ||
        scanner_uniform(&state) < 0.01 ||
        !projector_sees(v, vec_along(v->camera, depth, ray), normal))
        return shot;
    return (struct shot){(float)depth, (float)cosine, vec_point(normal),
                         hit.triangle == NO_INDEX ? DISC : OBJECT};
}

/* Beside a step in depth a pixel may see a bit of both, and its point hangs between. */
static void let_fly(struct view *v)
{
    uint64_t state = v->seed ^ 0xF17;
    for (int row = 0; row + 1 < v->side; row++)
        for (int column = 0; column + 1 < v->side; column++) {
            struct shot *a = &v->shot[row * v->side + column], *b = a + 1;
            if (a->what == NOTHING || b->what == NOTHING || fabsf(a->depth - b->depth) < 3 ||
                scanner_uniform(&state) > 0.1)
                continue;
            a->depth += (float)scanner_uniform(&state) * (b->depth - a->depth);
            a->what = FLYING;
            a->cosine = 0.2f;
        }
}

static void aim(struct view *v, int index)
{
    double turn = 2 * pi * index / v->s->views + 0.1, high = index % 2 ? 0.95 : 0.5;
    struct vec aim_at = vec(0, 0, 25);
    v->camera =
        vec(far_off * cos(high) * cos(turn), far_off * cos(high) * sin(turn), far_off * sin(high));
    turn += baseline;
    v->projector =
        vec(far_off * cos(high) * cos(turn), far_off * cos(high) * sin(turn), far_off * sin(high));
    v->ahead = vec_unit(vec_sub(aim_at, v->camera));
    v->right = vec_unit(vec_cross(v->ahead, vec(0, 0, 1)));
    v->up = vec_cross(v->right, v->ahead);
}

/* --- what is kept of all views --------------------------------------------------------------- */

struct kept {
    struct vec at, ray; /* in the scanner's frame */
    struct point normal;
    float cosine;
    uint8_t what;
};

struct heap { /* the points kept, and the cubes they are in: open addressing */
    struct kept *kept;
    size_t count, room;
    uint64_t *key; /* 0: free */
    uint32_t *of;
    size_t slots;
    double side;
    bool failed;
};

static uint64_t key_of(const struct heap *h, struct vec at)
{
    uint64_t key = 0;
    for (int k = 0; k < 3; k++)
        key = key << 21 | ((uint64_t)(int64_t)(floor((&at.x)[k] / h->side) + (1 << 20)) & 0x1fffff);
    return key + 1;
}

/* Keeps the point that looks most squarely at the camera in each cube. */
static void keep(struct heap *h, struct kept kept)
{
    uint64_t key = key_of(h, kept.at);
    size_t i = (size_t)(key * 0x9E3779B97F4A7C15ull >> 20) & (h->slots - 1);
    while (h->key[i] && h->key[i] != key)
        i = (i + 1) & (h->slots - 1);
    if (h->key[i] && h->kept[h->of[i]].cosine >= kept.cosine)
        return;
    if (!h->key[i] && (h->count == h->room || 2 * h->count > h->slots)) {
        h->failed = true;
        return;
    }
    if (!h->key[i]) {
        h->key[i] = key;
        h->of[i] = (uint32_t)h->count++;
    }
    h->kept[h->of[i]] = kept;
}

static void keep_view(const struct view *v, struct heap *h)
{
    for (int row = 0; row < v->side; row++)
        for (int column = 0; column < v->side; column++) {
            const struct shot *shot = &v->shot[row * v->side + column];
            struct vec ray = ray_of(v, row, column);
            if (shot->what)
                keep(h, (struct kept){vec_along(v->camera, (double)shot->depth, ray), ray,
                                      shot->normal, shot->cosine, shot->what});
        }
}

/* Small clusters in the air. */
static void add_specks(const struct scanner *s, const struct motion *back, struct heap *h)
{
    uint64_t state = s->seed ^ 0x5BEC;
    for (int i = 0; i < SPECKS;) {
        struct vec at =
            vec(s->disc * (2 * scanner_uniform(&state) - 1),
                s->disc * (2 * scanner_uniform(&state) - 1), 3 + 100 * scanner_uniform(&state));
        if (s->distance(motion_apply(back, at)) < 3)
            continue;
        int count = 1 + (int)(SPECK_MOST * scanner_uniform(&state));
        for (int k = 0; k < count; k++) {
            struct vec off =
                vec(scanner_gauss(&state), scanner_gauss(&state), scanner_gauss(&state));
            keep(h, (struct kept){vec_along(at, 0.3, off), vec(0, 0, -1), {0, 0, 1}, 0.2f, FLYING});
        }
        i++;
    }
}

/* --- the mesh -------------------------------------------------------------------------------- */

/* The place on the true surface that the ray meets near `at`: a step by the slope between two. */
static struct vec onto_surface(const struct scanner *s, const struct motion *back, struct vec at,
                               struct vec ray)
{
    const double step = 0.02;
    double here = s->distance(motion_apply(back, at));
    double there = s->distance(motion_apply(back, vec_along(at, step, ray)));
    double slope = (there - here) / step;
    return fabs(slope) > 0.05 && fabs(here / slope) < 0.5 ? vec_along(at, -here / slope, ray) : at;
}

static void finish_point(const struct scanner *s, const struct motion *back,
                         const struct kept *kept, struct mesh *mesh, size_t i)
{
    static const uint8_t disc[3] = {176, 164, 142};
    uint8_t *rgb = (uint8_t *)mesh->attribute[ATTRIBUTE_colour]->data + 4 * i;
    uint64_t state = s->seed + 16 * (uint64_t)i;
    double cosine = (double)kept->cosine, glare = 0.8 + 0.3 * cosine * cosine;
    struct vec at = kept->at, n = point_vec(kept->normal);
    if (kept->what == OBJECT)
        at = onto_surface(s, back, at, kept->ray);
    memcpy(rgb, disc, 3);
    if (kept->what == OBJECT)
        s->colour(motion_apply(back, at), rgb);
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)fmin(255, glare * rgb[k] + 3 * scanner_uniform(&state));
    rgb[3] = 255;
    at = vec_along(at, s->noise * scanner_gauss(&state) / sqrt(fmax(cosine, 0.1)), kept->ray);
    mesh_point_edit(mesh)[i] = vec_point(at);
    n = vec_along(n, 0.07,
                  vec(scanner_gauss(&state), scanner_gauss(&state), scanner_gauss(&state)));
    if (mesh->attribute[ATTRIBUTE_normal])
        ((struct point *)mesh->attribute[ATTRIBUTE_normal]->data)[i] = vec_point(vec_unit(n));
    ((float *)mesh->attribute[ATTRIBUTE_confidence]->data)[i] = kept->cosine;
}

static struct mesh *finished(const struct scanner *s, const struct motion *back,
                             const struct heap *h)
{
    struct mesh *mesh = mesh_new(h->count, 0);
    if (!mesh || !mesh_attribute_new(mesh, ATTRIBUTE_colour) ||
        !mesh_attribute_new(mesh, ATTRIBUTE_normal) ||
        !mesh_attribute_new(mesh, ATTRIBUTE_confidence)) {
        mesh_free(mesh);
        return NULL;
    }
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < h->count; i++)
        finish_point(s, back, &h->kept[i], mesh, i);
    return mesh;
}

static bool heap_new(struct heap *h, const struct scanner *s)
{
    double wide =
        2 * s->disc / s->spacing; /* cubes across the disc: the thing has not thrice as many */
    *h = (struct heap){.room = (size_t)1 << 19, .side = s->spacing};
    while ((double)h->room < 3 * wide * wide)
        h->room *= 2;
    h->slots = 2 * h->room;
    h->kept = malloc(h->room * sizeof *h->kept);
    h->key = calloc(h->slots, sizeof *h->key);
    h->of = malloc(h->slots * sizeof *h->of);
    return h->kept && h->key && h->of;
}

static void look(struct view *v)
{
#pragma omp parallel for schedule(dynamic)
    for (int row = 0; row < v->side; row++)
        for (int column = 0; column < v->side; column++)
            v->shot[row * v->side + column] = shoot(v, row, column);
    let_fly(v);
}

/* Everything but the shots' directions, which are a view's. */
static bool view_new(struct view *v, const struct scanner *s)
{
    double field = 2.3 * s->disc / far_off; /* the angle that takes in disc and object */
    *v = (struct view){.s = s, .back = inverse(&s->stands), .step = 0.85 * s->spacing / far_off};
    v->tree = mesh_tree(s->object, NULL);
    v->normals = mesh_normals(s->object, NULL);
    v->side = (int)(field / v->step);
    v->shot = malloc((size_t)v->side * (size_t)v->side * sizeof *v->shot);
    return v->tree && v->normals && v->shot;
}

static void look_from(struct view *v, int index)
{
    aim(v, index);
    v->seed = v->s->seed * 1000003 + (uint64_t)index * 0x10000000;
    look(v);
}

struct mesh *scanner_scan(const struct scanner *s)
{
    struct heap heap;
    struct view v;
    struct mesh *mesh = NULL;
    bool ok = view_new(&v, s);
    if (heap_new(&heap, s) && ok) {
        for (int i = 0; i < s->views; i++) {
            look_from(&v, i);
            keep_view(&v, &heap);
        }
        add_specks(s, &v.back, &heap);
        mesh = heap.failed ? NULL : finished(s, &v.back, &heap);
    }
    free(heap.kept);
    free(heap.key);
    free(heap.of);
    free(v.shot);
    return mesh;
}

/* --- shells ---------------------------------------------------------------------------------- */

struct shells {
    struct kept *kept;
    struct triangle *triangle;
    size_t points, triangles, point_room, triangle_room;
    uint32_t *number; /* of each pixel of the present view, or NO_INDEX */
};

static bool shells_room(struct shells *h, size_t points, size_t triangles)
{
    if (h->points + points > h->point_room) {
        h->point_room = 2 * (h->points + points);
        void *grown = realloc(h->kept, h->point_room * sizeof *h->kept);
        h->kept = grown ? grown : h->kept;
        if (!grown)
            return false;
    }
    if (h->triangles + triangles > h->triangle_room) {
        h->triangle_room = 2 * (h->triangles + triangles);
        void *grown = realloc(h->triangle, h->triangle_room * sizeof *h->triangle);
        h->triangle = grown ? grown : h->triangle;
        if (!grown)
            return false;
    }
    return true;
}

static void number_pixels(const struct view *v, struct shells *h)
{
    for (int row = 0; row < v->side; row++)
        for (int column = 0; column < v->side; column++) {
            int pixel = row * v->side + column;
            const struct shot *shot = &v->shot[pixel];
            h->number[pixel] = NO_INDEX;
            if (!shot->what)
                continue;
            struct vec ray = ray_of(v, row, column);
            h->number[pixel] = (uint32_t)h->points;
            h->kept[h->points++] = (struct kept){vec_along(v->camera, (double)shot->depth, ray),
                                                 ray, shot->normal, shot->cosine, shot->what};
        }
}

/* Joins three pixels that were seen and are about as far off. */
static void join_pixels(const struct view *v, struct shells *h, int a, int b, int c)
{
    const int pixel[3] = {a, b, c};
    float least = INFINITY, most = -INFINITY;
    for (int k = 0; k < 3; k++) {
        if (h->number[pixel[k]] == NO_INDEX)
            return;
        least = fminf(least, v->shot[pixel[k]].depth);
        most = fmaxf(most, v->shot[pixel[k]].depth);
    }
    if ((double)(most - least) < jump * v->s->spacing)
        h->triangle[h->triangles++] = (struct triangle){{h->number[a], h->number[b], h->number[c]}};
}

static bool add_shell(const struct view *v, struct shells *h)
{
    size_t pixels = (size_t)v->side * (size_t)v->side;
    if (!shells_room(h, pixels, 2 * pixels))
        return false;
    number_pixels(v, h);
    for (int row = 0; row + 1 < v->side; row++)
        for (int column = 0; column + 1 < v->side; column++) {
            int at = row * v->side + column, up = at + v->side;
            join_pixels(v, h, at, at + 1, up + 1);
            join_pixels(v, h, at, up + 1, up);
        }
    return true;
}

static struct mesh *shells_mesh(const struct scanner *s, const struct motion *back,
                                const struct shells *h)
{
    struct mesh *mesh = mesh_new(h->points, h->triangles);
    if (!mesh || !mesh_attribute_new(mesh, ATTRIBUTE_colour) ||
        !mesh_attribute_new(mesh, ATTRIBUTE_confidence)) {
        mesh_free(mesh);
        return NULL;
    }
    memcpy(mesh_triangle_edit(mesh), h->triangle, h->triangles * sizeof *h->triangle);
#pragma omp parallel for schedule(static)
    for (size_t i = 0; i < h->points; i++)
        finish_point(s, back, &h->kept[i], mesh, i);
    return mesh;
}

struct mesh *scanner_shells(const struct scanner *s)
{
    struct shells h = {0};
    struct view v;
    struct mesh *mesh = NULL;
    bool ok = view_new(&v, s);
    h.number = ok ? malloc((size_t)v.side * (size_t)v.side * sizeof *h.number) : NULL;
    ok = ok && h.number;
    for (int i = 0; i < s->views && ok; i++) {
        look_from(&v, i);
        ok = add_shell(&v, &h);
    }
    if (ok)
        mesh = shells_mesh(s, &v.back, &h);
    free(h.kept);
    free(h.triangle);
    free(h.number);
    free(v.shot);
    return mesh;
}
