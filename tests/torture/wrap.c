#include "tests/torture/wrap.h"

#include <errno.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__real_aligned_alloc(size_t alignment, size_t size);
void __real_free(void *block);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t size);
int __real_vasprintf(char **out, const char *format, va_list list);
FILE *__real_open_memstream(char **text, size_t *size);
void *__real_mmap(void *at, size_t size, int protection, int flags, int fd, off_t offset);
void *__real_mremap(void *at, size_t size, size_t bigger, int flags);
int __real_munmap(void *at, size_t size);

void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);
void __wrap_free(void *block);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t size);
int __wrap_asprintf(char **out, const char *format, ...);
int __wrap_vasprintf(char **out, const char *format, va_list list);
FILE *__wrap_open_memstream(char **text, size_t *size);
void *__wrap_mmap(void *at, size_t size, int protection, int flags, int fd, off_t offset);
void *__wrap_mremap(void *at, size_t size, size_t bigger, int flags);
int __wrap_munmap(void *at, size_t size);

static struct {
    pthread_mutex_t lock;
    bool counting, failed;
    size_t count, fail_at;
    /* The blocks that are alive: open addressing, made anew when half is used. */
    void **block;
    size_t room, used, alive; /* places; those that were ever taken; blocks */
} state = {.lock = PTHREAD_MUTEX_INITIALIZER};

static char gone; /* where a block was that was freed */

static size_t place(const void *block)
{
    return (size_t)(((uintptr_t)block >> 4) * 0x9E3779B97F4A7C15ull >> 20) & (state.room - 1);
}

static void insert(void *block)
{
    size_t i = place(block);
    while (state.block[i] && state.block[i] != &gone)
        i = (i + 1) & (state.room - 1);
    state.used += !state.block[i];
    state.block[i] = block;
}

static void grow(void)
{
    void **old = state.block;
    size_t room = state.room;
    state.room = 4 * state.alive > room ? 2 * room : room;
    state.room = state.room ? state.room : 1 << 16;
    state.used = 0;
    state.block = __real_calloc(state.room, sizeof *state.block);
    if (!state.block)
        abort();
    for (size_t i = 0; i < room; i++)
        if (old[i] && old[i] != &gone)
            insert(old[i]);
    __real_free(old);
}

static void *remember(void *block)
{
    if (!block)
        return NULL;
    pthread_mutex_lock(&state.lock);
    if (2 * (state.used + 1) > state.room)
        grow();
    insert(block);
    state.alive++;
    pthread_mutex_unlock(&state.lock);
    return block;
}

/* What others allocated and our code frees is not known here: nothing to forget. */
static void forget(void *block)
{
    if (!block)
        return;
    pthread_mutex_lock(&state.lock);
    for (size_t i = state.room ? place(block) : 0; state.room && state.block[i];
         i = (i + 1) & (state.room - 1))
        if (state.block[i] == block) {
            state.block[i] = &gone;
            state.alive--;
            break;
        }
    pthread_mutex_unlock(&state.lock);
}

static bool denied(void)
{
    pthread_mutex_lock(&state.lock);
    bool now = state.counting && ++state.count == state.fail_at;
    state.failed = state.failed || now;
    pthread_mutex_unlock(&state.lock);
    if (now)
        errno = ENOMEM;
    return now;
}

void wrap_begin(size_t n)
{
    state.counting = true;
    state.failed = false;
    state.count = 0;
    state.fail_at = n;
}

size_t wrap_end(bool *failed)
{
    state.counting = false;
    *failed = state.failed;
    return state.count;
}

size_t wrap_alive(void)
{
    return state.alive;
}

void *__wrap_malloc(size_t size)
{
    return denied() ? NULL : remember(__real_malloc(size));
}

void *__wrap_calloc(size_t count, size_t size)
{
    return denied() ? NULL : remember(__real_calloc(count, size));
}

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
    return denied() ? NULL : remember(__real_aligned_alloc(alignment, size));
}

void *__wrap_realloc(void *old, size_t size)
{
    if (denied())
        return NULL;
    forget(old);
    void *block = __real_realloc(old, size);
    if (!block)
        abort(); /* the machine's own memory is not to run out here */
    return remember(block);
}

void __wrap_free(void *block)
{
    forget(block);
    __real_free(block);
}

char *__wrap_strdup(const char *text)
{
    return denied() ? NULL : remember(__real_strdup(text));
}

char *__wrap_strndup(const char *text, size_t size)
{
    return denied() ? NULL : remember(__real_strndup(text, size));
}

int __wrap_asprintf(char **out, const char *format, ...)
{
    va_list list;
    if (denied())
        return -1;
    va_start(list, format);
    int n = __real_vasprintf(out, format, list);
    va_end(list);
    if (n >= 0)
        remember(*out);
    return n;
}

int __wrap_vasprintf(char **out, const char *format, va_list list)
{
    int n = denied() ? -1 : __real_vasprintf(out, format, list);
    if (n >= 0)
        remember(*out);
    return n;
}

/* Its text is the library's until it is closed, and then freed by our code: not counted. */
FILE *__wrap_open_memstream(char **text, size_t *size)
{
    return denied() ? NULL : __real_open_memstream(text, size);
}

/* Memory alone: what maps a file reads it in another way when it cannot. */
void *__wrap_mmap(void *at, size_t size, int protection, int flags, int fd, off_t offset)
{
    if (fd == -1 && denied())
        return MAP_FAILED;
    return __real_mmap(at, size, protection, flags, fd, offset);
}

/* The kind that may move a mapping; the one with a place of its own is not used here. */
void *__wrap_mremap(void *at, size_t size, size_t bigger, int flags)
{
    return denied() ? MAP_FAILED : __real_mremap(at, size, bigger, flags);
}

int __wrap_munmap(void *at, size_t size)
{
    return __real_munmap(at, size);
}
