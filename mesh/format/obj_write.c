#include <string.h>

#include "core/array.h"
#include "format/decimal.h"
#include "format/frame.h"
#include "format/obj.h"

enum { BYTE_TEXT = 8 };

struct writing {
    struct frame frame;
    const struct triangle *triangle;
    const uint8_t *colour;   /* four a vertex */
    const float *normal;     /* three a vertex; of point clouds only */
    const float *texture;    /* two a corner */
    uint32_t *texture_index; /* one a corner, from 0: equal ones at a vertex share one line */
    uint32_t *texture_first; /* the corner that each line is written from */
    size_t textures;
    char byte[256][BYTE_TEXT]; /* colour values as text, with a blank in front */
};

/* Three digits tell the 256 values of a byte apart. */
static void name_bytes(struct writing *w)
{
    for (unsigned i = 0; i < 256; i++) {
        unsigned thousandths = (i * 1000 + 127) / 255;
        char digits[] = {(char)('0' + thousandths / 1000),     '.',
                         (char)('0' + thousandths / 100 % 10), (char)('0' + thousandths / 10 % 10),
                         (char)('0' + thousandths % 10),       '\0'};
        size_t n = 5;
        while (digits[n - 1] == '0' && n > 1)
            n--;
        n -= digits[n - 1] == '.';
        w->byte[i][0] = ' ';
        memcpy(w->byte[i] + 1, digits, n);
        w->byte[i][n + 1] = '\0';
    }
}

static char *put_word(char *at, const char *word)
{
    size_t n = strlen(word);
    memcpy(at, word, n);
    return at + n;
}

static char *put_vertices(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++) {
        *at++ = 'v';
        *at++ = ' ';
        at = frame_put(&w->frame, i, at) - 1; /* words of colour begin with their blank */
        for (size_t k = 0; w->colour && k < 3; k++)
            at = put_word(at, w->byte[w->colour[4 * i + k]]);
        *at++ = '\n';
    }
    return at;
}

static char *put_floats(char *at, const char *word, const float *value, int count)
{
    at = put_word(at, word);
    for (int k = 0; k < count; k++) {
        *at++ = ' ';
        at = decimal_float(at, value[k]);
    }
    *at++ = '\n';
    return at;
}

static char *put_normals(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++)
        at = put_floats(at, "vn", w->normal + 3 * i, 3);
    return at;
}

static char *put_textures(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++)
        at = put_floats(at, "vt", w->texture + 2 * (size_t)w->texture_first[i], 2);
    return at;
}

static char *put_faces(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t t = from; t < to; t++) {
        *at++ = 'f';
        for (size_t k = 0; k < 3; k++) {
            *at++ = ' ';
            at = decimal_count(at, (uint64_t)w->triangle[t].v[k] + 1);
            if (w->texture) {
                *at++ = '/';
                at = decimal_count(at, (uint64_t)w->texture_index[3 * t + k] + 1);
            }
        }
        *at++ = '\n';
    }
    return at;
}

/* Corners of one vertex with equal coordinates share a line; each vertex keeps a chain of its
 * lines. False when out of memory. */
static bool share_textures(struct writing *w, size_t vertices, size_t corners)
{
    uint32_t *head = scratch_new(vertices, sizeof *head),
             *next = scratch_new(corners, sizeof *next);
    w->texture_index = scratch_new(corners, sizeof *w->texture_index);
    w->texture_first = scratch_new(corners, sizeof *w->texture_first);
    bool room = head && next && w->texture_index && w->texture_first;
    if (room)
        memset(head, 255, vertices * sizeof *head);
    for (size_t i = 0; room && i < corners; i++) {
        uint32_t *link = &head[w->triangle[i / 3].v[i % 3]];
        while (*link != NO_INDEX && memcmp(w->texture + 2 * (size_t)w->texture_first[*link],
                                           w->texture + 2 * i, 2 * sizeof *w->texture) != 0)
            link = &next[*link];
        if (*link == NO_INDEX) {
            *link = (uint32_t)w->textures;
            next[w->textures] = NO_INDEX;
            w->texture_first[w->textures++] = (uint32_t)i;
        }
        w->texture_index[i] = *link;
    }
    scratch_free(head);
    scratch_free(next);
    return room;
}

static void write_all(const struct writing *w, size_t vertices, size_t triangles,
                      const struct write_options *options, struct sink *sink, struct job *job)
{
    enum {
        VERTEX = 2 + 3 * (DECIMAL_MOST + 1) + 3 * BYTE_TEXT,
        FLOATS = 4 + 3 * (DECIMAL_MOST + 1),
        FACE = 2 + 6 * 12
    };
    sink_text(sink, "# unit %s\n", unit_name(options->unit));
    if (sink_items(sink, vertices, VERTEX, put_vertices, w, job) &&
        sink_items(sink, w->normal ? vertices : 0, FLOATS, put_normals, w, job) &&
        sink_items(sink, w->textures, FLOATS, put_textures, w, job))
        sink_items(sink, triangles, FACE, put_faces, w, job);
}

enum status obj_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    struct writing w = {.triangle = mesh_triangle(mesh),
                        .colour = mesh_attribute(mesh, ATTRIBUTE_colour),
                        .normal = triangles ? NULL : mesh_attribute(mesh, ATTRIBUTE_normal),
                        .texture = triangles ? mesh_attribute(mesh, ATTRIBUTE_texture) : NULL};
    enum status status = STATUS_OK;
    frame_init(&w.frame, mesh, options->unit);
    name_bytes(&w);
    job_phase(job, "writing", 1000, vertices + triangles);
    if (w.texture && !share_textures(&w, vertices, 3 * triangles))
        status = job_fail_memory(job, 12 * triangles);
    if (status == STATUS_OK) {
        write_all(&w, vertices, triangles, options, sink, job);
        status = sink_status(sink, job);
    }
    scratch_free(w.texture_index);
    scratch_free(w.texture_first);
    return status;
}
