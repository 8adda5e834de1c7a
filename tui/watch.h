/* Somebody who watches a long job for a command without a screen: Ctrl-C cancels it, and what it
 * does is shown on standard error when that is a terminal, from 0.3 s on, in one line. */
#ifndef FETTLE_TUI_WATCH_H
#define FETTLE_TUI_WATCH_H

#include <stdbool.h>

#include "core/job.h"

struct watch;

/* Begins watching; from here on SIGINT, SIGTERM and SIGHUP cancel (call it before any thread is
 * made). NULL when there is no memory or no thread: then nobody watches, and all calls below do
 * nothing. */
struct watch *watch_begin(bool quiet);
void watch_end(struct watch *watch);

/* The job that runs now, and what it is about ("gate.stl"; NULL: nothing in particular), both kept
 * by the caller until the next call. A job given after a cancel is cancelled at once. job NULL:
 * none runs, and the line is cleared. */
void watch_job(struct watch *watch, struct job *job, const char *about);

/* Around printing: clears the line, and keeps it away. */
void watch_hush(struct watch *watch);
void watch_go_on(struct watch *watch);

/* Whether somebody wanted it to stop. */
bool watch_cancelled(struct watch *watch);

#endif
