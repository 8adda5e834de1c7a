/* An inspection in words: for scripts and for people. The library prints nothing; both return text
 * that the caller frees, NULL when out of memory. */
#ifndef FETTLE_CHECK_REPORT_H
#define FETTLE_CHECK_REPORT_H

#include "check/check.h"

/* One JSON object on one line, without the line's end: every figure under its name (null when it is
 * not known), then `findings`, each with `check count severity text`. Bytes of a file name that are
 * not UTF-8 become U+FFFD. */
char *inspection_json(const struct inspection *inspection);

/* A page of lines of at most 80 columns in plain ASCII (names of files aside): figures, then
 * findings with what mends them. Lengths are in mm, the size in inches too. */
char *inspection_page(const struct inspection *inspection);

/* "error", "warning", "hint" */
const char *severity_name(enum severity severity);

#endif
