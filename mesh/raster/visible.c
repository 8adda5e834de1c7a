/* Which triangle each sample sees.
 *
 * Vertices are projected to 1/4096 of a sample and coverage is decided in whole numbers with the
 * top-left rule, so that triangles which share an edge neither leave a gap between them nor fall on
 * a sample twice. Most triangles of a scan are smaller than a sample and hold no sample's middle.
 * To find this out at the cost of few bytes, each vertex first gets its place: how many columns and
 * rows of samples have their middles before it. A triangle whose corners agree in one of the two
 * covers nothing, and neither does one that lies wholly beside the picture. Only the others are
 * projected again and drawn. Depth and number of the triangle are one 64-bit word and the nearest
 * is an atomic minimum, so any number of threads in any order gives the same picture. */
#include <omp.h>

#include "raster/image.h"
#include "raster/pose.h"

enum {
    VERTICES_AT_ONCE = 1 << 14,
    TRIANGLES_AT_ONCE = 1 << 14,
    SIEVE = 512, /* triangles sieved before what is left of them is drawn */
    AHEAD = 12   /* triangles whose corners are asked for before they are needed */
};
#define PLACE_BEHIND UINT32_MAX /* differs from all places in both halves */

struct part { /* what the threads share while one mesh is drawn */
    struct image *image;
    const struct mesh *mesh;
    struct pose pose;
    uint32_t first;
};

/* --- places ------------------------------------------------------------------------------ */

/* Sample middles before x (steps), of `count`. Truncates as shot_of does. */
static inline uint32_t middles_before(double x, int count)
{
    double low = -SHOT_ONE, high = (double)(count + 1) * SHOT_ONE;
    x = x > low ? x : low; /* not a number goes low */
    x = x < high ? x : high;
    int32_t before = ((int32_t)x + SHOT_ONE / 2 - 1) >> SHOT_BITS;
    before = before > 0 ? before : 0;
    return (uint32_t)(before < count ? before : count);
}

static void place_level(const struct part *part, size_t from, size_t to)
{
    const struct pose pose = part->pose;
    const struct point *p = mesh_point(part->mesh);
    const int width = part->image->width, height = part->image->height;
    uint32_t *place = part->image->place;
    for (size_t i = from; i < to; i++) {
        double px = p[i].x, py = p[i].y, pz = p[i].z;
        double x = pose.turn[0].x * px + pose.turn[0].y * py + pose.turn[0].z * pz + pose.shift.x;
        double y = pose.turn[1].x * px + pose.turn[1].y * py + pose.turn[1].z * pz + pose.shift.y;
        place[i] = middles_before(x * pose.scale[0] + pose.middle[0], width) |
                   middles_before(y * pose.scale[1] + pose.middle[1], height) << 16;
    }
}

static void place_perspective(const struct part *part, size_t from, size_t to)
{
    const struct pose pose = part->pose;
    const struct point *p = mesh_point(part->mesh);
    const int width = part->image->width, height = part->image->height;
    uint32_t *place = part->image->place;
    for (size_t i = from; i < to; i++) {
        double px = p[i].x, py = p[i].y, pz = p[i].z;
        double x = pose.turn[0].x * px + pose.turn[0].y * py + pose.turn[0].z * pz + pose.shift.x;
        double y = pose.turn[1].x * px + pose.turn[1].y * py + pose.turn[1].z * pz + pose.shift.y;
        double z = pose.turn[2].x * px + pose.turn[2].y * py + pose.turn[2].z * pz + pose.shift.z;
        double away = pose.eye - z, k = pose.eye / away;
        uint32_t at = middles_before(x * k * pose.scale[0] + pose.middle[0], width) |
                      middles_before(y * k * pose.scale[1] + pose.middle[1], height) << 16;
        place[i] = away > pose.near ? at : PLACE_BEHIND;
    }
}

