#include "scene/recovery.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"
#include "op/keep.h"
#include "scene/journal.h"

static void release(struct recovery *recovery)
{
    if (recovery->fd >= 0)
        close(recovery->fd);
    recipe_release(&recovery->recipe);
    free(recovery->path);
    free(recovery->line);
    free(recovery->input);
    free(recovery->trouble);
    *recovery = (struct recovery){.fd = -1};
}

/* --- finding -------------------------------------------------------------------------------- */

static size_t trace_back(const struct recipe_trace *trace, size_t *line)
{
    size_t n = 0;
    for (size_t state = trace->last; state; state = trace->input[state - 1]) {
        if (line)
            line[n] = state - 1;
        n++;
    }
    for (size_t i = 0; line && i < n / 2; i++) {
        size_t swap = line[i];
        line[i] = line[n - 1 - i];
        line[n - 1 - i] = swap;
    }
    return n;
}

/* The history that was left: the steps in effect, then those that could be redone. */
static enum status take_history(struct recovery *recovery, struct job *job)
{
    struct recipe_trace trace;
    enum status status = recipe_trace(&recovery->recipe, &trace, job);
    if (status != STATUS_OK)
        return status;
    recovery->line = calloc(recovery->recipe.count + 1, sizeof *recovery->line);
    if (recovery->line) {
        recovery->count = recovery->present = trace_back(&trace, recovery->line);
        for (size_t state = trace.next[trace.last]; state; state = trace.next[state])
            recovery->line[recovery->count++] = state - 1;
        recovery->input = trace.input;
        trace.input = NULL;
    } else {
        status = job_fail_memory(job, recovery->recipe.count * sizeof *recovery->line);
    }
    recipe_trace_release(&trace);
    return status;
}

static enum status read_whole(struct recovery *recovery, char **text, struct job *job)
{
    struct stat info;
    if (fstat(recovery->fd, &info) != 0)
        return job_fail(job, STATUS_FILE, "\"%s\": %s", recovery->path, strerror(errno));
    size_t size = (size_t)info.st_size;
    recovery->changed = info.st_mtime;
    *text = malloc(size + 1);
    if (!*text)
        return job_fail_memory(job, size);
    ssize_t n = pread(recovery->fd, *text, size, 0);
    recovery->length = n > 0 ? (size_t)n : 0;
    while (recovery->length && (*text)[recovery->length - 1] != '\n')
        recovery->length--; /* a line that was cut off in the middle was not done */
    return STATUS_OK;
}

static bool finished(const char *text, size_t size)
{
    static const char mark[] = "\n" JOURNAL_FINISHED "\n";
    size_t n = sizeof mark - 1;
    return size >= n && memcmp(text + size - n, mark, n) == 0;
}

/* What is wrong with its lines is kept as its trouble; only no memory and no file are failures. */
static enum status read_lines(struct recovery *recovery, const char *text, struct job *job)
{
    struct job own;
    job_init(&own);
    enum status status =
        recipe_parse(text, recovery->length, recovery->path, &recovery->recipe, &own);
    if (status == STATUS_OK)
        status = take_history(recovery, &own);
    if (status == STATUS_USAGE) {
        recovery->trouble = strdup(own.message);
        status = recovery->trouble ? STATUS_OK : STATUS_MEMORY;
    }
    job_release(&own);
    return status == STATUS_MEMORY ? job_fail_memory(job, recovery->length) : status;
}

/* Whether there is something to take up; else the file is let go. */
static enum status look_at(struct recovery *recovery, bool *offer, struct job *job)
{
    char *text = NULL;
    *offer = false;
    recovery->fd = open(recovery->path, O_RDWR | O_CLOEXEC);
    if (recovery->fd < 0 || flock(recovery->fd, LOCK_EX | LOCK_NB) != 0)
        return STATUS_OK; /* not ours to write, or alive */
    enum status status = read_whole(recovery, &text, job);
    if (status == STATUS_OK && !finished(text, recovery->length)) {
        status = read_lines(recovery, text, job);
        *offer = status == STATUS_OK && (recovery->present > 0 || recovery->trouble);
    }
    free(text);
    return status;
}

static enum status look_at_named(const char *folder, const char *name, struct recovery *list,
                                 size_t *count, struct job *job)
{
    struct recovery recovery = {.fd = -1};
    bool offer = false;
    if (asprintf(&recovery.path, "%s/%s", folder, name) < 0)
        return job_fail_memory(job, strlen(folder) + strlen(name));
    enum status status = look_at(&recovery, &offer, job);
    if (status == STATUS_OK && offer)
        list[(*count)++] = recovery;
    else
        release(&recovery);
    return status;
}

static int latest_first(const void *x, const void *y)
{
    const struct recovery *a = x, *b = y;
    if (a->changed != b->changed)
        return a->changed > b->changed ? -1 : 1;
    return strcmp(b->path, a->path);
}

enum status recovery_list(const char *folder, struct recovery **out, size_t *count, struct job *job)
{
    struct dirent **entry = NULL;
    int n = scandir(folder, &entry, journal_named, alphasort);
    *out = NULL;
    *count = 0;
    if (n < 0)
        return errno == ENOMEM ? job_fail_memory(job, 0) : STATUS_OK;
    struct recovery *list = calloc((size_t)n + 1, sizeof *list);
    enum status status = list ? STATUS_OK : job_fail_memory(job, (size_t)n * sizeof *list);
    for (int i = 0; i < n; i++) {
        if (status == STATUS_OK)
            status = look_at_named(folder, entry[i]->d_name, list, count, job);
        free(entry[i]);
    }
    free(entry);
    if (status != STATUS_OK) {
        recovery_list_free(list, *count);
        *count = 0;
        return status;
    }
    if (*count)
        qsort(list, *count, sizeof *list, latest_first);
    *out = list;
    return STATUS_OK;
}

