/* Threads for loops, started while there is memory for them. */
#ifndef FETTLE_TUI_THREADS_H
#define FETTLE_TUI_THREADS_H

/* For a thread that will run jobs: starts those that its loops will use (0: one a core), because the
 * OpenMP runtime ends the program when it cannot start one later. Returns how many to use: `wanted`,
 * or 1 when there is no memory for so many. */
int threads_start(int wanted);

#endif
