/* Light: how bright each sample looks, so that form reads well with few shades.
 *
 * A lamp from the viewer's upper left, some light from above, and a relief term that darkens pits
 * and lightens ridges: how far the surroundings rise above the plane of the surface, after the
 * depth buffer's unsharp mask (Luft, Colditz & Deussen 2006, "Image enhancement by unsharp masking
 * the depth buffer"), here reckoned against the tangent plane so that slopes do not count. What is
 * behind a silhouette is darkened by the same term. The result is stretched to the range there is.
 *
 * All loops run over blocks of a row, four samples at a time and one neighbour after the other;
 * samples of the background are reckoned along and thrown away. */
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "core/lanes.h"
#include "raster/image.h"

enum { LANES = 4, BLOCK = 64 /* lanes, of four samples */ };

struct shader {
    struct image *image;
    bool smooth;
    float mm[2];   /* of a sample at the centre: across, down */
    float zoom[2]; /* a sample at z takes mm * (zoom[0] + zoom[1] * z) */
};

struct block {             /* part of a row */
    size_t at;             /* its first sample in the framed arrays */
    int count;             /* lanes; the last ones may reach into the frame */
    lanes n[3][BLOCK];     /* direction */
    lanes slope[2][BLOCK]; /* of the surface, across and down, steps a step */
    lanes steps[BLOCK];    /* a mm, there */
    lanes sum[BLOCK];
};

typedef int16_t short_lanes __attribute__((vector_size(8)));

static inline lanes load(const float *from)
{
    lanes v;
    memcpy(&v, from, sizeof v);
    return v;
}

/* A coordinate of four directions. */
static inline lanes load_facing(const int16_t *from)
{
    short_lanes v;
    memcpy(&v, from, sizeof v);
    return lanes_from(__builtin_convertvector(v, int_lanes)) * (1.0f / FACING_ONE);
}

/* a where the mask holds, else 0. */
static inline lanes where(int_lanes mask, lanes a)
{
    return (lanes)(mask & (int_lanes)a);
}

static inline lanes clamp(lanes a, float low, float high)
{
    return lanes_min(lanes_max(a, lanes_all(low)), lanes_all(high));
}

/* --- directions -------------------------------------------------------------------------- */

/* The direction of a cloud at a sample: the plane of least squares through the samples around that
 * lie no farther off than the window is wide. */
static void fit_facing(const struct shader *shader, size_t at)
{
    struct image *image = shader->image;
    const long reach = 2 * image->grain, stride = (long)image->stride;
    const double z0 = image->z[at], zoom = shader->zoom[0] + shader->zoom[1] * z0;
    const double mx = shader->mm[0] * zoom, my = shader->mm[1] * zoom;
    double n = 0, sx = 0, sy = 0, sz = 0, xx = 0, xy = 0, yy = 0, xz = 0, yz = 0;
    for (long v = -reach; v <= reach; v++)
        for (long u = -reach; u <= reach; u++) {
            double x = (double)u * mx, y = -(double)v * my;
            double z = image->z[at + (size_t)(v * stride + u)] - z0;
            if (!(fabs(z) <= 4 * (double)reach * my))
                continue;
            n++;
            sx += x, sy += y, sz += z;
            xx += x * x, xy += x * y, yy += y * y, xz += x * z, yz += y * z;
        }
    xx -= sx * sx / n, xy -= sx * sy / n, yy -= sy * sy / n, xz -= sx * sz / n, yz -= sy * sz / n;
    double det = xx * yy - xy * xy;
    struct vec normal = vec(0, 0, 1);
    if (det > 1e-9 * (xx + yy) * (xx + yy))
        normal = vec_unit(vec((yz * xy - xz * yy) / det, (xz * xy - yz * xx) / det, 1));
    image->facing[0][at] = (int16_t)(normal.x * FACING_ONE);
    image->facing[1][at] = (int16_t)(normal.y * FACING_ONE);
    image->facing[2][at] = (int16_t)(normal.z * FACING_ONE);
}

static void cloud_row(const struct shader *shader, int y)
{
    struct image *image = shader->image;
    size_t row = (size_t)y * (size_t)image->width;
    for (int x = 0; x < image->width; x++)
        if (image->kind[row + (size_t)x] & KIND_ROUGH)
            fit_facing(shader, image_at(image, x, y));
}

static void own_facing(const struct shader *shader, struct block *b)
{
    for (int k = 0; k < 3; k++)
        for (int x = 0; x < b->count; x++)
            b->n[k][x] = load_facing(shader->image->facing[k] + b->at + LANES * (size_t)x);
}

