/* Files that another program cuts off while they are read: their pages are gone, and touching
 * them (SIGBUS) would end the program. The pages are filled with zeros instead, and the job that
 * reads ends with an error. */
#ifndef FETTLE_TUI_FAULT_H
#define FETTLE_TUI_FAULT_H

struct job;

enum fault_place { FAULT_COMMAND, FAULT_WORK, FAULT_PLACES };

/* Takes the signal. */
void fault_begin(void);

/* Whose file it may be from now on; NULL: nobody's. */
void fault_watch(enum fault_place place, struct job *job);

#endif
