#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "format/decimal.h"
#include "format/format.h"
#include "format/frame.h"
#include "format/sink.h"

enum { HEADER = 84, COUNT_AT = 80, FACET = 50, VERTICES_AT = 12, WORD_AT = 48 };
enum { LOOK = 4096, LOOK_FACETS = 16 };

/* --- what it is: by size, never by the word "solid" ------------------------------------- */

static uint32_t get32(const unsigned char *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static float get_float(const unsigned char *at)
{
    uint32_t bits = get32(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static size_t whole_facets(const struct bytes *bytes)
{
    return bytes->size < HEADER ? 0 : (bytes->size - HEADER) / FACET;
}

static bool exact_size(const struct bytes *bytes)
{
    return bytes->size >= HEADER &&
           (uint64_t)bytes->size == HEADER + (uint64_t)FACET * get32(bytes->data + COUNT_AT);
}

/* Text: begins with "solid" and soon goes on with "facet" or "endsolid", without a NUL. */
static bool looks_text(const struct bytes *bytes)
{
    size_t size = bytes->size < LOOK ? bytes->size : LOOK, at = 0;
    const char *text = (const char *)bytes->data;
    while (at < size && strchr(" \t\r\n", text[at]) && text[at])
        at++;
    if (size - at < 5 || strncasecmp(text + at, "solid", 5) != 0 || memchr(text, 0, size))
        return false;
    for (at += 5; at + 5 <= size; at++)
        if (strncasecmp(text + at, "facet", 5) == 0 || strncasecmp(text + at, "endso", 5) == 0)
            return true;
    return size == bytes->size && size < HEADER;
}

/* The first facets hold numbers such as coordinates are. */
static bool looks_binary(const struct bytes *bytes)
{
    size_t facets = whole_facets(bytes);
    const unsigned char *count = bytes->data + COUNT_AT;
    if (!facets || (count[0] >= ' ' && count[1] >= ' ' && count[2] >= ' ' && count[3] >= ' ' &&
                    get32(count) != UINT32_MAX))
        return false;
    for (size_t i = 0; i < (facets < LOOK_FACETS ? facets : LOOK_FACETS); i++)
        for (int k = 0; k < 12; k++) {
            float value = fabsf(get_float(bytes->data + HEADER + i * FACET + 4 * (size_t)k));
            if (isfinite(value) && (value > 1e15f || (value != 0 && value < 1e-30f)))
                return false;
        }
    return true;
}

static int sniff(const struct bytes *bytes)
{
    if (exact_size(bytes))
        return bytes->size > HEADER ? 100 : 50;
    if (looks_text(bytes))
        return 90;
    return bytes->size > HEADER && looks_binary(bytes) ? 30 : 0;
}

/* --- binary ------------------------------------------------------------------------------ */

/* How many facets to read, with notes on what the file's size does not agree with. */
static size_t facet_count(const struct bytes *bytes, struct reading *out, struct job *job)
{
    uint64_t stated = get32(bytes->data + COUNT_AT), whole = whole_facets(bytes);
    if (stated == whole && exact_size(bytes))
        return whole;
    if (stated == 0 || stated == UINT32_MAX) {
        job_note(job,
                 "\"%s\": its header does not say how many triangles there are; %llu were found",
                 bytes->name, (unsigned long long)whole);
        return whole;
    }
    if (stated <= whole) {
        job_note(job, "\"%s\": %llu bytes behind the last triangle were left out", bytes->name,
                 (unsigned long long)(bytes->size - HEADER - FACET * stated));
        return stated;
    }
    out->partial = true;
    job_note(job, "\"%s\": cut off: %llu of %llu triangles are there", bytes->name,
             (unsigned long long)whole, (unsigned long long)stated);
    return whole;
}

static bool facet_finite(const unsigned char *facet)
{
    for (int k = 0; k < 9; k++)
        if ((get32(facet + VERTICES_AT + 4 * k) & 0x7f800000) == 0x7f800000)
            return false;
    return true;
}

static void put_corners(struct point *point, const unsigned char *facet)
{
    for (int k = 0; k < 3; k++) {
        const unsigned char *at = facet + VERTICES_AT + 12 * k;
        point[k] = (struct point){get_float(at), get_float(at + 4), get_float(at + 8)};
    }
}

static enum status read_binary(const struct bytes *bytes, struct reading *out, struct job *job)
{
    if (bytes->size < HEADER)
        return job_fail(job, STATUS_FORMAT,
                        "\"%s\": %zu bytes are too few for an STL file; ask for it again",
                        bytes->name, bytes->size);
    size_t facets = facet_count(bytes, out, job), kept = 0;
    if (facets > MESH_MOST / 3)
        return job_fail(job, STATUS_FORMAT, "\"%s\": more triangles (%zu) than can be held",
                        bytes->name, facets);
    struct mesh *mesh = mesh_new(3 * facets, facets);
    if (!mesh)
        return job_fail_memory(job, facets * 48);
    for (size_t i = 0; i < facets; i++) {
        const unsigned char *facet = bytes->data + HEADER + FACET * i;
        if (!facet_finite(facet))
            continue;
        put_corners(mesh_point_edit(mesh) + 3 * kept, facet);
        for (uint32_t k = 0; k < 3; k++)
            mesh_triangle_edit(mesh)[kept].v[k] = (uint32_t)(3 * kept) + k;
        kept++;
    }
    if (kept < facets)
        job_note(job, "\"%s\": %zu triangles with a coordinate that is no number were left out",
                 bytes->name, facets - kept);
    array_shrink(mesh->point, 3 * kept);
    array_shrink(mesh->triangle, kept);
    out->mesh = mesh;
    return STATUS_OK;
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    if (exact_size(bytes) || !looks_text(bytes))
        return read_binary(bytes, out, job);
    return job_fail(job, STATUS_FORMAT, "\"%s\": text STL is not read yet", bytes->name);
}

/* --- writing ----------------------------------------------------------------------------- */

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
    for (size_t t = from; t < to; t++, at += FACET) {
        struct point p[4];
        facet_points(writing, t, p + 1);
        p[0] = facet_normal(p + 1);
        memcpy(at, p, sizeof p);
        memset(at + WORD_AT, 0, 2);
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

static enum status write_text(struct writing *writing, size_t count, struct sink *sink,
                              struct job *job)
{
    enum { MOST = 4 * (12 + 3 * (DECIMAL_MOST + 1)) + 40 };
    sink_text(sink, "solid mesh\n");
    sink_items(sink, count, MOST, put_text, writing, job);
    sink_text(sink, "endsolid mesh\n");
    return sink_status(sink, job);
}

static enum status write(const struct mesh *mesh, const struct write_options *options,
                         struct sink *sink, struct job *job)
{
    struct writing writing = {.triangle = mesh_triangle(mesh)};
    size_t count = mesh_triangles(mesh);
    char header[HEADER] = "binary STL, unit ";
    if (mesh->attribute[ATTRIBUTE_colour])
        job_note(job, "STL does not keep the colours; PLY does");
    job_phase(job, "writing", 1000, count);
    if (options->ascii) {
        frame_init(&writing.frame, mesh, options->unit);
        return write_text(&writing, count, sink, job);
    }
    double error = frame_init_float(&writing.frame, mesh, options->unit);
    if (error > 1e-3)
        job_note(job,
                 "so far from zero binary STL rounds positions by up to %.3g mm; move the "
                 "piece nearer, or save PLY",
                 error);
    strcat(header, unit_name(options->unit));
    for (unsigned k = 0; k < 4; k++)
        header[COUNT_AT + k] = (char)(count >> (8 * k) & 255);
    sink_write(sink, header, sizeof header);
    sink_items(sink, count, FACET, put_binary, &writing, job);
    return sink_status(sink, job);
}

const struct format format_stl = {
    .name = "stl",
    .extensions = "stl",
    .title = "STL: triangles, binary or text",
    .triangles = true,
    .sniff = sniff,
    .read = read,
    .write = write,
};
