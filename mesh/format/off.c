#include <stdlib.h>
#include <strings.h>

#include "core/job.h"
#include "format/frame.h"
#include "format/off.h"
#include "format/text.h"

enum { LOOK = 1000, VALUES_MOST = 16, HEADER_WORDS_MOST = 64 };

/* --- header ------------------------------------------------------------------------------ */

/* The next word, over comments and line ends; empty at the end of the file. */
static const char *next_word(const char **at, const char *end, size_t *line)
{
    const char *word = *at;
    while (word < end && (text_blank(*word) || *word == '\n' || *word == '#')) {
        if (*word == '#')
            word = text_line_end(word, end);
        else
            *line += *word++ == '\n';
    }
    *at = text_word_end(word, end);
    return word;
}

/* [ST][C][N][4][n]OFF. False when it is none; *dimensions is set for nOFF. */
static bool read_keyword(const char *at, const char *end, struct off_header *out, bool *dimensions)
{
    out->textures = end - at > 2 && strncmp(at, "ST", 2) == 0;
    at += out->textures ? 2 : 0;
    out->colours = at < end && *at == 'C';
    at += out->colours;
    out->normals = at < end && *at == 'N';
    at += out->normals;
    out->homogeneous = at < end && *at == '4';
    at += out->homogeneous;
    *dimensions = at < end && *at == 'n';
    at += *dimensions;
    return end - at == 3 && strncmp(at, "OFF", 3) == 0;
}

static int sniff(const struct bytes *bytes)
{
    const char *at = (const char *)bytes->data,
               *end = at + (bytes->size < 4096 ? bytes->size : 4096);
    struct off_header header;
    bool dimensions;
    size_t line = 1;
    const char *word = next_word(&at, end, &line);
    return read_keyword(word, at, &header, &dimensions) ? 95 : 0;
}

static enum status fail_header(const struct bytes *bytes, size_t line, const char *what,
                               struct job *job)
{
    return job_fail(job, STATUS_FORMAT, "\"%s\": line %zu: %s", bytes->name, line, what);
}

static enum status read_counts(struct off_header *out, const char *at, const char *end, size_t line,
                               struct job *job)
{
    uint64_t count[3];
    for (int i = 0; i < 3; i++) {
        int64_t number;
        const char *word = next_word(&at, end, &line);
        bool edges = i == 2; /* nobody needs them: some leave them out */
        if (edges && memchr(out->bytes->data + out->body, '\n',
                            (size_t)(word - (const char *)out->bytes->data) - out->body))
            break;
        if (word == at || decimal_whole(word, at, &number) != at || number < 0)
            return fail_header(out->bytes, line, "no count of vertices and faces", job);
        count[i] = (uint64_t)number;
        out->body = (size_t)(at - (const char *)out->bytes->data);
    }
    out->vertices = count[0];
    out->faces = count[1];
    if (out->vertices > MESH_MOST || out->faces > MESH_MOST)
        return fail_header(out->bytes, line, "more vertices or faces than can be held", job);
    at = text_line_end((const char *)out->bytes->data + out->body, end);
    out->body = (size_t)(at - (const char *)out->bytes->data) + (at < end);
    out->body_line = line + 1;
    return STATUS_OK;
}

static enum status read_header(const struct bytes *bytes, struct off_header *out, struct job *job)
{
    const char *at = (const char *)bytes->data, *end = at + bytes->size;
    size_t line = 1;
    bool dimensions = false;
    *out = (struct off_header){.bytes = bytes};
    const char *word = next_word(&at, end, &line);
    if (!read_keyword(word, at, out, &dimensions))
        at = word; /* files named .off may do without */
    const char *rest = text_skip(at, end);
    out->binary = end - rest >= 6 && strncmp(rest, "BINARY", 6) == 0;
    if (out->binary) {
        at = text_line_end(rest, end);
        out->body = (size_t)(at - (const char *)bytes->data) + (at < end);
        return STATUS_OK;
    }
    if (dimensions) {
        int64_t number = 0;
        word = next_word(&at, end, &line);
        if (decimal_whole(word, at, &number) != at || number != 3)
            return fail_header(bytes, line, "only three dimensions can be read", job);
    }
    out->body = (size_t)(at - (const char *)bytes->data);
    return read_counts(out, at, end, line, job);
}

/* --- lines ------------------------------------------------------------------------------- */