/* Adds the direction of one neighbour to the sum, if it lies near and looks the same way. */
static void add_neighbour(const struct shader *shader, const struct block *b, long to, float weight,
                          lanes sum[3][BLOCK])
{
    const struct image *image = shader->image;
    const float step = 4 * shader->mm[1] * shader->zoom[0];
    const float more = 4 * shader->mm[1] * shader->zoom[1];
    for (int x = 0; x < b->count; x++) {
        size_t own = b->at + LANES * (size_t)x, at = own + (size_t)to;
        lanes z0 = load(image->z + own), off = load(image->z + at) - z0;
        lanes u = load_facing(image->facing[0] + at), v = load_facing(image->facing[1] + at);
        lanes w = load_facing(image->facing[2] + at);
        lanes alike = u * b->n[0][x] + v * b->n[1][x] + w * b->n[2][x];
        int_lanes near = lanes_max(off, -off) <= step + more * z0;
        lanes share = where(near & (alike > 0.5f), alike * weight);
        sum[0][x] += share * u;
        sum[1][x] += share * v;
        sum[2][x] += share * w;
    }
}

/* The mean direction around each sample: noise finer than a sample goes, edges stay. */
static void mean_facing(const struct shader *shader, struct block *b)
{
    static const float weight[2] = {2, 1};
    lanes sum[3][BLOCK];
    memset(sum, 0, sizeof sum);
    for (int v = -1; v <= 1; v++)
        for (int u = -1; u <= 1; u++)
            add_neighbour(shader, b, v * (long)shader->image->stride + u,
                          weight[abs(u)] * weight[abs(v)], sum);
    for (int x = 0; x < b->count; x++) {
        lanes square = sum[0][x] * sum[0][x] + sum[1][x] * sum[1][x] + sum[2][x] * sum[2][x], one;
        square = lanes_max(square, lanes_all(1e-12f));
        for (int i = 0; i < LANES; i++)
            one[i] = 1 / sqrtf(square[i]);
        for (int k = 0; k < 3; k++)
            b->n[k][x] = sum[k][x] * one;
    }
}

/* --- light ------------------------------------------------------------------------------- */

/* The tangent plane, in steps: samples at the surface's distance. */
static void find_slopes(const struct shader *shader, struct block *b)
{
    const float my = shader->mm[1], wide = shader->mm[0] / my;
    for (int x = 0; x < b->count; x++) {
        lanes z0 = load(shader->image->z + b->at + LANES * (size_t)x);
        lanes steep = 1 / lanes_max(b->n[2][x], lanes_all(0.25f));
        b->slope[0][x] = -b->n[0][x] * wide * steep;
        b->slope[1][x] = b->n[1][x] * steep;
        b->steps[x] = 1 / (my * (shader->zoom[0] + shader->zoom[1] * z0));
    }
}

/* How the neighbour at (u, v) lies to the tangent plane, in parts of its distance; below 0: lower.
 */
static void add_rise(const struct shader *shader, struct block *b, int u, int v, int far)
{
    const float *z0 = shader->image->z + b->at;
    const float *z = z0 + v * (long)shader->image->stride + u;
    const float part = 1 / (float)far, across = (float)u * part, down = (float)v * part;
    for (int x = 0; x < b->count; x++) {
        lanes rise = (load(z + LANES * x) - load(z0 + LANES * x)) * b->steps[x] * part -
                     b->slope[0][x] * across - b->slope[1][x] * down;
        b->sum[x] += clamp(rise, -0.35f, 1); /* the former beside a silhouette */
    }
}

/* Sums up how the surroundings lie: 16 neighbours on two rings. */
static void find_rises(const struct shader *shader, struct block *b)
{
    static const int8_t around[8][2] = {{1, 0},  {1, 1},   {0, 1},  {-1, 1},
                                        {-1, 0}, {-1, -1}, {0, -1}, {1, -1}};
    find_slopes(shader, b);
    memset(b->sum, 0, sizeof b->sum);
    for (int ring = 0; ring < 2; ring++) {
        int far = (ring ? REACH : 2) * shader->image->grain;
        for (int k = 0; k < 8; k++) {
            int reach = k & 1 ? far * 3 / 4 : far;
            add_rise(shader, b, around[k][0] * reach, around[k][1] * reach, far);
        }
    }
}

/* -1 (a ridge) to 1 (a pit); a little of either counts nothing. */
static inline lanes pit_of(lanes rises)
{
    lanes pit = rises * (1.0f / 16);
    return lanes_max(pit - 0.02f, lanes_all(0)) + lanes_min(pit + 0.02f, lanes_all(0));
}

