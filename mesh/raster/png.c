#include "raster/png.h"

#include <png.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum status png_from_picture(const struct picture *picture, uint8_t **bytes, size_t *size,
                             struct job *job)
{
    png_image png;
    memset(&png, 0, sizeof png);
    png.version = PNG_IMAGE_VERSION;
    png.width = (png_uint_32)picture->width;
    png.height = (png_uint_32)picture->height;
    png.format = PNG_FORMAT_RGB;
    png_alloc_size_t room = PNG_IMAGE_PNG_SIZE_MAX(png);
    uint8_t *file = malloc(room);
    if (!file)
        return job_fail_memory(job, room);
    /* The one failure there is when writing to memory that is large enough: none left inside. */
    if (!png_image_write_to_memory(&png, file, &room, 0, picture->pixel, 0, NULL)) {
        free(file);
        return job_fail(job, STATUS_MEMORY, "the picture could not be packed as PNG: %s",
                        png.message);
    }
    uint8_t *shrunk = realloc(file, room);
    *bytes = shrunk ? shrunk : file;
    *size = room;
    return STATUS_OK;
}
