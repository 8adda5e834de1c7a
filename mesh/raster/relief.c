/* Light: how bright each sample looks, so that form reads well with few shades.
 *
 * A lamp from the viewer's upper left, some light from above, and a relief term that darkens pits
 * and lightens ridges: how far the surroundings rise above the plane of the surface, after the
 * depth buffer's unsharp mask (Luft, Colditz & Deussen 2006, "Image enhancement by unsharp masking
 * the depth buffer"), here reckoned against the tangent plane so that slopes do not count. What is
 * behind a silhouette is darkened by the same term. The result is stretched to the range there is.
 *
 * All loops run over blocks of a row, one neighbour at a time, so that they become vector code;
 * samples of the background are reckoned along and thrown away. */
#include <omp.h>
#include <stdlib.h>

#include "raster/image.h"

enum { BLOCK = 256 };

struct shader {
    struct image *image;
    bool smooth;
    float mm[2];   /* of a sample at the centre: across, down */
    float zoom[2]; /* a sample at z takes mm * (zoom[0] + zoom[1] * z) */
};

struct block { /* part of a row */
    size_t at; /* its first sample in the framed arrays */
    int count;
    float n[3][BLOCK];     /* direction */
    float slope[2][BLOCK]; /* of the surface, across and down, steps a step */
    float steps[BLOCK];    /* a mm, there */
    float pit[BLOCK];
    float sum[BLOCK];
};

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
    for (int k = 0; k < 3; k++) {
        const int16_t *facing = shader->image->facing[k] + b->at;
        for (int x = 0; x < b->count; x++)
            b->n[k][x] = (float)facing[x] * (1.0f / FACING_ONE);
    }
}

/* Adds the direction of one neighbour to the sum, if it lies near and looks the same way. */
static void add_neighbour(const struct shader *shader, struct block *b, long to, float weight,
                          float sum[3][BLOCK])
{
    const struct image *image = shader->image;
    const size_t at = b->at + (size_t)to;
    const float *z0 = image->z + b->at, *z = image->z + at;
    const int16_t *nx = image->facing[0] + at, *ny = image->facing[1] + at;
    const int16_t *nz = image->facing[2] + at;
    const float step = 4 * shader->mm[1] * shader->zoom[0];
    const float more = 4 * shader->mm[1] * shader->zoom[1], one = 1.0f / FACING_ONE;
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float off = z[x] - z0[x], far = off < 0 ? -off : off, limit = step + more * z0[x];
        float u = (float)nx[x] * one, v = (float)ny[x] * one, w = (float)nz[x] * one;
        float alike = u * b->n[0][x] + v * b->n[1][x] + w * b->n[2][x];
        float share = alike > 0.5f ? alike * weight : 0;
        share = far <= limit ? share : 0;
        sum[0][x] += share * u;
        sum[1][x] += share * v;
        sum[2][x] += share * w;
    }
}

/* The mean direction around each sample: noise finer than a sample goes, edges stay. */
static void mean_facing(const struct shader *shader, struct block *b)
{
    static const float weight[2] = {2, 1};
    float sum[3][BLOCK] = {0};
    for (int v = -1; v <= 1; v++)
        for (int u = -1; u <= 1; u++)
            add_neighbour(shader, b, v * (long)shader->image->stride + u,
                          weight[abs(u)] * weight[abs(v)], sum);
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float length = sum[0][x] * sum[0][x] + sum[1][x] * sum[1][x] + sum[2][x] * sum[2][x];
        float one = 1 / sqrtf(length > 1e-12f ? length : 1e-12f);
        b->n[0][x] = sum[0][x] * one;
        b->n[1][x] = sum[1][x] * one;
        b->n[2][x] = sum[2][x] * one;
    }
}

/* --- light ------------------------------------------------------------------------------- */

/* The tangent plane, in steps: samples at the surface's distance. */
static void find_slopes(const struct shader *shader, struct block *b)
{
    const float *z0 = shader->image->z + b->at;
    const float my = shader->mm[1], wide = shader->mm[0] / my;
    const float za = shader->zoom[0], zb = shader->zoom[1];
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float steep = 1 / (b->n[2][x] > 0.25f ? b->n[2][x] : 0.25f);
        b->slope[0][x] = -b->n[0][x] * wide * steep;
        b->slope[1][x] = b->n[1][x] * steep;
        b->steps[x] = 1 / (my * (za + zb * z0[x]));
    }
}

/* How the neighbour at (u, v) lies to the tangent plane, in parts of its distance; below 0: lower.
 */
static void add_rise(const struct shader *shader, struct block *b, int u, int v, int far)
{
    const float *z0 = shader->image->z + b->at;
    const float *z = z0 + v * (long)shader->image->stride + u;
    const float part = 1 / (float)far, across = (float)u * part, down = (float)v * part;
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float rise =
            (z[x] - z0[x]) * b->steps[x] * part - b->slope[0][x] * across - b->slope[1][x] * down;
        rise = rise > -0.35f ? rise : -0.35f; /* beside a silhouette */
        b->sum[x] += rise < 1 ? rise : 1;
    }
}

/* -1 (a ridge) to 1 (a pit). What is less than the facets of a coarse round body counts nothing. */
static void find_pits(const struct shader *shader, struct block *b)
{
    static const int8_t around[8][2] = {{1, 0},  {1, 1},   {0, 1},  {-1, 1},
                                        {-1, 0}, {-1, -1}, {0, -1}, {1, -1}};
    find_slopes(shader, b);
    for (int x = 0; x < b->count; x++)
        b->sum[x] = 0;
    for (int ring = 0; ring < 2; ring++) {
        int far = (ring ? REACH : 2) * shader->image->grain;
        for (int k = 0; k < 8; k++) {
            int reach = k & 1 ? far * 3 / 4 : far;
            add_rise(shader, b, around[k][0] * reach, around[k][1] * reach, far);
        }
    }
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float pit = b->sum[x] / 16, more = pit < 0 ? -pit - 0.02f : pit - 0.02f;
        more = more > 0 ? more : 0;
        b->pit[x] = pit < 0 ? -more : more;
    }
}

static void light_block(const struct shader *shader, struct block *b, uint16_t *raw,
                        const uint8_t *kind)
{
    own_facing(shader, b);
    if (shader->smooth)
        mean_facing(shader, b);
    find_pits(shader, b);
#pragma omp simd
    for (int x = 0; x < b->count; x++) {
        float nx = b->n[0][x], ny = b->n[1][x], nz = b->n[2][x], pit = b->pit[x];
        float key = (-0.50f * nx + 0.62f * ny + 0.60f * nz + 0.25f) / 1.25f;
        float light = 0.08f + 0.72f * (key > 0 ? key : 0) + 0.07f * (1 + ny) * nz + 0.06f * nz;
        light = light * (1 - 0.5f * pit) - 0.55f * pit;
        light = light > 0 ? light : 0;
        light = light < 1 ? light : 1;
        raw[x] = (uint16_t)(int)(65535 * light * (kind[x] ? 1.0f : 0.0f));
    }
}

static void light_row(const struct shader *shader, int y)
{
    struct image *image = shader->image;
    struct block b;
    size_t row = (size_t)y * (size_t)image->width;
    for (int x = 0; x < image->width; x += BLOCK) {
        b.at = image_at(image, x, y);
        b.count = image->width - x < BLOCK ? image->width - x : BLOCK;
        light_block(shader, &b, image->raw + row + x, image->kind + row + x);
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
