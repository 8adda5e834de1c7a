#include "tui/text.h"

#include <ctype.h>
#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <wchar.h>

/* --- figures -------------------------------------------------------------------------------- */

void text_bytes(uint64_t bytes, char out[TEXT_SIZE])
{
    static const char *const units[] = {"KiB", "MiB", "GiB", "TiB", "PiB"};
    double size = (double)bytes / 1024;
    size_t unit = 0;
    if (bytes < 1024) {
        snprintf(out, TEXT_SIZE, "%" PRIu64 " bytes", bytes);
        return;
    }
    for (; size >= 1023.5 && unit < 4; unit++)
        size /= 1024;
    snprintf(out, TEXT_SIZE, size < 99.95 ? "%.1f %s" : "%.0f %s", size, units[unit]);
}

uint64_t text_bytes_read(const char *text)
{
    static const char letters[] = "KMGT";
    char *end;
    if (!isdigit((unsigned char)text[0]) && text[0] != '.')
        return 0;
    double size = strtod(text, &end);
    const char *letter = *end ? strchr(letters, toupper((unsigned char)*end)) : NULL;
    if (letter) {
        size *= pow(1024, (double)(letter - letters + 1));
        end++;
        end += *end == 'i';
    }
    end += *end == 'B';
    return *end == '\0' && size >= 1 && size < 1e18 ? (uint64_t)size : 0;
}

void text_count(uint64_t count, char out[TEXT_SIZE])
{
    char plain[24];
    int n = snprintf(plain, sizeof plain, "%" PRIu64, count);
    for (int i = 0; i < n; i++) {
        if (n > 4 && i > 0 && (n - i) % 3 == 0)
            *out++ = ' ';
        *out++ = plain[i];
    }
    *out = '\0';
}

void text_integer(int64_t number, char out[TEXT_SIZE])
{
    if (number < 0)
        *out++ = '-';
    text_count(number < 0 ? -(uint64_t)number : (uint64_t)number, out);
}

void text_counted(uint64_t count, const char *one, const char *many, char out[TEXT_SIZE])
{
    char number[TEXT_SIZE];
    text_count(count, number);
    snprintf(out, TEXT_SIZE, "%.30s %.16s", number, count == 1 ? one : many);
}

void text_length(double mm, char out[TEXT_SIZE])
{
    if (!isfinite(mm)) {
        snprintf(out, TEXT_SIZE, "-");
        return;
    }
    if (fabs(mm) >= 1e15) {
        snprintf(out, TEXT_SIZE, "%.3e mm", mm);
        return;
    }
    int whole = fabs(mm) < 1 ? 1 : (int)floor(log10(fabs(mm))) + 1;
    int n = snprintf(out, TEXT_SIZE, "%.*f", fabs(mm) < 1 ? 4 : whole < 4 ? 4 - whole : 0, mm);
    if (strchr(out, '.'))
        while (out[n - 1] == '0' || out[n - 1] == '.')
            if (out[--n] == '.')
                break;
    if (n == 2 && strncmp(out, "-0", 2) == 0) {
        out[0] = '0';
        n = 1;
    }
    snprintf(out + n, TEXT_SIZE - (size_t)n, " mm");
}

void text_seconds(double seconds, char out[TEXT_SIZE])
{
    long whole = lround(seconds);
    if (seconds < 59.95)
        snprintf(out, TEXT_SIZE, seconds < 9.95 ? "%.1f s" : "%.0f s", seconds);
    else if (whole < 3600)
        snprintf(out, TEXT_SIZE, "%ld min %ld s", whole / 60, whole % 60);
    else
        snprintf(out, TEXT_SIZE, "%ld h %ld min", whole / 3600, whole / 60 % 60);
}

void text_tame(char *text, bool lines)
{
    for (unsigned char *c = (unsigned char *)text; *c; c++)
        if ((*c < 0x20 && !(lines && *c == '\n')) || *c == 0x7f)
            *c = '?';
        else if (c[0] == 0xc2 && c[1] >= 0x80 && c[1] < 0xa0) /* the other controls, in UTF-8 */
            c[0] = c[1] = '?';
}

/* --- lines ---------------------------------------------------------------------------------- */

/* One character: its bytes, and its columns (what cannot be shown counts one). */
static size_t character(const char *text, size_t length, int *columns)
{
    wchar_t wide;
    mbstate_t state = {0};
    size_t n = mbrtowc(&wide, text, length, &state);
    if (n == 0 || n > length) {
        *columns = 1;
        return 1;
    }
    int width = wcwidth(wide);
    *columns = width < 0 ? 1 : width;
    return n;
}

int text_columns(const char *text, size_t length)
{
    int all = 0, columns;
    for (size_t i = 0; i < length; all += columns)
        i += character(text + i, length - i, &columns);
    return all;
}

size_t text_fit(const char *text, size_t length, int columns)
{
    size_t i = 0;
    for (int used = 0, wide; i < length; used += wide) {
        size_t n = character(text + i, length - i, &wide);
        if (used + wide > columns)
            break;
        i += n;
    }
    return i;
}

size_t text_line(const char **cursor, int width)
{
    const char *text = *cursor;
    size_t length = strcspn(text, "\n"), i = 0, blank = 0;
    int used = 0, columns;
    while (i < length) {
        size_t n = character(text + i, length - i, &columns);
        if (used + columns > width && i > 0)
            break;
        if (text[i] == ' ')
            blank = i;
        used += columns;
        i += n;
    }
    size_t end = i < length && text[i] != ' ' && blank > 0 ? blank : i;
    *cursor = text + end;
    while (**cursor == ' ')
        ++*cursor;
    *cursor += **cursor == '\n';
    return end;
}

void text_wrap(FILE *out, const char *text, int at, int indent, int width)
{
    do {
        const char *line = text;
        size_t n = text_line(&text, width > at ? width - at : 1);
        fprintf(out, "%.*s\n", (int)n, line);
        if (*text)
            fprintf(out, "%*s", at = indent, "");
    } while (*text);
}
