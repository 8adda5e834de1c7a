#include "op/number.h"

#include <ctype.h>
#include <locale.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static size_t digits(const char *text)
{
    size_t n = 0;
    while (isdigit((unsigned char)text[n]))
        n++;
    return n;
}

/* How long the number is at the start of text; *mantissa: without its exponent. */
static size_t number_length(const char *text, size_t *mantissa)
{
    size_t n = text[0] == '+' || text[0] == '-', whole = digits(text + n), part = 0;
    n += whole;
    if (text[n] == '.') {
        part = digits(text + n + 1);
        n += 1 + part;
    }
    if (whole + part == 0)
        return 0;
    *mantissa = n;
    if (text[n] == 'e' || text[n] == 'E') {
        size_t sign = text[n + 1] == '+' || text[n + 1] == '-', power = digits(text + n + 1 + sign);
        if (power)
            n += 1 + sign + power;
    }
    return n;
}

enum { DIGITS_MOST = 400 }; /* more than any double needs to be told from its neighbours */

size_t number_read(const char *text, int shift, double *out)
{
    size_t mantissa = 0, length = number_length(text, &mantissa);
    if (length == 0 || mantissa > DIGITS_MOST || length - mantissa > 12)
        return 0;
    char plain[DIGITS_MOST + 24];
    long power = length > mantissa ? strtol(text + mantissa + 1, NULL, 10) : 0;
    memcpy(plain, text, mantissa);
    snprintf(plain + mantissa, sizeof plain - mantissa, "e%ld", power + shift);
    locale_t c = newlocale(LC_ALL_MASK, "C", (locale_t)0); /* glibc: a constant, never allocated */
    if (!c)
        return 0;
    *out = strtod_l(plain, NULL, c);
    freelocale(c);
    return isfinite(*out) ? length : 0;
}

/* d.ddd * 10^power from the digits alone, in the form that is shorter to read. */
static void lay_out(const char *digit, int count, int power, char *out)
{
    if (power < -5 || power > 15) {
        *out++ = digit[0];
        if (count > 1)
            out += sprintf(out, ".%.*s", count - 1, digit + 1);
        sprintf(out, "e%d", power);
        return;
    }
    if (power < 0) {
        out += sprintf(out, "0.");
        for (int i = -1; i > power; i--)
            *out++ = '0';
    }
    for (int i = 0; i < count || i <= power; i++) {
        if (i == power + 1 && power >= 0)
            *out++ = '.';
        *out++ = i < count ? digit[i] : '0';
    }
    *out = '\0';
}

void number_text(double number, int shift, char out[NUMBER_SIZE])
{
    if (signbit(number) && number != 0)
        *out++ = '-';
    number = fabs(number);
    char text[40], digit[20];
    for (int precision = 0; precision < 17; precision++) {
        snprintf(text, sizeof text, "%.*e", precision, number);
        if (strtod(text, NULL) == number)
            break;
    }
    int count = 0;
    const char *power = strchr(text, 'e');
    for (const char *c = text; c < power && count < 19; c++)
        if (isdigit((unsigned char)*c)) /* the point may be a comma in this locale */
            digit[count++] = *c;
    while (count > 1 && digit[count - 1] == '0')
        count--;
    digit[count] = '\0';
    lay_out(digit, count, number == 0 ? 0 : atoi(power + 1) + shift, out);
}
