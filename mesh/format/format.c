#include "format/format.h"

#include <string.h>
#include <strings.h>

#include "format/source.h"

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

/* "" when there is none. */
static const char *extension_of(const char *path)
{
    const char *slash = strrchr(path, '/'), *dot = strrchr(slash ? slash : path, '.');
    return dot ? dot + 1 : "";
}

const struct format *format_for_path(const char *path)
{
    const struct format *format;
    for (size_t i = 0; (format = format_row(i)); i++)
        if (has_word(format->extensions, extension_of(path)))
            return format;
    return NULL;
}

bool format_usual(const char *path, bool write)
{
    const struct format *format = format_for_path(path);
    if (!format)
        return !write && archive_named(extension_of(path));
    return write ? format->write != NULL : format->read != NULL;
}
