#include "format/decimal.h"
#include "format/frame.h"
#include "format/xyz.h"

struct writing {
    struct frame frame;
    const uint8_t *colour;   /* four a vertex */
    const float *normal;     /* three a vertex */
    const float *confidence; /* one a vertex */
};

static char *put_points(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *w = context;
    for (size_t i = from; i < to; i++) {
        at = frame_put(&w->frame, i, at);
        if (w->confidence) {
            at = decimal_float(at, w->confidence[i]);
            *at++ = ' ';
        }
        for (size_t k = 0; w->colour && k < 3; k++) {
            at = decimal_count(at, w->colour[4 * i + k]);
            *at++ = ' ';
        }
        for (size_t k = 0; w->normal && k < 3; k++) {
            at = decimal_float(at, w->normal[3 * i + k]);
            *at++ = ' ';
        }
        at[-1] = '\n';
    }
    return at;
}

enum status xyz_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job)
{
    enum { MOST = 10 * (DECIMAL_MOST + 1) };
    struct writing w = {.colour = mesh_attribute(mesh, ATTRIBUTE_colour),
                        .normal = mesh_attribute(mesh, ATTRIBUTE_normal),
                        .confidence = mesh_attribute(mesh, ATTRIBUTE_confidence)};
    frame_init(&w.frame, mesh, options->unit);
    job_phase(job, "writing", 1000, mesh_vertices(mesh));
    /* Bare positions in mm need no explanation; the simplest readers know no comments. */
    if (options->unit != UNIT_MM)
        sink_text(sink, "# unit %s\n", unit_name(options->unit));
    if (w.colour || w.normal || w.confidence)
        sink_text(sink, "# x y z%s%s%s\n", w.confidence ? " intensity" : "",
                  w.colour ? " red green blue" : "", w.normal ? " nx ny nz" : "");
    sink_items(sink, mesh_vertices(mesh), MOST, put_points, &w, job);
    return sink_status(sink, job);
}
