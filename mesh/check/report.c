#include "check/report.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

enum { WIDTH = 80, TITLE = 24, REAL_DIGITS = 15 };

const char *severity_name(enum severity severity)
{
    switch (severity) {
    case SEVERITY_ERROR:
        return "error";
    case SEVERITY_WARNING:
        return "warning";
    case SEVERITY_HINT:
        break;
    }
    return "hint";
}

/* --- JSON ------------------------------------------------------------------------------------- */

/* How many bytes the UTF-8 sequence at `s` has; 0 when it is none. */
static size_t sequence(const unsigned char *s)
{
    size_t n = s[0] < 0x80                   ? 1
               : s[0] >= 0xc2 && s[0] < 0xe0 ? 2
               : (s[0] & 0xf0) == 0xe0       ? 3
               : s[0] >= 0xf0 && s[0] < 0xf5 ? 4
                                             : 0;
    for (size_t i = 1; i < n; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    bool overlong = (s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xf0 && s[1] < 0x90);
    bool beyond = (s[0] == 0xed && s[1] > 0x9f) || (s[0] == 0xf4 && s[1] > 0x8f);
    return overlong || beyond ? 0 : n;
}

static json_t *json_text(const char *text)
{
    char *clean = malloc(3 * strlen(text) + 1), *to = clean;
    if (!clean)
        return NULL;
    for (const unsigned char *s = (const unsigned char *)text; *s;) {
        size_t n = sequence(s);
        memcpy(to, n ? (const char *)s : "\xef\xbf\xbd", n ? n : 3);
        to += n ? n : 3;
        s += n ? n : 1;
    }
    *to = '\0';
    json_t *string = json_string(clean);
    free(clean);
    return string;
}

static json_t *json_figure(const struct figure_value *value, enum figure_kind kind)
{
    if (!value->known)
        return json_null();
    switch (kind) {
    case FIGURE_KIND_TEXT:
        return json_text(value->text);
    case FIGURE_KIND_COUNT:
        return json_integer(value->count);
    case FIGURE_KIND_REAL:
        return json_real(value->real);
    case FIGURE_KIND_VEC:
        return json_pack("[f,f,f]", value->vec[0], value->vec[1], value->vec[2]);
    case FIGURE_KIND_FLAG:
        break;
    }
    return json_boolean(value->flag);
}

static json_t *json_findings(const struct inspection *inspection)
{
    json_t *list = json_array();
    for (size_t i = 0; i < inspection->finding_count && list; i++) {
        const struct finding *finding = &inspection->finding[i];
        json_t *item =
            json_pack("{s:s, s:I, s:s, s:o, s:s?}", "check", finding->check->name, "count",
                      (json_int_t)finding->count, "severity", severity_name(finding->severity),
                      "text", json_text(finding->text), "mend", finding->check->mend);
        if (!item || json_array_append_new(list, item) != 0) {
            json_decref(list);
            return NULL;
        }
    }
    return list;
}

char *inspection_json(const struct inspection *inspection)
{
    json_t *object = json_object();
    bool ok = object;
    for (enum figure i = 0; i < FIGURE_COUNT && ok; i++) {
        const struct figure_row *row = figure_row(i);
        ok = json_object_set_new(object, row->name,
                                 json_figure(&inspection->figure[i], row->kind)) == 0;
    }
    ok = ok && json_object_set_new(object, "findings", json_findings(inspection)) == 0;
    char *text = ok ? json_dumps(object, JSON_COMPACT | JSON_REAL_PRECISION(REAL_DIGITS)) : NULL;
    json_decref(object);
    return text;
}

/* --- the page -----------------------------------------------------------------------------------
 */

struct page {
    char *text;
    size_t length, room;
    bool failed;
};

static void put(struct page *page, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void put(struct page *page, const char *format, ...)
{
    va_list list, again;
    va_start(list, format);
    va_copy(again, list);
    int more = vsnprintf(NULL, 0, format, again);
    va_end(again);
    size_t need = page->length + (size_t)(more > 0 ? more : 0) + 1;
    if (need > page->room && !page->failed) {
        char *grown = realloc(page->text, 2 * need);
        page->failed = !grown;
        page->text = grown ? grown : page->text;
        page->room = grown ? 2 * need : page->room;
    }
    if (!page->failed)
        page->length +=
            (size_t)vsnprintf(page->text + page->length, page->room - page->length, format, list);
    va_end(list);
}

/* Words of `text` in lines between the columns `indent` and WIDTH. The first line has begun and
 * `column` characters of it are used. */
static void put_wrapped(struct page *page, const char *text, size_t indent, size_t column)
{
    bool first = true;
    while (*text) {
        size_t word = strcspn(text, " ");
        if (!first && column + 1 + word > WIDTH) {
            put(page, "\n%*s", (int)indent, "");
            column = indent;
        } else if (!first) {
            put(page, " ");
            column++;
        }
        put(page, "%.*s", (int)word, text);
        column += word;
        text += word;
        text += strspn(text, " ");
        first = false;
    }
    put(page, "\n");
}

static void put_vec(struct page *page, const double v[3], const char *unit)
{
    put(page, "%.6g, %.6g, %.6g %s", v[0], v[1], v[2], unit);
}

static void put_value(struct page *page, enum figure figure, const struct figure_value *value)
{
    const struct figure_row *row = figure_row(figure);
    switch (row->kind) {
    case FIGURE_KIND_TEXT:
        put(page, "%s", value->text);
        break;
    case FIGURE_KIND_COUNT:
        put(page, "%" PRId64, value->count);
        break;
    case FIGURE_KIND_REAL:
        put(page, "%.8g %s", value->real, row->unit);
        break;
    case FIGURE_KIND_VEC:
        put_vec(page, value->vec, row->unit);
        break;
    case FIGURE_KIND_FLAG:
        put(page, "%s", value->flag ? "yes" : "no");
        break;
    }
}

static void put_figures(struct page *page, const struct inspection *inspection)
{
    for (enum figure i = 0; i < FIGURE_COUNT; i++) {
        const struct figure_value *value = &inspection->figure[i];
        put(page, "%-*s", TITLE, figure_row(i)->title);
        if (value->known)
            put_value(page, i, value);
        else
            put(page, "-");
        put(page, "\n");
        if (i != FIGURE_size || !value->known)
            continue;
        const double *v = value->vec;
        put(page, "%-*s", TITLE, "");
        put_vec(page, (double[3]){v[0] / 25.4, v[1] / 25.4, v[2] / 25.4}, "in");
        put(page, "\n");
    }
}

char *inspection_page(const struct inspection *inspection)
{
    struct page page = {0};
    put_figures(&page, inspection);
    for (size_t i = 0; i < inspection->finding_count; i++) {
        const struct finding *finding = &inspection->finding[i];
        put(&page, "\n%-8s", severity_name(finding->severity));
        size_t start = page.length;
        put(&page, "%s: ", finding->check->title);
        put_wrapped(&page, finding->text, 8, 8 + page.length - start);
        put(&page, "%8s", "");
        put_wrapped(&page, finding->check->help, 8, 8);
    }
    if (!page.failed)
        return page.text;
    free(page.text);
    return NULL;
}
