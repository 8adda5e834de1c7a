/* Points as columns of text. There is no standard: columns are recognised by a line that names
 * them, or by their values. */
#include <stdlib.h>
#include <strings.h>

#include "core/job.h"
#include "format/frame.h"
#include "format/gather.h"
#include "format/text.h"
#include "format/xyz.h"

enum { COLUMNS_MOST = 16, SAMPLES = 200, HEAD = 65536 };

enum column { X, Y, Z, INTENSITY, RED, GREEN, BLUE, NX, NY, NZ, ROLES, UNKNOWN = ROLES };

struct layout {
    size_t body; /* where the first line of numbers begins */
    size_t body_line;
    int columns; /* numbers a line */
    enum column role[COLUMNS_MOST];
    int where[ROLES];   /* column of each role, or -1 */
    bool comma_decimal; /* "1,5" is one number */
    bool named;         /* a line named the columns */
    bool mixed;         /* some line has another number of columns */
    double colour_scale;
    double first[3];
};

/* --- lines ------------------------------------------------------------------------------- */

static inline bool separates(char c, bool comma_decimal)
{
    return text_blank(c) || c == ';' || (c == ',' && !comma_decimal);
}

/* Reads up to `most` numbers off a line; false when there is anything else on it. Comments may
 * follow behind '#' or "//". */
static bool read_numbers(const char *at, const char *end, bool comma_decimal, double *value,
                         int most, int *count)
{
    for (*count = 0;;) {
        while (at < end && separates(*at, comma_decimal))
            at++;
        if (at == end || *at == '#' || *at == '/')
            return true;
        double number;
        const char *to = decimal_read(at, end, comma_decimal ? ',' : '.', &number);
        if (!to || (to < end && !separates(*to, comma_decimal)))
            return false;
        if (*count < most)
            value[(*count)++] = number;
        at = to;
    }
}

static bool is_comment(const char *at, const char *end)
{
    at = text_skip(at, end);
    return at == end || *at == '#' || (end - at > 1 && at[0] == '/' && at[1] == '/');
}

/* --- columns ----------------------------------------------------------------------------- */

static const struct {
    const char *names;
    enum column role;
} names[] = {
    {"x", X},
    {"y", Y},
    {"z", Z},
    {"intensity i reflectance confidence quality", INTENSITY},
    {"red r", RED},
    {"green g", GREEN},
    {"blue b", BLUE},
    {"nx normal_x normalx", NX},
    {"ny normal_y normaly", NY},
    {"nz normal_z normalz", NZ},
};

static bool among(const char *words, const char *at, size_t length)
{
    for (; *words; words += strcspn(words, " "), words += *words == ' ')
        if (strcspn(words, " ") == length && strncasecmp(words, at, length) == 0)
            return true;
    return false;
}

/* A line that names columns: "x y z r g b", "//X Y Z", "# x,y,z,intensity". */
static bool read_names(const char *at, const char *end, struct layout *layout)
{
    int columns = 0;
    bool x = false;
    while (at < end && (text_blank(*at) || *at == '#' || *at == '/'))
        at++;
    while (at < end && columns < COLUMNS_MOST) {
        const char *word = at;
        while (at < end && !separates(*at, false))
            at++;
        enum column role = UNKNOWN;
        for (size_t i = 0; i < sizeof names / sizeof *names; i++)
            if (among(names[i].names, word, (size_t)(at - word)))
                role = names[i].role;
        x = x || role == X;
        layout->role[columns++] = role;
        while (at < end && separates(*at, false))
            at++;
    }
    layout->named = x;
    layout->columns = columns;
    return x;
}

/* Commas are decimal signs when the numbers are set apart by something else: no comma stands beside
 * a blank, no number has two, there is no point, and three numbers remain. */
static bool comma_is_decimal(const char *at, const char *end)
{
    int words = 0, commas = 0;
    while (at < end) {
        while (at < end && (text_blank(*at) || *at == ';'))
            at++;
        int in_word = 0;
        bool digit_before = false;
        for (; at < end && !text_blank(*at) && *at != ';'; at++) {
            if (*at == '.' || (*at == ',' && (!digit_before || in_word)))
                return false;
            in_word += *at == ',';
            digit_before = *at >= '0' && *at <= '9';
        }
        if (in_word && !digit_before)
            return false;
        commas += in_word;
        words++;
    }
    return commas > 0 && words >= 3;
}

/* --- guessing ---------------------------------------------------------------------------- */

struct samples {
    double value[SAMPLES][COLUMNS_MOST];
    int count;
};

/* Unit vectors, or zeros here and there. */
static bool looks_normal(const struct samples *s, int column)
{
    int unit = 0;
    for (int i = 0; i < s->count; i++) {
        const double *n = s->value[i] + column;
        double length = sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
        unit += fabs(length - 1) < 0.02;
        if (!(length < 1.02))
            return false;
    }
    return unit * 2 > s->count;
}

