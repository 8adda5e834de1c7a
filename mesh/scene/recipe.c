#include "scene/recipe.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"

/* --- reading -------------------------------------------------------------------------------- */

enum status recipe_locate(const struct recipe *recipe, size_t number, enum status status,
                          struct job *job)
{
    if (!job || status == STATUS_OK || status == STATUS_CANCELLED || job->status != status)
        return status;
    char message[sizeof job->message];
    memcpy(message, job->message, sizeof message);
    job_forgive(job);
    return job_fail(job, status, "\"%s\": line %zu: %s", recipe->name, number, message);
}

bool recipe_special(const char *text, enum recipe_word *out)
{
    const char *at = text + strspn(text, " \t");
    size_t n = strspn(at, "undore");
    const char *rest = at + n + strspn(at + n, " \t\r");
    if (n != 4 || (*rest && *rest != '#'))
        return false;
    *out = strncmp(at, "undo", 4) == 0 ? RECIPE_UNDO : RECIPE_REDO;
    return *out == RECIPE_UNDO || strncmp(at, "redo", 4) == 0;
}

static enum status parse_line(struct recipe *recipe, size_t number, char *text, struct job *job)
{
    struct recipe_line line = {.number = number, .word = RECIPE_STEP};
    enum status status = STATUS_OK;
    if (!recipe_special(text, &line.word)) {
        status = step_parse(text, &line.step, job);
        if (status != STATUS_OK || !line.step.op) {
            step_release(&line.step);
            return recipe_locate(recipe, number, status, job);
        }
    }
    line.text = strdup(text);
    if (!line.text) {
        step_release(&line.step);
        return job_fail_memory(job, strlen(text));
    }
    recipe->line[recipe->count++] = line;
    return STATUS_OK;
}

static size_t count_lines(const char *text, size_t size)
{
    size_t n = 1;
    for (size_t i = 0; i < size; i++)
        n += text[i] == '\n';
    return n;
}

static enum status parse_lines(struct recipe *recipe, char *text, struct job *job)
{
    enum status status = STATUS_OK;
    size_t number = 0;
    for (char *rest = text, *line; status == STATUS_OK && (line = strsep(&rest, "\n"));)
        status = parse_line(recipe, ++number, line, job);
    return status;
}

enum status recipe_parse(const char *text, size_t size, const char *name, struct recipe *out,
                         struct job *job)
{
    if (memchr(text, '\0', size))
        return job_fail(job, STATUS_USAGE,
                        "\"%s\": is no recipe: a recipe is text, one operation a line", name);
    struct recipe recipe = {.name = strdup(name)};
    recipe.line = calloc(count_lines(text, size), sizeof *recipe.line);
    char *copy = strndup(text, size);
    enum status status;
    if (!recipe.name || !recipe.line || !copy)
        status = job_fail_memory(job, size);
    else
        status = parse_lines(&recipe, copy, job);
    free(copy);
    if (status == STATUS_OK)
        *out = recipe;
    else
        recipe_release(&recipe);
    return status;
}

enum { RECIPE_MOST = 16 << 20 }; /* bytes: more is no recipe */

static enum status read_all(int fd, const char *path, char **text, size_t *size, struct job *job)
{
    size_t room = 0;
    for (*size = 0;;) {
        if (*size + 1 >= room) {
            room = room ? 2 * room : 4096;
            char *grown = realloc(*text, room);
            if (!grown)
                return job_fail_memory(job, room);
            *text = grown;
        }
        ssize_t n = read(fd, *text + *size, room - *size);
        if (n < 0 && errno == EINTR && !job_cancelled(job))
            continue;
        if (n < 0)
            return job_fail(job, STATUS_FILE, "\"%s\": cannot be read: %s", path, strerror(errno));
        if (n == 0)
            return STATUS_OK;
        *size += (size_t)n;
        if (*size > RECIPE_MOST)
            return job_fail(job, STATUS_USAGE, "\"%s\": is too long for a recipe", path);
    }
}

enum status recipe_read(const char *path, struct recipe *out, struct job *job)
{
    bool standard = strcmp(path, "-") == 0;
    int fd = standard ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return job_fail(job, STATUS_FILE, "\"%s\": cannot be opened: %s", path, strerror(errno));
    const char *name = standard ? "standard input" : path;
    char *text = NULL;
    size_t size = 0;
    enum status status = read_all(fd, name, &text, &size, job);
    if (status == STATUS_OK)
        status = recipe_parse(text, size, name, out, job);
    free(text);
    if (!standard)
        close(fd);
    return status;
}

void recipe_release(struct recipe *recipe)
{
    for (size_t i = 0; i < recipe->count; i++) {
        step_release(&recipe->line[i].step);
        free(recipe->line[i].text);
    }
    free(recipe->line);
    free(recipe->name);
    *recipe = (struct recipe){0};
}

/* --- undo and redo -------------------------------------------------------------------------- */

