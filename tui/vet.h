/* What a line is asked before it runs from the screen: things that are right without a screen,
 * but not with one. */
#ifndef FETTLE_TUI_VET_H
#define FETTLE_TUI_VET_H

#include <stdbool.h>
#include <stddef.h>

struct app;

struct written { /* files that this session wrote: it may write over them again */
    char **path;
    size_t count;
};

/* Whether the line may run now. False: it was refused, or the user is being asked whether a file
 * may be written over, and it runs when the answer is yes. */
bool vet_line(struct app *app, const char *line);

/* Remembers what a line that ran has written. */
void vet_done(struct app *app, const char *line);

void vet_release(struct app *app);

#endif
