#include "core/array.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "core/job.h"

enum {
    MAP_FROM = 256 * 1024,      /* smaller arrays live on the heap */
    HUGE_FROM = 4 * 1024 * 1024 /* from here huge pages pay */
};

static size_t page_size(void)
{
    return (size_t)sysconf(_SC_PAGESIZE);
}

static bool product(size_t count, size_t size, size_t *bytes)
{
    return !__builtin_mul_overflow(count, size, bytes) && *bytes <= SIZE_MAX / 2;
}

static void *map_new(size_t bytes, size_t *mapped)
{
    size_t page = page_size(), whole = (bytes + page - 1) / page * page;
    void *data = mmap(NULL, whole, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (data == MAP_FAILED)
        return NULL;
#ifdef MADV_HUGEPAGE
    if (whole >= HUGE_FROM)
        (void)madvise(data, whole, MADV_HUGEPAGE); /* a wish only */
#endif
    *mapped = whole;
    return data;
}

struct array *array_new(size_t count, size_t stride)
{
    size_t bytes;
    if (!product(count, stride, &bytes))
        return NULL;
    struct array *array = malloc(sizeof *array);
    if (!array)
        return NULL;
    *array = (struct array){.count = count, .stride = stride};
    atomic_init(&array->refs, 1);
    atomic_init(&array->spilled, false);
    if (bytes >= MAP_FROM)
        array->data = map_new(bytes, &array->mapped);
    else
        array->data = aligned_alloc(64, (bytes + 64) / 64 * 64);
    if (!array->data) {
        free(array);
        return NULL;
    }
    return array;
}

struct array *array_share(struct array *array)
{
    if (array)
        atomic_fetch_add_explicit(&array->refs, 1, memory_order_relaxed);
    return array;
}

void array_free(struct array *array)
{
    if (!array || atomic_fetch_sub_explicit(&array->refs, 1, memory_order_acq_rel) != 1)
        return;
    if (array->mapped)
        munmap(array->data, array->mapped);
    else
        free(array->data);
    free(array);
}

void array_shrink(struct array *array, size_t count)
{
    if (array->mapped) {
        size_t page = page_size();
        size_t keep = (count * array->stride + page - 1) / page * page;
        keep = keep ? keep : page;
        if (keep < array->mapped) {
            munmap((char *)array->data + keep, array->mapped - keep);
            array->mapped = keep;
        }
    }
    array->count = count;
}

/* From the heap to a larger place on the heap or to a mapping. */
static bool array_move(struct array *array, size_t bytes)
{
    size_t mapped = 0;
    void *data = bytes >= MAP_FROM ? map_new(bytes, &mapped)
                                   : aligned_alloc(64, (bytes + 64) / 64 * 64);
    if (!data)
        return false;
    memcpy(data, array->data, array_bytes(array));
    free(array->data);
    array->data = data;
    array->mapped = mapped;
    return true;
}

bool array_grow(struct array *array, size_t count)
{
    size_t bytes, page = page_size();
    if (!product(count, array->stride, &bytes))
        return false;
    if (!array->mapped && !array_move(array, bytes))
        return false;
    if (bytes > array->mapped && array->mapped) {
        size_t whole = (bytes + page - 1) / page * page;
        void *data = mremap(array->data, array->mapped, whole, MREMAP_MAYMOVE);
        if (data == MAP_FAILED)
            return false;
#ifdef MADV_HUGEPAGE
        if (whole >= HUGE_FROM)
            (void)madvise(data, whole, MADV_HUGEPAGE);
#endif
        array->data = data;
        array->mapped = whole;
    }
    array->count = count;
    return true;
}

static bool write_all(int fd, const char *data, size_t bytes)
{
    while (bytes) {
        ssize_t n = write(fd, data, bytes < (1u << 30) ? bytes : (1u << 30));
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return false;
        data += n;
        bytes -= (size_t)n;
    }
    return true;
}

static int unlinked_file(const char *folder)
{
    size_t n = strlen(folder) + sizeof "/spill-XXXXXX";
    char *path = malloc(n);
    if (!path)
        return -1;
    strcpy(path, folder);
    strcat(path, "/spill-XXXXXX");
    int fd = mkstemp(path);
    if (fd >= 0)
        unlink(path);
    free(path);
    return fd;
}

enum status array_spill(struct array *array, const char *folder, struct job *job)
{
    if (!array || !array->mapped || atomic_load(&array->spilled))
        return STATUS_OK;
    int fd = unlinked_file(folder);
    bool ok = fd >= 0 && write_all(fd, array->data, array->mapped);
    /* MAP_FIXED swaps the pages in one step: a reader sees the old ones or the same bytes anew. */
    ok = ok && mmap(array->data, array->mapped, PROT_READ, MAP_PRIVATE | MAP_FIXED, fd, 0) !=
                   MAP_FAILED;
    int error = errno;
    if (fd >= 0)
        close(fd);
    if (!ok)
        return job_fail(job, STATUS_FILE, "\"%s\": cannot keep undo steps there: %s", folder,
                        strerror(error));
    atomic_store(&array->spilled, true);
    return STATUS_OK;
}

/* Scratch remembers its own size in front of what it hands out, a cache line away. */
enum { SCRATCH_HEAD = 64 };

static size_t scratch_mapped(const void *scratch)
{
    size_t mapped;
    memcpy(&mapped, (const char *)scratch - SCRATCH_HEAD, sizeof mapped);
    return mapped;
}

void *scratch_new(size_t count, size_t size)
{
    size_t bytes, mapped = 0;
    if (!product(count, size, &bytes))
        return NULL;
    bytes += SCRATCH_HEAD;
    char *head = bytes >= MAP_FROM ? map_new(bytes, &mapped)
                                   : aligned_alloc(64, (bytes + 63) / 64 * 64);
    if (!head)
        return NULL;
    memcpy(head, &mapped, sizeof mapped);
    return head + SCRATCH_HEAD;
}

void *scratch_zeros(size_t count, size_t size)
{
    char *scratch = scratch_new(count, size);
    if (scratch && !scratch_mapped(scratch))
        memset(scratch, 0, count * size);
    return scratch;
}

void scratch_free(void *scratch)
{
    if (!scratch)
        return;
    char *head = (char *)scratch - SCRATCH_HEAD;
    size_t mapped = scratch_mapped(scratch);
    if (mapped)
        munmap(head, mapped);
    else
        free(head);
}
