#include <stdlib.h>

#include "core/job.h"
#include "format/ply.h"

enum { BLOCK = 8192 /* rows a part */, LOOK = 1000 };

static const unsigned sizes[] = {1, 1, 2, 2, 4, 4, 4, 8, 0};

struct body { /* one element's rows */
    const struct ply_header *header;
    const struct ply_element *element;
    struct ply_taking taking;
    size_t *from; /* where each block of rows begins */
    size_t blocks;
    uint64_t whole; /* rows that are there */
    size_t end;     /* behind the last whole row */
};

static inline uint64_t get(const unsigned char *at, unsigned size, bool big)
{
    uint64_t bits = 0;
    for (unsigned i = 0; i < size; i++)
        bits |= (uint64_t)at[i] << 8 * (big ? size - 1 - i : i);
    return bits;
}

static inline double value_at(const unsigned char *at, enum ply_type type, bool big)
{
    switch (type) {
    case PLY_CHAR:
        return (int8_t)at[0];
    case PLY_UCHAR:
        return at[0];
    case PLY_SHORT:
        return (int16_t)get(at, 2, big);
    case PLY_USHORT:
        return (uint16_t)get(at, 2, big);
    case PLY_INT:
        return (int32_t)get(at, 4, big);
    case PLY_UINT:
        return (uint32_t)get(at, 4, big);
    case PLY_FLOAT: {
        uint32_t bits = (uint32_t)get(at, 4, big);
        float value;
        memcpy(&value, &bits, sizeof value);
        return (double)value;
    }
    case PLY_DOUBLE: {
        uint64_t bits = get(at, 8, big);
        double value;
        memcpy(&value, &bits, sizeof value);
        return value;
    }
    case PLY_NONE:
        break;
    }
    return 0;
}

/* The bytes behind `at` that one property's value takes; false when they are not all there or the
 * length of a list makes no sense. */
static bool property_size(const struct ply_property *property, const unsigned char *at, size_t left,
                          bool big, size_t *size)
{
    bool list = property->count != PLY_NONE;
    *size = sizes[list ? property->count : property->type];
    if (*size > left || !list)
        return *size <= left;
    double count = value_at(at, property->count, big);
    if (!(count >= 0) || count > (double)((left - *size) / sizes[property->type]))
        return false;
    *size += (size_t)count * sizes[property->type];
    return true;
}

static bool row_size(const struct body *body, size_t at, size_t *size)
{
    const struct bytes *bytes = body->header->bytes;
    bool big = body->header->encoding == PLY_BIG;
    *size = 0;
    for (size_t i = 0; i < body->element->properties; i++) {
        size_t one;
        if (!property_size(&body->element->property[i], bytes->data + at + *size,
                           bytes->size - at - *size, big, &one))
            return false;
        *size += one;
    }
    return true;
}