struct reader {
    struct off_header header;
    struct text text;
    double colour_scale, face_scale; /* 255 or 1 */
};

static const char *without_comment(const char *at, const char *end)
{
    const char *mark = memchr(at, '#', (size_t)(end - at));
    return mark ? mark : end;
}

/* x y z [w] [nx ny nz] [r g b [a]] [s t]; colours may stand there without being announced. */
static bool read_vertex(struct reader *reader, size_t line, const char *at, const char *end,
                        struct gather *gather)
{
    const struct off_header *header = &reader->header;
    struct list *list = gather->vertex_attribute;
    double value[VALUES_MOST];
    int count = 0, used = 3;
    while (count < VALUES_MOST && text_number(&at, end, &value[count]))
        count++;
    if (count < 3)
        return text_bad_word(&reader->text, line, at, end, "a coordinate");
    if (header->homogeneous && count > 3) {
        for (int k = 0; k < 3 && value[3] != 0; k++)
            value[k] /= value[3];
        used++;
    }
    gather_position(gather, value);
    if (header->normals && count >= used + 3) {
        const double *n = value + used;
        GATHER_ADD(gather, &list[ATTRIBUTE_normal], struct point,
                   {gather_value(n[0]), gather_value(n[1]), gather_value(n[2])});
        used += 3;
    }
    int rest = count - used - (header->textures ? 2 : 0);
    if (rest < 3)
        return true;
    uint8_t(*colour)[4] = gather_one(gather, &list[ATTRIBUTE_colour], sizeof *colour);
    if (colour)
        text_colour(value + used, rest, reader->colour_scale, *colour);
    return true;
}

/* n i0 ... [r g b [a]] */
static bool read_face(struct reader *reader, size_t line, const char *at, const char *end,
                      uint32_t **index, size_t *room, struct gather *gather)
{
    int64_t corners, number;
    const char *to = decimal_whole(text_skip(at, end), end, &corners);
    if (!to || corners < 0 || corners > end - at)
        return text_bad_word(&reader->text, line, at, end, "a count of corners");
    if ((size_t)corners > *room) {
        uint32_t *more = realloc(*index, 2 * (size_t)corners * sizeof *more);
        gather->starved = gather->starved || !more;
        if (!more)
            return false;
        *index = more;
        *room = 2 * (size_t)corners;
    }
    at = to;
    for (size_t i = 0; i < (size_t)corners; i++, at = to) {
        at = text_skip(at, end);
        to = decimal_whole(at, end, &number);
        if (!to)
            return text_bad_word(&reader->text, line, at, end, "a corner of the face");
        (*index)[i] = number >= 0 && number < MESH_MOST ? (uint32_t)number : NO_INDEX - 1;
    }
    size_t triangles = gather_face(gather, *index, (size_t)corners);
    double value[4];
    int count = 0;
    while (count < 4 && text_number(&at, end, &value[count]))
        count++;
    for (size_t i = 0; count >= 3 && i < triangles; i++) {
        uint8_t(*colour)[4] = gather_one(gather, &gather->face_colour, sizeof *colour);
        if (colour)
            text_colour(value, count, reader->face_scale, *colour);
    }
    return true;
}

static bool read_run(const void *context, size_t run, struct gather *gather)
{
    struct reader *reader = *(struct reader *const *)context;
    const struct text *text = &reader->text;
    const char *at = (const char *)text->bytes->data + text->from[run];
    const char *end = (const char *)text->bytes->data + text->from[run + 1];
    uint64_t content = text->content[run], vertices = reader->header.vertices;
    uint32_t *index = NULL;
    size_t room = 0, line = text->line[run];
    bool go = true;
    for (const char *line_end; go && at < end && !gather->starved; at = line_end + 1, line++) {
        line_end = text_line_end(at, end);
        if (!text_is_content(at, line_end, '#'))
            continue;
        const char *stop = without_comment(at, line_end);
        if (content < vertices)
            go = read_vertex(reader, line, at, stop, gather);
        else if (content - vertices < reader->header.faces)
            go = read_face(reader, line, at, stop, &index, &room, gather);
        content++;
    }
    free(index);
    bytes_passed(text->bytes, text->from[run], text->from[run + 1]);
    return go;
}

