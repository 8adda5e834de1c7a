/* The distance is that of optimal string alignment: Damerau 1964, "A technique for computer
 * detection and correction of spelling errors". */
#include "op/near.h"

#include <string.h>

enum { LONGEST = 40 };

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

static size_t slips(const char *a, size_t n, const char *b, size_t m)
{
    size_t row[3][LONGEST + 1]; /* rows i, i - 1, i - 2 in turn */
    for (size_t j = 0; j <= m; j++)
        row[0][j] = j;
    for (size_t i = 1; i <= n; i++) {
        size_t *now = row[i % 3], *last = row[(i + 2) % 3], *before = row[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= m; j++) {
            now[j] = least(last[j - 1] + (a[i - 1] != b[j - 1]), least(last[j], now[j - 1]) + 1);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                now[j] = least(now[j], before[j - 2] + 1);
        }
    }
    return row[n % 3][m];
}

void near_try(struct near *near, const char *word, const char *candidate)
{
    size_t n = strlen(word), m = strlen(candidate);
    if (n == 0 || n > LONGEST || m > LONGEST)
        return;
    size_t distance = slips(word, n, candidate, m);
    if (n >= 2 && strncmp(word, candidate, n) == 0)
        distance = 1;
    if (distance > (m < 3 ? 0 : m / 3) || (near->name && distance >= near->distance))
        return;
    near->name = candidate;
    near->distance = distance;
}
