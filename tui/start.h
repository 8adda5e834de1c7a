/* How the screen begins and ends: the session, the files, an unfinished journal. */
#ifndef FETTLE_TUI_START_H
#define FETTLE_TUI_START_H

struct app;
struct cli_options;

/* Opens the session; returns 0 or the program's exit status, having said why. */
int start_session(struct app *app, const struct cli_options *options);

int start_threads(const struct cli_options *options);

/* Opens the files in the background; offers to go on with what a lost session left. */
void start_files(struct app *app, int files, char **file);

/* Lets everything go; the journal is closed as finished, unless the terminal was lost. */
void start_end(struct app *app);

#endif
