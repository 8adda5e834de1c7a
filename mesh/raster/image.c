#include "raster/image.h"

#include <stdlib.h>
#include <string.h>

struct image *image_new(void)
{
    return calloc(1, sizeof(struct image));
}

static void free_samples(struct image *image)
{
    scratch_free((void *)image->seen);
    scratch_free(image->colour);
    scratch_free(image->kind);
    scratch_free(image->raw);
    scratch_free(image->light);
    image->seen = NULL;
    image->colour = NULL;
    image->kind = NULL;
    image->raw = NULL;
    image->light = NULL;
    image->room = 0;
}

static void free_framed(struct image *image)
{
    scratch_free(image->z);
    image->z = NULL;
    for (int k = 0; k < 3; k++) {
        scratch_free(image->facing[k]);
        image->facing[k] = NULL;
    }
    image->framed_room = 0;
}

void image_free(struct image *image)
{
    if (!image)
        return;
    free_samples(image);
    free_framed(image);
    free(image->first);
    scratch_free(image->place);
    free(image->mark);
    free(image->number);
    free(image);
}

static bool get_samples(struct image *image, size_t count)
{
    if (count <= image->room)
        return true;
    free_samples(image);
    image->seen = scratch_new(count, sizeof *image->seen);
    image->colour = scratch_new(count, sizeof *image->colour);
    image->kind = scratch_new(count, sizeof *image->kind);
    image->raw = scratch_new(count, sizeof *image->raw);
    image->light = scratch_new(count, sizeof *image->light);
    if (!image->seen || !image->colour || !image->kind || !image->raw || !image->light) {
        free_samples(image);
        return false;
    }
    image->room = count;
    return true;
}

static bool get_framed(struct image *image, size_t count)
{
    if (count <= image->framed_room)
        return true;
    free_framed(image);
    image->z = scratch_new(count, sizeof *image->z);
    bool ok = image->z;
    for (int k = 0; k < 3; k++) {
        image->facing[k] = scratch_new(count, sizeof *image->facing[k]);
        ok = ok && image->facing[k];
    }
    if (!ok) {
        free_framed(image);
        return false;
    }
    image->framed_room = count;
    return true;
}

enum status image_size(struct image *image, int width, int height, int grain, struct job *job)
{
    int pad = REACH * grain;
    size_t count = (size_t)width * (size_t)height;
    size_t stride = (size_t)(width + 2 * pad), framed = stride * (size_t)(height + 2 * pad);
    if (!get_samples(image, count) || !get_framed(image, framed))
        return job_fail_memory(job, 15 * count + 10 * framed);
    image->width = width;
    image->height = height;
    image->grain = grain;
    image->pad = pad;
    image->stride = stride;
    for (size_t i = 0; i < framed; i++)
        image->z[i] = -INFINITY;
    for (int k = 0; k < 3; k++)
        memset(image->facing[k], 0, framed * sizeof *image->facing[k]);
    return STATUS_OK;
}

int image_width(const struct image *image)
{
    return image->width;
}

int image_height(const struct image *image)
{
    return image->height;
}

size_t image_piece(const struct image *image, uint64_t number)
{
    size_t low = 0, high = image->pieces;
    while (high - low > 1) {
        size_t middle = (low + high) / 2;
        if (image->first[middle] <= number)
            low = middle;
        else
            high = middle;
    }
    return low;
}

bool image_pick(const struct image *image, int x, int y, size_t *piece, uint32_t *triangle,
                struct vec *world)
{
    if (x < 0 || y < 0 || x >= image->width || y >= image->height)
        return false;
    uint64_t seen = image_seen(image, (size_t)y * (size_t)image->width + (size_t)x);
    if (seen == SEEN_NOTHING)
        return false;
    size_t which = image_piece(image, seen_number(seen));
    if (piece)
        *piece = which;
    if (triangle)
        *triangle = (uint32_t)(seen_number(seen) - image->first[which]);
    if (world)
        *world = lens_world(&image->lens, lens_unproject(&image->lens, x + 0.5, y + 0.5,
                                                         seen_z(&image->lens, seen)));
    return true;
}

bool image_nearest(const struct image *image, int *x, int *y, int within)
{
    int64_t best = (int64_t)within * within + 1;
    int at_x = *x, at_y = *y;
    for (int v = *y - within; v <= *y + within; v++)
        for (int u = *x - within; u <= *x + within; u++) {
            int64_t dx = u - *x, dy = v - *y, far = dx * dx + dy * dy;
            if (far < best && image_pick(image, u, v, NULL, NULL, NULL)) {
                best = far;
                at_x = u;
                at_y = v;
            }
        }
    bool found = best <= (int64_t)within * within;
    *x = at_x;
    *y = at_y;
    return found;
}

const uint8_t *raster_tint(size_t piece)
{
    static const uint8_t tints[RASTER_TINTS][3] = {{230, 159, 0},   {86, 180, 233}, {0, 158, 115},
                                                   {204, 121, 167}, {240, 228, 66}, {213, 94, 0},
                                                   {0, 114, 178}};
    return tints[piece % RASTER_TINTS];
}

const uint8_t *raster_swatch(enum swatch swatch)
{
    static const uint8_t swatches[SWATCH_COUNT][3] = {
        [SWATCH_MEASURED] = {86, 180, 233}, [SWATCH_INVENTED] = {230, 159, 0},
        [SWATCH_MADE] = {0, 158, 115},      [SWATCH_BACK] = {204, 121, 167},
        [SWATCH_SECTION] = {240, 228, 66},  [SWATCH_MARK] = {240, 228, 66},
        [SWATCH_CHOSEN] = {213, 94, 0},     [SWATCH_X] = {213, 94, 0},
        [SWATCH_Y] = {0, 158, 115},         [SWATCH_Z] = {86, 180, 233}};
    return swatches[swatch];
}
