#include <stdio.h>
#include <string.h>

#include "op/near.h"
#include "tui/cli.h"
#include "tui/manual.h"

static int no_such(const char *name)
{
    struct near near = {0};
    for (int i = 0; command_row(i); i++)
        near_try(&near, name, command_row(i)->name);
    for (size_t i = 0; op_row(i); i++)
        near_try(&near, name, op_row(i)->name);
    if (near.name)
        return cli_complain(STATUS_USAGE, "\"%s\": no such command or operation; did you mean %s?",
                            name, near.name);
    return cli_complain(
        STATUS_USAGE, "\"%s\": no such command or operation; fettle help and fettle ops list them",
        name);
}

static int help_command(struct command_call *call)
{
    const char *name = call->count ? call->word[0] : NULL;
    const struct command *command = name ? command_named(name) : NULL;
    const struct op *op = name ? op_named(name, strlen(name)) : NULL;
    if (call->options->given[OPTION_MAN])
        manual_page(stdout);
    else if (call->options->given[OPTION_COMPLETION])
        manual_completion(stdout);
    else if (command)
        manual_command(stdout, command);
    else if (op)
        manual_op(stdout, op);
    else if (name && strcmp(name, "keys") == 0)
        manual_keys(stdout);
    else if (name)
        return no_such(name);
    else
        manual_program(stdout);
    return 0;
}

static const enum cli_option options[] = {OPTION_MAN, OPTION_COMPLETION, OPTION_NONE};

const struct command command_help = {
    .name = "help",
    .usage = "help [NAME | keys]",
    .help = "tell what a command or an operation does",
    .manual = "Without NAME: what the program can do; keys: all keys of the screen. --man writes "
              "the manual page, --completion "
              "the script that completes words in bash.",
    .options = options,
    .least = 0,
    .most = 1,
    .run = help_command,
};