/* Whole numbers from 0 to 255, or fractions from 0 to 1. */
static bool looks_colour(const struct samples *s, int column)
{
    double most = 0;
    bool whole = true;
    for (int i = 0; i < s->count; i++)
        for (int k = column; k < column + 3; k++) {
            double x = s->value[i][k];
            if (!(x >= 0 && x <= 255))
                return false;
            whole = whole && x == floor(x);
            most = fmax(most, x);
        }
    return most > 0 && (whole || most <= 1); /* all zeros may be anything */
}

/* Finds three free columns in a row that pass; -1 when there are none. */
static int find_triple(const struct layout *layout, const struct samples *s,
                       bool (*looks)(const struct samples *s, int column))
{
    for (int c = layout->columns - 3; c >= 3; c--) /* intensity comes first where both would do */
        if (layout->role[c] == UNKNOWN && layout->role[c + 1] == UNKNOWN &&
            layout->role[c + 2] == UNKNOWN && looks(s, c))
            return c;
    return -1;
}

static void guess(struct layout *layout, const struct samples *s)
{
    for (int c = 0; c < layout->columns; c++)
        layout->role[c] = c < 3 ? (enum column)c : UNKNOWN;
    int normal = find_triple(layout, s, looks_normal);
    for (int k = 0; k < 3 && normal >= 0; k++)
        layout->role[normal + k] = (enum column)(NX + k);
    int colour = find_triple(layout, s, looks_colour);
    for (int k = 0; k < 3 && colour >= 0; k++)
        layout->role[colour + k] = (enum column)(RED + k);
    int rest = 0, last = 0;
    for (int c = 3; c < layout->columns; c++)
        if (layout->role[c] == UNKNOWN) {
            rest++;
            last = c;
        }
    if (rest == 1)
        layout->role[last] = INTENSITY;
}

static void place(struct layout *layout, const struct samples *s)
{
    for (int r = 0; r < ROLES; r++)
        layout->where[r] = -1;
    for (int c = layout->columns; c-- > 0;)
        if (layout->role[c] != UNKNOWN)
            layout->where[layout->role[c]] = c;
    layout->colour_scale = 255;
    for (int i = 0; i < s->count; i++)
        for (int r = RED; r <= BLUE; r++)
            if (layout->where[r] >= 0 && s->value[i][layout->where[r]] > 1)
                layout->colour_scale = 1;
    for (int k = 0; k < 3 && s->count; k++)
        layout->first[k] = layout->where[k] >= 0 ? s->value[0][layout->where[k]] : 0;
}

/* Lines in front of the numbers: comments, a count, names. False when it is not about points. */
static bool take_head(const char *at, const char *end, struct layout *layout)
{
    double value[2];
    int count;
    if (is_comment(at, end)) {
        struct layout named = *layout;
        if (read_names(at, end, &named))
            *layout = named;
        return true;
    }
    return read_names(at, end, layout) ||
           (read_numbers(at, end, false, value, 2, &count) && count == 1 && value[0] >= 0);
}

/* Learns the layout from the first lines. False: these are no points. */
static bool learn(const struct bytes *bytes, struct layout *out, struct samples *s)
{
    const char *begin = (const char *)bytes->data, *at = begin;
    const char *end = at + (bytes->size < HEAD ? bytes->size : HEAD);
    size_t line = 1;
    *out = (struct layout){0};
    s->count = 0;
    for (const char *line_end; at < end && s->count < SAMPLES; at = line_end + 1, line++) {
        line_end = text_line_end(at, end);
        if (line_end == end && bytes->size > HEAD)
            break;
        int count = 0;
        double *value = s->value[s->count];
        bool comma = s->count ? out->comma_decimal : comma_is_decimal(at, line_end);
        if (is_comment(at, line_end) ||
            (!s->count &&
             (!read_numbers(at, line_end, comma, value, COLUMNS_MOST, &count) || count < 3))) {
            if (!s->count && !take_head(at, line_end, out))
                return false;
            continue;
        }
        if (s->count && !read_numbers(at, line_end, comma, value, COLUMNS_MOST, &count))
            return line_end == end; /* cut off there */
        if (!s->count) {
            out->comma_decimal = comma;
            out->named = out->named && out->columns == count;
            out->columns = count;
            out->body = (size_t)(at - begin);
            out->body_line = line;
        }
        out->mixed = out->mixed || (count != out->columns && line_end < end); /* or cut off */
        s->count += count == out->columns;
    }
    if (!s->count)
        return false;
    if (!out->named)
        guess(out, s);
    place(out, s);
    return out->where[X] >= 0 && out->where[Y] >= 0 && out->where[Z] >= 0;
}

static int sniff(const struct bytes *bytes)
{
    struct samples *s =
        memchr(bytes->data, 0, bytes->size < HEAD ? bytes->size : HEAD) ? NULL : malloc(sizeof *s);
    struct layout layout;
    bool points = s && learn(bytes, &layout, s) && !layout.mixed;
    free(s);
    return points ? 20 : 0;
}

/* --- reading ----------------------------------------------------------------------------- */

struct reader {
    struct text text;
    struct layout layout;
};

