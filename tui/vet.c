#include "tui/vet.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tui/app.h"

static bool was_written(const struct app *app, const char *path)
{
    for (size_t i = 0; i < app->written.count; i++)
        if (strcmp(app->written.path[i], path) == 0)
            return true;
    return false;
}

static void remember(struct app *app, const char *path)
{
    struct written *written = &app->written;
    char *copy = was_written(app, path) ? NULL : strdup(path);
    char **grown = copy ? realloc(written->path, (written->count + 1) * sizeof *grown) : NULL;
    if (!grown) { /* then it is asked once too often */
        free(copy);
        return;
    }
    written->path = grown;
    written->path[written->count++] = copy;
}

void vet_release(struct app *app)
{
    for (size_t i = 0; i < app->written.count; i++)
        free(app->written.path[i]);
    free(app->written.path);
    free(app->asked);
}

static void answer_over(struct app *app, int key)
{
    char *line = app->asked;
    app->asked = NULL;
    if (key == 'y' || key == 'Y')
        app_queue(app, line);
    else
        app_say(app, false, "not saved; :save under another name");
    free(line);
}

/* A file that is neither this session's own nor one it opened (op_save keeps those itself). */
static bool asks_over(struct app *app, const char *path, const char *line)
{
    if (access(path, F_OK) != 0 || was_written(app, path) || scene_is_original(app->scene, path))
        return false;
    free(app->asked);
    app->asked = strdup(line);
    if (app->asked)
        app_ask(app, answer_over, "\"%s\" is there already. Write over it? (y, any other key: no)",
                path);
    return true;
}

bool vet_line(struct app *app, const char *line)
{
    struct step step;
    struct job own;
    job_init(&own);
    bool parsed =
        step_parse(line, &step, &own) == STATUS_OK; /* else the session says what is wrong */
    job_release(&own);
    if (!parsed)
        return true;
    const struct value *file = step_file(&step);
    bool good = true;
    if (file && strcmp(file->text, "-") == 0) {
        app_say(app, true, "\"-\": the screen has the terminal; name a file");
        good = false;
    } else if (file && !step.op->changes) {
        good = !asks_over(app, file->text, line);
    }
    step_release(&step);
    return good;
}

void vet_done(struct app *app, const char *line)
{
    struct step step;
    if (step_parse(line, &step, NULL) != STATUS_OK)
        return;
    const struct value *file = step_file(&step);
    if (file && !step.op->changes)
        remember(app, file->text);
    step_release(&step);
}
