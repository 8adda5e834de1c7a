/* A mesh for a command without a screen. */
#ifndef FETTLE_TUI_INPUT_H
#define FETTLE_TUI_INPUT_H

#include <stdio.h>

#include "tui/cli.h"

/* Reads the file as the options want it, watched; a failure is said. */
enum status input_read(const struct command_call *call, const char *path, struct file *out,
                       struct job *job);

/* The names that `check --json` has for them. */
const char *input_unit_source(const struct file *file);
const char *input_colour(const struct file *file);

/* The job's notes, each line behind `before`; they are then taken off the job. */
void input_notes(FILE *out, const char *before, struct job *job);

#endif
