/* How many processes of tests run side by side. */
#ifndef FETTLE_TESTS_RUNNERS_H
#define FETTLE_TESTS_RUNNERS_H

/* As many as there are cores and memory for, `most` at the most, one at least; FETTLE_RUNNERS,
 * where that is set, instead of what the machine has. */
int runners_wanted(int most);

/* In a process just forked from `parent`: ends with it. */
void runners_end_with(int parent);

#endif
