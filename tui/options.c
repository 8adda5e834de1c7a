#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "op/near.h"
#include "op/op.h"
#include "tui/cli.h"
#include "tui/text.h"

static const struct option_row rows[] = {
    {0},
#define OPTION(symbol, name, letter, argument, common, help) {name, letter, argument, common, help},
#include "tui/options.def"
#undef OPTION
};

const struct option_row *option_row(enum cli_option option)
{
    return &rows[option];
}

/* --- values --------------------------------------------------------------------------------- */

static bool wrong(enum cli_option option, const char *value, const char *must)
{
    cli_complain(STATUS_USAGE, "\"--%s %s\": must be %s", rows[option].name, value, must);
    return false;
}

static bool take_unit(const char *value, struct cli_options *out)
{
    out->unit = unit_named(value, strlen(value));
    return out->unit != UNIT_NONE || wrong(OPTION_UNIT, value, "mm, cm, m, in, ft or um");
}

static bool take_within(const char *value, struct cli_options *out)
{
    static const struct param length = {"within", PARAM_LENGTH, OPTIONAL, NULL, 0, 1e300, NULL, ""};
    struct value read;
    char why[WHY_SIZE];
    if (!value_read(&length, value, &read, why)) {
        cli_complain(STATUS_USAGE, "\"--within %s\": %s", value, why);
        return false;
    }
    out->within = read.number;
    return true;
}

static bool whole_number(const char *value, long least, long most, int *out, char **end)
{
    long number = strtol(value, end, 10);
    *out = (int)number;
    return *end != value && number >= least && number <= most;
}

static bool take_size(const char *value, struct cli_options *out)
{
    char *end;
    bool ok = whole_number(value, 1, 20000, &out->columns, &end) && *end == 'x' &&
              whole_number(end + 1, 1, 20000, &out->rows, &end) && *end == '\0';
    return ok || wrong(OPTION_SIZE, value, "columns x rows such as 80x24");
}

static bool take_threads(const char *value, struct cli_options *out)
{
    char *end;
    bool ok = whole_number(value, 1, 1024, &out->threads, &end) && *end == '\0';
    return ok || wrong(OPTION_THREADS, value, "a number from 1 to 1024");
}

static bool take_memory(const char *value, struct cli_options *out)
{
    out->memory = text_bytes_read(value);
    return out->memory || wrong(OPTION_MEMORY, value, "a size such as 512M or 2G");
}

static bool take_colour(const char *value, struct cli_options *out)
{
    static const struct {
        const char *name;
        int colours;
    } ways[] = {{"auto", -1}, {"none", 0}, {"8", 8}, {"16", 16}, {"256", 256}, {"full", 1 << 24}};
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++)
        if (strcmp(ways[i].name, value) == 0) {
            out->colours = ways[i].colours;
            return true;
        }
    return wrong(OPTION_COLOUR, value, "auto, none, 8, 16, 256 or full");
}

static bool take_glyphs(const char *value, struct cli_options *out)
{
    out->glyphs = strcmp(value, "auto") == 0 ? NULL : value;
    return !out->glyphs || strcmp(value, "ascii") == 0 || strcmp(value, "blocks") == 0 ||
           wrong(OPTION_GLYPHS, value, "auto, ascii or blocks");
}

static bool take(enum cli_option option, const char *value, struct cli_options *out)
{
    out->given[option] = true;
    switch (option) {
    case OPTION_UNIT:
        return take_unit(value, out);
    case OPTION_OUTPUT:
        out->output = value;
        return *value || wrong(option, value, "the name of a file");
    case OPTION_WITHIN:
        return take_within(value, out);
    case OPTION_SIZE:
        return take_size(value, out);
    case OPTION_VIEW:
        out->view = value;
        return true; /* draw knows the sides */
    case OPTION_COLOUR:
        return take_colour(value, out);
    case OPTION_GLYPHS:
        return take_glyphs(value, out);
    case OPTION_THREADS:
        return take_threads(value, out);
    case OPTION_MEMORY:
        return take_memory(value, out);
    case OPTION_JSON:
        return out->json = true;
    case OPTION_OVER:
        return out->over = true;
    case OPTION_QUIET:
        return out->quiet = true;
    default: /* that it was given is all there is to it */
        return true;
    }
}

/* --- words ---------------------------------------------------------------------------------- */

static bool unknown(const char *word, size_t length)
{
    struct near near = {0};
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)length, word);
    for (int i = 1; i < OPTION_COUNT; i++)
        near_try(&near, name, rows[i].name);
    if (near.name)
        cli_complain(STATUS_USAGE, "\"--%s\": no such option; did you mean --%s?", name, near.name);
    else
        cli_complain(STATUS_USAGE, "\"--%s\": no such option; fettle help lists them", name);
    return false;
}

static enum cli_option find_long(const char *name, size_t length)
{
    for (int i = 1; i < OPTION_COUNT; i++)
        if (strlen(rows[i].name) == length && strncmp(rows[i].name, name, length) == 0)
            return (enum cli_option)i;
    return OPTION_NONE;
}

static enum cli_option find_short(char letter)
{
    for (int i = 1; i < OPTION_COUNT; i++)
        if (rows[i].letter == letter)
            return (enum cli_option)i;
    return OPTION_NONE;
}

/* `value`: what stands in the same word, or NULL; else the next word is taken. */
static bool take_valued(enum cli_option option, const char *value, char *const **next,
                        struct cli_options *out)
{
    if (!rows[option].argument && value) {
        cli_complain(STATUS_USAGE, "\"--%s\": takes no value", rows[option].name);
        return false;
    }
    if (rows[option].argument && !value) {
        value = **next;
        if (!value) {
            cli_complain(STATUS_USAGE, "\"--%s\": wants %s behind it", rows[option].name,
                         rows[option].argument);
            return false;
        }
        ++*next;
    }
    return take(option, value, out);
}

static bool take_word(const char *word, char *const **next, struct cli_options *out)
{
    if (word[1] != '-') {
        enum cli_option option = find_short(word[1]);
        if (option == OPTION_NONE) {
            cli_complain(STATUS_USAGE, "\"%s\": no such option; fettle help lists them", word);
            return false;
        }
        return take_valued(option, word[2] ? word + 2 : NULL, next, out);
    }
    const char *name = word + 2, *equals = strchr(name, '=');
    size_t length = equals ? (size_t)(equals - name) : strlen(name);
    enum cli_option option = find_long(name, length);
    if (option == OPTION_NONE)
        return unknown(name, length);
    return take_valued(option, equals ? equals + 1 : NULL, next, out);
}

bool options_take(int *count, char **word, struct cli_options *out)
{
    *out = (struct cli_options){.unit = UNIT_NONE, .within = -1, .colours = -1};
    char *const *next = word;
    bool words_only = false;
    *count = 0;
    while (*next) {
        char *one = *next++;
        if (!words_only && strcmp(one, "--") == 0)
            words_only = true;
        else if (words_only || one[0] != '-' || one[1] == '\0')
            word[(*count)++] = one;
        else if (!take_word(one, &next, out))
            return false;
    }
    word[*count] = NULL;
    return true;
}

void options_job(const struct cli_options *options, struct job *job)
{
    job_init(job);
    job->threads = options->threads;
    job->memory = options->memory;
}
