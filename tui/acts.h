/* What keys do: the rows of acts.def and the functions behind them. */
#ifndef FETTLE_TUI_ACTS_H
#define FETTLE_TUI_ACTS_H

#include <stddef.h>
#include <stdio.h>

#include "tui/app.h"

enum act_group { GROUP_WORK, GROUP_VIEW, GROUP_FINDING, GROUP_TOOL, GROUP_COUNT };

struct act {
    const char *name;
    enum where where;
    int key, other;
    enum act_group group;
    const char *hint; /* NULL: none */
    const char *help;
    void (*run)(struct app *app);
};

const struct act *act_row(size_t i); /* NULL past the end */

/* What the key does at this place: a row of it, or one that is for always; NULL: none. */
const struct act *act_for(enum where where, int key);

/* The operation that the key starts, or NULL. */
const struct op *act_operation(int key);

/* The line an operation's key puts into the prompt: its name, the points that are put where it
 * wants a place, and its defaults where the first parameter has one; what has none (a file, a
 * target) is what the user types next. */
void act_operation_line(const struct app *app, const struct op *op, char *line, size_t size);

/* The same with other values in the place of the points: "at=1,2,3 ", or "". */
void act_line_with(const struct op *op, const char *values, char *line, size_t size);

/* The operation's parameter that takes a place, or several; NULL: none does. */
const struct param *act_place_param(const struct op *op);

/* Lists the keys of one place with their help. */
void act_list(FILE *out, enum where where);

/* The rows' functions. */
#define ACT(symbol, where, key, other, group, hint, help) void act_##symbol(struct app *app);
#include "tui/acts.def"
#undef ACT

#endif
