/* Where the pieces' numbers go: each on its piece, near the middle of what is seen of it, and
 * beside those that are placed already. */
#include <stdlib.h>
#include <string.h>

#include "raster/image.h"

enum { SEEN_LEAST = 16 };        /* samples of a piece that is worth a number */
enum { WIDE = 4 * 4, HIGH = 8 }; /* samples (times grain) that a number takes with its margin */

struct middle {
    uint64_t x, y, count;
};

static void add_row(const struct image *image, int y, struct middle *middle)
{
    size_t row = (size_t)y * (size_t)image->width;
    for (int x = 0; x < image->width; x++) {
        uint64_t seen = image_seen(image, row + (size_t)x);
        if (seen == SEEN_NOTHING)
            continue;
        struct middle *m = &middle[image_piece(image, seen_number(seen))];
        m->x += (uint64_t)x;
        m->y += (uint64_t)y;
        m->count++;
    }
}

static bool is_taken(const struct image *image, int x, int y)
{
    for (size_t i = 0; i < image->numbers; i++)
        if (abs(x - image->number[i].x) < WIDE * image->grain &&
            abs(y - image->number[i].y) < HIGH * image->grain)
            return true;
    return false;
}

/* The sample that sees the piece, is free, and is nearest to the middle; false: there is none. */
static bool find_place(const struct image *image, size_t piece, const struct middle *middle,
                       struct numbered *out)
{
    int64_t best = INT64_MAX;
    int64_t cx = (int64_t)(middle->x / middle->count), cy = (int64_t)(middle->y / middle->count);
    for (int y = 0; y < image->height; y++)
        for (int x = 0; x < image->width; x++) {
            int64_t dx = x - cx, dy = y - cy, far = dx * dx + dy * dy;
            uint64_t seen = far < best
                                ? image_seen(image, (size_t)y * (size_t)image->width + (size_t)x)
                                : SEEN_NOTHING;
            if (seen == SEEN_NOTHING || image_piece(image, seen_number(seen)) != piece ||
                is_taken(image, x, y))
                continue;
            best = far;
            out->x = x;
            out->y = y;
        }
    return best < INT64_MAX;
}

static bool any_number(const struct raster_view *view)
{
    for (size_t i = 0; i < view->pieces; i++)
        if (view->piece[i].number)
            return true;
    return false;
}

enum status numbers_draw(struct image *image, const struct raster_view *view, struct job *job)
{
    if (!any_number(view))
        return STATUS_OK;
    if (view->pieces > image->numbers_room) {
        struct numbered *number = realloc(image->number, view->pieces * sizeof *number);
        if (!number)
            return job_fail_memory(job, view->pieces * sizeof *number);
        image->number = number;
        image->numbers_room = view->pieces;
    }
    struct middle *middle = calloc(view->pieces, sizeof *middle);
    if (!middle)
        return job_fail_memory(job, view->pieces * sizeof *middle);
    for (int y = 0; y < image->height; y++)
        add_row(image, y, middle);
    for (size_t i = 0; i < view->pieces; i++) {
        const struct raster_piece *piece = &view->piece[i];
        struct numbered *number = &image->number[image->numbers];
        number->number = piece->number;
        memcpy(number->tint, piece->tint, sizeof number->tint);
        if (piece->number && middle[i].count >= SEEN_LEAST)
            image->numbers += find_place(image, i, &middle[i], number);
    }
    free(middle);
    return STATUS_OK;
}