static void light_block(const struct shader *shader, struct block *b, uint16_t *raw,
                        const uint8_t *kind, int samples)
{
    own_facing(shader, b);
    if (shader->smooth)
        mean_facing(shader, b);
    find_rises(shader, b);
    for (int x = 0; x < b->count; x++) {
        lanes nx = b->n[0][x], ny = b->n[1][x], nz = b->n[2][x], pit = pit_of(b->sum[x]);
        lanes key = (-0.50f * nx + 0.62f * ny + 0.60f * nz + 0.25f) * 0.8f;
        lanes light =
            0.08f + 0.72f * lanes_max(key, lanes_all(0)) + 0.07f * (1 + ny) * nz + 0.06f * nz;
        light = clamp(light * (1 - 0.5f * pit) - 0.55f * pit, 0, 1);
        for (int i = 0; i < LANES && LANES * x + i < samples; i++)
            raw[LANES * x + i] = kind[LANES * x + i] ? (uint16_t)(65535 * light[i]) : 0;
    }
}

static void light_row(const struct shader *shader, int y)
{
    struct image *image = shader->image;
    struct block b;
    size_t row = (size_t)y * (size_t)image->width;
    for (int x = 0; x < image->width; x += BLOCK * LANES) {
        int left = image->width - x, samples = left < BLOCK * LANES ? left : BLOCK * LANES;
        b.at = image_at(image, x, y);
        b.count = (samples + LANES - 1) / LANES;
        light_block(shader, &b, image->raw + row + x, image->kind + row + x, samples);
    }
}

/* --- tone -------------------------------------------------------------------------------- */

enum { TONE_BINS = 1024, TONE_SHIFT = 6 };

struct tone { /* out = base + gain * in */
    double base, gain;
};

/* Stretches the 2nd to 98th of a hundred of the surface's light over the range there is; little
 * variety (a flat plate) is not blown up beyond three times. */
static struct tone tone_of(const struct image *image)
{
    static const double dark = 0.16, bright = 0.97, gain_most = 3;
    uint64_t bins[TONE_BINS] = {0}, total = 0, below = 0;
    for (size_t i = 0; i < image_samples(image); i++)
        if (image->kind[i]) {
            bins[image->raw[i] >> TONE_SHIFT]++;
            total++;
        }
    int low = 0, high = TONE_BINS - 1;
    for (int b = 0; b < TONE_BINS; b++) {
        if (below * 100 < total * 2)
            low = b;
        if (below * 100 < total * 98)
            high = b;
        below += bins[b];
    }
    double from = (low + 0.5) / TONE_BINS, to = (high + 0.5) / TONE_BINS;
    double gain = fmin((bright - dark) / fmax(to - from, 1e-3), gain_most);
    /* What the limit on the gain leaves over is shared in proportion to how dark it was. */
    double rest = (bright - dark) - gain * (to - from);
    return (struct tone){dark + rest * fmin(from + to, 1) / 2 * 1.2 - gain * from, gain};
}

static void tone_row(struct image *image, struct tone tone, int y)
{
    for (int x = 0; x < image->width; x++) {
        size_t i = (size_t)y * (size_t)image->width + (size_t)x;
        double light = tone.base + tone.gain * image->raw[i] * (1 / 65535.0);
        light = light > 0.1 ? light < 1 ? light : 1 : 0.1;
        image->light[i] = image->kind[i] ? (uint8_t)(255 * light + 0.5) : 0;
    }
}

void relief_draw(struct image *image, const struct raster_view *view, int threads)
{
    const struct lens *lens = &image->lens;
    struct shader shader = {.image = image, .smooth = view->shade == SHADE_SMOOTH};
    shader.mm[0] = (float)(1 / fabs(lens->scale[0]));
    shader.mm[1] = (float)(1 / fabs(lens->scale[1]));
    shader.zoom[0] = 1;
    shader.zoom[1] = lens->perspective ? (float)(-1 / lens->eye) : 0;
#pragma omp parallel num_threads(threads)
    {
#pragma omp for schedule(dynamic, ROWS_AT_ONCE)
        for (int y = 0; y < image->height; y++)
            cloud_row(&shader, y);
#pragma omp for schedule(dynamic, ROWS_AT_ONCE)
        for (int y = 0; y < image->height; y++)
            light_row(&shader, y);
    }
    struct tone tone = tone_of(image);
#pragma omp parallel for schedule(dynamic, ROWS_AT_ONCE) num_threads(threads)
    for (int y = 0; y < image->height; y++)
        tone_row(image, tone, y);
}
