#include <stdlib.h>

#include "core/job.h"
#include "format/frame.h"
#include "format/gather.h"
#include "format/obj.h"
#include "format/text.h"

enum { HEAD = 16384, LOOK = 1000 };
#define NO_VERTEX (NO_INDEX - 1) /* an index that cannot be right */

/* --- what it is -------------------------------------------------------------------------- */

static bool word_is(const char *at, const char *end, const char *word)
{
    size_t n = strlen(word);
    return (size_t)(end - at) == n && memcmp(at, word, n) == 0;
}

static bool keyword(const char *at, const char *end)
{
    static const char *const words[] = {"v", "vt", "vn", "f",      "o",      "g", "s",
                                        "l", "p",  "vp", "usemtl", "mtllib", NULL};
    for (int i = 0; words[i]; i++)
        if (word_is(at, end, words[i]))
            return true;
    return false;
}

/* The first lines are blank, comments or begin with a keyword; one is a vertex or names a file that
 * may hold some. */
static int sniff(const struct bytes *bytes)
{
    const char *at = (const char *)bytes->data;
    const char *end = at + (bytes->size < HEAD ? bytes->size : HEAD);
    bool whole = bytes->size <= HEAD, vertex = false;
    if (memchr(at, 0, (size_t)(end - at)))
        return 0;
    for (const char *line_end; at < end; at = line_end + 1) {
        line_end = text_line_end(at, end);
        if (line_end == end && !whole)
            break;
        const char *word = text_skip(at, line_end), *word_end = text_word_end(word, line_end);
        bool continued = at > (const char *)bytes->data + 1 && at[-2] == '\\';
        if (word == line_end || *word == '#' || continued)
            continue;
        if (!keyword(word, word_end))
            return vertex ? 40 : 0;
        double x;
        vertex = vertex || (word_is(word, word_end, "v") && text_number(&word_end, line_end, &x));
    }
    return vertex ? 80 : 0;
}

/* --- lines ------------------------------------------------------------------------------- */

struct reader {
    struct text *text;
    double colour_scale;
};

struct corner {
    uint32_t vertex, texture;
    bool relative, texture_relative;
};

struct run { /* the reading of one run of lines */
    const struct reader *reader;
    struct gather *gather;
    size_t line;
    struct corner *corner; /* of the present face */
    uint32_t *vertex;
    size_t room;
    char *joined; /* a line that is continued on the next ones */
    size_t joined_room;
};

static bool continues(const char *at, const char *line_end)
{
    if (line_end > at && line_end[-1] == '\r')
        line_end--;
    return line_end > at && line_end[-1] == '\\';
}

static bool begins_line(const char *text, size_t at, size_t end)
{
    (void)end;
    return at < 2 || !continues(text, text + at - 1);
}

/* x y z, x y z w, x y z r g b or x y z r g b a. */
static bool read_vertex(struct run *run, const char *at, const char *end)
{
    struct gather *gather = run->gather;
    struct list *colours = &gather->vertex_attribute[ATTRIBUTE_colour];
    double value[7];
    int count = 0;
    while (count < 7 && text_number(&at, end, &value[count]))
        count++;
    if (count < 3)
        return text_bad_word(run->reader->text, run->line, at, end, "a coordinate");
    if (count >= 6 && !colours->used)
        gather_pad(gather, colours, gather->point.used, gather_nothing(ATTRIBUTE_colour), 4);
    if (count >= 6 || colours->used) {
        uint8_t(*colour)[4] = gather_one(gather, colours, sizeof *colour);
        if (colour && count >= 6)
            text_colour(value + 3, count - 3, run->reader->colour_scale, *colour);
        else if (colour)
            memcpy(*colour, gather_nothing(ATTRIBUTE_colour), 4);
    }
    gather_position(gather, value);
    return true;
}

static bool read_texture(struct run *run, const char *at, const char *end)
{
    double u, v = 0;
    struct pair {
        float at[2];
    };
    if (!text_number(&at, end, &u))
        return text_bad_word(run->reader->text, run->line, at, end, "a texture coordinate");
    text_number(&at, end, &v);
    GATHER_ADD(run->gather, &run->gather->texture, struct pair,
               {{gather_value(u), gather_value(v)}});
    return true;
}

static bool read_normal(struct run *run, const char *at, const char *end)
{
    double n[3] = {0, 0, 0};
    for (int k = 0; k < 3; k++)
        if (!text_number(&at, end, &n[k]))
            return text_bad_word(run->reader->text, run->line, at, end, "a component of a normal");
    GATHER_ADD(run->gather, &run->gather->normal, struct point,
               {gather_value(n[0]), gather_value(n[1]), gather_value(n[2])});
    return true;
}

/* From a number in the file, counted from 1 or back from the last so far, to one that counts from 0
 * in the file or (relative) in the run; wrapped, so that adding the run's base puts it right. */
