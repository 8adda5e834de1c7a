/* Four floats or four integers at once: GCC and clang vectors, which every machine has in some
 * form, plus the few operations that the language has no operator for. */
#ifndef FETTLE_CORE_LANES_H
#define FETTLE_CORE_LANES_H

#include <stdint.h>
#include <string.h>

#if defined(__SSE2__)
#include <emmintrin.h>
#endif

typedef float lanes __attribute__((vector_size(16)));
typedef int32_t int_lanes __attribute__((vector_size(16)));

static inline lanes lanes_all(float x)
{
    return (lanes){x, x, x, x};
}
static inline lanes lanes_from(int_lanes a)
{
    return __builtin_convertvector(a, lanes);
}

/* The greater (smaller) of each pair; the second where one is not a number. */
static inline lanes lanes_max(lanes a, lanes b)
{
#if defined(__SSE2__)
    return (lanes)_mm_max_ps((__m128)a, (__m128)b);
#else
    int_lanes more = a > b;
    return (lanes)((more & (int_lanes)a) | (~more & (int_lanes)b));
#endif
}
static inline lanes lanes_min(lanes a, lanes b)
{
#if defined(__SSE2__)
    return (lanes)_mm_min_ps((__m128)a, (__m128)b);
#else
    int_lanes less = a < b;
    return (lanes)((less & (int_lanes)a) | (~less & (int_lanes)b));
#endif
}

/* Bit i: lane i of a comparison holds. */
static inline unsigned lanes_bits(int_lanes holds)
{
#if defined(__SSE2__)
    return (unsigned)_mm_movemask_ps((__m128)holds);
#else
    return (unsigned)((holds[0] & 1) | (holds[1] & 2) | (holds[2] & 4) | (holds[3] & 8));
#endif
}

#endif