static enum status trace_line(const struct recipe *recipe, size_t i, struct recipe_trace *trace,
                              struct job *job)
{
    const struct recipe_line *line = &recipe->line[i];
    size_t state = trace->last;
    trace->input[i] = state;
    if (line->word == RECIPE_UNDO && state == 0)
        return job_fail(job, STATUS_USAGE, "\"%s\": line %zu: there is no step to undo",
                        recipe->name, line->number);
    if (line->word == RECIPE_REDO && trace->next[state] == 0)
        return job_fail(job, STATUS_USAGE, "\"%s\": line %zu: there is no step to redo",
                        recipe->name, line->number);
    if (line->word == RECIPE_UNDO) {
        trace->last = trace->input[state - 1];
    } else if (line->word == RECIPE_REDO) {
        trace->last = trace->next[state];
    } else if (line->step.op->changes) {
        trace->next[state] = trace->last = i + 1;
    }
    return STATUS_OK;
}

enum status recipe_trace(const struct recipe *recipe, struct recipe_trace *out, struct job *job)
{
    struct recipe_trace trace = {0};
    trace.input = calloc(recipe->count + 1, sizeof *trace.input);
    trace.next = calloc(recipe->count + 1, sizeof *trace.next);
    enum status status = trace.input && trace.next
                             ? STATUS_OK
                             : job_fail_memory(job, recipe->count * 2 * sizeof *trace.input);
    for (size_t i = 0; status == STATUS_OK && i < recipe->count; i++)
        status = trace_line(recipe, i, &trace, job);
    if (status == STATUS_OK)
        *out = trace;
    else
        recipe_trace_release(&trace);
    return status;
}

void recipe_trace_release(struct recipe_trace *trace)
{
    free(trace->input);
    free(trace->next);
    *trace = (struct recipe_trace){0};
}

/* --- running -------------------------------------------------------------------------------- */

struct run {
    const struct recipe *recipe;
    struct recipe_trace trace;
    struct scene **state; /* count + 1: those that exist and are still needed */
    size_t *uses;         /* count + 1: how many lines still work on the state; 0: not needed */
    size_t steps;         /* lines to be carried out */
};

static bool is_step(const struct run *run, size_t i)
{
    return run->recipe->line[i].word == RECIPE_STEP;
}

static bool is_carried_out(const struct run *run, size_t i)
{
    return is_step(run, i) && (!run->recipe->line[i].step.op->changes || run->uses[i + 1]);
}

/* Counts from the end who needs which state: the last one is the result, a line that changes
 * nothing (save) needs its input, one that changes needs it if its own state is needed. */
static void count_uses(struct run *run)
{
    run->uses[run->trace.last] = 1;
    for (size_t i = run->recipe->count; i-- > 0;)
        if (is_carried_out(run, i)) {
            run->uses[run->trace.input[i]]++;
            run->steps++;
        }
}

/* Takes `in` over, whatever comes. */
static enum status run_begin(struct run *run, const struct recipe *recipe, struct scene *in,
                             struct job *job)
{
    *run = (struct run){.recipe = recipe};
    run->state = calloc(recipe->count + 1, sizeof(struct scene *));
    run->uses = calloc(recipe->count + 1, sizeof *run->uses);
    if (!run->state || !run->uses) {
        scene_free(in);
        return job_fail_memory(job, recipe->count * 2 * sizeof *run->uses);
    }
    run->state[0] = in;
    enum status status = recipe_trace(recipe, &run->trace, job);
    if (status == STATUS_OK)
        count_uses(run);
    return status;
}

static void run_release(struct run *run)
{
    for (size_t i = 0; run->state && i <= run->recipe->count; i++)
        scene_free(run->state[i]);
    free(run->state);
    free(run->uses);
    recipe_trace_release(&run->trace);
}

static enum status run_line(struct run *run, size_t i, struct job *job)
{
    size_t input = run->trace.input[i];
    const struct recipe_line *line = &run->recipe->line[i];
    struct scene *made = NULL;
    enum status status = step_run(&line->step, run->state[input], &made, job);
    if (status != STATUS_OK)
        return recipe_locate(run->recipe, line->number, status, job);
    if (line->step.op->changes)
        run->state[i + 1] = made;
    else
        scene_free(made);
    if (--run->uses[input] == 0) {
        scene_free(run->state[input]);
        run->state[input] = NULL;
    }
    return STATUS_OK;
}

static void report_line(const struct recipe_line *line, recipe_report *report, void *context,
                        struct job *job)
{
    if (!report)
        return;
    report(line, job && job->notes ? job->notes : "", context);
    if (job)
        job_release(job); /* the notes were told */
}

static enum status run_lines(struct run *run, recipe_report *report, void *context, struct job *job)
{
    enum status status = STATUS_OK;
    for (size_t i = 0, step = 0; status == STATUS_OK && i < run->recipe->count; i++) {
        if (!is_carried_out(run, i))
            continue;
        struct job_part outer = job_part(job, step++, run->steps);
        status = run_line(run, i, job);
        job_part_end(job, outer);
        if (status == STATUS_OK)
            report_line(&run->recipe->line[i], report, context, job);
    }
    return status;
}

enum status recipe_run(const struct recipe *recipe, struct scene *in, struct scene **out,
                       recipe_report *report, void *context, struct job *job)
{
    struct run run;
    enum status status = run_begin(&run, recipe, in, job);
    if (status == STATUS_OK)
        status = run_lines(&run, report, context, job);
    if (status == STATUS_OK)
        *out = scene_share(run.state[run.trace.last]);
    run_release(&run);
    return status;
}
