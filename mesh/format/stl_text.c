/* STL as text. Words are what counts, not lines: some programs write a facet a line, or a file a
 * line, and some shout. */
#include <strings.h>

#include "core/job.h"
#include "core/weld.h"
#include "format/frame.h"
#include "format/gather.h"
#include "format/stl.h"
#include "format/text.h"

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

struct scan {
    const char *at, *end, *counted; /* lines were counted up to there */
    size_t line;
    struct text *text;
    struct gather *gather;
    double corner[3];
    size_t corners; /* of the present facet */
    size_t first;   /* where its points begin */
    bool ended;     /* the last solid has its end */
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
            scan->ended = false;
        } else if (word_is(word, scan->end, "solid") || word_is(word, scan->end, "endsolid")) {
            scan->ended = *word == 'e' || *word == 'E';
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
    if (ok && !scan.ended && run + 1 == text->count)
        text_problem(text, line_now(&scan), "the last solid has no end");
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
    mesh_origin_for(first, gather->origin);
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
        job_note(job, "\"%s\": cut off in line %zu; whole triangles: %zu", text->bytes->name,
                 text->problem_line, facets);
    if (gather->wrong)
        job_note(job, "\"%s\": %zu facet%s left out: fewer than three vertices", text->bytes->name,
                 gather->wrong, plural(gather->wrong));
    const void *corners = facets ? gather->point.array->data : NULL;
    job_phase(job, "joining vertices", 300, 3 * facets);
    out->mesh = weld_soup(corners, sizeof(float[9]), facets, job);
    if (!out->mesh)
        return job_status(job);
    memcpy(out->mesh->origin, gather->origin, sizeof out->mesh->origin);
    if (mesh_triangles(out->mesh) < facets)
        job_note(job, "\"%s\": %zu triangle%s left out: a coordinate is no number",
                 text->bytes->name, facets - mesh_triangles(out->mesh),
                 plural(facets - mesh_triangles(out->mesh)));
    return STATUS_OK;
}

enum status stl_text_read(const struct bytes *bytes, struct reading *out, struct job *job)
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
