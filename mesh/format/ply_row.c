#include <stdlib.h>

#include "format/decimal.h"
#include "format/frame.h"
#include "format/ply.h"

void ply_row_release(struct ply_row *row)
{
    free(row->index);
    free(row->texture);
}

static bool grow(void **data, size_t *room, size_t count, size_t size)
{
    if (count <= *room)
        return true;
    size_t more = count + count / 2 + 8;
    void *bigger = realloc(*data, more * size);
    if (!bigger)
        return false;
    *data = bigger;
    *room = more;
    return true;
}

bool ply_row_room(struct ply_row *row, enum ply_role role, size_t count)
{
    bool indices = role == PLY_INDICES;
    void *data = indices ? (void *)row->index : (void *)row->texture;
    size_t *room = indices ? &row->index_room : &row->texture_room;
    if (!grow(&data, room, count, 4)) {
        row->starved = true;
        return false;
    }
    if (indices) {
        row->index = data;
        row->indices = count;
    } else {
        row->texture = data;
        row->textures = count;
    }
    return true;
}

/* --- learning ---------------------------------------------------------------------------- */

/* A number a float's shortest text stands for, or a float itself. */
static bool float_like(double value)
{
    char text[DECIMAL_MOST];
    double read;
    if (!isfinite(value) || (double)(float)value == value)
        return true;
    const char *end = decimal_float(text, (float)value);
    return decimal_read(text, end, '.', &read) && read == value;
}

void ply_look(const struct ply_header *header, const struct ply_element *element,
              const struct ply_row *row, struct ply_taking *taking, struct gather *gather,
              bool *first)
{
    for (int k = PLY_RED; k <= PLY_BLUE; k++)
        if (ply_has(element, (enum ply_role)k) && row->scalar[k] > 1)
            taking->colour_scale = 1;
    if (element->kind != PLY_VERTEX || !*first)
        return;
    bool text = header->encoding == PLY_ASCII, floats = true;
    for (int k = PLY_X; k <= PLY_Z; k++) /* text may hold more than the header's float promises */
        floats = floats && element->type[k] != PLY_DOUBLE && (!text || float_like(row->scalar[k]));
    if (!floats)
        mesh_origin_for(row->scalar + PLY_X, gather->origin);
    *first = false;
}

/* --- taking ------------------------------------------------------------------------------ */

static uint8_t colour_byte(double value, enum ply_type type, double scale)
{
    if (type == PLY_FLOAT || type == PLY_DOUBLE)
        value *= scale;
    else if (type == PLY_USHORT)
        value /= 257;
    return value > 0 ? value < 255 ? (uint8_t)(value + 0.5) : 255 : 0;
}

static void take_colour(const struct ply_row *row, const struct ply_element *element,
                        const struct ply_taking *taking, uint8_t colour[4])
{
    for (int k = 0; k < 4; k++) {
        int role = PLY_RED + k;
        colour[k] = ply_has(element, (enum ply_role)role)
                        ? colour_byte(row->scalar[role], element->type[role], taking->colour_scale)
                    : k == 3 ? 255
                             : 0;
    }
}

static bool has_colour(const struct ply_element *element)
{
    return ply_has(element, PLY_RED) && ply_has(element, PLY_GREEN) && ply_has(element, PLY_BLUE);
}

static uint16_t word(double value)
{
    return value > 0 ? value < UINT16_MAX ? (uint16_t)value : UINT16_MAX : 0;
}

struct pair {
    float at[2];
};

static void take_vertex(const struct ply_row *row, const struct ply_element *element,
                        const struct ply_taking *taking, struct gather *gather)
{
    struct list *list = gather->vertex_attribute;
    const double *s = row->scalar;
    gather_position(gather, s + PLY_X);
    if (has_colour(element)) {
        uint8_t(*colour)[4] = gather_one(gather, &list[ATTRIBUTE_colour], sizeof *colour);
        if (colour)
            take_colour(row, element, taking, *colour);
    }
    if (ply_has(element, PLY_NX) && ply_has(element, PLY_NY) && ply_has(element, PLY_NZ))
        GATHER_ADD(gather, &list[ATTRIBUTE_normal], struct point,
                   {gather_value(s[PLY_NX]), gather_value(s[PLY_NY]), gather_value(s[PLY_NZ])});
    if (ply_has(element, PLY_CONFIDENCE))
        GATHER_ADD(gather, &list[ATTRIBUTE_confidence], float, gather_value(s[PLY_CONFIDENCE]));
    if (ply_has_view(element))
        GATHER_ADD(
            gather, &list[ATTRIBUTE_view], struct point,
            {gather_value(s[PLY_VIEW_X]), gather_value(s[PLY_VIEW_Y]), gather_value(s[PLY_VIEW_Z])});
    if (ply_has(element, PLY_S) && ply_has(element, PLY_T))
        GATHER_ADD(gather, &gather->texture, struct pair,
                   {{gather_value(s[PLY_S]), gather_value(s[PLY_T])}});
}

