#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "op/op.h"
#include "op/words.h"
#include "scene/recipe.h"
#include "tui/cli.h"
#include "tui/text.h"
#include "tui/watch.h"

struct run {
    const struct command_call *call;
    struct recipe recipe;
    struct job job;
    FILE *log; /* where the notes go; NULL: nowhere */
    size_t part, parts;
};

/* --- the log -------------------------------------------------------------------------------- */

/* The step without its comment and the blanks around it. */
static void log_step(FILE *log, const char *text)
{
    text += strspn(text, " \t");
    bool quoted = false;
    size_t n = 0;
    for (; text[n] && (quoted || text[n] != '#'); n++)
        quoted = quoted != (text[n] == '"' && !(n && quoted && text[n - 1] == '\\'));
    while (n && strchr(" \t\r", text[n - 1]))
        n--;
    fprintf(log, "%.*s\n", (int)n, text);
}

static void log_notes(FILE *log, const char *notes)
{
    while (*notes) {
        size_t n = strcspn(notes, "\n");
        char line[1100];
        snprintf(line, sizeof line, "%.*s", (int)n, notes);
        text_tame(line, false);
        fprintf(log, "    %s\n", line);
        notes += n + (notes[n] == '\n');
    }
    fflush(log);
}

static void log_done(struct run *run, const char *text, const char *notes)
{
    if (!run->log)
        return;
    watch_hush(run->call->watch);
    log_step(run->log, text);
    log_notes(run->log, notes);
    watch_go_on(run->call->watch);
}

static void report(const struct recipe_line *line, const char *notes, void *context)
{
    log_done(context, line->text, notes);
}

/* --- the steps before and behind the recipe ----------------------------------------------------
 */

/* `open FILE` or `save FILE` with the options that belong to it; the caller frees. */
static char *file_step(const char *word, const char *file, const char *more)
{
    char *text = malloc(2 * strlen(file) + strlen(word) + strlen(more) + 8);
    if (text)
        strcpy(word_write(stpcpy(stpcpy(text, word), " "), file), more);
    return text;
}

/* Carries one line out; *scene becomes the next. */
static enum status do_line(struct run *run, const char *text, struct scene **scene)
{
    struct step step;
    struct scene *next;
    enum status status = text ? step_parse(text, &step, &run->job) : job_fail_memory(&run->job, 0);
    if (status != STATUS_OK)
        return status;
    struct job_part outer = job_part(&run->job, run->part++, run->parts);
    status = step_run(&step, *scene, &next, &run->job);
    job_part_end(&run->job, outer);
    step_release(&step);
    if (status != STATUS_OK)
        return status;
    scene_free(*scene);
    *scene = next;
    log_done(run, text, run->job.notes ? run->job.notes : "");
    job_release(&run->job);
    return STATUS_OK;
}

static enum status open_files(struct run *run, struct scene **scene)
{
    enum unit unit = run->call->options->unit;
    char more[16] = "";
    if (unit != UNIT_NONE)
        snprintf(more, sizeof more, " unit=%s", unit_name(unit));
    enum status status = STATUS_OK;
    for (int i = 1; status == STATUS_OK && i < run->call->count; i++) {
        char *text = file_step("open", run->call->word[i], more);
        status = do_line(run, text, scene);
        free(text);
    }
    return status;
}

static enum status save_output(struct run *run, struct scene **scene)
{
    const struct cli_options *options = run->call->options;
    if (!options->output)
        return STATUS_OK;
    char *text = file_step("save", options->output, options->over ? " over=yes" : "");
    enum status status = do_line(run, text, scene);
    free(text);
    return status;
}

static enum status do_recipe(struct run *run, struct scene **scene)
{
    struct scene *made = NULL;
    struct job_part outer = job_part(&run->job, run->part++, run->parts);
    enum status status = recipe_run(&run->recipe, *scene, &made, report, run, &run->job);
    job_part_end(&run->job, outer);
    *scene = made;
    return status;
}

static enum status do_all(struct run *run)
{
    struct scene *scene = scene_new();
    run->parts = (size_t)run->call->count + (run->call->options->output != NULL);
    enum status status = scene ? open_files(run, &scene) : job_fail_memory(&run->job, 0);
    if (status == STATUS_OK)
        status = do_recipe(run, &scene);
    if (status == STATUS_OK)
        status = save_output(run, &scene);
    scene_free(scene);
    return status;
}

/* --- the command ---------------------------------------------------------------------------- */

/* Whether a mesh goes to standard output, where notes would spoil it. */
static bool writes_output(const struct run *run)
{
    const char *output = run->call->options->output;
    if (output && strcmp(output, "-") == 0)
        return true;
    for (size_t i = 0; i < run->recipe.count; i++) {
        const struct step *step = &run->recipe.line[i].step;
        for (size_t j = 0; step->op && !step->op->changes && step->op->params[j].name; j++)
            if (step->op->params[j].kind == PARAM_PATH && strcmp(step->value[j].text, "-") == 0)
                return true;
    }
    return false;
}

static int input_twice(const struct command_call *call)
{
    int inputs = 0;
    for (int i = 0; i < call->count; i++)
        inputs += strcmp(call->word[i], "-") == 0;
    if (inputs < 2)
        return 0;
    return cli_complain(STATUS_USAGE, "\"-\": standard input can be read only once");
}

static int run_command(struct command_call *call)
{
    int twice = input_twice(call);
    if (twice)
        return twice;
    struct run run = {.call = call};
    options_job(call->options, &run.job);
    watch_job(call->watch, &run.job, call->word[0]);
    enum status status = recipe_read(call->word[0], &run.recipe, &run.job);
    if (status == STATUS_OK) {
        run.log = call->options->quiet ? NULL : writes_output(&run) ? stderr : stdout;
        status = do_all(&run);
    }
    watch_job(call->watch, NULL, NULL);
    int result = status == STATUS_OK ? 0 : cli_complain_job(&run.job, status);
    recipe_release(&run.recipe);
    job_release(&run.job);
    return result;
}

static const enum cli_option options[] = {OPTION_OUTPUT, OPTION_OVER, OPTION_UNIT, OPTION_NONE};

const struct command command_run = {
    .name = "run",
    .usage = "run RECIPE [FILE...] [-o OUT]",
    .help = "carry out a recipe without a screen",
    .manual = "Opens the FILEs as pieces, carries out the RECIPE, and saves to OUT when that is "
              "given. A recipe is text, one step a line: OPERATION key=value ...; # starts a "
              "comment; `undo` and `redo` count too, so that the journal of a session is a recipe. "
              "All lines are read before the first is carried out; the first step that fails ends "
              "it, and nothing is half saved. Names of files are taken from the present folder. "
              "What each step reports goes to standard output.",
    .options = options,
    .least = 1,
    .most = -1,
    .run = run_command,
};
