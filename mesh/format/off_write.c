#include <string.h>

#include "format/decimal.h"
#include "format/frame.h"
#include "format/off.h"

struct writing {
    struct frame frame;
    const struct triangle *triangle;
    const uint8_t *colour; /* four a vertex */
    const float *normal;   /* three a vertex */
};

static char *put_vertices(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++) {
        at = frame_put(&w->frame, i, at);
        for (size_t k = 0; w->normal && k < 3; k++) {
            at = decimal_float(at, w->normal[3 * i + k]);
            *at++ = ' ';
        }
        for (size_t k = 0; w->colour && k < 4; k++) {
            at = decimal_count(at, w->colour[4 * i + k]);
            *at++ = ' ';
        }
        at[-1] = '\n';
    }
    return at;
}

static char *put_faces(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t t = from; t < to; t++) {
        *at++ = '3';
        for (int k = 0; k < 3; k++) {
            *at++ = ' ';
            at = decimal_count(at, w->triangle[t].v[k]);
        }
        *at++ = '\n';
    }
    return at;
}

enum status off_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job)
{
    enum { VERTEX = 10 * (DECIMAL_MOST + 1), FACE = 4 * 12 };
    size_t vertices = mesh_vertices(mesh), triangles = mesh_triangles(mesh);
    struct writing w = {.triangle = mesh_triangle(mesh),
                        .colour = mesh_attribute(mesh, ATTRIBUTE_colour),
                        .normal = mesh_attribute(mesh, ATTRIBUTE_normal)};
    frame_init(&w.frame, mesh, options->unit);
    job_phase(job, "writing", 1000, vertices + triangles);
    sink_text(sink, "%s%sOFF\n# unit %s\n%zu %zu 0\n", w.colour ? "C" : "", w.normal ? "N" : "",
              unit_name(options->unit), vertices, triangles);
    if (sink_items(sink, vertices, VERTEX, put_vertices, &w, job))
        sink_items(sink, triangles, FACE, put_faces, &w, job);
    return sink_status(sink, job);
}
