#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check/check.h"
#include "check/report.h"
#include "tui/cli.h"
#include "tui/input.h"
#include "tui/text.h"
#include "tui/watch.h"

enum { FAULTY = 1 }; /* the exit status that scripts look for */

/* Prints the inspection; its exit status. */
static int print(const struct command_call *call, const struct inspection *inspection,
                 struct job *job)
{
    bool json = call->options->json;
    char *text = json ? inspection_json(inspection) : inspection_page(inspection);
    if (!text)
        return cli_complain_job(job, job_fail_memory(job, 1 << 16));
    if (!json)
        text_tame(text, true);
    watch_hush(call->watch);
    fputs(text, stdout);
    if (json)
        putchar('\n');
    if (!call->options->quiet)
        input_notes(json ? stderr : stdout, json ? "fettle: " : "note    ", job);
    fflush(stdout);
    watch_go_on(call->watch);
    free(text);
    return strcmp(inspection_verdict(inspection), "sound") == 0 ? 0 : FAULTY;
}

static int check_mesh(const struct command_call *call, const char *path, const struct file *file,
                      struct job *job)
{
    const struct check_input input = {.file = path,
                                      .format = file->format->name,
                                      .unit = unit_name(file->unit),
                                      .unit_source = input_unit_source(file),
                                      .colour = input_colour(file)};
    struct inspection inspection;
    enum status status = inspect(file->mesh, &input, &inspection, job);
    if (status != STATUS_OK) {
        watch_job(call->watch, NULL, NULL); /* clears its line */
        return cli_complain_job(job, status);
    }
    int result = print(call, &inspection, job);
    inspection_release(&inspection);
    return result;
}

/* The page has the name as it can be shown; JSON has ways to write it as it is. */
static int check_named(const struct command_call *call, const char *path, const struct file *file,
                       struct job *job)
{
    char *shown = strdup(path);
    if (!shown)
        return cli_complain_job(job, job_fail_memory(job, strlen(path)));
    if (!call->options->json)
        text_tame(shown, false);
    int result = check_mesh(call, shown, file, job);
    free(shown);
    return result;
}

static int check_file(const struct command_call *call, const char *path)
{
    struct job job;
    struct file file;
    options_job(call->options, &job);
    watch_job(call->watch, &job, path);
    struct job_part outer = job_part(&job, 0, 2);
    enum status status = input_read(call, path, &file, &job);
    int result = status_exit(status);
    if (status == STATUS_OK) {
        job_part_end(&job, outer);
        outer = job_part(&job, 1, 2);
        result = check_named(call, path, &file, &job);
        file_release(&file);
    }
    job_part_end(&job, outer);
    watch_job(call->watch, NULL, NULL);
    job_release(&job);
    return result;
}

static int check_command(struct command_call *call)
{
    int worst = 0;
    for (int i = 0; i < call->count && !watch_cancelled(call->watch); i++) {
        if (i > 0 && !call->options->json)
            putchar('\n');
        int result = check_file(call, call->word[i]);
        worst = result > worst ? result : worst;
    }
    return watch_cancelled(call->watch) ? status_exit(STATUS_CANCELLED) : worst;
}

static const enum cli_option options[] = {OPTION_JSON, OPTION_UNIT, OPTION_NONE};

const struct command command_check = {
    .name = "check",
    .usage = "check [--json] FILE...",
    .help = "inspect: what a file holds, and what is wrong",
    .manual = "Prints a page a file: its figures, and what keeps it from being printed with the "
              "operation that mends it; with --json one object a line. A file that cannot be read "
              "does not keep the others from being inspected. The exit status is the worst of all: "
              "0 all are sound, 1 there are faults.",
    .options = options,
    .least = 1,
    .most = -1,
    .run = check_command,
};
