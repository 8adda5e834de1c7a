#include "op/keep.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"

char *path_file(const char *path)
{
    struct stat info;
    const char *within = strstr(path, "//");
    if (!within || within == path || stat(path, &info) == 0)
        return strdup(path);
    return strndup(path, (size_t)(within - path));
}

char *kept_name(const char *path)
{
    const char *slash = strrchr(path, '/'), *base = slash ? slash + 1 : path;
    const char *dot = strrchr(base, '.');
    if (!dot || dot == base)
        dot = base + strlen(base);
    char *kept = malloc(strlen(path) + sizeof ".original");
    if (kept)
        sprintf(kept, "%.*s.original%s", (int)(dot - path), path, dot);
    return kept;
}

bool copy_bytes(int from, int to)
{
    char buffer[1 << 16];
    for (;;) {
        ssize_t n = read(from, buffer, sizeof buffer);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return n == 0;
        for (ssize_t done = 0; done < n;) {
            ssize_t m = write(to, buffer + done, (size_t)(n - done));
            if (m < 0 && errno != EINTR)
                return false;
            done += m > 0 ? m : 0;
        }
    }
}

/* A copy for file systems without hard links; never half a file under the kept name. */
static bool copy_file(const char *path, const char *kept)
{
    size_t size = strlen(kept) + sizeof ".part";
    char *part = malloc(size);
    struct stat info;
    if (!part) {
        errno = ENOMEM;
        return false;
    }
    snprintf(part, size, "%s.part", kept);
    int from = open(path, O_RDONLY | O_CLOEXEC);
    int to = open(part, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    bool ok = from >= 0 && to >= 0 && fstat(from, &info) == 0 && copy_bytes(from, to);
    if (ok) {
        const struct timespec times[2] = {info.st_atim, info.st_mtim};
        ok = fchmod(to, info.st_mode & 07777) == 0 && futimens(to, times) == 0 && fsync(to) == 0 &&
             rename(part, kept) == 0;
    }
    int error = errno;
    if (from >= 0)
        close(from);
    if (to >= 0)
        close(to);
    if (!ok)
        unlink(part);
    free(part);
    errno = error;
    return ok;
}

enum status keep_original(const char *path, const char *kept, bool *made, struct job *job)
{
    struct stat info;
    *made = false;
    if (lstat(kept, &info) == 0)
        return STATUS_OK;
    *made = linkat(AT_FDCWD, path, AT_FDCWD, kept, AT_SYMLINK_FOLLOW) == 0 || copy_file(path, kept);
    if (*made)
        return STATUS_OK;
    return job_fail(job, STATUS_FILE,
                    "\"%s\": the original cannot be kept there: %s; save under another name", kept,
                    strerror(errno));
}
