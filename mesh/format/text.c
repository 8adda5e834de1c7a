#include "format/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <strings.h>

#include "core/job.h"

enum { RUN = 256 * 1024, COMMENTS = 65536 /* bytes that may say the unit */ };

static size_t next_line(const char *text, size_t at, size_t end)
{
    const char *newline = at < end ? memchr(text + at, '\n', end - at) : NULL;
    return newline ? (size_t)(newline - text) + 1 : end;
}

static size_t count_newlines(const char *text, size_t from, size_t end)
{
    const uint64_t ones = 0x0101010101010101, low = 0x7f7f7f7f7f7f7f7f;
    size_t count = 0, i = from;
    for (; i + 8 <= end; i += 8) { /* eight at a time: bit 7 of each byte says it is none */
        uint64_t x;
        memcpy(&x, text + i, sizeof x);
        x ^= '\n' * ones;
        count += (size_t)(((~(((x & low) + low) | x) >> 7 & ones) * ones) >> 56);
    }
    for (; i < end; i++)
        count += text[i] == '\n';
    return count;
}

enum status text_split(const struct bytes *bytes, size_t from, size_t line, text_begins *begins,
                       struct text *out, struct job *job)
{
    const char *text = (const char *)bytes->data;
    size_t most = (bytes->size - from) / RUN + 2, n = 0, at = from;
    *out = (struct text){.bytes = bytes};
    out->from = malloc(most * sizeof *out->from);
    out->line = malloc(most * sizeof *out->line);
    if (!out->from || !out->line) {
        text_release(out);
        return job_fail_memory(job, 2 * most * sizeof *out->from);
    }
    out->from[0] = from;
    while (at < bytes->size) {
        at = bytes->size - at > RUN ? next_line(text, at + RUN - 1, bytes->size) : bytes->size;
        while (begins && at < bytes->size && !begins(text, at, bytes->size))
            at = next_line(text, at, bytes->size);
        out->from[++n] = at;
    }
    out->count = n;
#pragma omp parallel for num_threads(job_threads(job)) if (n > 8)
    for (size_t i = 0; i < n; i++)
        out->line[i + 1] = count_newlines(text, out->from[i], out->from[i + 1]);
    out->line[0] = line;
    for (size_t i = 0; i < n; i++)
        out->line[i + 1] += out->line[i];
    out->lines = out->line[n] - line + (at > from && text[at - 1] != '\n');
    return STATUS_OK;
}

void text_release(struct text *text)
{
    free(text->from);
    free(text->line);
    free(text->content);
    text->from = text->line = text->content = NULL;
}

enum status text_content(struct text *text, char mark, struct job *job)
{
    size_t n = text->count;
    text->content = malloc((n + 1) * sizeof *text->content);
    if (!text->content)
        return job_fail_memory(job, n * sizeof *text->content);
#pragma omp parallel for num_threads(job_threads(job)) if (n > 8)
    for (size_t i = 0; i < n; i++) {
        const char *at = (const char *)text->bytes->data + text->from[i];
        const char *end = (const char *)text->bytes->data + text->from[i + 1];
        size_t count = 0;
        for (const char *line_end; at < end; at = line_end + 1) {
            line_end = text_line_end(at, end);
            count += text_is_content(at, line_end, mark);
        }
        text->content[i + 1] = count;
    }
    text->content[0] = 0;
    for (size_t i = 0; i < n; i++)
        text->content[i + 1] += text->content[i];
    return STATUS_OK;
}

bool text_unended(const struct text *text)
{
    const unsigned char *data = text->bytes->data;
    size_t end = text->count ? text->from[text->count] : 0;
    return text->count && end > text->from[0] && data[end - 1] != '\n';
}

void text_cut_last(struct text *text)
{
    if (!text->count)
        return;
    const unsigned char *data = text->bytes->data;
    size_t *end = &text->from[text->count], begin = text->from[text->count - 1];
    if (*end > begin && data[*end - 1] != '\n')
        text->lines--;
    while (*end > begin && data[*end - 1] != '\n')
        --*end;
}

void text_problem(struct text *text, size_t line, const char *format, ...)
{
    va_list list;
    va_start(list, format);
#pragma omp critical(text_problem)
    if (!text->problem_line || line < text->problem_line) {
        text->problem_line = line;
        vsnprintf(text->problem, sizeof text->problem, format, list);
    }
    va_end(list);
}

bool text_bad_word(struct text *text, size_t line, const char *at, const char *end,
                   const char *what)
{
    at = text_skip(at, end);
    int length = (int)(text_word_end(at, end) - at);
    if (length)
        text_problem(text, line, "\"%.*s\" is not %s", length < 40 ? length : 40, at, what);
    else
        text_problem(text, line, "it ends where %s should be", what);
    return false;
}

bool text_ends_at_problem(const struct text *text)
{
    return text->problem_line && text->problem_line + 1 >= text->line[0] + text->lines;
}

enum status text_fail(const struct text *text, struct job *job)
{
    return job_fail(job, STATUS_FORMAT, "\"%s\": line %zu: %s", text->bytes->name,
                    text->problem_line, text->problem);
}

size_t text_words(const char *at, const char *end)
{
    size_t count = 0;
    for (at = text_skip(at, end); at < end; at = text_skip(text_word_end(at, end), end))
        count++;
    return count;
}

enum unit text_unit(const char *at, const char *end)
{
    const char *word = text_skip(at, end), *word_end = text_word_end(word, end);
    const char *name = text_skip(word_end, end), *name_end = text_word_end(name, end);
    if (word_end > word && (word_end[-1] == ':' || word_end[-1] == '='))
        word_end--;
    size_t length = (size_t)(word_end - word);
    bool says = (length == 4 || length == 5) && strncasecmp(word, "units", length) == 0;
    return says && text_skip(name_end, end) == end ? unit_named(name, (size_t)(name_end - name))
                                                   : UNIT_NONE;
}

enum unit text_unit_in_comments(const struct bytes *bytes, char mark)
{
    const char *at = (const char *)bytes->data;
    const char *end = at + (bytes->size < COMMENTS ? bytes->size : COMMENTS);
    enum unit found = UNIT_NONE;
    for (const char *line_end; at < end; at = line_end + 1) {
        line_end = text_line_end(at, end);
        at = text_skip(at, line_end);
        enum unit unit = at < line_end && *at == mark ? text_unit(at + 1, line_end) : UNIT_NONE;
        if (unit != UNIT_NONE && found != UNIT_NONE && unit != found)
            return UNIT_NONE;
        found = unit != UNIT_NONE ? unit : found;
    }
    return found;
}
