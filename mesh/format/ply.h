/* PLY (Turk's text, version 1.0): what its files share. Elements of any name, with properties of
 * any name, type and order; those that mean nothing to a mesh are skipped by their type. */
#ifndef FETTLE_FORMAT_PLY_H
#define FETTLE_FORMAT_PLY_H

#include "format/gather.h"
#include "format/sink.h"

enum ply_type {
    PLY_CHAR,
    PLY_UCHAR,
    PLY_SHORT,
    PLY_USHORT,
    PLY_INT,
    PLY_UINT,
    PLY_FLOAT,
    PLY_DOUBLE,
    PLY_NONE
};

enum ply_encoding { PLY_ASCII, PLY_LITTLE, PLY_BIG };

/* What a scalar property is to a mesh. */
enum ply_role {
    PLY_X,
    PLY_Y,
    PLY_Z,
    PLY_NX,
    PLY_NY,
    PLY_NZ,
    PLY_RED,
    PLY_GREEN,
    PLY_BLUE,
    PLY_ALPHA,
    PLY_CONFIDENCE,
    PLY_VIEW_X,
    PLY_VIEW_Y,
    PLY_VIEW_Z,
    PLY_S,
    PLY_T,
    PLY_ORIGIN,
    PLY_SOURCE,
    PLY_MATERIAL,
    PLY_SCALARS,
    PLY_INDICES = PLY_SCALARS, /* lists */
    PLY_TEXTURE,
    PLY_SKIP
};

enum ply_kind { PLY_VERTEX, PLY_FACE, PLY_STRIPS, PLY_GRID, PLY_CAMERA, PLY_OTHER };

/* Stands for an index that cannot be right. (All ones mark triangles that are already out.) */
#define PLY_NO_VERTEX (NO_INDEX - 1)
#define PLY_RESTART (NO_INDEX - 2) /* -1 in a strip */

struct ply_word { /* a word of the header; not ended by a NUL */
    const char *at;
    int length;
};

struct ply_property {
    struct ply_word name;
    enum ply_type type;
    enum ply_type count; /* the type of a list's length; PLY_NONE: no list */
    enum ply_role role;
};

struct ply_element {
    struct ply_word name;
    enum ply_kind kind;
    uint64_t count;
    struct ply_property *property;
    size_t properties;
    size_t least; /* bytes a binary one takes at least: all, when it has no list */
    bool lists;
    unsigned has;                    /* bit a role */
    enum ply_type type[PLY_SCALARS]; /* of the property with that role */
};

struct ply_header {
    const struct bytes *bytes;
    enum ply_encoding encoding;
    struct ply_element *element;
    size_t elements;
    size_t body;      /* offset of the first byte behind the header */
    size_t body_line; /* its line number */
    enum unit unit;
    size_t columns, rows; /* of a range grid */
    bool texture_named;
};

/* Reads the header; the caller releases. */
enum status ply_header_read(const struct bytes *bytes, struct ply_header *out, struct job *job);
void ply_header_release(struct ply_header *header);

/* One element's values, whatever the encoding. */
struct ply_row {
    double scalar[PLY_SCALARS];
    uint32_t *index;
    size_t indices, index_room;
    float *texture;
    size_t textures, texture_room;
    bool starved;
};

void ply_row_release(struct ply_row *row);

/* Makes room for a list of so many values; false (and starved) when there is no memory. */
bool ply_row_room(struct ply_row *row, enum ply_role role, size_t count);

/* Sets the k-th value of a list there is room for. */
static inline void ply_row_set(struct ply_row *row, enum ply_role role, size_t k, double value)
{
    if (role != PLY_INDICES)
        row->texture[k] = gather_value(value);
    else if (value >= 0 && value < PLY_RESTART)
        row->index[k] = (uint32_t)value;
    else
        row->index[k] = value == -1 ? PLY_RESTART : PLY_NO_VERTEX;
}

/* How the rows of one element are taken. */
struct ply_taking {
    double colour_scale; /* of colours that are floating-point numbers: 255 or 1 */
};

/* Learns from one of the element's first rows: the scale of its colours and, from the first of all
 * vertices, the origin. Start with a scale of 255 and *first true. */
void ply_look(const struct ply_header *header, const struct ply_element *element,
              const struct ply_row *row, struct ply_taking *taking, struct gather *gather,
              bool *first);

/* Adds the row to what was gathered. */
void ply_take(const struct ply_row *row, const struct ply_element *element,
              const struct ply_taking *taking, struct gather *gather);

/* How many rows of each element a body held, for the note on a truncated file. */
enum status ply_binary_read(const struct ply_header *header, struct gather *gather, uint64_t *found,
                            struct job *job);
enum status ply_ascii_read(const struct ply_header *header, struct gather *gather, uint64_t *found,
                           struct job *job);

/* Joins neighbouring cells of a range grid that have a point to triangles. */
enum status ply_grid(const struct ply_header *header, struct gather *gather, struct job *job);

/* Gives bare points that name no scanner of their own the direction to the file's camera; of
 * several to the nearest, since no convention says which points are whose. */
enum status ply_camera(const struct ply_header *header, struct gather *gather, struct job *job);

/* Where the scanner of a range grid stood: far along +z, which is where those look from that see in
 * parallel; or, where the points lie well ahead of 0,0,0 along z either way, there (both from
 * memory: no open range grid was at hand). `from`: a direction if it is far, else a place. */
enum status ply_grid_side(const struct gather *gather, struct vec *from, bool *far,
                          struct job *job);
/* Gives a range grid's points the direction there when they stayed points. */
enum status ply_grid_view(const struct ply_header *header, struct gather *gather, struct job *job);

enum status ply_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job);

static inline bool ply_is(struct ply_word word, const char *text)
{
    return strlen(text) == (size_t)word.length && memcmp(word.at, text, (size_t)word.length) == 0;
}

static inline bool ply_has(const struct ply_element *element, enum ply_role role)
{
    return element->has >> role & 1;
}

/* Whether it says in which direction, or where, the scanner stood. */
static inline bool ply_has_view(const struct ply_element *element)
{
    return ply_has(element, PLY_VIEW_X) && ply_has(element, PLY_VIEW_Y) &&
           ply_has(element, PLY_VIEW_Z);
}

#endif
