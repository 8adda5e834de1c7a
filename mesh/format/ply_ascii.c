#include <stdlib.h>

#include "core/job.h"
#include "format/ply.h"
#include "format/text.h"

enum { LOOK = 1000, STREAM_STEP = 4096 };

/* One element a line is the rule, and lets several threads read. A file that breaks its lines
 * elsewhere is read as one stream of numbers. */
enum { ENOUGH, TOO_FEW, TOO_MANY, NO_NUMBER };

struct cursor {
    const char *at, *end; /* end of the line, or of the file when streaming */
    bool stream;
};

static int next_number(struct cursor *cursor, double *out)
{
    while (cursor->at < cursor->end &&
           (text_blank(*cursor->at) || (cursor->stream && *cursor->at == '\n')))
        cursor->at++;
    if (cursor->at == cursor->end)
        return TOO_FEW;
    const char *line_end = cursor->stream ? text_word_end(cursor->at, cursor->end) : cursor->end;
    return text_number(&cursor->at, line_end, out) ? ENOUGH : NO_NUMBER;
}

static int read_list(struct cursor *cursor, const struct ply_property *property,
                     struct ply_row *row)
{
    double count, value;
    int result = next_number(cursor, &count);
    if (result != ENOUGH)
        return result;
    if (!(count >= 0) || count != (double)(size_t)fmin(count, 1e15))
        return NO_NUMBER;
    if (count > (double)(cursor->end - cursor->at))
        return TOO_FEW;
    bool wanted = property->role != PLY_SKIP && ply_row_room(row, property->role, (size_t)count);
    for (size_t k = 0; k < (size_t)count; k++) {
        result = next_number(cursor, &value);
        if (result != ENOUGH)
            return result;
        if (wanted)
            ply_row_set(row, property->role, k, value);
    }
    return ENOUGH;
}

static int read_row(struct cursor *cursor, const struct ply_element *element, struct ply_row *row)
{
    for (size_t i = 0; i < element->properties; i++) {
        const struct ply_property *property = &element->property[i];
        double value;
        int result = property->count != PLY_NONE ? read_list(cursor, property, row)
                                                 : next_number(cursor, &value);
        if (result != ENOUGH)
            return result;
        if (property->count == PLY_NONE && property->role < PLY_SCALARS)
            row->scalar[property->role] = value;
    }
    if (cursor->stream)
        return ENOUGH;
    return text_skip(cursor->at, cursor->end) == cursor->end ? ENOUGH : TOO_MANY;
}

/* --- one element a line ------------------------------------------------------------------ */

struct lines {
    const struct ply_header *header;
    struct ply_taking *taking; /* one an element */
    struct text text;
};

/* Says what is wrong with a line, in numbers. */
static void explain(struct lines *lines, const struct ply_element *element, size_t line,
                    const char *at, struct cursor cursor, int result)
{
    if (result == NO_NUMBER)
        text_bad_word(&lines->text, line, cursor.at, cursor.end, "a number");
    else
        text_problem(&lines->text, line, "%s has %zu values, %s than header and lists say",
                     element->lists ? "property list" : "the line", text_words(at, cursor.end),
                     result == TOO_FEW ? "fewer" : "more");
}

/* The element that has a line with that number (from 0 behind the header); `row` counts in it. */
static const struct ply_element *element_of(const struct ply_header *header, uint64_t line,
                                            size_t *i, uint64_t *row)
{
    for (*i = 0; *i < header->elements; ++*i) {
        const struct ply_element *element = &header->element[*i];
        uint64_t lines = element->properties ? element->count : 0;
        if (line < lines) {
            *row = line;
            return element;
        }
        line -= lines;
    }
    return NULL;
}

static bool blank_line(const char *at, const char *end)
{
    return text_skip(at, end) == end;
}

/* Reads the lines of one run that belong to one element; returns where they end. */
static const char *read_lines(struct lines *lines, size_t i, uint64_t rows, const char *at,
                              const char *end, size_t *line, struct gather *gather)
{
    const struct ply_element *element = &lines->header->element[i];
    struct ply_row row = {0};
    for (uint64_t k = 0; k < rows && at < end && !row.starved; k++, ++*line) {
        struct cursor cursor = {at, text_line_end(at, end), false};
        int result = element->kind == PLY_OTHER ? ENOUGH : read_row(&cursor, element, &row);
        if (result != ENOUGH) {
            explain(lines, element, *line, at, cursor, result);
            at = NULL;
            break;
        }
        ply_take(&row, element, &lines->taking[i], gather);
        at = cursor.end < end ? cursor.end + 1 : end;
    }
    gather->starved = gather->starved || row.starved;
    ply_row_release(&row);
    return at;
}

static bool read_run(const void *context, size_t run, struct gather *gather)
{
    struct lines *lines = *(struct lines *const *)context;
    const char *text = (const char *)lines->text.bytes->data;
    const char *at = text + lines->text.from[run], *end = text + lines->text.from[run + 1];
    size_t line = lines->text.line[run], i;
    while (at < end) {
        uint64_t row;
        const struct ply_element *element =
            element_of(lines->header, line - lines->header->body_line, &i, &row);
        if (element) {
            at = read_lines(lines, i, element->count - row, at, end, &line, gather);
        } else {
            const char *stop = text_line_end(at, end);
            if (!blank_line(at, stop))
                text_problem(&lines->text, line, "there is more than the header says");
            at = !blank_line(at, stop) ? NULL : stop < end ? stop + 1 : end;
            line++;
        }
        if (!at || gather->starved)
            return false;
    }
    bytes_passed(lines->text.bytes, lines->text.from[run], lines->text.from[run + 1]);
    return true;
}

