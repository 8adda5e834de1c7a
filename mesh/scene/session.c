#include "scene/session.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/history.h"
#include "scene/journal.h"
#include "scene/recipe.h"

struct session {
    struct history history; /* written by the working thread alone, under the lock */
    pthread_mutex_t lock;
    struct journal *journal; /* NULL: none is kept */
    char *spill_folder;
    size_t budget;
};

/* --- beginning and end ---------------------------------------------------------------------- */

static const char *standard_spill_folder(void)
{
    const char *folder = getenv("TMPDIR");
    if (folder && *folder)
        return folder;
    return access("/var/tmp", W_OK) == 0 ? "/var/tmp" : "/tmp"; /* /tmp may itself be memory */
}

static size_t standard_budget(void)
{
    long pages = sysconf(_SC_PHYS_PAGES), size = sysconf(_SC_PAGESIZE);
    return pages > 0 && size > 0 ? (size_t)pages / 4 * (size_t)size : (size_t)256 << 20;
}

static bool set_up(struct session *session, const struct session_options *options)
{
    const char *spill = options && options->spill_folder ? options->spill_folder : NULL;
    session->spill_folder = strdup(spill ? spill : standard_spill_folder());
    session->budget = options && options->budget ? options->budget : standard_budget();
    bool ok = session->spill_folder && history_init(&session->history);
    if (ok && options && options->journal_folder) {
        session->journal = journal_new(options->journal_folder);
        ok = session->journal;
    }
    return ok;
}

struct session *session_new(const struct session_options *options, struct job *job)
{
    struct session *session = calloc(1, sizeof *session);
    if (!session) {
        job_fail_memory(job, sizeof *session);
        return NULL;
    }
    pthread_mutex_init(&session->lock, NULL);
    if (set_up(session, options))
        return session;
    session_free(session);
    job_fail_memory(job, sizeof *session);
    return NULL;
}

static void end(struct session *session, bool finished)
{
    journal_close(session->journal, finished);
    history_release(&session->history);
    free(session->spill_folder);
    pthread_mutex_destroy(&session->lock);
    free(session);
}

void session_free(struct session *session)
{
    if (session)
        end(session, true);
}

void session_leave(struct session *session)
{
    if (session)
        end(session, !session_unsaved(session));
}

void session_set_journal(struct session *session, struct journal *journal)
{
    journal_close(session->journal, true);
    session->journal = journal;
}

/* --- looking -------------------------------------------------------------------------------- */

static void lock(const struct session *session)
{
    pthread_mutex_lock((pthread_mutex_t *)(uintptr_t)&session->lock); /* not part of the value */
}

static void unlock(const struct session *session)
{
    pthread_mutex_unlock((pthread_mutex_t *)(uintptr_t)&session->lock);
}

static struct scene *present_scene(const struct session *session)
{
    const struct history *history = &session->history;
    return history->present ? history->entry[history->present - 1]->scene : history->base;
}

const struct scene *session_scene(const struct session *session)
{
    return present_scene(session);
}

struct scene *session_hold(const struct session *session)
{
    lock(session);
    struct scene *scene = scene_share(present_scene(session));
    unlock(session);
    return scene;
}

size_t session_steps(const struct session *session, size_t *present)
{
    lock(session);
    size_t count = session->history.count;
    if (present)
        *present = session->history.present;
    unlock(session);
    return count;
}

struct session_step session_step(const struct session *session, size_t i)
{
    lock(session);
    const struct entry *entry = i < session->history.count ? session->history.entry[i] : NULL;
    unlock(session); /* entries and their texts stay until the history ends */
    return entry ? (struct session_step){entry->text, entry->label, entry->notes}
                 : (struct session_step){"", "", ""};
}

bool session_unsaved(const struct session *session)
{
    struct scene *scene = session_hold(session);
    bool unsaved = false;
    for (size_t i = 0; i < scene->count; i++)
        unsaved = unsaved || !atomic_load(&scene->piece[i]->held);
    scene_free(scene);
    return unsaved;
}

size_t session_undo_bytes(const struct session *session)
{
    lock(session);
    size_t bytes = history_bytes((struct history *)(uintptr_t)&session->history);
    unlock(session);
    return bytes;
}

/* --- what the journal gets ------------------------------------------------------------------ */

static size_t param_count(const struct op *op)
{
    size_t n = 0;
    while (op->params && op->params[n].name)
        n++;
    return n;
}

/* The step says which piece it works on, wherever that hangs on what is selected. */
static void name_piece(struct step *step, const struct scene *scene)
{
    for (size_t i = 0; i < param_count(step->op); i++)
        if (strcmp(step->op->params[i].name, "piece") == 0 && !step->value[i].typed &&
            (scene->count > 1 || scene->selected))
            step->value[i] = (struct value){
                .given = true, .typed = true, .number = (double)scene->selected, .text = ""};
}

static char *absolute(const char *path)
{
    char *here = getcwd(NULL, 0), *whole = NULL;
    if (!here || asprintf(&whole, "%s/%s", here, path) < 0)
        whole = NULL;
    free(here);
    return whole;
}

static bool is_relative(const struct param *param, const struct value *value)
{
    return param->kind == PARAM_PATH && value->given && value->text[0] != '/' &&
           strcmp(value->text, "-") != 0;
}

