#include "op/words.h"

#include <ctype.h>
#include <string.h>

static bool blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '\v' || c == '\f';
}

/* The '=' of key=..., or NULL. A key is letters, digits and '-', and begins with a letter. */
static char *key_end(char *text)
{
    if (!isalpha((unsigned char)*text))
        return NULL;
    while (isalnum((unsigned char)*text) || *text == '-')
        text++;
    return *text == '=' ? text : NULL;
}

static char escaped(char c)
{
    return c == 'n' ? '\n' : c == 'r' ? '\r' : c;
}

/* Copies a value over itself without its quotes, up to its end; NULL: a quote is left open. */
static char *unquote(char *text, bool *quoted)
{
    char *from = text, *to = text;
    bool open = false;
    while (*from && (open || (!blank(*from) && *from != '#'))) {
        if (*from == '"') {
            open = !open;
            *quoted = true;
            from++;
        } else if (open && *from == '\\' && from[1]) {
            *to++ = escaped(from[1]);
            from += 2;
        } else {
            *to++ = *from++;
        }
    }
    if (open)
        return NULL;
    char *next = blank(*from) ? from + 1 : from; /* a '#' may be where the text is to end: fine */
    *to = '\0';
    return next;
}

bool word_next(char **cursor, struct word *out, const char **why)
{
    char *at = *cursor;
    while (blank(*at))
        at++;
    *cursor = at;
    if (*at == '\0' || *at == '#')
        return false;
    char *equals = key_end(at);
    *out = (struct word){.key = equals ? at : NULL, .text = equals ? equals + 1 : at};
    char *next = unquote(out->text, &out->quoted);
    if (!next) {
        *why = "a quotation mark is not closed; end the value with \"";
        return false;
    }
    if (equals)
        *equals = '\0';
    *cursor = next;
    return true;
}

char *word_write(char *out, const char *text)
{
    static const char special[] = " \t\r\n\v\f#\"=~";
    if (*text && !strpbrk(text, special))
        return stpcpy(out, text);
    *out++ = '"';
    for (; *text; text++) {
        if (*text == '"' || *text == '\\' || *text == '\n' || *text == '\r')
            *out++ = '\\';
        *out++ = *text == '\n' ? 'n' : *text == '\r' ? 'r' : *text;
    }
    *out++ = '"';
    *out = '\0';
    return out;
}
