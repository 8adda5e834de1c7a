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

/* "+ or =" */
static void name_keys(const struct act *act, char *text, size_t size)
{
    char one[32], two[32];
    key_text(act->key, one, sizeof one);
    bool other = act->other && strcmp(key_text(act->other, two, sizeof two), one) != 0;
    snprintf(text, size, "%s%s%s", one, other ? " or " : "", other ? two : "");
}

static void list_act(FILE *out, const struct act *act, const char *before)
{
    char keys[80], line[256];
    name_keys(act, keys, sizeof keys);
    snprintf(line, sizeof line, "%s%s", before, act->help);
    fprintf(out, "  %-17s ", keys);
    text_wrap(out, line, 20, 20, TEXT_WIDTH);
}

static void group(FILE *out, enum act_group which, const char *title)
{
    static const char *const tool[] = {"", "pointer: ", "plane: ", "pairs: ", ""};
    fprintf(out, "\n%s\n", title);
    for (size_t i = 0; act_row(i); i++)
        if (act_row(i)->group == which)
            list_act(out, act_row(i), tool[act_row(i)->where]);
}

void act_list(FILE *out, enum where where)
{
    for (size_t i = 0; act_row(i); i++)
        if (act_row(i)->where == where)
            list_act(out, act_row(i), "");
}

static void paragraph(FILE *out, const char *title, const char *text)
{
    fprintf(out, "\n%s\n  ", title);
    text_wrap(out, text, 2, 4, TEXT_WIDTH);
}

void manual_keys(FILE *out)
{
    operations(out);
    group(out, GROUP_WORK, "WORK");
    group(out, GROUP_VIEW, "VIEW");
    group(out, GROUP_FINDING, "FINDINGS");
    group(out, GROUP_TOOL, "POINTER, PLANE AND PAIRS");
    paragraph(
        out, "IN THE PROMPT",
        "Tab completes; Up and Down bring back earlier lines; @ is the point put last, @1, @2 "
        "... each of those put; help NAME shows the manual of an operation, or the keys that have "
        "to do with a word; undo, redo and quit are words too");
    paragraph(
        out, "MOUSE (never needed)",
        "drag turns the part, the wheel comes nearer to what it is on, a click puts a point (while "
        "a line with @ is typed it puts it elsewhere), chooses in the list of pieces, or goes to a "
        "finding in theirs; of two side by side they mean the one they are on");
    paragraph(
        out, "PIECES",
        "where there are several each has its number on the picture, and where the terminal has "
        "colours its own, of a scale that the colour-blind can tell apart (Okabe & Ito, \"Color "
        "Universal Design\", 2008): orange, sky blue, bluish green, reddish purple, yellow, "
        "vermilion, blue; the eighth is orange again. Terminals of 8 and 16 colours show them as "
        "yellow, cyan, green, magenta, white, red, blue");
}