/* The step's line with its paths absolute, whatever folder it is read from again. */
static char *absolute_text(const struct step *step)
{
    size_t n = param_count(step->op);
    struct value *value = calloc(n + 1, sizeof *value);
    char **path = calloc(n + 1, sizeof *path), *text = NULL;
    bool ok = value && path;
    for (size_t i = 0; ok && i < n; i++) {
        value[i] = step->value[i];
        if (!is_relative(&step->op->params[i], &value[i]))
            continue;
        value[i].text = path[i] = absolute(value[i].text);
        ok = path[i];
    }
    if (ok)
        text = step_text(&(struct step){.op = step->op, .value = value});
    for (size_t i = 0; path && i < n; i++)
        free(path[i]);
    free(path);
    free(value);
    return text;
}

/* The line, and what the file is that the step reads, or has written (`done`): recovery asks
 * whether it is still that file. */
static char *journal_line(const struct step *step, bool done)
{
    struct stat was;
    char *text = absolute_text(step), *line = NULL;
    const struct value *file = step_file(step);
    if (!text || !file || step->op->changes == done || !journal_stat(file->text, &was))
        return text;
    if (asprintf(&line, "%s " JOURNAL_WAS, text, (long long)was.st_size,
                 (long long)was.st_mtim.tv_sec, (long)was.st_mtim.tv_nsec) < 0)
        line = NULL;
    free(text);
    return line;
}

/* A journal that cannot be written does not stop the work, but it is said. */
static void write_journal(struct session *session, const char *line, struct job *job)
{
    size_t missing = 0;
    struct job own;
    if (!session->journal)
        return;
    job_init(&own);
    if (journal_append(session->journal, line, &missing, &own) != STATUS_OK)
        job_note(job, "%s; the last %zu line%s would be lost with the connection", own.message,
                 missing, missing == 1 ? "" : "s");
    job_release(&own);
}

/* --- doing ---------------------------------------------------------------------------------- */

/* Makes what was done the present state, and sees that undo stays within its budget. */
static void publish(struct session *session, struct entry *entry, struct scene *scene,
                    struct job *job)
{
    lock(session);
    history_push(&session->history, entry, scene);
    unlock(session);
    struct job own;
    job_init(&own);
    if (history_spill(&session->history, session->budget, session->spill_folder, &own) != STATUS_OK)
        job_note(job, "%s; undo takes more memory than it should", own.message);
    job_release(&own);
}

/* Runs the step; all that can fail comes before anything is changed. */
static enum status carry_out(struct session *session, const struct step *step, const char *text,
                             const char *line, struct job *job)
{
    size_t noted = job ? job->notes_length : 0;
    struct scene *made = NULL;
    enum status status = step_run(step, present_scene(session), &made, job);
    if (status != STATUS_OK)
        return status;
    struct entry *entry = NULL;
    if (step->op->changes) {
        const char *notes = job && job->notes_length > noted ? job->notes + noted : "";
        lock(session); /* others may be reading the list, which may move */
        entry = history_entry(&session->history, text, step->op->undo, notes);
        unlock(session);
        if (!entry) {
            scene_free(made);
            return job_fail_memory(job, strlen(text) + strlen(notes));
        }
    }
    char *saved = step->op->changes ? NULL : journal_line(step, true);
    write_journal(session, saved ? saved : line, job);
    free(saved);
    if (entry)
        publish(session, entry, made, job);
    else
        scene_free(made);
    return STATUS_OK;
}

static enum status do_step(struct session *session, struct step *step, struct job *job)
{
    name_piece(step, present_scene(session));
    char *text = step_text(step), *line = journal_line(step, false);
    enum status status = text && line ? carry_out(session, step, text, line, job)
                                      : job_fail_memory(job, text ? strlen(text) : 0);
    free(text);
    free(line);
    return status;
}

static enum status do_special(struct session *session, enum recipe_word word, struct job *job)
{
    bool ok = word == RECIPE_UNDO ? session_undo(session) : session_redo(session);
    if (ok)
        return STATUS_OK;
    return job_fail(job, STATUS_REFUSED, "there is no step to %s",
                    word == RECIPE_UNDO ? "undo" : "redo");
}

enum status session_do(struct session *session, const char *line, struct job *job)
{
    enum recipe_word word;
    if (recipe_special(line, &word))
        return do_special(session, word, job);
    struct step step;
    enum status status = step_parse(line, &step, job);
    if (status != STATUS_OK)
        return status;
    if (step.op)
        status = do_step(session, &step, job);
    step_release(&step);
    return status;
}

/* --- back and forth ------------------------------------------------------------------------- */

/* The state with another piece selected, in its place. */
static bool select_piece(struct session *session, size_t piece)
{
    struct scene **slot = history_scene(&session->history, session->history.present);
    struct scene *scene = scene_new_like(*slot);
    if (!scene)
        return false;
    scene->selected = piece;
    lock(session);
    scene_free(*slot);
    *slot = scene;
    unlock(session);
    return true;
}

bool session_select(struct session *session, size_t piece)
{
    return piece <= present_scene(session)->count && select_piece(session, piece);
}

static void go(struct session *session, size_t state, const char *word)
{
    write_journal(session, word, NULL);
    size_t selected = present_scene(session)->selected, count = present_scene(session)->count;
    lock(session);
    history_go(&session->history, state);
    unlock(session);
    /* Where the pieces are the same, the choice stays where the user put it. */
    if (present_scene(session)->count == count && present_scene(session)->selected != selected)
        (void)select_piece(session, selected);
}

bool session_undo(struct session *session)
{
    size_t present = session->history.present;
    if (present == 0)
        return false;
    go(session, present - 1, "undo");
    return true;
}

bool session_redo(struct session *session)
{
    size_t present = session->history.present;
    if (present == session->history.count)
        return false;
    go(session, present + 1, "redo");
    return true;
}
