#include "core/job.h"
#include "format/decimal.h"
#include "format/frame.h"
#include "format/ply.h"

struct writing {
    const struct mesh *mesh;
    struct frame frame;
    bool doubles;          /* positions are doubles */
    const uint8_t *colour; /* four a vertex */
    const float *normal;   /* three a vertex */
    const float *confidence;
    const float *view;    /* three a vertex */
    const float *texture; /* six a triangle */
    const uint8_t *origin;
    const uint16_t *source, *material;
    bool alpha; /* some colour is not opaque */
};

static bool some_alpha(const uint8_t *colour, size_t count)
{
    for (size_t i = 0; colour && i < count; i++)
        if (colour[4 * i + 3] != 255)
            return true;
    return false;
}

static void writing_init(struct writing *w, const struct mesh *mesh, enum unit unit)
{
    *w = (struct writing){.mesh = mesh,
                          .colour = mesh_attribute(mesh, ATTRIBUTE_colour),
                          .normal = mesh_attribute(mesh, ATTRIBUTE_normal),
                          .confidence = mesh_attribute(mesh, ATTRIBUTE_confidence),
                          .view = mesh_attribute(mesh, ATTRIBUTE_view),
                          .texture = mesh_attribute(mesh, ATTRIBUTE_texture),
                          .origin = mesh_attribute(mesh, ATTRIBUTE_origin),
                          .source = mesh_attribute(mesh, ATTRIBUTE_source),
                          .material = mesh_attribute(mesh, ATTRIBUTE_material)};
    bool plain = unit == UNIT_MM;
    for (int k = 0; k < 3; k++)
        plain = plain && mesh->origin[k] == 0;
    if (plain) /* floats they were, floats they stay, however large */
        frame_init_float(&w->frame, mesh, unit);
    else
        frame_init(&w->frame, mesh, unit);
    for (int k = 0; k < 3; k++)
        w->doubles = w->doubles || w->frame.origin[k] != 0;
    w->alpha = some_alpha(w->colour, mesh_vertices(mesh));
}

static void write_header(const struct writing *w, const struct write_options *options,
                         struct sink *sink)
{
    const char *position = w->doubles ? "double" : "float";
    sink_text(sink, "ply\nformat %s 1.0\ncomment unit %s\nelement vertex %zu\n",
              options->ascii ? "ascii" : "binary_little_endian", unit_name(options->unit),
              mesh_vertices(w->mesh));
    sink_text(sink, "property %s x\nproperty %s y\nproperty %s z\n", position, position, position);
    if (w->normal)
        sink_text(sink, "property float nx\nproperty float ny\nproperty float nz\n");
    if (w->colour)
        sink_text(sink, "property uchar red\nproperty uchar green\nproperty uchar blue\n");
    if (w->alpha)
        sink_text(sink, "property uchar alpha\n");
    if (w->confidence)
        sink_text(sink, "property float confidence\n");
    if (w->view)
        sink_text(sink, "property float to_scanner_x\nproperty float to_scanner_y\n"
                        "property float to_scanner_z\n");
    if (mesh_triangles(w->mesh)) {
        sink_text(sink, "element face %zu\nproperty list uchar int vertex_indices\n",
                  mesh_triangles(w->mesh));
        if (w->texture)
            sink_text(sink, "property list uchar float texcoord\n");
        if (w->origin)
            sink_text(sink, "property uchar origin\n");
        if (w->source)
            sink_text(sink, "property ushort source\n");
        if (w->material)
            sink_text(sink, "property ushort material\n");
    }
    sink_text(sink, "end_header\n");
}

/* --- values, in either form -------------------------------------------------------------- */

#if __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "the bytes written here are little-endian"
#endif

static inline char *put(char *at, const void *value, size_t size)
{
    memcpy(at, value, size);
    return at + size;
}

static inline char *space(char *at)
{
    *at = ' ';
    return at + 1;
}

