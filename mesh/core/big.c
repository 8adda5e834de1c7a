#include "core/big.h"

#include <assert.h>
#include <stdbool.h>
#include <string.h>

static void trim(struct big *a)
{
    while (a->limbs > 0 && a->limb[a->limbs - 1] == 0)
        a->limbs--;
    if (a->limbs == 0)
        a->sign = 0;
}

struct big big_of(wide value)
{
    struct big a = {.sign = value < 0 ? -1 : value > 0, .limbs = 2};
    unsigned_wide size = value < 0 ? -(unsigned_wide)value : (unsigned_wide)value;
    a.limb[0] = (uint64_t)size;
    a.limb[1] = (uint64_t)(size >> 64);
    trim(&a);
    return a;
}

static int compare_size(const struct big *a, const struct big *b)
{
    if (a->limbs != b->limbs)
        return a->limbs > b->limbs ? 1 : -1;
    for (int i = a->limbs; i-- > 0;)
        if (a->limb[i] != b->limb[i])
            return a->limb[i] > b->limb[i] ? 1 : -1;
    return 0;
}

static void add_size(struct big *sum, const struct big *a, const struct big *b)
{
    int most = a->limbs > b->limbs ? a->limbs : b->limbs;
    uint64_t carry = 0;
    for (int i = 0; i < most; i++) {
        unsigned_wide s = (unsigned_wide)(i < a->limbs ? a->limb[i] : 0) +
                          (i < b->limbs ? b->limb[i] : 0) + carry;
        sum->limb[i] = (uint64_t)s;
        carry = (uint64_t)(s >> 64);
    }
    assert(most < BIG_LIMBS || !carry);
    if (carry)
        sum->limb[most++] = carry;
    sum->limbs = most;
}

/* a is not smaller than b. */
static void sub_size(struct big *rest, const struct big *a, const struct big *b)
{
    uint64_t borrow = 0;
    for (int i = 0; i < a->limbs; i++) {
        unsigned_wide from = a->limb[i], less = (unsigned_wide)(i < b->limbs ? b->limb[i] : 0);
        rest->limb[i] = (uint64_t)(from - less - borrow);
        borrow = from < less + borrow;
    }
    rest->limbs = a->limbs;
    trim(rest);
}

static struct big add_signed(const struct big *a, const struct big *b, int sign_of_b)
{
    struct big sum;
    if (!sign_of_b)
        return *a;
    sum.sign = sign_of_b;
    if (!a->sign) {
        sum.limbs = b->limbs;
        memcpy(sum.limb, b->limb, (size_t)b->limbs * sizeof *b->limb);
    } else if (a->sign == sign_of_b) {
        add_size(&sum, a, b);
    } else if (compare_size(a, b) >= 0) {
        sum.sign = a->sign;
        sub_size(&sum, a, b);
    } else {
        sub_size(&sum, b, a);
    }
    return sum;
}

struct big big_add(const struct big *a, const struct big *b)
{
    return add_signed(a, b, b->sign);
}

struct big big_sub(const struct big *a, const struct big *b)
{
    return add_signed(a, b, -b->sign);
}

struct big big_mul(const struct big *a, const struct big *b)
{
    struct big product = {.sign = a->sign * b->sign, .limbs = a->limbs + b->limbs};
    if (!product.sign)
        return (struct big){0};
    assert(product.limbs <= BIG_LIMBS);
    for (int i = 0; i < a->limbs; i++) {
        uint64_t carry = 0;
        for (int k = 0; k < b->limbs; k++) {
            unsigned_wide p = (unsigned_wide)a->limb[i] * b->limb[k] + product.limb[i + k] + carry;
            product.limb[i + k] = (uint64_t)p;
            carry = (uint64_t)(p >> 64);
        }
        product.limb[i + b->limbs] = carry;
    }
    trim(&product);
    return product;
}

static struct big shifted(const struct big *a, int by)
{
    struct big one = {.sign = 1, .limbs = by / 64 + 1};
    one.limb[by / 64] = (uint64_t)1 << by % 64;
    return big_mul(a, &one);
}

/* Bit by bit: the quotient is short. */
int64_t big_floor(const struct big *n, const struct big *d, int shift)
{
    struct big rest = shifted(n, shift), part;
    int bits = 62;
    uint64_t quotient = 0;
    bool below = rest.sign < 0;
    rest.sign = rest.sign != 0;
    for (int bit = bits; bit >= 0; bit--) {
        if (64 * (d->limbs - 1) + bit >= 64 * (rest.limbs + 1))
            continue;
        part = shifted(d, bit);
        if (rest.sign && compare_size(&rest, &part) >= 0) {
            sub_size(&rest, &rest, &part);
            quotient |= (uint64_t)1 << bit;
        }
    }
    return below ? -(int64_t)quotient - (rest.sign != 0) : (int64_t)quotient;
}
