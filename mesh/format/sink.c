#include "format/sink.h"

#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/array.h"
#include "format/source.h"
#include "format/turns.h"

enum { BUFFER = 1 << 20, LINKS_MOST = 40 };

struct sink {
    int fd;            /* -1: in memory */
    bool direct;       /* a pipe, a device, standard output: nothing to rename */
    bool existed;      /* there was a file before */
    char *target;      /* links resolved; NULL when direct or in memory */
    char *temporary;   /* NULL when direct or in memory */
    const char *shown; /* as the caller wrote it */
    char *shown_store;
    unsigned char *buffer;
    size_t fill;
    struct pool memory;
    uint64_t written;
    int error; /* errno of the first failure */
};

static void sink_free(struct sink *sink)
{
    free(sink->target);
    free(sink->temporary);
    free(sink->shown_store);
    free(sink->buffer);
    pool_release(&sink->memory);
    free(sink);
}

static struct sink *sink_blank(const char *shown, bool file, struct job *job)
{
    struct sink *sink = calloc(1, sizeof *sink);
    if (sink) {
        sink->fd = -1;
        sink->buffer = file ? malloc(BUFFER) : NULL;
        sink->shown = sink->shown_store = strdup(shown);
        if (sink->shown && (sink->buffer || !file))
            return sink;
        sink_free(sink);
    }
    job_fail_memory(job, BUFFER);
    return NULL;
}

/* The folder a path lies in; the caller frees. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (!slash)
        return strdup(".");
    return slash == path ? strdup("/") : strndup(path, (size_t)(slash - path));
}

/* One step along a symbolic link; the caller frees. */
static char *follow(const char *link)
{
    char to[4096];
    ssize_t n = readlink(link, to, sizeof to - 1);
    if (n < 0)
        return NULL;
    to[n] = '\0';
    char *folder = to[0] == '/' ? NULL : folder_of(link), *path = NULL;
    if (to[0] == '/')
        return strdup(to);
    if (!folder || asprintf(&path, "%s/%s", folder, to) < 0)
        path = NULL;
    free(folder);
    return path;
}

/* What the path leads to in the end, whether that exists or not; the caller frees. */
static char *resolved(const char *path)
{
    char *at = strdup(path);
    struct stat info;
    for (int i = 0; at && i < LINKS_MOST && lstat(at, &info) == 0 && S_ISLNK(info.st_mode); i++) {
        char *next = follow(at);
        free(at);
        at = next;
    }
    return at;
}

static enum status fail_open(const struct sink *sink, int error, struct job *job)
{
    if (error == ENOMEM)
        return job_fail_memory(job, BUFFER);
    const char *mend = error == ENOENT   ? "make the folder first"
                       : error == EISDIR ? "name a file in that folder"
                       : error == ENOSPC ? "free some space, or save elsewhere"
                       : error == EACCES || error == EPERM || error == EROFS
                           ? "save elsewhere, or change its permissions"
                           : "save elsewhere";
    return job_fail(job, STATUS_FILE, "\"%s\": cannot be written: %s; %s", sink->shown,
                    strerror(error), mend);
}

/* A new file beside the target, with the permissions a new or the replaced file should have. */
static int open_beside(struct sink *sink, const struct stat *old)
{
    char *folder = folder_of(sink->target);
    int fd = -1;
    for (int attempt = 0; folder && attempt < 100; attempt++) {
        unsigned long long tag;
        if (getrandom(&tag, sizeof tag, 0) != sizeof tag)
            break;
        free(sink->temporary);
        if (asprintf(&sink->temporary, "%s/.fettle-%016llx.part", folder, tag) < 0)
            sink->temporary = NULL;
        if (!sink->temporary)
            break;
        fd = open(sink->temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST)
            break;
    }
    int error = errno;
    free(folder);
    if (fd >= 0 && old) { /* the owner only where we may */
        if (fchown(fd, old->st_uid, old->st_gid) != 0)
            (void)!fchown(fd, (uid_t)-1, old->st_gid);
        (void)fchmod(fd, old->st_mode & 07777);
    }
    errno = error;
    return fd;
}

static bool open_target(struct sink *sink, const char *path)
{
    struct stat info;
    if (strcmp(path, "-") == 0) {
        sink->direct = true;
        sink->fd = STDOUT_FILENO;
        return true;
    }
    sink->existed = stat(path, &info) == 0;
    if (sink->existed && S_ISDIR(info.st_mode)) {
        errno = EISDIR;
        return false;
    }
    if (sink->existed && !S_ISREG(info.st_mode)) {
        sink->direct = true;
        sink->fd = open(path, O_WRONLY | O_CLOEXEC);
        return sink->fd >= 0;
    }
    if (sink->existed && faccessat(AT_FDCWD, path, W_OK, AT_EACCESS) != 0)
        return false; /* renaming over it would get around its protection */
    sink->target = resolved(path);
    if (!sink->target)
        return false;
    sink->fd = open_beside(sink, sink->existed ? &info : NULL);
    return sink->fd >= 0;
}

struct sink *sink_open(const char *path, struct job *job)
{
    struct sink *sink = sink_blank(strcmp(path, "-") == 0 ? "standard output" : path, true, job);
    if (!sink || open_target(sink, path))
        return sink;
    fail_open(sink, errno, job);
    sink_free(sink);
    return NULL;
}

struct sink *sink_memory(struct job *job)
{
    return sink_blank("memory", false, job);
}

const unsigned char *sink_bytes(const struct sink *sink, size_t *size)
{
    *size = sink->memory.size;
    return sink->memory.data;
}

