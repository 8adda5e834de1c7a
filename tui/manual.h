/* What the tables say, in words: the help texts, the manual page and the completion script. */
#ifndef FETTLE_TUI_MANUAL_H
#define FETTLE_TUI_MANUAL_H

#include <stdio.h>

#include "op/op.h"
#include "tui/cli.h"

/* What a parameter takes: "a length, mm or with a unit; 0 or more; else 5". */
enum { MANUAL_PARAM = 256 };
void manual_param(const struct param *param, char out[MANUAL_PARAM]);

/* The whole of an operation, of a command, and of the program, at most 80 columns wide. */
void manual_op(FILE *out, const struct op *op);
void manual_command(FILE *out, const struct command *command);
void manual_program(FILE *out);

/* All keys of the screen. */
void manual_keys(FILE *out);

/* For man(1) and for bash. */
void manual_page(FILE *out);
void manual_completion(FILE *out);

#endif
