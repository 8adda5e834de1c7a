/* Sums that lose nothing to rounding but their last digit. */
#ifndef FETTLE_CORE_SUM_H
#define FETTLE_CORE_SUM_H

/* The total is value + lost. Compensated (Ogita, Rump & Oishi 2005, with Knuth's exact sum of two);
 * infinities are not for it. */
struct sum {
    double value, lost;
};

static inline void sum_add(struct sum *sum, double x)
{
    double s = sum->value + x, part = s - sum->value;
    sum->lost += (sum->value - (s - part)) + (x - part);
    sum->value = s;
}
static inline double sum_total(struct sum sum)
{
    return sum.value + sum.lost;
}

#endif
