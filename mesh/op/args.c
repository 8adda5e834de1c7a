/* A line of the language to a step and back. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/near.h"
#include "op/op.h"
#include "op/value.h"
#include "op/words.h"

static size_t param_count(const struct op *op)
{
    size_t n = 0;
    while (op->params && op->params[n].name)
        n++;
    return n;
}

static bool positional(const struct param *param)
{
    return param->need == POSITIONAL || param->need == REQUIRED_POSITIONAL;
}

static bool required(const struct param *param)
{
    return param->need == REQUIRED || param->need == REQUIRED_POSITIONAL;
}

/* --- reading -------------------------------------------------------------------------------- */

static enum status unknown_operation(const char *word, struct job *job)
{
    struct near near = {0};
    for (size_t i = 0; op_row(i); i++)
        near_try(&near, word, op_row(i)->name);
    if (near.name)
        return job_fail(job, STATUS_USAGE, "\"%s\": no such operation; did you mean %s?", word,
                        near.name);
    return job_fail(job, STATUS_USAGE, "\"%s\": no such operation; `help` lists them", word);
}

static enum status unknown_param(const struct op *op, const char *word, struct job *job)
{
    struct near near = {0};
    for (size_t i = 0; i < param_count(op); i++)
        near_try(&near, word, op->params[i].name);
    if (near.name)
        return job_fail(job, STATUS_USAGE, "\"%s\": %s has no such parameter; did you mean %s=?",
                        word, op->name, near.name);
    char *usage = op_usage(op);
    enum status status = job_fail(job, STATUS_USAGE, "\"%s\": %s has no such parameter; it is: %s",
                                  word, op->name, usage ? usage : op->name);
    free(usage);
    return status;
}

/* The parameter a value without a key goes to, or NULL. */
static size_t free_position(const struct step *step)
{
    size_t i = 0, n = param_count(step->op);
    while (i < n && !(positional(&step->op->params[i]) && !step->value[i].typed))
        i++;
    return i;
}

static enum status no_position(const struct op *op, const char *word, struct job *job)
{
    for (size_t i = 0; i < param_count(op); i++)
        if (strcmp(op->params[i].name, word) == 0)
            return job_fail(job, STATUS_USAGE, "\"%s\": %s wants a value there: %s=...", word,
                            op->name, word);
    char *usage = op_usage(op);
    enum status status = job_fail(job, STATUS_USAGE, "\"%s\": one word too many for %s; it is: %s",
                                  word, op->name, usage ? usage : op->name);
    free(usage);
    return status;
}

static enum status find_param(const struct step *step, const struct word *word, size_t *out,
                              struct job *job)
{
    size_t n = param_count(step->op);
    if (!word->key) {
        *out = free_position(step);
        return *out < n ? STATUS_OK : no_position(step->op, word->text, job);
    }
    for (*out = 0; *out < n; ++*out)
        if (strcmp(step->op->params[*out].name, word->key) == 0)
            return STATUS_OK;
    return unknown_param(step->op, word->key, job);
}

/* A path that begins with "~/" is meant below the user's home; it goes behind the line. */
static const char *at_home(const struct word *word, char **spare)
{
    const char *home = getenv("HOME");
    if (word->quoted || strncmp(word->text, "~/", 2) != 0 || !home)
        return word->text;
    const char *path = *spare;
    *spare = stpcpy(stpcpy(*spare, home), word->text + 1) + 1;
    return path;
}

static enum status take_word(struct step *step, const struct word *word, char **spare,
                             struct job *job)
{
    size_t i;
    enum status status = find_param(step, word, &i, job);
    if (status != STATUS_OK)
        return status;
    const struct param *param = &step->op->params[i];
    if (step->value[i].typed)
        return job_fail(job, STATUS_USAGE, "\"%s\": %s is given twice; leave one out",
                        step->op->name, param->name);
    const char *text = param->kind == PARAM_PATH ? at_home(word, spare) : word->text;
    char why[WHY_SIZE];
    if (!value_read(param, text, &step->value[i], why))
        return job_fail(job, STATUS_USAGE, "\"%s\": %s=%s %s", step->op->name, param->name, text,
                        why);
    step->value[i].typed = true;
    return STATUS_OK;
}

