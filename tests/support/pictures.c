#include "tests/support/pictures.h"

#include <check.h>

/* Sees the mesh from that side in a square picture of `samples`, `height` mm high, about `centre`.
 */
struct raster_view picture_view(const struct raster_piece *piece, size_t pieces,
                                enum camera_side side, struct vec centre, double height)
{
    struct raster_view view = {.piece = piece, .pieces = pieces};
    camera_frame(&view.camera, vec(0, 0, 0), vec(1, 1, 1), 1);
    camera_look(&view.camera, side);
    view.camera.centre = centre;
    view.camera.height = height;
    return view;
}

struct image *picture_of(const struct raster_view *view, int width, int height)
{
    struct image *image = image_new();
    ck_assert_ptr_nonnull(image);
    ck_assert_int_eq(raster_draw(image, view, width, height, 1, NULL), STATUS_OK);
    ck_assert_int_eq(image_width(image), width);
    ck_assert_int_eq(image_height(image), height);
    return image;
}

size_t picture_count(const struct image *image, unsigned bits)
{
    size_t count = 0;
    for (size_t i = 0; i < image_samples(image); i++)
        count += (image->kind[i] & bits) == bits;
    return count;
}

struct raster_piece picture_grey(const struct mesh *mesh)
{
    return (struct raster_piece){.mesh = mesh, .tint = {180, 180, 180}};
}
