/* Point clouds: each point a disc that faces the viewer, as large as the cloud is sparse. */
#include <omp.h>
#include <stdlib.h>

#include "raster/image.h"
#include "raster/pose.h"

enum {
    SAMPLE_MOST = 1 << 16, /* points that the spacing is reckoned from */
    GRID_MOST = 64,
    POINTS_AT_ONCE = 1 << 14
};
static const double splat_reach = 1.1; /* radius over spacing: a square lattice closes at 0.71 */
static const double splat_most = 64;   /* samples */

/* --- how dense ---------------------------------------------------------------------------- */

struct spread { /* a box about most of the points: mean -+ 2.5 standard deviations */
    struct vec low, size;
};

static struct spread spread_of(const struct point *point, size_t count, size_t step)
{
    struct vec sum = vec(0, 0, 0), square = vec(0, 0, 0);
    double n = 0;
    for (size_t i = 0; i < count; i += step, n++) {
        struct vec p = vec_sub(point_vec(point[i]), point_vec(point[0]));
        sum = vec_add(sum, p);
        square = vec_add(square, vec(p.x * p.x, p.y * p.y, p.z * p.z));
    }
    struct vec mean = vec_scale(sum, 1 / n), sd;
    sd.x = sqrt(fmax(square.x / n - mean.x * mean.x, 0));
    sd.y = sqrt(fmax(square.y / n - mean.y * mean.y, 0));
    sd.z = sqrt(fmax(square.z / n - mean.z * mean.z, 0));
    mean = vec_add(mean, point_vec(point[0]));
    return (struct spread){vec_along(mean, -2.5, sd), vec_scale(sd, 5)};
}

/* How many cells of a cubic grid (cells along the longest side) hold a point. */
static size_t cells_held(const struct point *point, size_t count, size_t step,
                         const struct spread *spread, double cell, uint64_t *held)
{
    size_t found = 0;
    for (size_t i = 0; i < (size_t)GRID_MOST * GRID_MOST * GRID_MOST / 64; i++)
        held[i] = 0;
    for (size_t i = 0; i < count; i += step) {
        struct vec p = vec_scale(vec_sub(point_vec(point[i]), spread->low), 1 / cell);
        if (!(p.x >= 0 && p.y >= 0 && p.z >= 0 && p.x < GRID_MOST && p.y < GRID_MOST &&
              p.z < GRID_MOST))
            continue;
        size_t at = ((size_t)p.z * GRID_MOST + (size_t)p.y) * GRID_MOST + (size_t)p.x;
        uint64_t bit = UINT64_C(1) << (at & 63);
        found += !(held[at >> 6] & bit);
        held[at >> 6] |= bit;
    }
    return found;
}

/* The mean distance between neighbours, taking the points to lie on surfaces: a grid's cells that
 * hold points tell the area (a plane meets about 1.5 cells for each of its own size). The grid
 * is made coarser until its cells hold several points each. 0: fewer than two places. */
static double spacing_of(const struct point *point, size_t count, uint64_t *held)
{
    size_t step = count / SAMPLE_MOST + 1;
    struct spread spread = spread_of(point, count, step);
    double longest = fmax(spread.size.x, fmax(spread.size.y, spread.size.z));
    if (!(longest > 0))
        return 0;
    double taken = (double)((count + step - 1) / step);
    for (int grid = GRID_MOST; grid > 1; grid /= 2) {
        double cell = longest / grid * (1 + 1e-9);
        double found = (double)cells_held(point, count, step, &spread, cell, held);
        if (found > 0 && taken >= 8 * found)
            return cell * sqrt(found / 1.5 / (double)count);
    }
    return longest / sqrt((double)count);
}

/* --- drawing ------------------------------------------------------------------------------ */

static void draw_disc(struct image *image, struct shot shot, double rx, double ry, uint32_t number)
{
    double x = (double)shot.x / SHOT_ONE, y = (double)shot.y / SHOT_ONE;
    int y0 = (int)fmax(ceil(y - ry - 0.5), 0),
        y1 = (int)fmin(floor(y + ry - 0.5), image->height - 1);
    int cx = (int)floor(x), cy = (int)floor(y);
    if (cx >= 0 && cy >= 0 && cx < image->width && cy < image->height)
        image_put(image, (size_t)cy * (size_t)image->width + (size_t)cx, (float)shot.q, number,
                  false);
    for (int row = y0; row <= y1; row++) {
        double v = (row + 0.5 - y) / ry, half = rx * sqrt(fmax(1 - v * v, 0));
        int x0 = (int)fmax(ceil(x - half - 0.5), 0);
        int x1 = (int)fmin(floor(x + half - 0.5), image->width - 1);
        for (int column = x0; column <= x1; column++)
            image_put(image, (size_t)row * (size_t)image->width + (size_t)column, (float)shot.q,
                      number, false);
    }
}

static void draw_some(struct image *image, const struct mesh *mesh, double radius, uint32_t first,
                      size_t from, size_t to)
{
    const struct lens *lens = &image->lens;
    const struct pose pose = pose_of(lens, mesh);
    for (size_t i = from; i < to; i++) {
        struct shot shot = pose_shot(&pose, mesh_point(mesh)[i]);
        if (shot.off)
            continue;
        double ry = radius * fabs(lens->scale[1]) * (lens->perspective ? -shot.q * lens->eye : 1);
        ry = fmin(ry, splat_most * image->grain);
        draw_disc(image, shot, ry / image->aspect, ry, first + (uint32_t)i);
    }
}

enum status splats_draw(struct image *image, const struct mesh *mesh, uint32_t first,
                        struct job *job)
{
    size_t count = mesh_vertices(mesh), bytes = (size_t)GRID_MOST * GRID_MOST * GRID_MOST / 8;
    if (!count)
        return STATUS_OK;
    uint64_t *held = malloc(bytes);
    if (!held)
        return job_fail_memory(job, bytes);
    double radius = splat_reach * spacing_of(mesh_point(mesh), count, held);
    free(held);
#pragma omp parallel for schedule(dynamic) num_threads(job_threads(job))
    for (size_t from = 0; from < count; from += POINTS_AT_ONCE) {
        size_t to = count - from < POINTS_AT_ONCE ? count : from + POINTS_AT_ONCE;
        if (job_step(job, to - from))
            draw_some(image, mesh, radius, first, from, to);
    }
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