static char *put_position(const struct writing *w, size_t i, char *at)
{
    struct point p = frame_point(&w->frame, i);
    if (!w->doubles)
        return put(at, &p, sizeof p);
    const double *o = w->frame.origin;
    const double x[3] = {o[0] + p.x, o[1] + p.y, o[2] + p.z};
    return put(at, x, sizeof x);
}

static char *put_vertices(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++) {
        at = put_position(w, i, at);
        if (w->normal)
            at = put(at, w->normal + 3 * i, 3 * sizeof *w->normal);
        if (w->colour)
            at = put(at, w->colour + 4 * i, w->alpha ? 4 : 3);
        if (w->confidence)
            at = put(at, &w->confidence[i], sizeof *w->confidence);
        if (w->view)
            at = put(at, w->view + 3 * i, 3 * sizeof *w->view);
    }
    return at;
}

static char *put_faces(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t t = from; t < to; t++) {
        *at++ = 3;
        at = put(at, &mesh_triangle(w->mesh)[t], sizeof(struct triangle));
        if (w->texture) {
            *at++ = 6;
            at = put(at, w->texture + 6 * t, 6 * sizeof *w->texture);
        }
        if (w->origin)
            at = put(at, &w->origin[t], 1);
        if (w->source)
            at = put(at, &w->source[t], 2);
        if (w->material)
            at = put(at, &w->material[t], 2);
    }
    return at;
}

static char *put_floats(char *at, const float *value, int count)
{
    for (int i = 0; i < count; i++)
        at = decimal_float(space(at), value[i]);
    return at;
}

static char *put_vertex_lines(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++) {
        struct point p = frame_point(&w->frame, i);
        at = decimal_sum(at, w->frame.origin[0], p.x);
        at = decimal_sum(space(at), w->frame.origin[1], p.y);
        at = decimal_sum(space(at), w->frame.origin[2], p.z);
        if (w->normal)
            at = put_floats(at, w->normal + 3 * i, 3);
        for (int k = 0; w->colour && k < (w->alpha ? 4 : 3); k++)
            at = decimal_count(space(at), w->colour[4 * i + (size_t)k]);
        if (w->confidence)
            at = put_floats(at, &w->confidence[i], 1);
        if (w->view)
            at = put_floats(at, w->view + 3 * i, 3);
        *at++ = '\n';
    }
    return at;
}

static char *put_face_lines(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t t = from; t < to; t++) {
        *at++ = '3';
        for (int k = 0; k < 3; k++)
            at = decimal_count(space(at), mesh_triangle(w->mesh)[t].v[k]);
        if (w->texture) {
            at = put(at, " 6", 2);
            at = put_floats(at, w->texture + 6 * t, 6);
        }
        if (w->origin)
            at = decimal_count(space(at), w->origin[t]);
        if (w->source)
            at = decimal_count(space(at), w->source[t]);
        if (w->material)
            at = decimal_count(space(at), w->material[t]);
        *at++ = '\n';
    }
    return at;
}

enum status ply_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job)
{
    enum {
        VERTEX = 3 * 8 + 3 * 4 + 4 + 4 + 3 * 4,
        FACE = 1 + 12 + 1 + 24 + 1 + 2 + 2,
        VERTEX_LINE = 14 * (DECIMAL_MOST + 1),
        FACE_LINE = 16 * (DECIMAL_MOST + 1)
    };
    struct writing w;
    writing_init(&w, mesh, options->unit);
    write_header(&w, options, sink);
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    bool text = options->ascii;
    job_phase(job, "writing", 1000, vertices + triangles);
    if (sink_items(sink, vertices, text ? VERTEX_LINE : VERTEX,
                   text ? put_vertex_lines : put_vertices, &w, job))
        sink_items(sink, triangles, text ? FACE_LINE : FACE, text ? put_face_lines : put_faces, &w,
                   job);
    return sink_status(sink, job);
}
