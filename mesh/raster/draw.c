#include <stdlib.h>

#include "raster/image.h"

static uint64_t piece_items(const struct mesh *mesh)
{
    return mesh_triangles(mesh) ? mesh_triangles(mesh) : mesh_vertices(mesh);
}

/* Numbers the triangles (or points) of all pieces one after the other. */
static enum status number_pieces(struct image *image, const struct raster_view *view,
                                 struct job *job)
{
    if (view->pieces + 1 > image->pieces_room) {
        uint64_t *first = realloc(image->first, (view->pieces + 1) * sizeof *first);
        if (!first)
            return job_fail_memory(job, (view->pieces + 1) * sizeof *first);
        image->first = first;
        image->pieces_room = view->pieces + 1;
    }
    uint64_t number = 0;
    for (size_t i = 0; i < view->pieces; i++) {
        image->first[i] = number;
        number += piece_items(view->piece[i].mesh);
    }
    image->first[view->pieces] = number;
    image->pieces = view->pieces;
    if (number > SEEN_MOST)
        return job_fail(job, STATUS_REFUSED,
                        "the scene has more than 2^31 triangles and points: hide some pieces");
    return STATUS_OK;
}

static enum status draw_pieces(struct image *image, const struct raster_view *view, struct job *job)
{
    size_t count = image_samples(image);
    for (size_t i = 0; i < count; i++)
        atomic_store_explicit(&image->seen[i], SEEN_NOTHING, memory_order_relaxed);
    for (size_t i = 0; i < view->pieces; i++) {
        const struct mesh *mesh = view->piece[i].mesh;
        enum status status = (mesh_triangles(mesh) ? visible_draw : splats_draw)(
            image, mesh, (uint32_t)image->first[i], job);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

static enum status draw_all(struct image *image, const struct raster_view *view, struct job *job)
{
    enum status status = number_pieces(image, view, job);
    if (status == STATUS_OK)
        status = draw_pieces(image, view, job);
    if (status == STATUS_OK)
        status = surface_draw(image, view, job);
    if (status == STATUS_OK)
        relief_draw(image, view, job_threads(job));
    if (status == STATUS_OK)
        status = overlay_draw(image, view, job);
    if (status == STATUS_OK)
        status = numbers_draw(image, view, job);
    return status;
}

enum status raster_draw(struct image *image, const struct raster_view *view, int width, int height,
                        double sample_aspect, struct job *job)
{
    image->width = image->height = 0;
    image->marks = image->numbers = 0;
    if (width <= 0 || height <= 0)
        return STATUS_OK;
    if (width > SIDE_MOST || height > SIDE_MOST)
        return job_fail(job, STATUS_REFUSED,
                        "a picture of %d x %d samples is too large: each side can have %d", width,
                        height, SIDE_MOST);
    enum status status = image_size(image, width, height, view->grain > 0 ? view->grain : 1, job);
    if (status != STATUS_OK)
        return status;
    image->aspect = sample_aspect > 0 ? sample_aspect : 1;
    image->lens = lens_of(&view->camera, width, height, image->aspect);
    image->paint = view->paint;
    image->axes = view->axes;
    image->scale_bar = view->scale_bar;
    status = draw_all(image, view, job);
    if (status != STATUS_OK) {
        image->width = image->height = 0;
        image->marks = 0;
    }
    return status;
}