static uint32_t index_of(int64_t number, size_t so_far, bool *relative)
{
    *relative = number < 0 && number >= -(int64_t)MESH_MOST;
    if (*relative)
        return (uint32_t)((int64_t)so_far + number);
    return number > 0 && number <= MESH_MOST ? (uint32_t)(number - 1) : NO_VERTEX;
}

/* v, v/vt, v//vn or v/vt/vn. */
static const char *read_corner(const struct run *run, const char *at, const char *end,
                               struct corner *corner)
{
    int64_t number;
    const char *to = decimal_whole(at, end, &number);
    *corner = (struct corner){.texture = NO_INDEX};
    if (!to)
        return NULL;
    corner->vertex = index_of(number, run->gather->point.used, &corner->relative);
    if (to < end && *to == '/') {
        const char *texture = decimal_whole(to + 1, end, &number);
        if (texture)
            corner->texture =
                index_of(number, run->gather->texture.used, &corner->texture_relative);
        to = texture ? texture : to + 1;
        if (to < end && *to == '/') {
            const char *normal = decimal_whole(to + 1, end, &number);
            to = normal ? normal : to + 1;
        }
    }
    return to == end || text_blank(*to) ? to : NULL;
}

static bool corner_room(struct run *run, size_t count)
{
    if (count <= run->room)
        return true;
    size_t room = 2 * count + 8;
    struct corner *corner = realloc(run->corner, room * sizeof *corner);
    run->corner = corner ? corner : run->corner;
    uint32_t *vertex = realloc(run->vertex, room * sizeof *vertex);
    run->vertex = vertex ? vertex : run->vertex;
    if (!corner || !vertex) {
        run->gather->starved = true;
        return false;
    }
    run->room = room;
    return true;
}

/* Texture indices and what is counted from the run, a corner of each triangle of the fan. */
static void add_corners(struct run *run, size_t first, size_t triangles, bool textured)
{
    static const uint32_t none = NO_INDEX;
    struct gather *gather = run->gather;
    if (textured)
        gather_pad(gather, &gather->corner_texture, 3 * first, &none, sizeof none);
    for (size_t i = 0; i < 3 * triangles; i++) {
        const struct corner *corner = &run->corner[i % 3 ? i / 3 + i % 3 : 0];
        uint32_t at = (uint32_t)(3 * first + i);
        if (corner->relative)
            GATHER_ADD(gather, &gather->relative, uint32_t, (at));
        if (textured)
            GATHER_ADD(gather, &gather->corner_texture, uint32_t, (corner->texture));
        if (corner->texture_relative)
            GATHER_ADD(gather, &gather->corner_relative, uint32_t, (at));
    }
}

static bool read_face(struct run *run, const char *at, const char *end)
{
    size_t count = 0;
    bool relative = false, textured = run->gather->corner_texture.used > 0;
    for (at = text_skip(at, end); at < end; at = text_skip(at, end)) {
        if (!corner_room(run, count + 1))
            return false;
        const char *to = read_corner(run, at, end, &run->corner[count]);
        if (!to)
            return text_bad_word(run->reader->text, run->line, at, end, "the corner of a face");
        relative = relative || run->corner[count].relative;
        textured = textured || run->corner[count].texture != NO_INDEX ||
                   run->corner[count].texture_relative;
        run->vertex[count] = run->corner[count].vertex;
        count++;
        at = to;
    }
    size_t first = run->gather->triangle.used;
    size_t triangles = gather_face(run->gather, run->vertex, count);
    if (relative || textured)
        add_corners(run, first, triangles, textured);
    return true;
}

static bool read_line(struct run *run, const char *at, const char *end)
{
    at = text_skip(at, end);
    if (end - at < 2)
        return true;
    if (at[0] == 'v' && text_blank(at[1]))
        return read_vertex(run, at + 1, end);
    if (at[0] == 'f' && text_blank(at[1]))
        return read_face(run, at + 1, end);
    if (at[0] == 'v' && at[1] == 't' && end - at > 2 && text_blank(at[2]))
        return read_texture(run, at + 2, end);
    if (at[0] == 'v' && at[1] == 'n' && end - at > 2 && text_blank(at[2]))
        return read_normal(run, at + 2, end);
    return true; /* groups, materials, lines, curves */
}

/* Joins a line with those it is continued on; returns where the last of them ends, or NULL. */
static const char *join_lines(struct run *run, const char *at, const char *line_end,
                              const char *end, size_t *length)
{
    *length = 0;
    for (;;) {
        bool more = continues(at, line_end) && line_end < end;
        size_t n = (size_t)(line_end - at);
        if (*length + n + 1 > run->joined_room) {
            char *joined = realloc(run->joined, 2 * (*length + n + 1));
            if (!joined)
                return NULL;
            run->joined = joined;
            run->joined_room = 2 * (*length + n + 1);
        }
        memcpy(run->joined + *length, at, n);
        *length += n;
        while (more && run->joined[*length - 1] != '\\')
            --*length; /* the '\r' in front of the newline */
        if (!more)
            return line_end;
        run->joined[*length - 1] = ' ';
        at = line_end + 1;
        line_end = text_line_end(at, end);
        run->line++;
    }
}

