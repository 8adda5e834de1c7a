#include "format/stl.h"

#include <string.h>

#include "core/job.h"
#include "format/decimal.h"
#include "format/frame.h"

static const double NOTABLE = 1e-3; /* mm that a technician would want to know of */

struct writing {
    struct frame frame;
    const struct triangle *triangle;
};

static struct point facet_normal(const struct point p[3])
{
    struct vec a = point_vec(p[0]);
    return vec_point(vec_unit(vec_cross(vec_sub(point_vec(p[1]), a), vec_sub(point_vec(p[2]), a))));
}

static void facet_points(const struct writing *writing, size_t t, struct point p[3])
{
    for (int k = 0; k < 3; k++)
        p[k] = frame_point(&writing->frame, writing->triangle[t].v[k]);
}

static char *put_binary(const void *context, size_t from, size_t to, char *at)
{
    const struct writing *writing = context;
    for (size_t t = from; t < to; t++, at += STL_FACET) {
        struct point p[4];
        facet_points(writing, t, p + 1);
        p[0] = facet_normal(p + 1);
        memcpy(at, p, sizeof p);
        memset(at + STL_WORD_AT, 0, 2);
    }
    return at;
}

static char *put_word(char *at, const char *word)
{
    size_t n = strlen(word);
    memcpy(at, word, n);
    return at + n;
}

static char *put_point(char *at, const char *before, struct point p, const double origin[3])
{
    const float value[3] = {p.x, p.y, p.z};
    at = put_word(at, before);
    for (int k = 0; k < 3; k++) {
        *at++ = ' ';
        at = decimal_sum(at, origin[k], value[k]);
    }
    *at++ = '\n';
    return at;
}

static char *put_text(const void *context, size_t from, size_t to, char *at)
{
    static const double zero[3] = {0, 0, 0};
    const struct writing *writing = context;
    for (size_t t = from; t < to; t++) {
        struct point p[3];
        facet_points(writing, t, p);
        at = put_point(at, "facet normal", facet_normal(p), zero);
        at = put_word(at, " outer loop\n");
        for (int k = 0; k < 3; k++)
            at = put_point(at, "  vertex", p[k], writing->frame.origin);
        at = put_word(at, " endloop\nendfacet\n");
    }
    return at;
}

static enum status write_text(struct writing *writing, size_t count, const char *unit,
                              struct sink *sink, struct job *job)
{
    enum { MOST = 4 * (12 + 3 * (DECIMAL_MOST + 1)) + 40 };
    sink_text(sink, "%s%s\n", STL_SOLID, unit);
    sink_items(sink, count, MOST, put_text, writing, job);
    sink_text(sink, "endsolid mesh\n");
    return sink_status(sink, job);
}

static enum status write_binary(struct writing *writing, size_t count, const char *unit,
                                struct sink *sink, struct job *job)
{
    char header[STL_HEADER] = STL_TITLE;
    strcat(header, unit);
    for (unsigned k = 0; k < 4; k++)
        header[STL_COUNT_AT + k] = (char)(count >> (8 * k) & 255);
    sink_write(sink, header, sizeof header);
    sink_items(sink, count, STL_FACET, put_binary, writing, job);
    return sink_status(sink, job);
}

enum status stl_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job)
{
    struct writing writing = {.triangle = mesh_triangle(mesh)};
    size_t count = mesh_triangles(mesh);
    char unit[32] = "";
    if (options->unit != UNIT_MM)
        strcat(strcat(unit, STL_UNIT), unit_name(options->unit));
    job_phase(job, "writing", 1000, count);
    if (options->ascii) {
        frame_init(&writing.frame, mesh, options->unit);
        return write_text(&writing, count, unit, sink, job);
    }
    double error = frame_init_float(&writing.frame, mesh, options->unit);
    if (error > NOTABLE)
        job_note(job,
                 "so far from zero binary STL rounds positions by up to %.3g mm; move the piece "
                 "nearer, or save PLY",
                 error);
    return write_binary(&writing, count, unit, sink, job);
}