static enum status place_all(struct part *part, struct job *job)
{
    struct image *image = part->image;
    size_t count = mesh_vertices(part->mesh);
    if (count > image->place_room) {
        scratch_free(image->place);
        image->place_room = 0;
        image->place = scratch_new(count, sizeof *image->place);
        if (!image->place)
            return job_fail_memory(job, count * sizeof *image->place);
        image->place_room = count;
    }
#pragma omp parallel for schedule(dynamic) num_threads(job_threads(job))
    for (size_t from = 0; from < count; from += VERTICES_AT_ONCE) {
        size_t to = count - from < VERTICES_AT_ONCE ? count : from + VERTICES_AT_ONCE;
        if (!job_cancelled(job))
            (part->pose.perspective ? place_perspective : place_level)(part, from, to);
    }
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- triangles --------------------------------------------------------------------------- */

/* An edge function: positive on the inner side, moved by one where the edge itself is not the
 * triangle's, so that inside means >= 0. */
struct edge {
    int64_t dx, dy; /* its change from one sample to the next */
    int64_t at;     /* at the first sample of the box */
};

static inline struct edge edge_of(const struct shot *a, const struct shot *b, int64_t x, int64_t y)
{
    int64_t ex = (int64_t)b->x - a->x, ey = (int64_t)b->y - a->y;
    bool top_left = ey < 0 || (ey == 0 && ex > 0);
    return (struct edge){-ey * SHOT_ONE, ex * SHOT_ONE,
                         ex * (y - a->y) - ey * (x - a->x) - (top_left ? 0 : 1)};
}

static inline double least(double a, double b)
{
    return a < b ? a : b;
}
static inline double most(double a, double b)
{
    return a > b ? a : b;
}

struct box { /* of samples, both ends included */
    int x0, y0, x1, y1;
};

static inline void span(int32_t a, int32_t b, int32_t c, int count, int *first, int *last)
{
    int32_t low = a < b ? a : b, high = a > b ? a : b;
    low = low < c ? low : c;
    high = high > c ? high : c;
    low = (low + SHOT_ONE / 2 - 1) >> SHOT_BITS;
    high = (high - SHOT_ONE / 2) >> SHOT_BITS;
    *first = low > 0 ? low : 0;
    *last = high < count ? high : count - 1;
}

/* Depth across a triangle: at a corner, what weights of the others add, and the corners' range. */
struct slope {
    double at, to_b, to_c, lowest, highest;
};

static inline float depth_at(const struct slope *slope, int64_t for_b, int64_t for_c)
{
    double q = slope->at + slope->to_b * (double)for_b + slope->to_c * (double)for_c;
    return (float)least(most(q, slope->lowest), slope->highest);
}

static void fill_box(struct image *image, const struct edge edge[3], const struct box *box,
                     const struct slope *slope, uint32_t number, bool back)
{
    struct edge ab = edge[0], bc = edge[1], ca = edge[2];
    for (int row = box->y0; row <= box->y1; row++) {
        size_t i = (size_t)row * (size_t)image->width + (size_t)box->x0;
        int64_t u = ab.at, v = bc.at, w = ca.at;
        for (int column = box->x0; column <= box->x1; column++, i++) {
            if ((u | v | w) >= 0)
                image_put(image, i, depth_at(slope, w, u), number, back);
            u += ab.dx;
            v += bc.dx;
            w += ca.dx;
        }
        ab.at += ab.dy;
        bc.at += bc.dy;
        ca.at += ca.dy;
    }
}

static void draw_shots(struct image *image, const struct shot *a, const struct shot *b,
                       const struct shot *c, uint32_t number)
{
    struct box box;
    span(a->x, b->x, c->x, image->width, &box.x0, &box.x1);
    span(a->y, b->y, c->y, image->height, &box.y0, &box.y1);
    if (box.x0 > box.x1 || box.y0 > box.y1)
        return;
    int64_t area = ((int64_t)b->x - a->x) * ((int64_t)c->y - a->y) -
                   ((int64_t)b->y - a->y) * ((int64_t)c->x - a->x);
    bool back = area > 0; /* y counts down: the outside runs the other way round */
    if (!back) {
        const struct shot *swap = b;
        b = c;
        c = swap;
        area = -area;
    }
    int64_t x = (int64_t)box.x0 * SHOT_ONE + SHOT_ONE / 2;
    int64_t y = (int64_t)box.y0 * SHOT_ONE + SHOT_ONE / 2;
    struct edge edge[3] = {edge_of(a, b, x, y), edge_of(b, c, x, y), edge_of(c, a, x, y)};
    const bool one_sample = box.x0 == box.x1 && box.y0 == box.y1;
    if (area == 0 || (one_sample && (edge[0].at | edge[1].at | edge[2].at) < 0))
        return;
    double one = 1.0 / (double)area;
    struct slope slope = {a->q, (b->q - a->q) * one, (c->q - a->q) * one,
                          least(a->q, least(b->q, c->q)), most(a->q, most(b->q, c->q))};
    if (one_sample)
        image_put(image, (size_t)box.y0 * (size_t)image->width + (size_t)box.x0,
                  depth_at(&slope, edge[2].at, edge[0].at), number, back);
    else
        fill_box(image, edge, &box, &slope, number, back);
}

/* A triangle that reaches out of the range of shots or behind the viewer. */
static void draw_clipped(const struct part *part, const struct triangle *triangle,
                         const struct shot shot[3], uint32_t number)
{
    struct vec view[3];
    struct shot corner[CLIP_MOST];
    for (int k = 0; k < 3; k++)
        view[k] = pose_apply(&part->pose, mesh_point(part->mesh)[triangle->v[k]]);
    int corners = clip_triangle(&part->image->lens, view, shot, corner);
    for (int k = 2; k < corners; k++)
        draw_shots(part->image, &corner[0], &corner[k - 1], &corner[k], number);
}

/* Which of the triangles may cover a sample; returns how many. */
static int sieve(const uint32_t *place, const struct triangle *triangle, size_t from, size_t to,
                 uint32_t *left)
{
    int count = 0;
    for (size_t t = from; t < to; t++) {
        uint32_t a = place[triangle[t].v[0]];
        uint32_t differ = (a ^ place[triangle[t].v[1]]) | (a ^ place[triangle[t].v[2]]);
        left[count] = (uint32_t)t;
        count += (differ & 0xffff) && differ >> 16;
    }
    return count;
}

/* Projects the corners of the triangles that are left: shot[3 * i + k]. First they are gathered, so
 * that the sums become vector code. */
static void project_left(const struct part *part, const uint32_t *left, int count,
                         struct shot *shot)
{
    const struct triangle *triangle = mesh_triangle(part->mesh);
    const struct point *point = mesh_point(part->mesh);
    const struct pose pose = part->pose;
    struct point corner[3 * SIEVE];
    for (int i = 0; i < count; i++) {
        const uint32_t *v = triangle[left[i]].v;
        const uint32_t *soon = triangle[left[i + AHEAD < count ? i + AHEAD : i]].v;
        for (int k = 0; k < 3; k++) {
            __builtin_prefetch(&point[soon[k]]);
            corner[3 * i + k] = point[v[k]];
        }
    }
    if (pose.perspective)
        for (int i = 0; i < 3 * count; i++)
            shot[i] = pose_shot_perspective(&pose, corner[i]);
    else
        for (int i = 0; i < 3 * count; i++)
            shot[i] = pose_shot_level(&pose, corner[i]);
}

static void draw_some(const struct part *part, size_t from, size_t to)
{
    const struct triangle *triangle = mesh_triangle(part->mesh);
    uint32_t left[SIEVE];
    struct shot shot[3 * SIEVE];
    int count = sieve(part->image->place, triangle, from, to, left);
    project_left(part, left, count, shot);
    for (int i = 0; i < count; i++) {
        const struct shot *corner = &shot[3 * i];
        uint32_t number = part->first + left[i];
        if (corner[0].off | corner[1].off | corner[2].off)
            draw_clipped(part, &triangle[left[i]], corner, number);
        else
            draw_shots(part->image, &corner[0], &corner[1], &corner[2], number);
    }
}

enum status visible_draw(struct image *image, const struct mesh *mesh, uint32_t first,
                         struct job *job)
{
    struct part part = {
        .image = image, .mesh = mesh, .pose = pose_of(&image->lens, mesh), .first = first};
    enum status status = place_all(&part, job);
    if (status != STATUS_OK)
        return status;
    size_t count = mesh_triangles(mesh);
#pragma omp parallel for schedule(dynamic) num_threads(job_threads(job))
    for (size_t from = 0; from < count; from += TRIANGLES_AT_ONCE) {
        size_t to = count - from < TRIANGLES_AT_ONCE ? count : from + TRIANGLES_AT_ONCE;
        if (!job_step(job, to - from))
            continue;
        for (size_t t = from; t < to; t += SIEVE)
            draw_some(&part, t, to - t < SIEVE ? to : t + SIEVE);
    }
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
