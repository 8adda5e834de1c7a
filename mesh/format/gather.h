/* What readers find, on its way to becoming a mesh.
 *
 * A file is read in parts (runs of text lines, of records) by several threads, each into a gather
 * of its own; they are put together in the order of the file, so the result does not depend on the
 * threads. gather_finish then cuts polygons into triangles, takes out what cannot stay in a mesh,
 * and says so. */
#ifndef FETTLE_FORMAT_GATHER_H
#define FETTLE_FORMAT_GATHER_H

#include <string.h>

#include "format/format.h"

struct list { /* elements of one kind; grows */
    struct array *array;
    size_t used;
    size_t stride;
};

struct polygon { /* more than three corners: triangles first..first+corners-3 are its fan */
    uint32_t first, corners;
};

struct camera { /* where the scanner stood, in the file's numbers */
    double at[3];
};

enum { GATHER_LISTS = 11 + 2 * ATTRIBUTE_COUNT };

struct gather {
    union {
        struct {
            /* struct point, beside the origin; those that are not finite too, to keep count */
            struct list point;
            struct list triangle; /* struct triangle; indices may be wrong */
            struct list polygon;  /* struct polygon */
            /* uint32_t: corners (3 * triangle + k) whose index counts from the first vertex of the
             * part they were read in */
            struct list relative;
            /* One a vertex, one a triangle (corner attributes: three), or fewer: the rest is filled
             * with gather_nothing. */
            struct list vertex_attribute[ATTRIBUTE_COUNT];
            struct list triangle_attribute[ATTRIBUTE_COUNT];
            struct list face_colour; /* four uint8_t a triangle */
            struct list texture;     /* two floats: OBJ's list of texture coordinates */
            struct list normal;      /* three floats: OBJ's list of normals */
            /* uint32_t, three a triangle: index into `texture`, or NO_INDEX */
            struct list corner_texture;
            struct list corner_relative; /* as `relative`, for those */
            struct list cell; /* uint32_t: range grids, one a cell: its vertex, or NO_INDEX */
            struct list camera; /* struct camera */
        };
        struct list all[GATHER_LISTS]; /* the same */
    };
    double origin[3];
    size_t wrong; /* faces left out by the reader itself (fewer than three corners) */
    bool starved; /* memory ran out */
};

/* For notes: "1 face", "2 faces". */
static inline const char *plural(uint64_t count)
{
    return count == 1 ? "" : "s";
}

/* Room for n more elements, counted as used; NULL (and starved) when there is no memory. */
void *gather_more(struct gather *gather, struct list *list, size_t n);

/* One element more. */
#define GATHER_ADD(gather, list, type, ...)                                                        \
    do {                                                                                           \
        type *room_ = gather_one(gather, list, sizeof(type));                                      \
        if (room_)                                                                                 \
            *room_ = (type)__VA_ARGS__;                                                            \
    } while (0)

static inline void *gather_one(struct gather *gather, struct list *list, size_t stride)
{
    if (list->array && list->used < list->array->count)
        return (char *)list->array->data + list->used++ * stride;
    list->stride = stride;
    return gather_more(gather, list, 1);
}

/* What a vertex or triangle has where the file gives nothing: white for colours, else zeros. */
const void *gather_nothing(enum attribute attribute);

/* Elements of the attribute that belong to one triangle: 3 for those of corners. */
size_t gather_per_triangle(enum attribute attribute);

/* An attribute's value: what is no number becomes zero. */
static inline float gather_value(double value)
{
    float number = (float)value;
    return isfinite(number) ? number : 0;
}

/* A position in the file's numbers. */
static inline void gather_position(struct gather *gather, const double x[3])
{
    const double *o = gather->origin;
    GATHER_ADD(gather, &gather->point, struct point,
               {(float)(x[0] - o[0]), (float)(x[1] - o[1]), (float)(x[2] - o[2])});
}

/* Fills a list up to `count` elements with copies of `value` (its stride long). */
void gather_pad(struct gather *gather, struct list *list, size_t count, const void *value,
                size_t stride);

/* A face through `corners` vertices; fewer than three are counted as wrong. Returns how many
 * triangles were added. */
size_t gather_face(struct gather *gather, const uint32_t *vertex, size_t corners);

/* Brings every list that is used, here or in `with`, to its full length. */
void gather_pad_all(struct gather *gather, const struct gather *with);

/* Empties it, keeping its memory; frees it. */
void gather_clear(struct gather *gather);
void gather_release(struct gather *gather);

/* Reads part `i` of the file into an empty `part`; false stops the reading behind it. Called by
 * several threads. */
typedef bool gather_part(const void *context, size_t i, struct gather *part);

/* Reads parts 0..count-1 with all threads and appends them to `into` in their order. Stops after
 * the first part whose reading returned false, which is still appended: *stopped is its number
 * (count when none). Steps the job by `steps` a part. */
enum status gather_parts(struct gather *into, size_t count, gather_part *read, const void *context,
                         uint64_t steps, size_t *stopped, struct job *job);

/* Makes the mesh: polygons become triangles; triangles with wrong or not finite corners and
 * vertices that are not finite are left out, with a note that names the file; face colours become
 * vertex colours where there are none. The gather is empty afterwards. */
enum status gather_finish(struct gather *gather, const char *name, struct mesh **out,
                          struct job *job);

/* Gives the mesh vertex colours: each the mean of the colours (four bytes a triangle) around it,
 * white where there is none. */
enum status face_colour_spread(struct mesh *mesh, const uint8_t *colour, struct job *job);

#endif
