/* What somebody meant who mistyped a name. */
#ifndef FETTLE_OP_NEAR_H
#define FETTLE_OP_NEAR_H

#include <stddef.h>

struct near {         /* begin with {0} */
    const char *name; /* the nearest candidate so far that is near enough; NULL: none */
    size_t distance;
};

/* Considers a candidate: near enough is one slip (a letter missing, too many, wrong, or two
 * swapped) in three letters, or a beginning of it. The first of equally near ones stays. */
void near_try(struct near *near, const char *word, const char *candidate);

#endif