/* Learns from the first vertices and faces what their colours run up to, and the origin. */
static void look(struct reader *reader, struct gather *gather)
{
    const struct off_header *header = &reader->header;
    const char *at = (const char *)header->bytes->data + header->body;
    const char *end = (const char *)header->bytes->data + header->bytes->size;
    uint64_t content = 0, first_colour = 3u + header->homogeneous + 3u * header->normals;
    for (const char *line_end; at < end && content < header->vertices + LOOK; at = line_end + 1) {
        line_end = text_line_end(at, end);
        bool face = content >= header->vertices;
        if (!text_is_content(at, line_end, '#'))
            continue;
        content++;
        if (!face && content > LOOK)
            continue;
        double value[VALUES_MOST], corners = 0;
        uint64_t count = 0, from = face ? 0 : first_colour;
        bool skip = face && text_number(&at, line_end, &corners);
        for (double i = 0; skip && i < corners && text_number(&at, line_end, value); i++)
            ;
        const char *stop = without_comment(at, line_end);
        while (count < VALUES_MOST && text_number(&at, stop, &value[count]))
            count++;
        if (!face && content == 1 && count >= 3)
            mesh_origin_for(value, gather->origin);
        for (uint64_t k = from; k < from + 3 && k + (header->textures ? 2 : 0) < count; k++)
            if (value[k] > 1)
                *(face ? &reader->face_scale : &reader->colour_scale) = 1;
    }
}

/* --- the file ---------------------------------------------------------------------------- */

static enum status read_text(struct reader *reader, struct gather *gather, uint64_t found[2],
                             struct job *job)
{
    const struct off_header *header = &reader->header;
    struct text *text = &reader->text;
    size_t stopped;
    enum status status =
        text_split(header->bytes, header->body, header->body_line, NULL, text, job);
    if (status == STATUS_OK)
        status = text_content(text, '#', job);
    if (status != STATUS_OK)
        return status;
    uint64_t there = text->content[text->count], wanted = header->vertices + header->faces;
    bool unended = text_unended(text), cut = there < wanted && unended;
    if (cut) /* the last line may lack some of its last number too */
        text_cut_last(text);
    look(reader, gather);
    struct reader *context = reader;
    status = gather_parts(gather, text->count, read_run, &context,
                          text->count ? header->bytes->size / text->count : 0, &stopped, job);
    if (status != STATUS_OK)
        return status;
    if (text->problem_line && !(text_ends_at_problem(text) && (there < wanted || unended)))
        return text_fail(text, job);
    there -= (uint64_t)cut + (text->problem_line != 0);
    found[0] = there < header->vertices ? there : header->vertices;
    found[1] = there - found[0] < header->faces ? there - found[0] : header->faces;
    if (there > wanted)
        job_note(job, "\"%s\": left out behind the last face: %llu line%s", header->bytes->name,
                 (unsigned long long)(there - wanted), plural(there - wanted));
    return STATUS_OK;
}

static void note_missing(const struct off_header *header, const uint64_t found[2],
                         struct reading *out, struct job *job)
{
    out->partial = found[0] < header->vertices || found[1] < header->faces;
    if (out->partial)
        job_note(job, "\"%s\": cut off: %llu of %llu vertices and %llu of %llu faces are there",
                 header->bytes->name, (unsigned long long)found[0],
                 (unsigned long long)header->vertices, (unsigned long long)found[1],
                 (unsigned long long)header->faces);
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    struct reader reader = {.colour_scale = 255, .face_scale = 255};
    struct gather gather = {0};
    uint64_t found[2] = {0, 0};
    enum status status = read_header(bytes, &reader.header, job);
    if (status == STATUS_OK)
        status = reader.header.binary ? off_binary_read(&reader.header, &gather, found, job)
                                      : read_text(&reader, &gather, found, job);
    if (status == STATUS_OK) {
        note_missing(&reader.header, found, out, job);
        out->colour = gather.vertex_attribute[ATTRIBUTE_colour].used ? COLOUR_VERTEX
                      : gather.face_colour.used                      ? COLOUR_FACE
                                                                     : COLOUR_NONE;
        out->unit = text_unit_in_comments(bytes, '#');
        status = gather_finish(&gather, bytes->name, &out->mesh, job);
    }
    text_release(&reader.text);
    gather_release(&gather);
    return status;
}

const struct format format_off = {
    .name = "off",
    .extensions = "off coff noff",
    .title = "OFF: triangles or points as text, with colour and normals",
    .points = true,
    .triangles = true,
    .colour = true,
    .sniff = sniff,
    .read = read,
    .write = off_write,
};
