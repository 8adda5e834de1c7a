/* All keys of the screen, from acts.def and ops.def. */
#include <stdio.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/keys.h"
#include "tui/manual.h"
#include "tui/text.h"

static void operations(FILE *out)
{
    fputs("OPERATIONS: the key puts the command into the prompt\n", out);
    for (size_t i = 0; op_row(i); i++) {
        const struct op *op = op_row(i);
        fprintf(out, "  %-4s%-12s", op->key ? op->key : "", op->name);
        text_wrap(out, op->help, 18, 18, TEXT_WIDTH);
    }
}

static void group(FILE *out, enum act_group which, const char *title)
{
    static const char *const tool[] = {"", "pointer: ", "plane: ", ""};
    fprintf(out, "\n%s\n", title);
    for (size_t i = 0; act_row(i); i++) {
        const struct act *act = act_row(i);
        if (act->group != which)
            continue;
        char one[32], two[32], keys[80], line[256];
        snprintf(keys, sizeof keys, "%s%s%s", key_text(act->key, one, sizeof one),
                 act->other ? " or " : "", act->other ? key_text(act->other, two, sizeof two) : "");
        snprintf(line, sizeof line, "%s%s", tool[act->where], act->help);
        fprintf(out, "  %-17s ", keys);
        text_wrap(out, line, 20, 20, TEXT_WIDTH);
    }
}

void manual_keys(FILE *out)
{
    operations(out);
    group(out, GROUP_WORK, "WORK");
    group(out, GROUP_VIEW, "VIEW");
    group(out, GROUP_FINDING, "FINDINGS");
    group(out, GROUP_TOOL, "POINTER AND PLANE");
    fputs("\nIN THE PROMPT\n"
          "  Tab completes; Up and Down bring back earlier lines; @ is the point put last,\n"
          "  @1, @2 ... each of those put (\"pairs\" is offered with all of them); help NAME\n"
          "  shows the manual of an operation; undo, redo and quit are words too\n"
          "\nMOUSE (never needed)\n"
          "  drag turns the part, the wheel comes nearer, a click puts a point\n",
          out);
}
