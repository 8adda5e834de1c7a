/* What scripts rely on. */
#ifndef FETTLE_TESTS_CONTRACT_H
#define FETTLE_TESTS_CONTRACT_H

/* The names in `check --json`. */
enum { CONTRACT = 26 };
extern const char *const contract[CONTRACT];

#endif
