/* Suites side by side: each in a runner of its own, several runners at a time. */
#ifndef FETTLE_TESTS_UNIT_BESIDE_H
#define FETTLE_TESTS_UNIT_BESIDE_H

#include <check.h>
#include <stddef.h>

struct suite_row {
    const char *name;
    Suite *(*make)(void);
};

/* How many runners so many suites are worth here (tests/support/runners.h); one where the library
 * is asked for a log or for tests in the runner itself. */
int beside_runners(size_t suites);

/* A test's time is a limit for what hangs, not a measure: the library is told to let each have
 * several times what its suite says, as slow a machine as it may be of which so many runners each
 * have but a share. */
void beside_patience(int runners);

/* Runs them all, `runners` at a time. What each prints comes as one piece, in the order of the
 * rows, then all failures, then the line with which the library closes, of all of them. A runner
 * that ends otherwise than by itself is an error. Returns 0 when there were tests and all have
 * passed. */
int beside_run(const struct suite_row *const *row, size_t suites, int runners);

#endif