/* Sets what was not typed to its default. */
static enum status complete(struct step *step, struct job *job)
{
    for (size_t i = 0; i < param_count(step->op); i++) {
        const struct param *param = &step->op->params[i];
        struct value *value = &step->value[i];
        char why[WHY_SIZE];
        if (value->typed)
            continue;
        if (required(param)) {
            char *usage = op_usage(step->op);
            job_fail(job, STATUS_USAGE, "\"%s\": %s is missing; it is: %s", step->op->name,
                     param->name, usage ? usage : step->op->name);
            free(usage);
            return STATUS_USAGE;
        }
        if (param->standard && !value_read(param, param->standard, value, why))
            return job_fail(job, STATUS_USAGE, "\"%s\": the default %s=%s %s", step->op->name,
                            param->name, param->standard, why);
    }
    return STATUS_OK;
}

static enum status take_words(struct step *step, char *cursor, char *spare, struct job *job)
{
    const char *why = NULL;
    struct word word;
    enum status status = STATUS_OK;
    while (status == STATUS_OK && word_next(&cursor, &word, &why))
        status = take_word(step, &word, &spare, job);
    if (why)
        return job_fail(job, STATUS_USAGE, "\"%s\": %s", step->op->name, why);
    return status == STATUS_OK ? complete(step, job) : status;
}

/* The operation's name; sets step->op, or leaves NULL for a blank line. */
static enum status take_name(struct step *step, char **cursor, struct job *job)
{
    const char *why = NULL;
    struct word word;
    if (!word_next(cursor, &word, &why))
        return why ? job_fail(job, STATUS_USAGE, "%s", why) : STATUS_OK;
    if (word.key)
        return job_fail(job, STATUS_USAGE,
                        "\"%s=%s\": a step begins with an operation: OPERATION %s=%s", word.key,
                        word.text, word.key, word.text);
    step->op = op_named(word.text, strlen(word.text));
    return step->op ? STATUS_OK : unknown_operation(word.text, job);
}

static size_t count_char(const char *text, char c)
{
    size_t n = 0;
    while (*text)
        n += *text++ == c;
    return n;
}

enum status step_parse(const char *line, struct step *out, struct job *job)
{
    const char *home = getenv("HOME");
    size_t length = strlen(line) + 1;
    size_t room = length + count_char(line, '~') * (length + (home ? strlen(home) : 0) + 1);
    struct step step = {.store = malloc(room)};
    if (!step.store)
        return job_fail_memory(job, room);
    memcpy(step.store, line, length);
    char *cursor = step.store;
    enum status status = take_name(&step, &cursor, job);
    if (status == STATUS_OK && step.op) {
        size_t n = param_count(step.op);
        step.value = calloc(n + 1, sizeof *step.value);
        for (size_t i = 0; step.value && i < n; i++)
            step.value[i].text = "";
        status = step.value ? take_words(&step, cursor, step.store + length, job)
                            : job_fail_memory(job, (n + 1) * sizeof *step.value);
    }
    if (status == STATUS_OK)
        *out = step;
    else
        step_release(&step);
    return status;
}

void step_release(struct step *step)
{
    free(step->value);
    free(step->store);
    *step = (struct step){0};
}

struct value *step_file(const struct step *step)
{
    size_t n = step->op ? param_count(step->op) : 0;
    for (size_t i = 0; i < n; i++)
        if (step->op->params[i].kind == PARAM_PATH && step->value[i].given)
            return &step->value[i];
    return NULL;
}

/* --- writing -------------------------------------------------------------------------------- */

char *step_text(const struct step *step)
{
    if (!step->op)
        return strdup("");
    size_t n = param_count(step->op), room = strlen(step->op->name) + 1;
    for (size_t i = 0; i < n; i++)
        room += strlen(step->op->params[i].name) + 2 + value_room(&step->value[i]) +
                (step->op->params[i].standard ? strlen(step->op->params[i].standard) : 0);
    char *text = malloc(room), *end = text;
    if (!text)
        return NULL;
    end = stpcpy(end, step->op->name);
    bool bare = true; /* all positional ones so far were written */
    for (size_t i = 0; i < n; i++) {
        const struct param *param = &step->op->params[i];
        if (!step->value[i].typed) {
            bare = bare && !positional(param);
            continue;
        }
        *end++ = ' ';
        if (!positional(param) || !bare)
            end = stpcpy(stpcpy(end, param->name), "=");
        end = value_write(param, &step->value[i], end);
    }
    return text;
}
