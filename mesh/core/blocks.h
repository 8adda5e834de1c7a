/* Work dealt in blocks of `size` elements, the last one shorter: what threads take one by one, and
 * what gives the same order whatever their number. */
#ifndef FETTLE_CORE_BLOCKS_H
#define FETTLE_CORE_BLOCKS_H

#include <stddef.h>

static inline size_t blocks_of(size_t count, size_t size)
{
    return (count + size - 1) / size;
}

/* Behind the last element of a block. */
static inline size_t block_end(size_t block, size_t size, size_t count)
{
    return (block + 1) * size < count ? (block + 1) * size : count;
}

/* From how many of something each block has to how many come before it; returns all. */
static inline size_t blocks_line_up(size_t *count, size_t blocks)
{
    size_t sum = 0;
    for (size_t b = 0; b < blocks; b++) {
        size_t here = count[b];
        count[b] = sum;
        sum += here;
    }
    return sum;
}

#endif