/* Learns from the first lines of each element. */
static enum status look(struct lines *lines, struct gather *gather, struct job *job)
{
    const struct ply_header *header = lines->header;
    const struct bytes *bytes = header->bytes;
    const char *end = (const char *)bytes->data + bytes->size;
    struct ply_row row = {0};
    bool first = true;
    size_t run = 0;
    uint64_t begin = header->body_line;
    for (size_t i = 0; i < header->elements; begin += header->element[i++].count) {
        const struct ply_element *element = &header->element[i];
        lines->taking[i] = (struct ply_taking){255};
        while (run + 1 < lines->text.count && lines->text.line[run + 1] <= begin)
            run++;
        if (run >= lines->text.count || element->kind == PLY_OTHER)
            continue;
        const char *at = (const char *)bytes->data + lines->text.from[run];
        for (uint64_t line = lines->text.line[run]; line < begin && at < end; line++)
            at = text_line_end(at, end) + 1;
        for (uint64_t k = 0; k < LOOK && k < element->count && at < end; k++) {
            struct cursor cursor = {at, text_line_end(at, end), false};
            if (read_row(&cursor, element, &row) == ENOUGH)
                ply_look(header, element, &row, &lines->taking[i], gather, &first);
            at = cursor.end + 1;
        }
    }
    bool starved = row.starved;
    ply_row_release(&row);
    return starved ? job_fail_memory(job, 0) : STATUS_OK;
}

/* How many whole rows each element has when the lines end after `lines` of them. */
static void count_rows(const struct ply_header *header, uint64_t lines, uint64_t *found)
{
    for (size_t i = 0; i < header->elements; i++) {
        const struct ply_element *element = &header->element[i];
        uint64_t rows = element->properties ? element->count : 0;
        found[i] = lines < rows ? lines : element->count;
        lines -= lines < rows ? lines : rows;
    }
}

/* --- as one stream ----------------------------------------------------------------------- */

static enum status stream(const struct ply_header *header, const struct ply_taking *taking,
                          struct gather *gather, bool *fits, struct job *job)
{
    const char *text = (const char *)header->bytes->data;
    struct cursor cursor = {text + header->body, text + header->bytes->size, true};
    struct ply_row row = {0};
    int result = ENOUGH;
    for (size_t i = 0; i < header->elements && result == ENOUGH; i++) {
        const struct ply_element *element = &header->element[i];
        uint64_t rows = element->properties ? element->count : 0;
        for (uint64_t k = 0; k < rows && result == ENOUGH && !gather->starved; k++) {
            result = read_row(&cursor, element, &row);
            if (result == ENOUGH)
                ply_take(&row, element, &taking[i], gather);
            if (k % STREAM_STEP == 0 && job_cancelled(job))
                result = TOO_FEW;
        }
    }
    double rest;
    *fits = result == ENOUGH && next_number(&cursor, &rest) == TOO_FEW;
    bool starved = row.starved || gather->starved;
    ply_row_release(&row);
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return starved ? job_fail_memory(job, array_bytes(gather->point.array)) : STATUS_OK;
}

/* Lines did not fit: perhaps the numbers do; else the problem stays. */
static enum status try_stream(struct lines *lines, struct gather *gather, struct job *job)
{
    bool fits;
    gather_clear(gather);
    enum status status = stream(lines->header, lines->taking, gather, &fits, job);
    if (status != STATUS_OK)
        return status;
    if (!fits)
        return text_fail(&lines->text, job);
    job_note(job, "\"%s\": its lines are not one element each; it was read all the same",
             lines->header->bytes->name);
    return STATUS_OK;
}

static enum status read_all(struct lines *lines, struct gather *gather, uint64_t *found,
                            struct job *job)
{
    const struct ply_header *header = lines->header;
    size_t stopped, runs = lines->text.count, bytes = header->bytes->size - header->body;
    uint64_t wanted = 0;
    for (size_t i = 0; i < header->elements; i++)
        wanted += header->element[i].properties ? header->element[i].count : 0;
    bool unended = text_unended(&lines->text), cut = unended && lines->text.lines < wanted;
    if (cut) /* the last line may lack some of its last number too */
        text_cut_last(&lines->text);
    enum status status = look(lines, gather, job);
    struct lines *context = lines;
    if (status == STATUS_OK)
        status =
            gather_parts(gather, runs, read_run, &context, runs ? bytes / runs : 0, &stopped, job);
    if (status != STATUS_OK)
        return status;
    uint64_t there = lines->text.lines;
    bool problem = lines->text.problem_line != 0;
    if (!problem || (text_ends_at_problem(&lines->text) && (there < wanted || unended))) {
        count_rows(header, there - problem, found);
        return STATUS_OK;
    }
    count_rows(header, wanted, found);
    return try_stream(lines, gather, job);
}

enum status ply_ascii_read(const struct ply_header *header, struct gather *gather, uint64_t *found,
                           struct job *job)
{
    struct lines lines = {.header = header};
    lines.taking = calloc(header->elements, sizeof *lines.taking);
    if (!lines.taking)
        return job_fail_memory(job, header->elements * sizeof *lines.taking);
    enum status status =
        text_split(header->bytes, header->body, header->body_line, NULL, &lines.text, job);
    if (status == STATUS_OK)
        status = read_all(&lines, gather, found, job);
    text_release(&lines.text);
    free(lines.taking);
    return status;
}
