/* A view as a PNG file in memory. */
#ifndef FETTLE_RASTER_PNG_H
#define FETTLE_RASTER_PNG_H

#include "raster/raster.h"

enum { PNG_WIDTH = 1200, PNG_HEIGHT = 900 }; /* the usual size, pixels */

struct picture {
    uint8_t *pixel; /* width * height * 3: sRGB, rows from the top */
    int width, height;
};

/* Draws the view smoothed (two samples a pixel each way, three for pictures below 1 megapixel),
 * with marks, axes and scale bar as the view asks. white: on white, else on near black. The camera
 * is taken as it is (its height is the picture's). The caller frees picture->pixel; nothing is
 * owned on failure. */
enum status picture_draw(const struct raster_view *view, int width, int height, bool white,
                         struct picture *picture, struct job *job);

/* The pixels as a PNG file (8-bit RGB, marked sRGB): *bytes is *size bytes long and freed by the
 * caller; nothing is owned on failure. */
enum status png_from_picture(const struct picture *picture, uint8_t **bytes, size_t *size,
                             struct job *job);

#endif