void recovery_list_free(struct recovery *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        release(&list[i]);
    free(list);
}

/* --- taking up ------------------------------------------------------------------------------ */

static bool same_file(const char *path, const struct stat *was)
{
    struct stat now;
    return journal_stat(path, &now) && now.st_size == was->st_size &&
           now.st_mtim.tv_sec == was->st_mtim.tv_sec && now.st_mtim.tv_nsec == was->st_mtim.tv_nsec;
}

static bool recorded(const struct recipe_line *line, struct stat *was)
{
    const char *comment = strrchr(line->text, '#');
    long long size, seconds;
    long nanoseconds;
    if (!comment || sscanf(comment, JOURNAL_WAS, &size, &seconds, &nanoseconds) != 3)
        return false;
    *was = (struct stat){.st_size = (off_t)size};
    was->st_mtim = (struct timespec){.tv_sec = (time_t)seconds, .tv_nsec = nanoseconds};
    return true;
}

/* The step's line; where the file it read was written over since, with the kept original. */
static char *line_now(struct recipe_line *line, struct job *job)
{
    struct stat was;
    struct value *value = step_file(&line->step);
    if (!value || !recorded(line, &was) || same_file(value->text, &was))
        return step_text(&line->step);
    const char *path = value->text;
    char *kept = kept_name(path), *text;
    bool take_kept = kept && same_file(kept, &was);
    if (take_kept)
        value->text = kept;
    else
        job_note(job, "\"%s\": has changed since the step was done; the result may differ", path);
    text = kept ? step_text(&line->step) : NULL;
    value->text = path;
    free(kept);
    return text;
}

/* The saves that were made of the state which the line left: where the file is still as it was
 * written, the pieces in it count as saved. */
static void hold_saved(const struct recovery *recovery, size_t line, struct session *session)
{
    for (size_t i = line + 1; i < recovery->recipe.count; i++) {
        const struct recipe_line *save = &recovery->recipe.line[i];
        struct stat was;
        const struct value *file = save->word == RECIPE_STEP ? step_file(&save->step) : NULL;
        if (!file || !save->step.op->saves || recovery->input[i] != line + 1 ||
            !recorded(save, &was) || !same_file(file->text, &was))
            continue;
        const struct scene *scene = session_scene(session);
        const struct op_call call = {.op = save->step.op, .in = scene, .value = save->step.value};
        for (size_t p = op_chosen(&call, 0); p < scene->count; p = op_chosen(&call, p + 1))
            piece_hold(scene->piece[p]);
    }
}

static enum status replay(struct recovery *recovery, size_t steps, struct session *session,
                          size_t *carried, struct job *job)
{
    enum status status = STATUS_OK;
    for (*carried = 0; status == STATUS_OK && *carried < steps;) {
        struct recipe_line *line = &recovery->recipe.line[recovery->line[*carried]];
        char *text = line_now(line, job);
        struct job_part outer = job_part(job, *carried, steps);
        status = text ? session_do(session, text, job) : job_fail_memory(job, 0);
        job_part_end(job, outer);
        free(text);
        status = recipe_locate(&recovery->recipe, line->number, status, job);
        if (status == STATUS_OK)
            hold_saved(recovery, recovery->line[*carried], session);
        *carried += status == STATUS_OK;
    }
    for (size_t i = recovery->present; status == STATUS_OK && i < steps; i++)
        session_undo(session);
    return status;
}

/* The journal from here on: the same file. What is not carried out is undone in it. */
static enum status go_on(struct recovery *recovery, size_t steps, struct session *session,
                         struct job *job)
{
    struct journal *journal = journal_adopt(recovery->fd, recovery->path, recovery->length);
    if (!journal)
        return job_fail_memory(job, strlen(recovery->path));
    recovery->fd = -1;
    enum status status = STATUS_OK;
    size_t missing;
    for (size_t i = steps; status == STATUS_OK && i < recovery->present; i++)
        status = journal_append(journal, "undo", &missing, job);
    session_set_journal(session, journal);
    return status;
}

enum status recovery_resume(struct recovery *recovery, size_t most,
                            const struct session_options *options, struct session **out,
                            size_t *carried, struct job *job)
{
    size_t steps = most < recovery->count ? most : recovery->count;
    struct session_options quiet = options ? *options : (struct session_options){0};
    quiet.journal_folder = NULL;
    *carried = 0;
    if (recovery->trouble)
        return job_fail(job, STATUS_USAGE, "%s", recovery->trouble);
    struct session *session = session_new(&quiet, job);
    if (!session)
        return job_status(job);
    enum status status = replay(recovery, steps, session, carried, job);
    if (status == STATUS_OK)
        status = go_on(recovery, steps, session, job);
    if (status == STATUS_OK)
        *out = session;
    else
        session_free(session);
    return status;
}

enum status recovery_discard(struct recovery *recovery, struct job *job)
{
    struct journal *journal = journal_adopt(recovery->fd, recovery->path, recovery->length);
    if (!journal)
        return job_fail_memory(job, strlen(recovery->path));
    recovery->fd = -1;
    journal_close(journal, true);
    return STATUS_OK;
}
