#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "tui/cli.h"
#include "tui/text.h"

#define COMMAND(symbol) extern const struct command command_##symbol;
#include "tui/commands.def"
#undef COMMAND

static const struct command *const rows[] = {
#define COMMAND(symbol) &command_##symbol,
#include "tui/commands.def"
#undef COMMAND
    NULL};

const struct command *command_row(int i)
{
    return rows[i];
}

const struct command *command_named(const char *name)
{
    for (int i = 0; rows[i]; i++)
        if (strcmp(rows[i]->name, name) == 0)
            return rows[i];
    return NULL;
}

bool command_takes(const struct command *command, enum cli_option option)
{
    if (option_row(option)->common)
        return true;
    for (const enum cli_option *o = command->options; o && *o != OPTION_NONE; o++)
        if (*o == option)
            return true;
    return false;
}

int cli_complain(enum status status, const char *format, ...)
{
    char text[1024];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    text_tame(text, false);
    fprintf(stderr, "fettle: %s\n", text);
    return status_exit(status);
}

int cli_complain_job(const struct job *job, enum status status)
{
    return cli_complain(status, "%s", job->message[0] ? job->message : status_meaning(status));
}
