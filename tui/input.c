#include "tui/input.h"

#include <string.h>
#include <unistd.h>

#include "tui/text.h"
#include "tui/watch.h"

enum status input_read(const struct command_call *call, const char *path, struct file *out,
                       struct job *job)
{
    enum status status;
    if (strcmp(path, "-") == 0 && isatty(STDIN_FILENO)) /* it would wait for ever */
        status = job_fail(job, STATUS_USAGE,
                          "\"-\": standard input is the terminal; "
                          "send a file into it: ... | fettle check -");
    else
        status = file_read(path, call->options->unit, out, job);
    if (status != STATUS_OK) {
        watch_hush(call->watch);
        cli_complain_job(job, status);
        watch_go_on(call->watch);
    }
    return status;
}

const char *input_unit_source(const struct file *file)
{
    static const char *const names[] = {"given", "file", "assumed"};
    return names[file->unit_source];
}

const char *input_colour(const struct file *file)
{
    static const char *const names[] = {"none", "vertex", "face", "texture"};
    return names[file->colour];
}

void input_notes(FILE *out, const char *before, struct job *job)
{
    if (job->notes)
        text_tame(job->notes, true);
    for (const char *notes = job->notes; notes && *notes;) {
        size_t n = strcspn(notes, "\n");
        fprintf(out, "%s%.*s\n", before, (int)n, notes);
        notes += n + (notes[n] == '\n');
    }
    job_release(job);
}
