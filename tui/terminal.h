/* Whether the terminal can bear the screen. */
#ifndef FETTLE_TUI_TERMINAL_H
#define FETTLE_TUI_TERMINAL_H

/* 0, or the exit status of a complaint: TERM names no terminal that is known here, or one that cannot
 * place its cursor. */
int terminal_complaint(void);

#endif
