#include <stdio.h>

#include "op/op.h"
#include "tui/cli.h"
#include "tui/text.h"

static int ops_command(struct command_call *call)
{
    (void)call;
    for (size_t i = 0; op_row(i); i++) {
        int at = printf("%-11s ", op_row(i)->name);
        text_wrap(stdout, op_row(i)->help, at, 12, TEXT_WIDTH);
    }
    printf("\nfettle help NAME tells more of one of them.\n");
    return 0;
}

const struct command command_ops = {
    .name = "ops",
    .usage = "ops",
    .help = "list the operations",
    .manual = "Each is a step of a recipe and a command at the screen's prompt.",
    .least = 0,
    .most = 0,
    .run = ops_command,
};