static bool has(const struct layout *layout, enum column first)
{
    return layout->where[first] >= 0 && layout->where[first + 1] >= 0 &&
           layout->where[first + 2] >= 0;
}

static void take_point(const struct layout *layout, const double *value, struct gather *gather)
{
    struct list *list = gather->vertex_attribute;
    const int *w = layout->where;
    const double position[3] = {value[w[X]], value[w[Y]], value[w[Z]]};
    gather_position(gather, position);
    if (has(layout, RED)) {
        const double rgb[3] = {value[w[RED]], value[w[GREEN]], value[w[BLUE]]};
        uint8_t(*colour)[4] = gather_one(gather, &list[ATTRIBUTE_colour], sizeof *colour);
        if (colour)
            text_colour(rgb, 3, layout->colour_scale, *colour);
    }
    if (has(layout, NX))
        GATHER_ADD(
            gather, &list[ATTRIBUTE_normal], struct point,
            {gather_value(value[w[NX]]), gather_value(value[w[NY]]), gather_value(value[w[NZ]])});
    if (w[INTENSITY] >= 0)
        GATHER_ADD(gather, &list[ATTRIBUTE_confidence], float, gather_value(value[w[INTENSITY]]));
}

static bool read_run(const void *context, size_t run, struct gather *gather)
{
    struct reader *reader = *(struct reader *const *)context;
    const struct layout *layout = &reader->layout;
    const struct text *text = &reader->text;
    const char *at = (const char *)text->bytes->data + text->from[run];
    const char *end = (const char *)text->bytes->data + text->from[run + 1];
    size_t line = text->line[run];
    for (const char *line_end; at < end && !gather->starved; at = line_end + 1, line++) {
        double value[COLUMNS_MOST];
        int count;
        line_end = text_line_end(at, end);
        bool numbers =
            read_numbers(at, line_end, layout->comma_decimal, value, COLUMNS_MOST, &count);
        if (numbers && count == 0)
            continue; /* blank, or a comment */
        if (!numbers || count < layout->columns) {
            text_problem(&reader->text, line, "has %s, the lines before had %d numbers",
                         numbers ? "fewer numbers" : "something that is no number",
                         layout->columns);
            return false;
        }
        take_point(layout, value, gather);
    }
    bytes_passed(text->bytes, text->from[run], text->from[run + 1]);
    return true;
}

static void note_columns(const struct bytes *bytes, const struct layout *layout, struct job *job)
{
    char text[256] = "";
    for (int c = 0; c < layout->columns; c++) {
        const char *name = layout->role[c] == UNKNOWN ? "?" : names[layout->role[c]].names;
        size_t n = strlen(text), length = strcspn(name, " ");
        if (n + length + 2 < sizeof text) {
            strcat(text, c ? " " : "");
            strncat(text, name, length);
        }
    }
    if (layout->columns > 3)
        job_note(job, "\"%s\": columns taken as %s%s%s", bytes->name, text,
                 layout->named ? ", as a line names them" : "",
                 strchr(text, '?') ? "; those marked ? were left out" : "");
}

static enum status read_points(struct reader *reader, const struct bytes *bytes,
                               struct reading *out, struct job *job)
{
    struct gather gather = {0};
    struct text *text = &reader->text;
    struct reader *context = reader;
    size_t stopped;
    mesh_origin_for(reader->layout.first, gather.origin);
    enum status status = gather_parts(&gather, text->count, read_run, &context,
                                      text->count ? bytes->size / text->count : 0, &stopped, job);
    out->partial = text_ends_at_problem(text);
    if (status == STATUS_OK && text->problem_line && !out->partial)
        status = text_fail(text, job);
    if (status != STATUS_OK) {
        gather_release(&gather);
        return status;
    }
    if (out->partial)
        job_note(job, "\"%s\": cut off in line %zu", bytes->name, text->problem_line);
    note_columns(bytes, &reader->layout, job);
    out->unit = text_unit_in_comments(bytes, '#');
    out->colour = has(&reader->layout, RED) ? COLOUR_VERTEX : COLOUR_NONE;
    return gather_finish(&gather, bytes->name, &out->mesh, job);
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    struct reader reader = {0};
    struct samples *samples = malloc(sizeof *samples);
    if (!samples)
        return job_fail_memory(job, sizeof *samples);
    bool points = learn(bytes, &reader.layout, samples);
    free(samples);
    if (!points)
        return job_fail(job, STATUS_FORMAT,
                        "\"%s\": its lines are not columns of numbers that begin with x y z",
                        bytes->name);
    enum status status =
        text_split(bytes, reader.layout.body, reader.layout.body_line, NULL, &reader.text, job);
    if (status == STATUS_OK)
        status = read_points(&reader, bytes, out, job);
    text_release(&reader.text);
    return status;
}

const struct format format_xyz = {
    .name = "xyz",
    .extensions = "xyz asc pts pwn",
    .title = "XYZ: points as columns of text, with colour, normals, intensity",
    .points = true,
    .colour = true,
    .sniff = sniff,
    .read = read,
    .write = xyz_write,
};
