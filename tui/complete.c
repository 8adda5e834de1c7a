#include "tui/complete.h"

#include <dirent.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "format/format.h"
#include "op/op.h"

void completion_release(struct completion *completion)
{
    for (size_t i = 0; i < completion->count; i++)
        free(completion->word[i]);
    free(completion->word);
    free(completion->common);
    *completion = (struct completion){0};
}

/* Without memory there are fewer. */
static void add(struct completion *c, const char *word)
{
    char *copy = strdup(word);
    char **list = copy ? realloc(c->word, (c->count + 1) * sizeof *list) : NULL;
    if (!list) {
        free(copy);
        return;
    }
    c->word = list;
    c->word[c->count++] = copy;
}

/* Adds front + middle + back when it begins with the given start. */
static void offer(struct completion *c, const char *start, size_t n, const char *front,
                  const char *middle, const char *back)
{
    char word[512];
    if (snprintf(word, sizeof word, "%s%s%s", front, middle, back) < (int)sizeof word &&
        strncmp(word, start, n) == 0)
        add(c, word);
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

enum { PATH_ROOM = 4096 };

struct files {                 /* what to look for below a folder */
    const char *start;         /* of the word, */
    size_t n;                  /* so long */
    const char *front;         /* what stands before the path in it */
    const char *path;          /* what is there of that */
    const struct op *op;       /* what they are for: */
    const struct param *param; /* this of it */
};

/* Whether such a file is what the operation takes, by its name. */
static bool is_wanted(const struct files *files, const char *name)
{
    const char *dot = strrchr(name, '.'), *choices = files->param->choices;
    if (!choices)
        return format_usual(name, files->op->saves);
    char word[16];
    for (int used; dot && sscanf(choices, "%15s%n", word, &used) == 1; choices += used)
        if (strcasecmp(word, dot + 1) == 0)
            return true;
    return false;
}

/* One entry of the folder. What needs quotes gets them. */
static void offer_file(struct completion *c, const struct files *f, const char *folder,
                       const char *name, bool is_folder)
{
    char word[PATH_ROOM + 512];
    bool quoted = strchr(f->front, '"') != NULL, quotes = quoted || strpbrk(name, " #=");
    for (const char *p = name; *p; p++)
        if ((unsigned char)*p < ' ' || *p == 127 || *p == '"' || *p == '\\')
            return; /* it would have to be typed otherwise than it is shown */
    int size = snprintf(word, sizeof word, "%s%s%s", f->front, folder, name);
    if (size >= (int)sizeof word || strncmp(word, f->start, f->n) != 0)
        return;
    size = snprintf(word, sizeof word, "%s%s%s%s%s", f->front, quotes && !quoted ? "\"" : "",
                    folder, name,
                    is_folder ? "/"
                    : quotes  ? "\" "
                              : " ");
    if (size < (int)sizeof word)
        add(c, word);
}

/* "~/" is the home folder, as app_run takes it. */
static const char *place_of(const char *folder, char room[PATH_ROOM])
{
    const char *home = getenv("HOME");
    if (strncmp(folder, "~/", 2) != 0 || !home ||
        snprintf(room, PATH_ROOM, "%s/%s", home, folder + 2) >= PATH_ROOM)
        return *folder ? folder : ".";
    return room;
}

/* What is in the folder named in the path (up to its last '/'): folders, and the files that are
 * wanted, or all. */
static void offer_folder(struct completion *c, const struct files *f, bool all)
{
    const char *slash = strrchr(f->path, '/');
    size_t length = slash ? (size_t)(slash - f->path) + 1 : 0;
    char folder[PATH_ROOM], room[PATH_ROOM];
    if (length >= sizeof folder)
        return;
    memcpy(folder, f->path, length);
    folder[length] = '\0';
    DIR *open = opendir(place_of(folder, room));
    if (!open)
        return;
    for (struct dirent *entry; (entry = readdir(open));) {
        struct stat info;
        const char *name = entry->d_name;
        bool is_folder = fstatat(dirfd(open), name, &info, 0) == 0 && S_ISDIR(info.st_mode);
        if ((name[0] != '.' || f->path[length] == '.') && /* hidden ones when asked for */
            (is_folder || all || is_wanted(f, name)))
            offer_file(c, f, folder, name, is_folder);
    }
    closedir(open);
}

/* Those that have the right extension; where none begins so, any other: what is in a file does not
 * hang on its name. */
static void offer_files(struct completion *c, const struct files *files)
{
    size_t before = c->count;
    offer_folder(c, files, false);
    if (c->count == before)
        offer_folder(c, files, true);
}

static const struct param *param_named(const struct op *op, const char *name, size_t n)
{
    for (const struct param *p = op->params; p && p->name; p++)
        if (strlen(p->name) == n && strncmp(p->name, name, n) == 0)
            return p;
    return NULL;
}

static void offer_value(struct completion *c, const char *word, size_t n, const struct op *op,
                        const struct param *param, size_t value)
{
    char front[256];
    bool quote = word[value] == '"';
    size_t length = value + (quote ? 1 : 0);
    if (length >= sizeof front)
        return;
    memcpy(front, word, length);
    front[length] = '\0';
    if (param->kind == PARAM_PATH)
        offer_files(c, &(struct files){word, n, front, word + length, op, param});
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
            offer_value(c, word, n, op, param, (size_t)(equals - word) + 1);
        return;
    }
    for (const struct param *p = op->params; p && p->name; p++) {
        offer(c, word, n, p->name, "=", "");
        if (p->need == POSITIONAL || p->need == REQUIRED_POSITIONAL)
            offer_value(c, word, n, op, p, 0);
    }
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* No shorter than what was typed: quotes that only some of them need would take that away. */
static void find_common(struct completion *c, size_t typed)
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
    c->common = n >= typed ? strndup(first, n) : NULL;
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
    find_common(c, strlen(word));
    c->none = c->count == 0;
    free(word);
}
