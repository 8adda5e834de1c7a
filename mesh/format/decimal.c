#include "format/decimal.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Powers of ten that a double holds exactly. */
static const double ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                             1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
enum { TEN_MOST = 22, DIGITS_MOST = 19 /* that fit 64 bits */, SLOW_DIGITS = 800 };

struct digits { /* whole * 10^exponent, negative or not */
    uint64_t whole;
    int64_t exponent;
    bool negative;
    bool exact; /* no digit was left away */
};

static inline bool digit(char c)
{
    return (unsigned char)(c - '0') < 10;
}

/* "inf", "infinity", "nan", "nan(...)", also "1.#INF" style remains are not numbers. */
static const char *read_word(const char *at, const char *end, bool negative, double *out)
{
    size_t left = (size_t)(end - at);
    if (left >= 3 && strncasecmp(at, "nan", 3) == 0) {
        *out = (double)NAN;
        return at + 3;
    }
    if (left >= 3 && strncasecmp(at, "inf", 3) == 0) {
        *out = negative ? -(double)INFINITY : (double)INFINITY;
        return at + (left >= 8 && strncasecmp(at, "infinity", 8) == 0 ? 8 : 3);
    }
    return NULL;
}

/* Takes digits into d->whole as long as they fit; *count counts those that matter. */
static const char *read_digits(const char *at, const char *end, struct digits *d, int *count,
                               int64_t shift)
{
    for (; at < end && digit(*at); at++) {
        unsigned value = (unsigned)(*at - '0');
        if (*count < DIGITS_MOST) {
            d->whole = d->whole * 10 + value;
            *count += d->whole != 0;
            d->exponent += shift;
        } else {
            d->exact = d->exact && value == 0;
            d->exponent += shift + 1;
        }
    }
    return at;
}

static const char *read_exponent(const char *at, const char *end, struct digits *d)
{
    const char *e = at + 1;
    bool negative = false;
    if (e < end && (*e == '+' || *e == '-'))
        negative = *e++ == '-';
    if (e == end || !digit(*e))
        return at; /* the letter belongs to what follows */
    int64_t value = 0;
    for (; e < end && digit(*e); e++)
        value = value < 100000 ? value * 10 + (*e - '0') : value;
    d->exponent += negative ? -value : value;
    return e;
}

static const char *read_number(const char *at, const char *end, char point, struct digits *d)
{
    const char *begin = at;
    int count = 0;
    at = read_digits(at, end, d, &count, 0);
    bool any = at > begin;
    if (at < end && *at == point) {
        const char *fraction = at + 1;
        at = read_digits(fraction, end, d, &count, -1);
        any = any || at > fraction;
    }
    if (!any)
        return NULL;
    if (at < end && (*at == 'e' || *at == 'E' || *at == 'd' || *at == 'D'))
        at = read_exponent(at, end, d);
    return at;
}

/* The C library's own reading, in the C locale. Digits past SLOW_DIGITS cannot change a double but
 * by being there at all: a 1 stands for them. */
static double slow(const char *at, const char *end, char point)
{
    char text[SLOW_DIGITS + 40];
    size_t n = 0;
    bool fraction = false, more = false;
    struct digits d = {0};
    for (; at < end && (digit(*at) || *at == point); at++) {
        fraction = fraction || *at == point;
        if (*at == point)
            continue;
        if ((n || *at != '0') && n < SLOW_DIGITS) {
            text[n++] = *at;
            d.exponent -= fraction;
        } else if (n) {
            more = more || *at != '0';
            d.exponent += !fraction;
        } else {
            d.exponent -= fraction;
        }
    }
    if (at < end)
        read_exponent(at, end, &d);
    if (more)
        text[n++] = '1';
    snprintf(text + n, sizeof text - n, "%se%lld", n ? "" : "0", (long long)(d.exponent - more));
    locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    double value = strtod_l(text, NULL, c);
    freelocale(c);
    return value;
}

#if LDBL_MANT_DIG >= 64
/* One rounding to 64 bits or more; the second one, to 53, is right unless it looks like a tie. */
static bool through_long(const struct digits *d, double *out)
{
    static const long double long_ten[] = {1e0L,  1e1L,  1e2L,  1e3L,  1e4L,  1e5L,  1e6L,
                                           1e7L,  1e8L,  1e9L,  1e10L, 1e11L, 1e12L, 1e13L,
                                           1e14L, 1e15L, 1e16L, 1e17L, 1e18L, 1e19L, 1e20L,
                                           1e21L, 1e22L, 1e23L, 1e24L, 1e25L, 1e26L, 1e27L};
    if (!d->exact || d->exponent < -27 || d->exponent > 27)
        return false;
    long double x = d->exponent < 0 ? (long double)d->whole / long_ten[-d->exponent]
                                    : (long double)d->whole * long_ten[d->exponent];
    double near = (double)x;
    long double across = (long double)near + 2 * (x - (long double)near);
    if (x != (long double)near && (long double)(double)across == across)
        return false;
    *out = near;
    return true;
}
#else
static bool through_long(const struct digits *d, double *out)
{
    (void)d;
    (void)out;
    return false;
}
#endif

const char *decimal_read(const char *at, const char *end, char point, double *out)
{
    struct digits d = {.exact = true};
    if (at < end && (*at == '-' || *at == '+'))
        d.negative = *at++ == '-';
    const char *digits = at;
    at = read_number(at, end, point, &d);
    if (!at)
        return read_word(digits, end, d.negative, out);
    double value;
    if (d.exact && d.whole < (uint64_t)1 << 53 && d.exponent >= -TEN_MOST && d.exponent <= TEN_MOST)
        value =
            d.exponent < 0 ? (double)d.whole / ten[-d.exponent] : (double)d.whole * ten[d.exponent];
    else if (!through_long(&d, &value))
        value = slow(digits, at, point);
    *out = d.negative ? -value : value;
    return at;
}

