/* Binary OFF: the header line, then big-endian 32-bit counts of vertices, faces and edges, vertices
 * as floats, faces as a count, indices, a count of colour values and those as floats. (From
 * memory.) */
#include <stdlib.h>

#include "core/job.h"
#include "format/off.h"

enum { STEP = 4096 };

static uint32_t get32(const unsigned char *at)
{
    return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

static double get_float(const unsigned char *at)
{
    uint32_t bits = get32(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

static uint8_t colour_byte(double value)
{
    value = value > 1 ? value : value * 255;
    return (uint8_t)(value > 0 ? value < 255 ? value + 0.5 : 255 : 0);
}

static void take_colour(const unsigned char *at, size_t count, uint8_t colour[4])
{
    for (size_t k = 0; k < 4; k++)
        colour[k] = k < count ? colour_byte(get_float(at + 4 * k)) : 255;
}

/* Vertices have as many floats as the letters of the header say. */
static const unsigned char *read_vertex(const struct off_header *header, const unsigned char *at,
                                        struct gather *gather)
{
    double position[3], w = 1;
    for (int k = 0; k < 3; k++, at += 4)
        position[k] = get_float(at);
    if (header->homogeneous) {
        w = get_float(at);
        at += 4;
    }
    for (int k = 0; k < 3 && w != 0; k++)
        position[k] /= w;
    gather_position(gather, position);
    if (header->normals) {
        GATHER_ADD(gather, &gather->vertex_attribute[ATTRIBUTE_normal], struct point,
                   {gather_value(get_float(at)), gather_value(get_float(at + 4)),
                    gather_value(get_float(at + 8))});
        at += 12;
    }
    if (header->colours) {
        uint8_t(*colour)[4] =
            gather_one(gather, &gather->vertex_attribute[ATTRIBUTE_colour], sizeof *colour);
        if (colour)
            take_colour(at, 4, *colour);
        at += 16;
    }
    return at + (header->textures ? 8 : 0);
}

/* Returns its end, or NULL when it is not all there. */
static const unsigned char *read_face(const unsigned char *at, const unsigned char *end,
                                      uint32_t **index, size_t *room, struct gather *gather)
{
    if (end - at < 4)
        return NULL;
    size_t corners = get32(at), left = (size_t)(end - at) / 4;
    if (corners + 2 > left)
        return NULL;
    size_t colours = get32(at + 4 * (corners + 1));
    if (colours > left - corners - 2)
        return NULL;
    if (corners > *room) {
        uint32_t *more = realloc(*index, 2 * corners * sizeof *more);
        gather->starved = gather->starved || !more;
        if (!more)
            return NULL;
        *index = more;
        *room = 2 * corners;
    }
    for (size_t i = 0; i < corners; i++)
        (*index)[i] = get32(at + 4 * (i + 1)) < MESH_MOST ? get32(at + 4 * (i + 1)) : NO_INDEX - 1;
    size_t triangles = gather_face(gather, *index, corners);
    at += 4 * (corners + 2);
    for (size_t i = 0; colours >= 3 && i < triangles; i++) {
        uint8_t(*colour)[4] = gather_one(gather, &gather->face_colour, sizeof *colour);
        if (colour)
            take_colour(at, colours, *colour);
    }
    return at + 4 * colours;
}

enum status off_binary_read(struct off_header *header, struct gather *gather, uint64_t found[2],
                            struct job *job)
{
    const struct bytes *bytes = header->bytes;
    const unsigned char *at = bytes->data + header->body, *end = bytes->data + bytes->size;
    if (end - at < 12)
        return job_fail(job, STATUS_FORMAT, "\"%s\": cut off within its header", bytes->name);
    header->vertices = get32(at);
    header->faces = get32(at + 4);
    at += 12;
    size_t stride = 12 + 4 * (size_t)header->homogeneous + 12 * (size_t)header->normals +
                    16 * (size_t)header->colours + 8 * (size_t)header->textures;
    uint64_t most = (uint64_t)(end - at) / stride;
    found[0] = header->vertices < most ? header->vertices : most;
    for (uint64_t i = 0; i < found[0] && !gather->starved; i++)
        at = read_vertex(header, at, gather);
    uint32_t *index = NULL;
    size_t room = 0;
    bool whole = found[0] == header->vertices;
    while (whole && found[1] < header->faces && !gather->starved) {
        const unsigned char *next = read_face(at, end, &index, &room, gather);
        if (!next)
            break;
        at = next;
        if (++found[1] % STEP == 0 && job_cancelled(job))
            break;
    }
    free(index);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return gather->starved ? job_fail_memory(job, array_bytes(gather->point.array)) : STATUS_OK;
}
