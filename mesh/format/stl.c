#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "core/weld.h"
#include "format/frame.h"
#include "format/gather.h"
#include "format/sink.h"
#include "format/text.h"

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

static bool all_text(const unsigned char *at, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (at[i] > '~' || (at[i] < ' ' && !strchr("\t\r\n\f", at[i])) || !at[i])
            return false;
    return true;
}

/* The first facets hold numbers such as coordinates are, and it is no text. */
static bool looks_binary(const struct bytes *bytes)
{
    size_t facets = whole_facets(bytes);
    if (!facets || all_text(bytes->data, bytes->size < LOOK ? bytes->size : LOOK))
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

/* Turns 5 bits into 8. */
static uint8_t five_bits(unsigned word, int shift)
{
    unsigned value = word >> shift & 31;
    return (uint8_t)((value * 255 + 15) / 31);
}

enum colouring { PLAIN, COLOURED_A, COLOURED_B };

static unsigned word_of(const unsigned char *facet)
{
    return facet[WORD_AT] | (unsigned)facet[WORD_AT + 1] << 8;
}

/* Two makers put colours into a facet's last two bytes. One gives the colour of the whole in the
 * header as well; the other must be guessed from the bit that makes a colour valid. */
static enum colouring colouring(const struct bytes *bytes, size_t facets)
{
    if (memmem(bytes->data, COUNT_AT, "COLOR=", 6))
        return COLOURED_B;
    size_t valid = 0;
    for (size_t i = 0; i < facets; i++)
        valid += word_of(bytes->data + HEADER + FACET * i) >> 15;
    return facets && valid > facets / 2 ? COLOURED_A : PLAIN;
}

static void facet_colour(enum colouring kind, unsigned word, const uint8_t whole[4],
                         uint8_t colour[4])
{
    bool red_high = kind == COLOURED_A, own = (word >> 15 & 1) == (kind == COLOURED_A);
    memcpy(colour, whole, 4);
    if (!own)
        return;
    colour[0] = five_bits(word, red_high ? 10 : 0);
    colour[1] = five_bits(word, 5);
    colour[2] = five_bits(word, red_high ? 0 : 10);
    colour[3] = 255;
}

/* The colour that facets without one of their own have. */
static void whole_colour(const struct bytes *bytes, enum colouring kind, uint8_t colour[4])
{
    memset(colour, 255, 4);
    const unsigned char *at = memmem(bytes->data, COUNT_AT, "COLOR=", 6);
    if (kind == COLOURED_B && at && at + 10 <= bytes->data + COUNT_AT)
        memcpy(colour, at + 6, 4);
}

/* A facet's colour goes to its vertices: each has the mean of those around it. */
static enum status colour_vertices(const struct bytes *bytes, size_t facets, enum colouring kind,
                                   struct mesh *mesh, struct job *job)
{
    uint8_t whole[4];
    whole_colour(bytes, kind, whole);
    uint8_t *face = scratch_new(mesh_triangles(mesh), 4);
    if (!face)
        return job_fail_memory(job, mesh_triangles(mesh) * 4);
    size_t t = 0;
    for (size_t i = 0; i < facets && t < mesh_triangles(mesh); i++) {
        const unsigned char *facet = bytes->data + HEADER + FACET * i;
        if (soup_finite(facet + VERTICES_AT))
            facet_colour(kind, word_of(facet), whole, face + 4 * t++);
    }
    enum status status = face_colour_spread(mesh, face, job);
    scratch_free(face);
    if (status == STATUS_OK)
        job_note(job,
                 "\"%s\": colours found, taken for the kind %s; they were carried over from its "
                 "facets to their vertices",
                 bytes->name,
                 kind == COLOURED_A ? "that sets bit 15 (red in the high bits)"
                                    : "with COLOR= in the header (red in the low bits)");
    return status;
}

static enum status read_binary(const struct bytes *bytes, struct reading *out, struct job *job)
{
    if (bytes->size < HEADER)
        return job_fail(job, STATUS_FORMAT,
                        "\"%s\": %zu bytes are too few for an STL file; ask for it again",
                        bytes->name, bytes->size);
    size_t facets = facet_count(bytes, out, job);
    struct mesh *mesh = weld_soup(bytes->data + HEADER + VERTICES_AT, FACET, facets, job);
    if (!mesh)
        return job_status(job);
    if (mesh_triangles(mesh) < facets)
        job_note(job, "\"%s\": %zu triangles with a coordinate that is no number were left out",
                 bytes->name, facets - mesh_triangles(mesh));
    enum colouring kind = colouring(bytes, facets);
    enum status status = STATUS_OK;
    if (kind != PLAIN)
        status = colour_vertices(bytes, facets, kind, mesh, job);
    bytes_passed(bytes, 0, bytes->size);
    if (status != STATUS_OK) {
        mesh_free(mesh);
        return status;
    }
    out->colour = kind == PLAIN ? COLOUR_NONE : COLOUR_FACE;
    out->mesh = mesh;
    return STATUS_OK;
}

/* --- text -------------------------------------------------------------------------------- */

static inline bool word_is(const char *at, const char *end, const char *word)
{
    if (at == end || (*at | 32) != *word)
        return false;
    size_t n = strlen(word);
    return (size_t)(end - at) >= n && strncasecmp(at, word, n) == 0 &&
           (at + n == end || text_blank(at[n]) || at[n] == '\n');
}

/* Runs begin where a facet begins. */
static bool begins_facet(const char *text, size_t at, size_t end)
{
    const char *line = text_skip(text + at, text + end);
    return word_is(line, text + end, "facet");
}

/* Words are what counts, not lines: some programs write a facet a line, or a file a line. */
struct scan {
    const char *at, *end, *counted; /* lines were counted up to there */
    size_t line;
    struct text *text;
    struct gather *gather;
    double corner[3];
    size_t corners; /* of the present facet */
    size_t first;   /* where its points begin */
};

static size_t line_now(struct scan *scan)
{
    for (; scan->counted < scan->at; scan->counted++)
        scan->line += *scan->counted == '\n';
    return scan->line;
}

static const char *skip_space(const char *at, const char *end)
{
    while (at < end && (text_blank(*at) || *at == '\n'))
        at++;
    return at;
}

static bool read_corner(struct scan *scan)
{
    for (int k = 0; k < 3; k++) {
        scan->at = skip_space(scan->at, scan->end);
        const char *word_end = text_word_end(scan->at, scan->end);
        if (!text_number(&scan->at, word_end, &scan->corner[k])) {
            text_bad_word(scan->text, line_now(scan), scan->at, word_end, "a coordinate");
            return false;
        }
    }
    gather_position(scan->gather, scan->corner);
    scan->corners++;
    return true;
}

/* Closes a facet: three corners stay; more are a polygon's, and become a fan. */
static void end_facet(struct scan *scan)
{
    struct list *list = &scan->gather->point;
    size_t corners = scan->corners;
    scan->corners = 0;
    if (corners < 3) {
        list->used = scan->first;
        scan->gather->wrong += corners > 0;
    } else if (corners > 3 && gather_more(scan->gather, list, 2 * corners - 6)) {
        struct point *p = (struct point *)list->array->data + scan->first;
        for (size_t i = corners - 2; i-- > 1;) { /* from behind: nothing is overwritten too early */
            p[3 * i + 2] = p[i + 2];
            p[3 * i + 1] = p[i + 1];
            p[3 * i] = p[0];
        }
    }
    scan->first = list->used;
}

static bool read_words(struct scan *scan)
{
    while ((scan->at = skip_space(scan->at, scan->end)) < scan->end && !scan->gather->starved) {
        const char *word = scan->at;
        scan->at = text_word_end(word, scan->end);
        if (word_is(word, scan->end, "vertex")) {
            if (!read_corner(scan))
                return false;
        } else if (word_is(word, scan->end, "endfacet") || word_is(word, scan->end, "facet")) {
            end_facet(scan);
        } else if (word_is(word, scan->end, "solid") || word_is(word, scan->end, "endsolid")) {
            scan->at = text_line_end(scan->at, scan->end); /* a name may be anything */
        }
    }
    return true;
}

static bool read_run(const void *context, size_t run, struct gather *gather)
{
    struct text *text = *(struct text *const *)context;
    const char *data = (const char *)text->bytes->data;
    struct scan scan = {.at = data + text->from[run],
                        .end = data + text->from[run + 1],
                        .line = text->line[run],
                        .text = text,
                        .gather = gather};
    scan.counted = scan.at;
    bool ok = read_words(&scan);
    if (!ok || scan.corners) /* a facet without its end: the file's end is missing */
        gather->point.used = scan.first;
    if (ok && scan.corners && run + 1 == text->count)
        text_problem(text, line_now(&scan), "the last facet has no end");
    bytes_passed(text->bytes, text->from[run], text->from[run + 1]);
    return ok;
}

static void find_origin(const struct bytes *bytes, struct gather *gather)
{
    const char *at = (const char *)bytes->data, *end = at + bytes->size;
    double first[3] = {0, 0, 0};
    while ((at = skip_space(at, end)) < end && !word_is(at, end, "vertex"))
        at = text_word_end(at, end);
    at = text_word_end(at, end);
    for (int k = 0; k < 3; k++) {
        at = skip_space(at, end);
        if (!text_number(&at, text_word_end(at, end), &first[k]))
            return;
    }
    frame_origin(first, gather->origin);
}

static enum status read_facets(struct text *text, struct gather *gather, struct reading *out,
                               struct job *job)
{
    size_t stopped, runs = text->count;
    find_origin(text->bytes, gather);
    enum status status = gather_parts(gather, runs, read_run, &text,
                                      runs ? text->bytes->size / runs : 0, &stopped, job);
    if (status != STATUS_OK)
        return status;
    if (text->problem_line && !text_ends_at_problem(text))
        return text_fail(text, job);
    size_t facets = gather->point.used / 3;
    out->partial = text->problem_line != 0;
    if (out->partial)
        job_note(job, "\"%s\": cut off in line %zu; %zu whole triangles are there",
                 text->bytes->name, text->problem_line, facets);
    if (gather->wrong)
        job_note(job, "\"%s\": %zu facets with fewer than three vertices were left out",
                 text->bytes->name, gather->wrong);
    const void *corners = facets ? gather->point.array->data : NULL;
    out->mesh = weld_soup(corners, sizeof(float[9]), facets, job);
    if (!out->mesh)
        return job_status(job);
    memcpy(out->mesh->origin, gather->origin, sizeof out->mesh->origin);
    if (mesh_triangles(out->mesh) < facets)
        job_note(job, "\"%s\": %zu triangles with a coordinate that is no number were left out",
                 text->bytes->name, facets - mesh_triangles(out->mesh));
    return STATUS_OK;
}

static enum status read_text(const struct bytes *bytes, struct reading *out, struct job *job)
{
    struct text text;
    struct gather gather = {0};
    enum status status = text_split(bytes, 0, 1, begins_facet, &text, job);
    if (status != STATUS_OK)
        return status;
    status = read_facets(&text, &gather, out, job);
    text_release(&text);
    gather_release(&gather);
    return status;
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    return exact_size(bytes) || !looks_text(bytes) ? read_binary(bytes, out, job)
                                                   : read_text(bytes, out, job);
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
