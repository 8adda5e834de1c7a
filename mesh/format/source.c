#include "format/source.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

enum { POOL_FIRST = 1 << 20, READ_STEP = 1 << 20 };

unsigned char *pool_room(struct pool *pool, size_t more)
{
    size_t need, room = pool->room ? pool->room : POOL_FIRST;
    if (__builtin_add_overflow(pool->size, more, &need) || need > SIZE_MAX / 4)
        return NULL;
    while (room < need)
        room += room / 2;
    room = (room + 4095) / 4096 * 4096;
    if (room > pool->room) {
        void *data = pool->data ? mremap(pool->data, pool->room, room, MREMAP_MAYMOVE)
                                : mmap(NULL, room, PROT_READ | PROT_WRITE,
                                       MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
        if (data == MAP_FAILED)
            return NULL;
        pool->data = data;
        pool->room = room;
    }
    return pool->data + pool->size;
}

void pool_release(struct pool *pool)
{
    if (pool->data)
        munmap(pool->data, pool->room);
    *pool = (struct pool){0};
}

void bytes_passed(const struct bytes *bytes, size_t from, size_t to)
{
    uintptr_t page = (uintptr_t)sysconf(_SC_PAGESIZE), base = (uintptr_t)bytes->data;
    uintptr_t begin = (base + from + page - 1) / page * page, end = (base + to) / page * page;
    if (bytes->mapped && end > begin)
        (void)madvise((void *)begin, end - begin, MADV_DONTNEED);
}

static enum status fail_open(const char *name, int error, struct job *job)
{
    return job_fail(job, STATUS_FILE, "\"%s\": cannot be opened: %s%s", name, strerror(error),
                    error == ENOENT ? "; check the name and the folder" : "");
}

/* What cannot be mapped (a pipe, a terminal) is collected. */
static enum status collect(int fd, struct source *source, struct job *job)
{
    struct pool pool = {0};
    for (;;) {
        unsigned char *room = pool_room(&pool, READ_STEP);
        ssize_t n = room ? read(fd, room, READ_STEP) : -1;
        if (n < 0 && room && errno == EINTR && !job_cancelled(job))
            continue;
        if (n < 0 || job_cancelled(job)) {
            int error = errno;
            size_t size = pool.room;
            pool_release(&pool);
            return job_cancelled(job) ? job_fail_cancelled(job)
                   : !room            ? job_fail_memory(job, size / 2)
                                      : fail_open(source->name, error, job);
        }
        if (n == 0)
            break;
        pool.size += (size_t)n;
    }
    source->bytes.data = pool.data;
    source->bytes.size = pool.size;
    source->mapped = pool.room;
    return STATUS_OK;
}

static enum status map(int fd, size_t size, struct source *source, struct job *job)
{
    void *data = mmap(NULL, size, PROT_READ, MAP_PRIVATE, fd, 0);
    if (data == MAP_FAILED)
        return collect(fd, source, job);
    (void)madvise(data, size, MADV_SEQUENTIAL);
    source->bytes.data = data;
    source->bytes.size = size;
    source->bytes.mapped = true;
    source->mapped = size;
    source->job = job;
    job_maps(job, data, size);
    return STATUS_OK;
}

static void unmap(struct source *source)
{
    job_maps(source->job, NULL, 0);
    source->job = NULL;
    if (source->mapped)
        munmap((void *)(uintptr_t)source->bytes.data, source->mapped);
    source->mapped = 0;
}

static enum status open_plain(const char *path, struct source *source, struct job *job)
{
    bool standard = strcmp(path, "-") == 0;
    int fd = standard ? STDIN_FILENO : open(path, O_RDONLY | O_CLOEXEC);
    struct stat info;
    enum status status;
    if (fd < 0 || fstat(fd, &info) != 0)
        return fail_open(source->name, errno, job);
    if (S_ISDIR(info.st_mode))
        status = job_fail(job, STATUS_FILE, "\"%s\": is a folder; name a file in it", source->name);
    else if (S_ISREG(info.st_mode) && info.st_size > 0 && lseek(fd, 0, SEEK_CUR) == 0)
        status = map(fd, (size_t)info.st_size, source, job);
    else
        status = collect(fd, source, job);
    if (!standard)
        close(fd);
    return status;
}

/* Puts the unpacked bytes in the place of the packed ones. */
static enum status unpack(struct source *source, const char *wanted, struct job *job)
{
    struct pool pool = {0};
    char *member = NULL;
    enum status status = archive_open(&source->bytes, wanted, &pool, &member, job);
    if (status != STATUS_OK)
        return status;
    unmap(source);
    char *name = NULL;
    if (member && asprintf(&name, "%s//%s", source->name, member) < 0)
        name = NULL;
    if (name) {
        free(source->name);
        source->name = name;
    }
    source->member = member;
    source->mapped = pool.room;
    source->bytes = (struct bytes){pool.data, pool.size, source->name, false};
    return STATUS_OK;
}

/* Where the archive's own path ends in "path//member": the last "//" in front of which stands a
 * file. NULL when the path is a file itself, or there is none. */
static const char *member_of(const char *path)
{
    struct stat info;
    const char *found = NULL;
    if (stat(path, &info) == 0)
        return NULL;
    for (const char *at = path; !found && (at = strstr(at + 1, "//"));) {
        char *front = strndup(path, (size_t)(at - path));
        if (front && stat(front, &info) == 0 && !S_ISDIR(info.st_mode))
            found = at + 2;
        free(front);
    }
    return found;
}

enum status source_open(const char *path, struct source *out, struct job *job)
{
    *out = (struct source){0};
    const char *wanted = member_of(path);
    char *front = wanted ? strndup(path, (size_t)(wanted - 2 - path)) : strdup(path);
    out->name = front ? strdup(strcmp(front, "-") == 0 ? "standard input" : front) : NULL;
    if (!out->name) {
        free(front);
        return job_fail_memory(job, strlen(path));
    }
    enum status status = open_plain(front, out, job);
    free(front);
    out->bytes.name = out->name;
    if (status == STATUS_OK && wanted && !archive_sniff(&out->bytes))
        status = job_fail(job, STATUS_FORMAT, "\"%s\": is no archive, so it has no member \"%s\"",
                          out->name, wanted);
    if (status == STATUS_OK && archive_sniff(&out->bytes))
        status = unpack(out, wanted, job);
    if (status != STATUS_OK)
        source_release(out);
    return status;
}

void source_release(struct source *source)
{
    unmap(source);
    free(source->name);
    free(source->member);
    *source = (struct source){0};
}
