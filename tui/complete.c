#include "tui/complete.h"

#include <dirent.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "op/op.h"

void completion_release(struct completion *completion)
{
    for (size_t i = 0; i < completion->count; i++)
        free(completion->word[i]);
    free(completion->word);
    free(completion->common);
    *completion = (struct completion){0};
}

/* Adds front + middle + back when it begins with the given start. Without memory there are fewer. */
static void offer(struct completion *c, const char *start, size_t n, const char *front,
                  const char *middle, const char *back)
{
    size_t size = strlen(front) + strlen(middle) + strlen(back) + 1;
    char *word = malloc(size);
    char **list = realloc(c->word, (c->count + 1) * sizeof *list);
    if (list)
        c->word = list;
    if (word)
        snprintf(word, size, "%s%s%s", front, middle, back);
    if (word && list && strncmp(word, start, n) == 0)
        c->word[c->count++] = word;
    else
        free(word);
}

static void offer_operations(struct completion *c, const char *start, size_t n)
{
    for (size_t i = 0; op_row(i); i++)
        offer(c, start, n, op_row(i)->name, " ", "");
}

static void offer_choices(struct completion *c, const char *start, size_t n, const char *front,
                          const char *choices)
{
    char word[64];
    int used;
    for (; choices && sscanf(choices, "%63s%n", word, &used) == 1; choices += used)
        offer(c, start, n, front, word, " ");
}

/* Files below the folder named in `path` (up to its last '/'), in front of which stands `front`. */
static void offer_files(struct completion *c, const char *start, size_t n, const char *front,
                        const char *path)
{
    const char *slash = strrchr(path, '/');
    size_t length = slash ? (size_t)(slash - path) + 1 : 0;
    char folder[4096];
    if (length >= sizeof folder - 1)
        return;
    memcpy(folder, path, length);
    folder[length] = '\0';
    DIR *open = opendir(length ? folder : ".");
    if (!open)
        return;
    char head[8192], whole[8192];
    snprintf(head, sizeof head, "%s%s", front, folder);
    bool quoted = strchr(front, '"') != NULL;
    for (struct dirent *entry; (entry = readdir(open));) {
        struct stat info;
        bool asked = path[length] == '.';
        if ((entry->d_name[0] == '.' && !asked) || (!quoted && strpbrk(entry->d_name, " #\"")))
            continue;
        if ((size_t)snprintf(whole, sizeof whole, "%s%s", folder, entry->d_name) >= sizeof whole)
            continue;
        bool inside = stat(whole, &info) == 0 && S_ISDIR(info.st_mode);
        offer(c, start, n, head, entry->d_name, inside ? "/" : quoted ? "\" " : " ");
    }
    closedir(open);
}

static const struct param *param_named(const struct op *op, const char *name, size_t n)
{
    for (const struct param *p = op->params; p && p->name; p++)
        if (strlen(p->name) == n && strncmp(p->name, name, n) == 0)
            return p;
    return NULL;
}

static void offer_value(struct completion *c, const char *word, size_t n, const struct param *param,
                        size_t value)
{
    char front[256];
    bool quote = word[value] == '"';
    size_t length = value + (quote ? 1 : 0);
    if (length >= sizeof front)
        return;
    memcpy(front, word, length);
    front[length] = '\0';
    if (param->kind == PARAM_PATH)
        offer_files(c, word, n, front, word + length);
    else if (param->kind == PARAM_FLAG)
        offer_choices(c, word, n, front, "yes no");
    else
        offer_choices(c, word, n, front, param->choices);
}

static void offer_arguments(struct completion *c, const struct op *op, const char *word, size_t n)
{
    const char *equals = memchr(word, '=', n);
    if (equals) {
        const struct param *param = param_named(op, word, (size_t)(equals - word));
        if (param)
            offer_value(c, word, n, param, (size_t)(equals - word) + 1);
        return;
    }
    for (const struct param *p = op->params; p && p->name; p++) {
        offer(c, word, n, p->name, "=", "");
        if (p->need == POSITIONAL || p->need == REQUIRED_POSITIONAL)
            offer_value(c, word, n, p, 0);
    }
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void find_common(struct completion *c)
{
    if (c->count == 0)
        return;
    qsort(c->word, c->count, sizeof *c->word, by_text);
    size_t n = 0;
    const char *first = c->word[0], *last = c->word[c->count - 1]; /* sorted: these differ most */
    while (first[n] && first[n] == last[n])
        n++;
    while (n > 0 && ((unsigned char)first[n] & 0xc0) == 0x80)
        n--; /* not in the middle of a character */
    c->common = strndup(first, n);
}

void completion_find(struct completion *c, const char *line, size_t cursor)
{
    size_t from = 0, first = 0;
    bool quoted = false;
    for (size_t i = 0; i < cursor; i++) {
        if (line[i] == '"')
            quoted = !quoted;
        else if (line[i] == ' ' && !quoted) {
            from = i + 1;
            first = first ? first : i;
        }
    }
    char *word = strndup(line + from, cursor - from);
    if (!word)
        return;
    c->from = from;
    const struct op *op = from ? op_named(line, first) : NULL;
    if (from == 0)
        offer_operations(c, word, strlen(word));
    else if (op)
        offer_arguments(c, op, word, strlen(word));
    find_common(c);
    free(word);
}
