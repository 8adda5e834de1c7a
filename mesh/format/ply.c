#include <stdio.h>
#include <stdlib.h>
#include <strings.h>

#include "core/job.h"
#include "format/ply.h"

static int sniff(const struct bytes *bytes)
{
    bool ply = bytes->size > 4 && strncasecmp((const char *)bytes->data, "ply", 3) == 0 &&
               strchr("\r\n \t", bytes->data[3]) && bytes->data[3];
    return ply ? 95 : 0;
}

/* Says what a file that ends too early lacks. */
static bool note_missing(const struct ply_header *header, const uint64_t *found, struct job *job)
{
    char text[300] = "";
    for (size_t i = 0; i < header->elements; i++) {
        const struct ply_element *element = &header->element[i];
        size_t n = strlen(text);
        if (found[i] < element->count)
            snprintf(text + n, sizeof text - n, "%s%llu of %llu elements \"%.*s\"", n ? ", " : "",
                     (unsigned long long)found[i], (unsigned long long)element->count,
                     element->name.length < 30 ? element->name.length : 30, element->name.at);
    }
    if (*text)
        job_note(job, "\"%s\": cut off or damaged: only %s are there", header->bytes->name, text);
    return *text != '\0';
}

/* A texture coordinate a vertex becomes one a corner. */
static void texture_to_corners(struct gather *gather)
{
    size_t corners = 3 * gather->triangle.used;
    if (!gather->texture.used || gather->texture.used != gather->point.used || !corners)
        return;
    gather->corner_texture.stride = sizeof(uint32_t);
    void *to = gather_more(gather, &gather->corner_texture, corners);
    if (to)
        memcpy(to, gather->triangle.array->data, corners * sizeof(uint32_t));
}

static bool has_colour(const struct ply_header *header, enum ply_kind kind)
{
    for (size_t i = 0; i < header->elements; i++)
        if (header->element[i].kind == kind && ply_has(&header->element[i], PLY_RED) &&
            ply_has(&header->element[i], PLY_GREEN) && ply_has(&header->element[i], PLY_BLUE))
            return true;
    return false;
}

static enum status read_body(const struct ply_header *header, struct gather *gather, bool *partial,
                             struct job *job)
{
    uint64_t *found = calloc(header->elements, sizeof *found);
    if (!found)
        return job_fail_memory(job, header->elements * sizeof *found);
    enum status status = header->encoding == PLY_ASCII
                             ? ply_ascii_read(header, gather, found, job)
                             : ply_binary_read(header, gather, found, job);
    if (status == STATUS_OK)
        *partial = note_missing(header, found, job);
    free(found);
    if (status != STATUS_OK)
        return status;
    if (gather->cell.used)
        status = ply_grid(header, gather, job);
    if (status == STATUS_OK)
        status = ply_camera(header, gather, job);
    if (status == STATUS_OK && gather->cell.used)
        status = ply_grid_view(header, gather, job);
    texture_to_corners(gather);
    return status;
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    struct ply_header header;
    struct gather gather = {0};
    enum status status = ply_header_read(bytes, &header, job);
    if (status != STATUS_OK)
        return status;
    status = read_body(&header, &gather, &out->partial, job);
    out->unit = header.unit;
    out->colour = has_colour(&header, PLY_VERTEX) ? COLOUR_VERTEX
                  : has_colour(&header, PLY_FACE) ? COLOUR_FACE
                  : header.texture_named          ? COLOUR_TEXTURE
                                                  : COLOUR_NONE;
    if (out->colour == COLOUR_TEXTURE)
        job_note(job, "\"%s\": its texture picture is not read", bytes->name);
    ply_header_release(&header);
    if (status == STATUS_OK)
        return gather_finish(&gather, bytes->name, &out->mesh, job);
    gather_release(&gather);
    return status;
}

const struct format format_ply = {
    .name = "ply",
    .extensions = "ply",
    .title = "PLY: triangles or points with colour and more, binary or text",
    .points = true,
    .triangles = true,
    .colour = true,
    .sniff = sniff,
    .read = read,
    .write = ply_write,
};
