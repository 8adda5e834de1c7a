#include <string.h>

#include "format/source.h"

enum { HEAD = 4096 };

static bool begins(const struct bytes *bytes, const char *mark, size_t size)
{
    return bytes->size >= size && memcmp(bytes->data, mark, size) == 0;
}

/* Text of lines that end in '\r' alone: no newline and nothing binary in its head. */
static bool lone_returns(const struct bytes *bytes)
{
    bool returns = false;
    size_t head = bytes->size < HEAD ? bytes->size : HEAD;
    for (size_t i = 0; i < head; i++) {
        unsigned char c = bytes->data[i];
        if (c == '\n' || (c < ' ' && c != '\t' && c != '\r' && c != '\f'))
            return false;
        returns = returns || c == '\r';
    }
    return returns && !memmem(bytes->data, head, "format binary", 13);
}

static void copy_wide(const struct bytes *bytes, unsigned char *to)
{
    bool big = bytes->data[0] == 0xfe;
    for (size_t i = 2; i + 1 < bytes->size; i += 2) {
        unsigned char high = bytes->data[i + !big], low = bytes->data[i + big];
        *to++ = high || low > 127 ? '?' : low;
    }
}

static void copy_returns(const struct bytes *bytes, unsigned char *to)
{
    for (size_t i = 0; i < bytes->size; i++)
        to[i] = bytes->data[i] == '\r' ? '\n' : bytes->data[i];
}

enum status text_normal(struct bytes *bytes, struct pool *pool, struct job *job)
{
    if (begins(bytes, "\xef\xbb\xbf", 3)) {
        bytes->data += 3;
        bytes->size -= 3;
    }
    bool wide = begins(bytes, "\xff\xfe", 2) || begins(bytes, "\xfe\xff", 2);
    /* The length of a binary STL file may look like text that begins so. */
    wide = wide && bytes->size % 2 == 0 && bytes->size > 2 &&
           (bytes->data[2] == 0) != (bytes->data[3] == 0);
    if (!wide && !lone_returns(bytes))
        return STATUS_OK;
    size_t size = wide ? bytes->size / 2 - 1 : bytes->size;
    unsigned char *to = pool_room(pool, size + 1);
    if (!to)
        return job_fail_memory(job, size);
    if (wide)
        copy_wide(bytes, to);
    else
        copy_returns(bytes, to);
    pool->size = size;
    *bytes = (struct bytes){pool->data, size, bytes->name, false};
    return STATUS_OK;
}