static void put_out(struct sink *sink, const unsigned char *data, size_t size)
{
    if (sink->fd < 0) {
        unsigned char *room = pool_room(&sink->memory, size);
        if (!room) {
            sink->error = ENOMEM;
            return;
        }
        memcpy(room, data, size);
        sink->memory.size += size;
        return;
    }
    while (size && !sink->error) {
        ssize_t n = write(sink->fd, data, size < (1u << 30) ? size : (1u << 30));
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            sink->error = n < 0 ? errno : ENOSPC;
            return;
        }
        data += n;
        size -= (size_t)n;
        sink->written += (uint64_t)n;
    }
}

static void flush(struct sink *sink)
{
    if (sink->fill && !sink->error)
        put_out(sink, sink->buffer, sink->fill);
    sink->fill = 0;
}

bool sink_write(struct sink *sink, const void *data, size_t size)
{
    if (!size || sink->error)
        return !sink->error;
    if (size > BUFFER - sink->fill || sink->fd < 0)
        flush(sink);
    if (size > BUFFER / 4 || sink->fd < 0) {
        flush(sink);
        put_out(sink, data, size);
        return !sink->error;
    }
    memcpy(sink->buffer + sink->fill, data, size);
    sink->fill += size;
    return true;
}

bool sink_text(struct sink *sink, const char *format, ...)
{
    char *text;
    va_list list;
    va_start(list, format);
    int length = vasprintf(&text, format, list);
    va_end(list);
    if (length < 0) {
        sink->error = ENOMEM;
        return false;
    }
    bool ok = sink_write(sink, text, (size_t)length);
    free(text);
    return ok;
}

bool sink_items(struct sink *sink, size_t count, size_t most, sink_put *put, const void *context,
                struct job *job)
{
    size_t block = BUFFER / most ? BUFFER / most : 1;
    block = block < count ? block : count + !count;
    size_t blocks = (count + block - 1) / block;
    atomic_bool stop = sink->error != 0, starved = false;
    struct turns turns;
    turns_init(&turns, blocks);
#pragma omp parallel num_threads(job_threads(job)) if (blocks > 1)
    {
        char *room = scratch_new(block, most);
        if (!room)
            atomic_store(&starved, true);
        for (size_t b; turns_take(&turns, &b); turns_end(&turns)) {
            size_t from = b * block, to = from + block < count ? from + block : count;
            bool go = room && !atomic_load(&stop);
            size_t size = go ? (size_t)(put(context, from, to, room) - room) : 0;
            turns_wait(&turns, b);
            /* One thread without room leaves a gap: nothing after it may be written. */
            if (!go || atomic_load(&stop) || atomic_load(&starved) ||
                !sink_write(sink, room, size) || !job_step(job, to - from))
                atomic_store(&stop, true);
        }
        scratch_free(room);
    }
    turns_release(&turns);
    if (starved && !sink->error)
        sink->error = ENOMEM;
    return !stop && !sink->error;
}

static enum status fail_write(const struct sink *sink, struct job *job)
{
    const char *left = sink->direct    ? ""
                       : sink->existed ? "; the earlier file is as it was"
                                       : "; nothing was left behind";
    if (sink->error == ENOMEM)
        return job_fail_memory(job, BUFFER);
    if (sink->error == ENOSPC || sink->error == EDQUOT || sink->error == EFBIG)
        return job_fail(job, STATUS_FILE,
                        "\"%s\": no space for more than %.1f MiB (%s)%s: free some space, or save "
                        "elsewhere",
                        sink->shown, (double)sink->written / 1048576.0, strerror(sink->error),
                        left);
    return job_fail(job, STATUS_FILE, "\"%s\": cannot be written: %s%s; save elsewhere",
                    sink->shown, strerror(sink->error), left);
}

enum status sink_status(const struct sink *sink, struct job *job)
{
    if (sink->error)
        return fail_write(sink, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static bool settle(struct sink *sink)
{
    if (sink->direct)
        return sink->fd == STDOUT_FILENO || close(sink->fd) == 0;
    bool ok = fsync(sink->fd) == 0;
    int error = errno;
    ok = close(sink->fd) == 0 && ok;
    if (!ok)
        errno = error;
    return ok && rename(sink->temporary, sink->target) == 0;
}

/* The new name must outlast a power cut too. Folders that cannot be synced are let be. */
static void sync_folder(const char *path)
{
    char *folder = folder_of(path);
    int fd = folder ? open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    if (fd >= 0) {
        (void)fsync(fd);
        close(fd);
    }
    free(folder);
}

enum status sink_close(struct sink *sink, struct job *job)
{
    enum status status = STATUS_OK;
    flush(sink);
    if (!sink->error && sink->fd >= 0) {
        if (!settle(sink))
            sink->error = errno;
        sink->fd = sink->direct ? -1 : sink->fd;
        if (!sink->error && !sink->direct)
            sync_folder(sink->target);
    } else if (sink->fd >= 0 && sink->fd != STDOUT_FILENO) {
        close(sink->fd);
    }
    if (sink->error) {
        status = fail_write(sink, job);
        if (sink->temporary)
            unlink(sink->temporary);
    }
    sink_free(sink);
    return status;
}

void sink_drop(struct sink *sink)
{
    if (!sink)
        return;
    if (sink->fd >= 0 && sink->fd != STDOUT_FILENO)
        close(sink->fd);
    if (sink->temporary)
        unlink(sink->temporary);
    sink_free(sink);
}
