#include "tui/find.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* Lines that belong together. */
struct block {
    const char *start, *end;
    size_t indent; /* of its first line */
};

static const char *line_end(const char *line)
{
    const char *end = strchr(line, '\n');
    return end ? end + 1 : line + strlen(line);
}

static size_t indent_of(const char *line)
{
    return strspn(line, " ");
}

/* The block that begins at the first line from `text` on that is not empty: a heading is all lines
 * at the left edge, an entry its line and those indented more. False: there is none. */
static bool next_block(const char *text, struct block *block)
{
    while (*text == '\n')
        text++;
    block->start = text;
    block->indent = indent_of(text);
    block->end = line_end(text);
    while (*block->end && *block->end != '\n' &&
           (block->indent ? indent_of(block->end) > block->indent : indent_of(block->end) == 0))
        block->end = line_end(block->end);
    return *text;
}

static bool is_part(unsigned char c) /* of a word */
{
    return isalnum(c) || c >= 128;
}

/* Anywhere; but two letters must begin a word, and one must be all of it: a key. */
static bool has_word(const struct block *block, const char *word, size_t n)
{
    for (const char *p = block->start; p + n <= block->end; p++) {
        bool begins = p == block->start || !is_part((unsigned char)p[-1]);
        bool ends = p + n == block->end || !is_part((unsigned char)p[n]);
        if (strncasecmp(p, word, n) == 0 && (n > 2 || (begins && (n > 1 || ends))))
            return true;
    }
    return false;
}

static bool has_all(const struct block *block, const char *words)
{
    for (size_t n; *(words += strspn(words, " ")); words += n) {
        n = strcspn(words, " ");
        if (!has_word(block, words, n))
            return false;
    }
    return true;
}

static void write_block(FILE *out, const struct block *block)
{
    fwrite(block->start, 1, (size_t)(block->end - block->start), out);
}

/* A heading, an empty line before it unless it is the first. */
static void write_heading(FILE *out, const struct block *heading)
{
    if (heading->start == heading->end)
        return;
    if (ftell(out) > 0)
        fputc('\n', out);
    write_block(out, heading);
}

char *find_entries(const char *text, const char *words)
{
    char *found = NULL;
    size_t size;
    FILE *out = open_memstream(&found, &size);
    struct block block, heading = {text, text, 0};
    bool whole = false, written = true; /* of the heading: all below it is meant; it stands there */
    while (out && next_block(text, &block)) {
        bool has = has_all(&block, words);
        if (block.indent == 0) {
            heading = block;
            whole = written = has;
            if (has)
                write_heading(out, &heading);
        } else if (has || whole) {
            if (!written)
                write_heading(out, &heading);
            written = true;
            write_block(out, &block);
        }
        text = block.end;
    }
    if (out)
        fclose(out);
    return found;
}
