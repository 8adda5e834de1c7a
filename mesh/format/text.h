/* Text files: runs of whole lines for several threads, and what is read off a line. */
#ifndef FETTLE_FORMAT_TEXT_H
#define FETTLE_FORMAT_TEXT_H

#include <math.h>
#include <string.h>

#include "format/decimal.h"
#include "format/format.h"

struct text { /* runs of whole lines */
    const struct bytes *bytes;
    size_t count;        /* runs */
    size_t *from;        /* count + 1: run i is bytes from[i]..from[i + 1] - 1 */
    size_t *line;        /* count + 1: number of the first line of each run */
    size_t lines;        /* in all; a last one without a newline counts */
    size_t *content;     /* count + 1: lines of content before each run; see text_content */
    size_t problem_line; /* of the first problem; 0: none */
    char problem[200];
};

/* Whether a run may begin with the line at text[at]; a reader's own rule. */
typedef bool text_begins(const char *text, size_t at, size_t end);

/* Splits the bytes from `from` on, whose first line has the number `line`. `begins` may be NULL.
 * The caller releases. */
enum status text_split(const struct bytes *bytes, size_t from, size_t line, text_begins *begins,
                       struct text *out, struct job *job);
void text_release(struct text *text);

/* Counts the lines that are neither blank nor a comment (which begins with `mark`) into
 * text->content. */
enum status text_content(struct text *text, char mark, struct job *job);

static inline bool text_is_content(const char *at, const char *line_end, char mark)
{
    while (at < line_end && (*at == ' ' || *at == '\t' || *at == '\r'))
        at++;
    return at < line_end && *at != mark;
}

/* Whether the last line does not end in a newline. */
bool text_unended(const struct text *text);

/* Leaves out a last line that does not end in a newline. */
void text_cut_last(struct text *text);

/* Remembers what is wrong with a line; the first line's problem is kept, whoever finds it. */
void text_problem(struct text *text, size_t line, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The problem that the word at `at` is not `what` belongs there ("the corner of a face"), or that
 * the line, which ends at `end`, lacks it. Returns false. */
bool text_bad_word(struct text *text, size_t line, const char *at, const char *end,
                   const char *what);

/* Whether the problem is in the last line: then the file has been cut off there. */
bool text_ends_at_problem(const struct text *text);

/* Fails with the problem: "gate.obj": line 14: ... */
enum status text_fail(const struct text *text, struct job *job);

/* --- on a line --------------------------------------------------------------------------- */

static inline bool text_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\v' || c == '\f';
}

static inline const char *text_skip(const char *at, const char *end)
{
    while (at < end && text_blank(*at))
        at++;
    return at;
}

static inline const char *text_line_end(const char *at, const char *end)
{
    const char *newline = at < end ? memchr(at, '\n', (size_t)(end - at)) : NULL;
    return newline ? newline : end;
}

static inline const char *text_word_end(const char *at, const char *end)
{
    while (at < end && !text_blank(*at) && *at != '\n')
        at++;
    return at;
}

/* The next number of the line that ends at `end`, behind blanks; it must end with a blank or the
 * line. Moves *at behind it; false leaves *at where the word begins. */
static inline bool text_number(const char **at, const char *end, double *out)
{
    const char *begin = text_skip(*at, end), *to = decimal_read(begin, end, '.', out);
    *at = begin;
    if (to && to < end && *to == '#') { /* "1.#QNAN", as some printf wrote */
        to = text_word_end(to, end);
        *out = (double)NAN;
    }
    if (!to || (to < end && !text_blank(*to)))
        return false;
    *at = to;
    return true;
}

/* The unit that a comment states when that is all it says: "unit mm", "units: mm". `at` is behind
 * the comment's mark, `end` the end of its line. UNIT_NONE when it says anything else. */
enum unit text_unit(const char *at, const char *end);

/* The same of all the lines that begin with `mark` among the first ones: UNIT_NONE when there is
 * none, or when they do not agree. */
enum unit text_unit_in_comments(const struct bytes *bytes, char mark);

/* A vertex colour of three or four numbers, which are 0 to 1 when `scale` is 255, 0 to 255 when it
 * is 1. */
static inline void text_colour(const double *value, int count, double scale, uint8_t colour[4])
{
    for (int k = 0; k < 4; k++) {
        double x = k < count ? value[k] * scale : 255;
        colour[k] = (uint8_t)(x > 0 ? x < 255 ? x + 0.5 : 255 : 0);
    }
}

/* Counts the words from `at` to `end`. */
size_t text_words(const char *at, const char *end);

#endif