const char *decimal_whole(const char *at, const char *end, int64_t *out)
{
    const int64_t most = 4000000000000000000;
    bool negative = false;
    int64_t value = 0;
    if (at < end && (*at == '-' || *at == '+'))
        negative = *at++ == '-';
    const char *digits = at;
    for (; at < end && digit(*at); at++)
        value = value < most / 10 ? value * 10 + (*at - '0') : most;
    *out = negative ? -value : value;
    return at > digits ? at : NULL;
}

char *decimal_count(char *at, uint64_t value)
{
    char text[24];
    size_t n = sizeof text;
    do
        text[--n] = (char)('0' + value % 10);
    while (value /= 10);
    memcpy(at, text + n, sizeof text - n);
    return at + sizeof text - n;
}

/* whole * 10^exponent as plain digits where that is short, else with an exponent. */
static char *layout(char *at, uint64_t whole, int exponent)
{
    char text[24];
    for (; whole && whole % 10 == 0; exponent++)
        whole /= 10;
    size_t n = (size_t)(decimal_count(text, whole) - text);
    int before = (int)n + exponent; /* digits in front of the point */
    bool plain = before <= 15 && before > -4;
    size_t whole_digits = !plain ? 1 : before <= 0 ? 0 : (size_t)before < n ? (size_t)before : n;
    memcpy(at, text, whole_digits);
    at += whole_digits;
    for (int i = exponent; plain && i > 0; i--)
        *at++ = '0';
    if (!whole_digits)
        *at++ = '0';
    if (whole_digits < n)
        *at++ = '.';
    for (int i = before; plain && i < 0; i++)
        *at++ = '0';
    memcpy(at, text + whole_digits, n - whole_digits);
    at += n - whole_digits;
    if (plain)
        return at;
    *at++ = 'e';
    if (before < 1)
        *at++ = '-';
    return decimal_count(at, (uint64_t)(before < 1 ? 1 - before : before - 1));
}

/* The double nearest to whole * 10^exponent: what decimal_read makes of it. */
static double nearest(uint64_t whole, int exponent)
{
    struct digits d = {.whole = whole, .exponent = exponent, .exact = true};
    double value;
    if (whole < (uint64_t)1 << 53 && exponent >= -TEN_MOST && exponent <= TEN_MOST)
        return exponent < 0 ? (double)whole / ten[-exponent] : (double)whole * ten[exponent];
    if (through_long(&d, &value))
        return value;
    char text[48];
    int n = snprintf(text, sizeof text, "%llue%d", (unsigned long long)whole, exponent);
    return slow(text, text + n, '.');
}

/* Whether every reader takes it for that float: a double halfway between two floats may be on
 * either side of the decimal it stands for. */
static bool reads_back(uint64_t whole, int exponent, float value)
{
    double near = nearest(whole, exponent);
    uint64_t bits;
    memcpy(&bits, &near, sizeof bits);
    return (float)near == value && (bits & 0x1fffffff) != 0x10000000;
}

/* value * 10^power, a few units in the last place off at most. */
static double times_ten(double value, int power)
{
    for (; power > TEN_MOST; power -= TEN_MOST)
        value *= ten[TEN_MOST];
    for (; power < -TEN_MOST; power += TEN_MOST)
        value /= ten[TEN_MOST];
    return power < 0 ? value / ten[-power] : value * ten[power];
}

char *decimal_float(char *at, float value)
{
    if (signbit(value) && value != 0)
        *at++ = '-';
    value = fabsf(value);
    if (!isfinite(value)) { /* not in a mesh, but a writer may be asked to */
        memcpy(at, isnan(value) ? "nan" : "inf", 3);
        return at + 3;
    }
    if (value < 16777216 && value == (float)(uint32_t)value) /* 0 too */
        return decimal_count(at, (uint32_t)value);
    int power = 8 - (int)floor(ilogbf(value) * 0.30102999566398120);
    uint64_t whole = (uint64_t)llrint(times_ten((double)value, power)); /* 9 or 10 digits */
    for (uint64_t step = 10; step < 10000000000; step *= 10) {
        uint64_t rounder = (whole + step / 2) / step * step;
        if (!rounder || !reads_back(rounder, -power, value))
            break;
        whole = rounder;
    }
    return layout(at, whole, -power);
}

/* A double to 17 digits; for what is too large to have any behind the point. */
static char *write_large(char *at, double value)
{
    int power = 16 - (int)floor(log10(value));
    return layout(at, (uint64_t)llrint(times_ten(value, power)), -power);
}

char *decimal_sum(char *at, double origin, float point)
{
    double value = origin + (double)point;
    if (origin == 0)
        return decimal_float(at, point);
    float target = (float)(value - origin);
    if (signbit(value))
        *at++ = '-';
    double sign = signbit(value) ? -1 : 1;
    value = fabs(value);
    if (value >= 1e17)
        return write_large(at, value);
    uint64_t whole = 0;
    int places = 0;
    for (; places < TEN_MOST && value * ten[places] < 1e18; places++) {
        whole = (uint64_t)llrintl((long double)value * (long double)ten[places]);
        if ((float)(sign * nearest(whole, -places) - origin) == target)
            break;
    }
    return layout(at, whole, -places);
}
