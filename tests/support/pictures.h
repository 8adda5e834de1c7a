/* Pictures for the tests of what draws them. */
#ifndef FETTLE_TESTS_PICTURES_H
#define FETTLE_TESTS_PICTURES_H

#include "raster/image.h"

struct raster_piece picture_grey(const struct mesh *mesh);

/* The pieces from that side about `centre`, orthographic, `height` mm from top to bottom. */
struct raster_view picture_view(const struct raster_piece *piece, size_t pieces,
                                enum camera_side side, struct vec centre, double height);

/* Drawn; a test fails when it cannot be. The caller frees it. */
struct image *picture_of(const struct raster_view *view, int width, int height);

/* How many samples have all of these kind bits. */
size_t picture_count(const struct image *image, unsigned bits);

#endif
