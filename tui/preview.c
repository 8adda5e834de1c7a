#include "tui/preview.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/app.h"

void preview_set(struct app *app, const char *line)
{
    struct preview *preview = &app->preview;
    if (preview->line && line && strcmp(preview->line, line) == 0)
        return;
    if (!preview->line && !line)
        return;
    free(preview->line);
    preview->line = line ? strdup(line) : NULL;
    preview->told = false;
    view_touch(app);
}

void preview_update(struct app *app)
{
    char text[PROMPT_MOST + 4096];
    const char *line = app->prompt.line + strspn(app->prompt.line, " ");
    const struct op *op = op_named(line, strcspn(line, " "));
    bool drawn =
        app->prompt.on && op && op->sketch && app_expand(app, line, text, sizeof text, true);
    preview_set(app, drawn ? text : NULL);
}

/* The lines of the notes as one: "one; another". */
static void join(const char *notes, char *said, size_t size)
{
    size_t n = 0;
    for (const char *p = notes ? notes : ""; *p && n + 3 < size; p++)
        if (*p != '\n')
            said[n++] = *p;
        else if (p[1]) {
            said[n++] = ';';
            said[n++] = ' ';
        }
    said[n] = '\0';
}

bool preview_sketch(const char *line, const struct scene *scene, struct sketch *sketch, char *said,
                    size_t size, struct job *job)
{
    struct step step;
    said[0] = '\0';
    if (step_parse(line, &step, job) != STATUS_OK) { /* it is still being typed */
        job_forgive(job);
        return true;
    }
    enum status status = step_sketch(&step, scene, sketch, job);
    step_release(&step);
    if (status == STATUS_OK) {
        join(job->notes, said, size);
        return true;
    }
    if (status != STATUS_CANCELLED)
        snprintf(said, size, "%s", job->message);
    job_forgive(job);
    return false;
}
