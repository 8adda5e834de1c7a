#include "format/format.h"

#include <string.h>
#include <strings.h>

#define FORMAT(symbol) extern const struct format format_##symbol;
#include "format/formats.def"
#undef FORMAT

static const struct format *const rows[] = {
#define FORMAT(symbol) &format_##symbol,
#include "format/formats.def"
#undef FORMAT
};

const struct format *format_row(size_t i)
{
    return i < sizeof rows / sizeof *rows ? rows[i] : NULL;
}

const struct format *format_named(const char *name)
{
    const struct format *format;
    for (size_t i = 0; (format = format_row(i)); i++)
        if (strcasecmp(format->name, name) == 0)
            return format;
    return NULL;
}

static bool has_word(const char *words, const char *word)
{
    size_t n = strlen(word);
    while (n && *words) {
        size_t length = strcspn(words, " ");
        if (length == n && strncasecmp(words, word, n) == 0)
            return true;
        words += length + strspn(words + length, " ");
    }
    return false;
}

const struct format *format_for_path(const char *path)
{
    const char *slash = strrchr(path, '/'), *dot = strrchr(slash ? slash : path, '.');
    const struct format *format;
    for (size_t i = 0; dot && (format = format_row(i)); i++)
        if (has_word(format->extensions, dot + 1))
            return format;
    return NULL;
}
