/* The command line: options and commands, each from its table. */
#ifndef FETTLE_TUI_CLI_H
#define FETTLE_TUI_CLI_H

#include <stdbool.h>
#include <stdint.h>

#include "core/job.h"
#include "format/format.h"

#define FETTLE_VERSION "0.1.0"

enum cli_option {
    OPTION_NONE,
#define OPTION(symbol, name, letter, argument, common, help) OPTION_##symbol,
#include "tui/options.def"
#undef OPTION
    OPTION_COUNT
};

struct option_row {
    const char *name;
    char letter;
    const char *argument;
    bool common;
    const char *help;
};
const struct option_row *option_row(enum cli_option option); /* OPTION_NONE has none */

struct cli_options {
    bool given[OPTION_COUNT];
    enum unit unit;     /* UNIT_NONE: not given */
    const char *output; /* NULL: not given */
    double within;      /* mm; negative: not given */
    int columns, rows;  /* 0: not given */
    const char *view;   /* NULL: not given */
    int colours;        /* -1: auto; 0 none, 8, 16, 256, 1 << 24 */
    const char *glyphs; /* NULL: auto */
    int threads;        /* 0: one a core */
    uint64_t memory;    /* bytes; 0: no limit */
    bool json, quiet, over;
};

/* Takes the options out of the words: count and word are left with the others, in their order.
 * Everything behind "--" is a word. False: something is wrong and has been said. */
bool options_take(int *count, char **word, struct cli_options *out);

/* A job as the options want it. */
void options_job(const struct cli_options *options, struct job *job);

struct watch;

struct command_call {
    int count; /* words behind the command's name */
    char **word;
    const struct cli_options *options;
    struct watch *watch;
};

struct command {
    const char *name;
    const char *usage; /* "check [--json] FILE..." */
    const char *help;  /* one line */
    const char *manual;
    const enum cli_option *options;        /* beside the common ones; ends with OPTION_NONE */
    int least, most;                       /* how many words it takes; most -1: any */
    int (*run)(struct command_call *call); /* returns the exit status */
};

/* The table; NULL past the end. By name, or NULL. */
const struct command *command_row(int i);
const struct command *command_named(const char *name);
bool command_takes(const struct command *command, enum cli_option option);

/* Says what is wrong on standard error, as "fettle: ..."; returns the exit status. */
int cli_complain(enum status status, const char *format, ...) __attribute__((format(printf, 2, 3)));
int cli_complain_job(const struct job *job, enum status status);

#endif