/* Rows with lists: walks over them to learn where the blocks begin. */
static enum status walk(struct body *body, size_t at, struct job *job)
{
    const struct ply_element *element = body->element;
    size_t left = body->header->bytes->size - at, size;
    uint64_t most = left / element->least, rows = most < element->count ? most : element->count;
    body->from = malloc((size_t)(rows / BLOCK + 1) * sizeof *body->from);
    if (!body->from)
        return job_fail_memory(job, (size_t)(rows / BLOCK) * sizeof *body->from);
    for (; body->whole < rows && row_size(body, at, &size); body->whole++, at += size) {
        if (body->whole % BLOCK == 0)
            body->from[body->blocks++] = at;
        if (body->whole % (64 * BLOCK) == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
    }
    body->end = at;
    return STATUS_OK;
}

static void measure(struct body *body, size_t at)
{
    size_t stride = body->element->least, left = body->header->bytes->size - at;
    body->whole = body->element->count;
    if (stride && body->whole > left / stride)
        body->whole = left / stride;
    body->blocks = (size_t)((body->whole + BLOCK - 1) / BLOCK);
    body->end = at + (size_t)body->whole * stride;
}

/* --- rows -------------------------------------------------------------------------------- */

static size_t read_list(const struct ply_property *property, const unsigned char *at, bool big,
                        struct ply_row *row)
{
    size_t head = sizes[property->count], size = sizes[property->type];
    size_t count = (size_t)value_at(at, property->count, big);
    if (property->role != PLY_SKIP && ply_row_room(row, property->role, count))
        for (size_t k = 0; k < count; k++)
            ply_row_set(row, property->role, k,
                        value_at(at + head + k * size, property->type, big));
    return head + count * size;
}

/* Reads a row that is known to be whole; returns its end. */
static const unsigned char *read_row(const struct body *body, const unsigned char *at,
                                     struct ply_row *row)
{
    bool big = body->header->encoding == PLY_BIG;
    for (size_t i = 0; i < body->element->properties; i++) {
        const struct ply_property *property = &body->element->property[i];
        if (property->count != PLY_NONE) {
            at += read_list(property, at, big, row);
            continue;
        }
        if (property->role < PLY_SCALARS)
            row->scalar[property->role] = value_at(at, property->type, big);
        at += sizes[property->type];
    }
    return at;
}

static const unsigned char *block_at(const struct body *body, size_t start, size_t block)
{
    size_t at = body->from ? body->from[block] : start + block * BLOCK * body->element->least;
    return body->header->bytes->data + at;
}

struct part { /* the context of read_part */
    const struct body *body;
    size_t start;
};

static bool read_part(const void *context, size_t i, struct gather *gather)
{
    const struct part *part = context;
    const struct body *body = part->body;
    const unsigned char *begin = block_at(body, part->start, i), *at = begin;
    uint64_t from = (uint64_t)i * BLOCK;
    uint64_t rows = body->whole - from < BLOCK ? body->whole - from : BLOCK;
    struct ply_row row = {0};
    for (uint64_t k = 0; k < rows && !row.starved; k++) {
        at = read_row(body, at, &row);
        ply_take(&row, body->element, &body->taking, gather);
    }
    const unsigned char *data = body->header->bytes->data;
    bytes_passed(body->header->bytes, (size_t)(begin - data), (size_t)(at - data));
    gather->starved = gather->starved || row.starved;
    ply_row_release(&row);
    return true;
}

static enum status look(struct body *body, size_t at, struct gather *gather, bool *first,
                        struct job *job)
{
    struct ply_row row = {0};
    const unsigned char *data = body->header->bytes->data + at;
    for (uint64_t k = 0; k < LOOK && k < body->whole && !row.starved; k++) {
        data = read_row(body, data, &row);
        ply_look(body->header, body->element, &row, &body->taking, gather, first);
    }
    bool starved = row.starved;
    ply_row_release(&row);
    return starved ? job_fail_memory(job, 0) : STATUS_OK;
}

static enum status read_rows(struct body *body, size_t at, struct gather *gather, bool *first,
                             struct job *job)
{
    size_t stopped;
    enum status status = look(body, at, gather, first, job);
    struct part part = {body, at};
    if (status == STATUS_OK)
        status = gather_parts(gather, body->blocks, read_part, &part,
                              body->blocks ? (body->end - at) / body->blocks : 0, &stopped, job);
    return status;
}

enum status ply_binary_read(const struct ply_header *header, struct gather *gather, uint64_t *found,
                            struct job *job)
{
    size_t at = header->body;
    bool first = true, whole = true;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < header->elements && status == STATUS_OK && whole; i++) {
        const struct ply_element *element = &header->element[i];
        struct body body = {.header = header, .element = element, .taking = {255}};
        if (element->lists)
            status = walk(&body, at, job);
        else
            measure(&body, at);
        if (status == STATUS_OK && element->kind != PLY_OTHER)
            status = read_rows(&body, at, gather, &first, job);
        free(body.from);
        found[i] = body.whole;
        whole = body.whole == element->count;
        at = body.end;
    }
    return status;
}