static void take_triangle_values(const struct ply_row *row, const struct ply_element *element,
                                 const struct ply_taking *taking, size_t triangles,
                                 struct gather *gather)
{
    struct list *list = gather->triangle_attribute;
    const double *s = row->scalar;
    for (size_t i = 0; i < triangles; i++) {
        if (ply_has(element, PLY_ORIGIN))
            GATHER_ADD(gather, &list[ATTRIBUTE_origin], uint8_t,
                       (s[PLY_ORIGIN] >= 0 && s[PLY_ORIGIN] <= ORIGIN_MADE ? s[PLY_ORIGIN] : 0));
        if (ply_has(element, PLY_SOURCE))
            GATHER_ADD(gather, &list[ATTRIBUTE_source], uint16_t, word(s[PLY_SOURCE]));
        if (ply_has(element, PLY_MATERIAL))
            GATHER_ADD(gather, &list[ATTRIBUTE_material], uint16_t, word(s[PLY_MATERIAL]));
        uint8_t(*colour)[4] =
            has_colour(element) ? gather_one(gather, &gather->face_colour, 4) : NULL;
        if (colour)
            take_colour(row, element, taking, *colour);
    }
}

/* Two values a corner, in the order of the fan that the face becomes. */
static void take_corner_texture(const struct ply_row *row, size_t triangles, struct gather *gather)
{
    struct list *list = &gather->triangle_attribute[ATTRIBUTE_texture];
    static const float zero[2] = {0, 0};
    bool fits = row->textures == 2 * row->indices;
    for (size_t i = 0; i < triangles; i++)
        for (size_t k = 0; k < 3; k++) {
            size_t corner = k ? i + k : 0;
            const float *at = fits ? row->texture + 2 * corner : zero;
            GATHER_ADD(gather, list, struct pair, {{at[0], at[1]}});
        }
}

/* Every other triangle of a strip runs the other way; -1 begins a new strip. */
static void take_strip(const struct ply_row *row, struct gather *gather)
{
    size_t begin = 0;
    for (size_t i = 0; i < row->indices; i++) {
        const uint32_t *v = row->index + i - 2;
        if (row->index[i] == PLY_RESTART)
            begin = i + 1;
        if (row->index[i] == PLY_RESTART || i < begin + 2)
            continue;
        if (v[0] == v[1] || v[1] == v[2] || v[2] == v[0])
            continue; /* a turn of the strip */
        bool odd = (i - begin) % 2;
        GATHER_ADD(gather, &gather->triangle, struct triangle, {{v[odd], v[!odd], v[2]}});
    }
}

void ply_take(const struct ply_row *row, const struct ply_element *element,
              const struct ply_taking *taking, struct gather *gather)
{
    size_t triangles;
    switch (element->kind) {
    case PLY_VERTEX:
        take_vertex(row, element, taking, gather);
        break;
    case PLY_FACE:
        triangles = gather_face(gather, row->index, row->indices);
        take_triangle_values(row, element, taking, triangles, gather);
        if (ply_has(element, PLY_TEXTURE))
            take_corner_texture(row, triangles, gather);
        break;
    case PLY_STRIPS:
        take_strip(row, gather);
        break;
    case PLY_GRID:
        GATHER_ADD(gather, &gather->cell, uint32_t, (row->indices ? row->index[0] : NO_INDEX));
        break;
    case PLY_CAMERA:
        if (ply_has_view(element))
            GATHER_ADD(gather, &gather->camera, struct camera,
                       {{row->scalar[PLY_VIEW_X], row->scalar[PLY_VIEW_Y],
                         row->scalar[PLY_VIEW_Z]}});
        break;
    case PLY_OTHER:
        break;
    }
}
