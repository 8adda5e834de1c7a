/* The screen: opens files as pieces of one scene and lets them be looked at and worked on. */
#ifndef FETTLE_TUI_SCREEN_H
#define FETTLE_TUI_SCREEN_H

struct cli_options;

/* Runs until the user quits or the terminal goes away. Returns the program's exit status. */
int screen_main(int files, char **file, const struct cli_options *options);

#endif
