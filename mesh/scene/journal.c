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

/* No ending but what says when: a piece opened from it is called "input". */
#define INPUT_BEGINNING "input."

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

/* Makes a file of a name that says when, new and locked. */
static int new_file(const char *folder, const char *before, const char *ending, char **path)
{
    time_t seconds = time(NULL);
    struct tm now;
    char stamp[32];
    int fd = -1;
    strftime(stamp, sizeof stamp, "%Y%m%d-%H%M%S", gmtime_r(&seconds, &now));
    for (int attempt = 1; fd < 0 && attempt < 100; attempt++) {
        free(*path);
        if (asprintf(path, "%s/%s%s-%ld-%d%s", folder, before, stamp, (long)getpid(), attempt,
                     ending) < 0) {
            *path = NULL;
            return -1;
        }
        fd = open(*path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (fd < 0 && errno != EEXIST)
            return -1;
    }
    /* Waits only for somebody who looks whether it is locked. */
    if (fd >= 0 && flock(fd, LOCK_EX) != 0) {
        close(fd);
        fd = -1;
    }
    return fd;
}

static bool make_file(struct journal *journal)
{
    if (!make_folder(journal->folder))
        return false;
    journal->fd = new_file(journal->folder, "session-", JOURNAL_ENDING, &journal->path);
    if (journal->fd < 0)
        return false;
    sync_folder(journal->folder);
    return true;
}

int journal_input(const char *folder, char **path)
{
    *path = NULL;
    return make_folder(folder) ? new_file(folder, INPUT_BEGINNING, "", path) : -1;
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

static bool file_says(const char *path, const char *word)
{
    char *line = NULL;
    size_t room = 0;
    bool found = false;
    FILE *file = fopen(path, "re");
    while (file && !found && getline(&line, &room, file) > 0)
        found = strstr(line, word);
    free(line);
    if (file)
        fclose(file);
    return found;
}

static int input_named(const struct dirent *entry)
{
    return strncmp(entry->d_name, INPUT_BEGINNING, sizeof INPUT_BEGINNING - 1) == 0;
}

/* Removes a copy of standard input that no living program holds. */
static void remove_input(const char *path)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd >= 0 && flock(fd, LOCK_EX | LOCK_NB) == 0)
        unlink(path);
    if (fd >= 0)
        close(fd);
}

/* The copies of standard input that no unfinished journal opens; `open`: paths of those. */
static void prune_inputs(const char *folder, char *const *open, int count)
{
    struct dirent **entry;
    int n = scandir(folder, &entry, input_named, alphasort);
    for (int i = 0; i < n; i++) {
        char *path = NULL;
        bool wanted = false;
        for (int j = 0; j < count && !wanted; j++)
            wanted = open[j] && file_says(open[j], entry[i]->d_name);
        if (!wanted && asprintf(&path, "%s/%s", folder, entry[i]->d_name) >= 0) {
            remove_input(path);
            free(path);
        }
        free(entry[i]);
    }
    if (n >= 0)
        free(entry);
}

/* Removes all but the latest finished journals (their names sort by time), and the copies of
 * standard input that are not needed any more. */
static void prune(const char *folder)
{
    enum { KEPT = 50 };
    struct dirent **entry;
    int n = scandir(folder, &entry, journal_named, alphasort), finished = 0;
    char **open = calloc((size_t)(n > 0 ? n : 0) + 1, sizeof *open);
    for (int i = n - 1; i >= 0; i--) {
        char *path = NULL;
        bool ended = ends_finished(folder, entry[i]->d_name);
        if (asprintf(&path, "%s/%s", folder, entry[i]->d_name) < 0)
            path = NULL;
        if (path && ended && ++finished > KEPT)
            unlink(path);
        if (path && !ended && open)
            open[i] = path;
        else
            free(path);
        free(entry[i]);
    }
    if (open)
        prune_inputs(folder, open, n);
    for (int i = 0; open && i < n; i++)
        free(open[i]);
    free(open);
    if (n >= 0)
        free(entry);
}

/* The folder of a journal that was made here (also one without a step), or taken up. */
static void prune_around(const struct journal *journal)
{
    const char *path = journal->path, *slash = path ? strrchr(path, '/') : NULL;
    char *folder = slash ? strndup(path, (size_t)(slash - path)) : NULL;
    if (journal->folder || folder)
        prune(journal->folder ? journal->folder : folder);
    free(folder);
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
    if (finished)
        prune_around(journal);
    free(journal->folder);
    free(journal->path);
    free(journal->pending);
    free(journal);
}