static bool read_lines(struct run *run, const char *at, const char *end)
{
    for (const char *line_end; at < end; at = line_end + 1, run->line++) {
        line_end = text_line_end(at, end);
        bool go;
        if (continues(at, line_end)) {
            size_t length, line = run->line;
            line_end = join_lines(run, at, line_end, end, &length);
            run->gather->starved = run->gather->starved || !line_end;
            size_t last = run->line;
            run->line = line;
            go = line_end && read_line(run, run->joined, run->joined + length);
            run->line = last;
        } else {
            go = read_line(run, at, line_end);
        }
        if (!go || run->gather->starved)
            return false;
    }
    return true;
}

static bool read_run(const void *context, size_t i, struct gather *gather)
{
    const struct reader *reader = context;
    const struct text *text = reader->text;
    struct run run = {.reader = reader, .gather = gather, .line = text->line[i]};
    const char *data = (const char *)text->bytes->data;
    bool go = read_lines(&run, data + text->from[i], data + text->from[i + 1]);
    free(run.corner);
    free(run.vertex);
    free(run.joined);
    bytes_passed(text->bytes, text->from[i], text->from[i + 1]);
    return go;
}

/* --- the file ---------------------------------------------------------------------------- */

/* Learns from the first vertices: the origin, and what colours run up to. */
static void look(const struct bytes *bytes, struct reader *reader, struct gather *gather)
{
    const char *at = (const char *)bytes->data, *end = at + bytes->size;
    int seen = 0;
    for (const char *line_end; at < end && seen < LOOK; at = line_end + 1) {
        line_end = text_line_end(at, end);
        at = text_skip(at, line_end);
        if (line_end - at < 2 || at[0] != 'v' || !text_blank(at[1]))
            continue;
        double value[6] = {0};
        int count = 0;
        at++;
        while (count < 6 && text_number(&at, line_end, &value[count]))
            count++;
        if (seen++ == 0)
            mesh_origin_for(value, gather->origin);
        if (count == 6 && (value[3] > 1 || value[4] > 1 || value[5] > 1))
            reader->colour_scale = 1;
    }
}

/* Normals belong to vertices only in a point cloud. */
static void take_normals(struct gather *gather)
{
    if (gather->triangle.used || !gather->normal.used || gather->normal.used != gather->point.used)
        return;
    gather->vertex_attribute[ATTRIBUTE_normal] = gather->normal;
    gather->normal = (struct list){0};
}

static enum status finish(struct gather *gather, const struct bytes *bytes, struct reading *out,
                          struct job *job)
{
    bool colours = gather->vertex_attribute[ATTRIBUTE_colour].used > 0;
    bool textured = gather->corner_texture.used > 0;
    take_normals(gather);
    if (textured)
        job_note(job,
                 "\"%s\": its texture coordinates are kept; its materials and the texture's "
                 "picture are not read",
                 bytes->name);
    out->unit = text_unit_in_comments(bytes, '#');
    out->colour = colours ? COLOUR_VERTEX : textured ? COLOUR_TEXTURE : COLOUR_NONE;
    return gather_finish(gather, bytes->name, &out->mesh, job);
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    struct text text;
    struct gather gather = {0};
    struct reader reader = {.text = &text, .colour_scale = 255};
    size_t stopped;
    enum status status = text_split(bytes, 0, 1, begins_line, &text, job);
    if (status != STATUS_OK)
        return status;
    look(bytes, &reader, &gather);
    status = gather_parts(&gather, text.count, read_run, &reader,
                          text.count ? bytes->size / text.count : 0, &stopped, job);
    if (status == STATUS_OK && text.problem_line) {
        out->partial = text_ends_at_problem(&text);
        if (out->partial)
            job_note(job, "\"%s\": cut off in line %zu", bytes->name, text.problem_line);
        else
            status = text_fail(&text, job);
    }
    if (status == STATUS_OK && !gather.point.used)
        status = job_fail(job, STATUS_FORMAT, "\"%s\": holds no vertices", bytes->name);
    if (status == STATUS_OK)
        status = finish(&gather, bytes, out, job);
    gather_release(&gather);
    text_release(&text);
    return status;
}

const struct format format_obj = {
    .name = "obj",
    .extensions = "obj",
    .title = "OBJ: triangles or points as text, with colour and texture coordinates",
    .points = true,
    .triangles = true,
    .colour = true,
    .sniff = sniff,
    .read = read,
    .write = obj_write,
};
