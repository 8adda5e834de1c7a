#include "scene/journal.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "core/job.h"
#include "op/keep.h"

struct journal {
    char *folder; /* NULL when adopted */
    char *path;   /* NULL until the file is made */
    int fd;
    size_t length; /* bytes that are whole on the disk */
    char *pending; /* what is still to be written */
    size_t pending_length, pending_lines;
};

char *journal_folder(void)
{
    const char *state = getenv("XDG_STATE_HOME"), *home = getenv("HOME");
    char *folder = NULL;
    int n = -1;
    if (state && state[0] == '/') /* the base directory standard: relative ones are ignored */
        n = asprintf(&folder, "%s/fettle", state);
    else if (home && *home)
        n = asprintf(&folder, "%s/.local/state/fettle", home);
    return n < 0 ? NULL : folder;
}

bool journal_stat(const char *path, struct stat *out)
{
    char *file = path_file(path);
    bool ok = file && stat(file, out) == 0 && S_ISREG(out->st_mode);
    free(file);
    return ok;
}

struct journal *journal_new(const char *folder)
{
    struct journal *journal = calloc(1, sizeof *journal);
    char *copy = strdup(folder);
    if (!journal || !copy) {
        free(journal);
        free(copy);
        return NULL;
    }
    *journal = (struct journal){.folder = copy, .fd = -1};
    return journal;
}

struct journal *journal_adopt(int fd, const char *path, size_t length)
{
    struct journal *journal = calloc(1, sizeof *journal);
    char *copy = strdup(path);
    if (!journal || !copy) {
        free(journal);
        free(copy);
        return NULL;
    }
    *journal = (struct journal){.path = copy, .fd = fd, .length = length};
    (void)!ftruncate(fd, (off_t)length); /* the rest of a line that was cut off */
    return journal;
}

/* --- making the file ------------------------------------------------------------------------ */

/* mkdir -p, for the user alone. */
static bool make_folder(const char *folder)
{
    char *path = strdup(folder);
    bool ok = path;
    for (char *slash = path ? strchr(path + 1, '/') : NULL; ok && slash;
         slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        ok = mkdir(path, 0700) == 0 || errno == EEXIST || errno == EROFS;
        *slash = '/';
    }
    ok = ok && (mkdir(path, 0700) == 0 || errno == EEXIST);
    free(path);
    return ok;
}

static void sync_folder(const char *folder)
{
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return;
    (void)fsync(fd);
    close(fd);
}

static char *new_name(const char *folder, const struct tm *now, int attempt)
{
    char *path = NULL;
    int n = asprintf(&path, "%s/session-%04d%02d%02d-%02d%02d%02d-%ld-%d" JOURNAL_ENDING, folder,
                     now->tm_year + 1900, now->tm_mon + 1, now->tm_mday, now->tm_hour, now->tm_min,
                     now->tm_sec, (long)getpid(), attempt);
    return n < 0 ? NULL : path;
}

static bool make_file(struct journal *journal)
{
    time_t seconds = time(NULL);
    struct tm now;
    gmtime_r(&seconds, &now);
    if (!make_folder(journal->folder))
        return false;
    for (int attempt = 1; journal->fd < 0 && attempt < 100; attempt++) {
        free(journal->path);
        journal->path = new_name(journal->folder, &now, attempt);
        if (!journal->path)
            return false;
        journal->fd = open(journal->path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (journal->fd < 0 && errno != EEXIST)
            return false;
    }
    /* Waits only for somebody who looks whether it is locked. */
    if (journal->fd < 0 || flock(journal->fd, LOCK_EX) != 0)
        return false;
    sync_folder(journal->folder);
    return true;
}

/* --- writing -------------------------------------------------------------------------------- */

static bool add_pending(struct journal *journal, const char *line)
{
    size_t n = strlen(line), room = journal->pending_length + n + 2;
    char *grown = realloc(journal->pending, room);
    if (!grown)
        return false;
    memcpy(grown + journal->pending_length, line, n);
    memcpy(grown + journal->pending_length + n, "\n", 2);
    journal->pending = grown;
    journal->pending_length += n + 1;
    journal->pending_lines++;
    return true;
}

static bool write_at(int fd, const char *data, size_t size, size_t at)
{
    while (size) {
        ssize_t n = pwrite(fd, data, size, (off_t)at);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return false;
        data += n;
        at += (size_t)n;
        size -= (size_t)n;
    }
    return true;
}

/* All that is pending at once or nothing of it. */
static bool write_pending(struct journal *journal)
{
    bool ok = write_at(journal->fd, journal->pending, journal->pending_length, journal->length) &&
              fsync(journal->fd) == 0;
    if (!ok) {
        int error = errno;
        (void)!ftruncate(journal->fd, (off_t)journal->length);
        errno = error;
        return false;
    }
    journal->length += journal->pending_length;
    journal->pending_length = journal->pending_lines = 0;
    return true;
}

enum status journal_append(struct journal *journal, const char *line, size_t *missing,
                           struct job *job)
{
    static const char head[] = "# fettle journal: a recipe of what was done";
    bool first = journal->length == 0 && journal->pending_length == 0;
    errno = ENOMEM;
    bool ok = (!first || add_pending(journal, head)) && add_pending(journal, line) &&
              (journal->fd >= 0 || make_file(journal)) && write_pending(journal);
    *missing = journal->pending_lines;
    if (ok)
        return STATUS_OK;
    return job_fail(job, STATUS_FILE, "\"%s\": the journal cannot be written: %s",
                    journal->path ? journal->path : journal->folder, strerror(errno));
}

/* --- closing -------------------------------------------------------------------------------- */

static bool ends_finished(const char *folder, const char *name)
{
    char *path = NULL, tail[sizeof JOURNAL_FINISHED] = "";
    if (asprintf(&path, "%s/%s", folder, name) < 0)
        return false;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    free(path);
    if (fd < 0)
        return false;
    off_t end = lseek(fd, 0, SEEK_END), size = (off_t)sizeof tail; /* the NUL's place: '\n' */
    bool read_it = end >= size && pread(fd, tail, (size_t)size, end - size) == (ssize_t)size;
    close(fd);
    return read_it && memcmp(tail, JOURNAL_FINISHED "\n", sizeof tail) == 0;
}

int journal_named(const struct dirent *entry)
{
    size_t n = strlen(entry->d_name), ending = sizeof JOURNAL_ENDING - 1;
    return n > ending && strcmp(entry->d_name + n - ending, JOURNAL_ENDING) == 0;
}

/* Removes all but the latest finished journals; their names sort by time. */
static void prune(const char *folder)
{
    enum { KEPT = 50 };
    struct dirent **entry;
    int n = scandir(folder, &entry, journal_named, alphasort), finished = 0;
    for (int i = n - 1; i >= 0; i--) {
        char *path = NULL;
        if (ends_finished(folder, entry[i]->d_name) && ++finished > KEPT &&
            asprintf(&path, "%s/%s", folder, entry[i]->d_name) >= 0) {
            unlink(path);
            free(path);
        }
        free(entry[i]);
    }
    if (n >= 0)
        free(entry);
}

void journal_close(struct journal *journal, bool finished)
{
    if (!journal)
        return;
    if (journal->fd >= 0 && finished) {
        size_t missing;
        (void)journal_append(journal, JOURNAL_FINISHED, &missing, NULL);
    }
    if (journal->fd >= 0)
        close(journal->fd);
    if (finished && journal->folder && journal->path)
        prune(journal->folder);
    free(journal->folder);
    free(journal->path);
    free(journal->pending);
    free(journal);
}
