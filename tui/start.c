#include "tui/start.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "scene/journal.h"
#include "scene/recovery.h"
#include "tui/app.h"
#include "tui/cli.h"

int start_threads(const struct cli_options *options)
{
    return options->threads;
}

static struct session_options session_options(const struct app *app)
{
    return (struct session_options){.journal_folder = app->journal_folder,
                                    .budget = (size_t)app->options->memory / 2};
}

int start_session(struct app *app, const struct cli_options *options)
{
    struct job job;
    job_init(&job);
    app->options = options;
    app->journal_folder = journal_folder();
    struct session_options how = session_options(app);
    app->session = session_new(&how, &job);
    enum status status = app->session ? STATUS_OK : job_status(&job);
    if (status != STATUS_OK)
        cli_complain_job(&job, status);
    job_release(&job);
    return status_exit(status);
}

void start_end(struct app *app)
{
    if (app->lost)
        session_leave(app->session);
    else
        session_free(app->session);
    recovery_list_free(app->left, app->left_count);
    view_release(&app->view);
    study_release(&app->study);
    pairs_tool_release(&app->pairs);
    prompt_release(&app->prompt);
    pager_close(&app->pager);
    scene_free(app->scene);
    for (size_t i = 0; i < app->queued; i++)
        free(app->queue[i]);
    free(app->queue);
    free(app->trail.step);
    free(app->told);
    vet_release(app);
    free(app->report);
    free(app->journal_folder);
    free(app);
}

/* --- the files ------------------------------------------------------------------------------ */

/* A file as a step's value: in quotes, those inside it and backslashes escaped. */
static void open_file(struct app *app, const char *path)
{
    char line[2 * 4096 + 64];
    size_t n = (size_t)snprintf(line, sizeof line, "open \"");
    for (; *path && n < sizeof line - 32; path++) {
        if (*path == '"' || *path == '\\')
            line[n++] = '\\';
        line[n++] = *path;
    }
    n += (size_t)snprintf(line + n, sizeof line - n, "\"");
    if (app->options->unit != UNIT_NONE)
        snprintf(line + n, sizeof line - n, " unit=%s", unit_name(app->options->unit));
    app_run(app, line);
}

static void open_files(struct app *app)
{
    for (int i = 0; i < app->files; i++)
        open_file(app, app->file[i]);
    app->files = 0;
}

/* --- what a lost session left --------------------------------------------------------------- */

struct resume_task {
    struct app *app;
    struct session *session;
    size_t carried; /* steps; SIZE_MAX: all */
    char why[768];  /* no more of them */
};

static enum status resume_run(void *context, struct job *job)
{
    struct resume_task *task = context;
    struct session_options how = session_options(task->app);
    size_t carried = 0;
    enum status status =
        recovery_resume(&task->app->left[0], SIZE_MAX, &how, &task->session, &carried, job);
    if (status == STATUS_OK || status == STATUS_CANCELLED || carried == 0)
        return status;
    /* what can be had of it is better than nothing */
    snprintf(task->why, sizeof task->why, "%s", job->message);
    job_forgive(job);
    status = recovery_resume(&task->app->left[0], carried, &how, &task->session, &carried, job);
    task->carried = carried;
    return status;
}

static void resume_done(void *context, enum status status, struct job *job)
{
    struct resume_task *task = context;
    struct app *app = task->app;
    if (status == STATUS_OK) {
        session_free(app->session);
        app->session = task->session;
        app_refresh(app);
        if (task->carried == SIZE_MAX)
            app_say(app, false, "going on where the session was lost; u undoes as before");
        else
            app_say(app, true, "only the first %zu steps could be carried out again: %s",
                    task->carried, task->why);
    } else {
        app_say(app, true, "%s", job->message);
    }
    free(app->told); /* what the steps said is old news, but can be read */
    app->told = job->notes ? strdup(job->notes) : NULL;
    free(task);
}

static void resume(struct app *app)
{
    struct resume_task *task = malloc(sizeof *task);
    if (!task)
        return;
    *task = (struct resume_task){.app = app, .carried = SIZE_MAX};
    lane_start(&app->work, (struct task){resume_run, resume_done, task});
}

static void answer_left(struct app *app, int key)
{
    if (key == 'y' || key == 'Y') {
        resume(app);
        return;
    }
    if (key == 'd' || key == 'D') {
        recovery_discard(&app->left[0], NULL);
        app_say(app, false, "dropped; its journal stays for a while: %s", app->left[0].path);
    } else {
        app_say(app, false, "left as it is; it is offered again at the next start");
    }
    recovery_list_free(app->left, app->left_count); /* lets go of the locks */
    app->left = NULL;
    app->left_count = 0;
    open_files(app);
}

/* The file that a session began with, without its folders; "" when it began with none. */
static const char *first_file(const struct recovery *left)
{
    for (size_t i = 0; i < left->count; i++) {
        const struct value *file = step_file(&left->recipe.line[left->line[i]].step);
        const char *slash = file ? strrchr(file->text, '/') : NULL;
        if (file)
            return slash ? slash + 1 : file->text;
    }
    return "";
}

static void ask_left(struct app *app, const struct recovery *left)
{
    char when[64];
    struct tm local;
    strftime(when, sizeof when, "%Y-%m-%d %H:%M", localtime_r(&left->changed, &local));
    app_ask(app, answer_left,
            "The work on \"%.200s\" was lost after %zu step%s (%s). Go on with it? (y: yes; d: "
            "drop it; any other key: later)",
            first_file(left), left->present, left->present == 1 ? "" : "s", when);
}

void start_files(struct app *app, int files, char **file)
{
    app->files = files;
    app->file = file;
    if (app->journal_folder)
        recovery_list(app->journal_folder, &app->left, &app->left_count, NULL);
    if (app->left_count == 0 || app->left[0].trouble) {
        open_files(app);
        return;
    }
    ask_left(app, &app->left[0]);
}
