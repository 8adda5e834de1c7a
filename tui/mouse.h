/* The mouse, where there is one: drag turns, the wheel comes nearer, a click puts a point. */
#ifndef FETTLE_TUI_MOUSE_H
#define FETTLE_TUI_MOUSE_H

struct app;

void mouse_begin(void);
void mouse_end(void);
void mouse_event(struct app *app);

#endif
