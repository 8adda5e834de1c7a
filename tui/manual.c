#include "tui/manual.h"

#include <stdlib.h>
#include <string.h>

#include "op/number.h"
#include "tui/text.h"

/* --- parameters ----------------------------------------------------------------------------- */

static const char *kind_text(const struct param *param)
{
    switch (param->kind) {
    case PARAM_FLAG:
        return "yes or no";
    case PARAM_COUNT:
        return "a whole number";
    case PARAM_NUMBER:
        return "a number";
    case PARAM_LENGTH:
        return "a length: mm, or with a unit";
    case PARAM_ANGLE:
        return "an angle in degrees";
    case PARAM_SHARE:
        return "a share, such as 10%";
    case PARAM_SIZE:
        return "a length, or a share such as 10%";
    case PARAM_VEC:
    case PARAM_PLACE:
        return "x,y,z: mm, or each with a unit";
    case PARAM_BOX:
        return "AxBxC: three lengths, mm, or each with a unit";
    case PARAM_DIRECTION:
        return "a direction: x,y,z, or x y z -x -y -z";
    case PARAM_PAIRS:
        return "x,y,z:x,y,z;...: pairs of points, mm, or each with a unit";
    case PARAM_PLACES:
        return "x,y,z;...: points, mm, or each with a unit";
    case PARAM_CHOICE:
        return "one of";
    case PARAM_PATH:
        return "a file";
    case PARAM_PIECE:
        return "a piece's number, or all";
    case PARAM_TEXT:
        break;
    }
    return "text";
}

static void range_text(const struct param *param, char *out)
{
    char least[NUMBER_SIZE], most[NUMBER_SIZE];
    int shift = param->kind == PARAM_SHARE ? 2 : 0;
    const char *unit = shift ? "%" : "";
    out[0] = '\0';
    if (param->least == 0 && param->most == 0)
        return;
    number_text(param->least, shift, least);
    if (param->most >= 1e300) {
        sprintf(out, "; %s%s or more", least, unit);
        return;
    }
    number_text(param->most, shift, most);
    sprintf(out, "; %s%s to %s%s", least, unit, most, unit);
}

void manual_param(const struct param *param, char out[MANUAL_PARAM])
{
    char range[2 * NUMBER_SIZE + 16];
    bool required = param->need == REQUIRED || param->need == REQUIRED_POSITIONAL;
    range_text(param, range);
    snprintf(out, MANUAL_PARAM, "%s%s%.60s%s%s%.40s", kind_text(param), param->choices ? " " : "",
             param->choices ? param->choices : "", range,
             required          ? "; must be given"
             : param->standard ? "; else "
                               : "",
             !required && param->standard ? param->standard : "");
}

/* --- operations ----------------------------------------------------------------------------- */

static void op_param(FILE *out, const struct param *param)
{
    char what[MANUAL_PARAM];
    int at = fprintf(out, "  %-11s ", param->name);
    manual_param(param, what);
    text_wrap(out, param->help, at, 14, TEXT_WIDTH);
    fprintf(out, "%14s", "");
    text_wrap(out, what, 14, 14, TEXT_WIDTH);
}

void manual_op(FILE *out, const struct op *op)
{
    char *usage = op_usage(op);
    fprintf(out, "%s: %s\n\n  ", op->name, op->help);
    text_wrap(out, usage ? usage : op->name, 2, 6, TEXT_WIDTH);
    free(usage);
    fprintf(out, "\n  such as: %s%s\n\n", op->example,
            strchr(op->example, '@') ? "   (@: a point put)" : "");
    text_wrap(out, op->manual, 0, 0, TEXT_WIDTH);
    if (op->params && op->params[0].name)
        fputc('\n', out);
    for (const struct param *param = op->params; param && param->name; param++)
        op_param(out, param);
}

/* --- commands ------------------------------------------------------------------------------- */

static void option_line(FILE *out, enum cli_option option)
{
    const struct option_row *row = option_row(option);
    char name[64] = "";
    if (row->letter)
        snprintf(name, sizeof name, "-%c, ", row->letter);
    snprintf(name + strlen(name), sizeof name - strlen(name), "--%s%s%s", row->name,
             row->argument ? " " : "", row->argument ? row->argument : "");
    int at = fprintf(out, "  %-19s ", name);
    text_wrap(out, row->help, at, 22, TEXT_WIDTH);
}

void manual_command(FILE *out, const struct command *command)
{
    fprintf(out, "fettle %s: %s\n\n  fettle ", command->name, command->help);
    text_wrap(out, command->usage, 9, 13, TEXT_WIDTH);
    fputc('\n', out);
    text_wrap(out, command->manual, 0, 0, TEXT_WIDTH);
    fputc('\n', out);
    for (int i = 1; i < OPTION_COUNT; i++)
        if (command_takes(command, (enum cli_option)i))
            option_line(out, (enum cli_option)i);
}

/* --- the program ---------------------------------------------------------------------------- */

static const char about[] = "fettle trims and cleans the triangle meshes that 3D scanners leave "
                            "until they are fit to print.";

static void usage_line(FILE *out, const char *usage, const char *help)
{
    int at = fprintf(out, "  fettle %-32s ", usage);
    if (at > 42) {
        fputc('\n', out);
        at = fprintf(out, "%42s", "");
    }
    text_wrap(out, help, at, 42, TEXT_WIDTH);
}

void manual_program(FILE *out)
{
    text_wrap(out, about, 0, 0, TEXT_WIDTH);
    fputc('\n', out);
    usage_line(out, "FILE...", "open the files as pieces on the screen");
    for (int i = 0; command_row(i); i++)
        usage_line(out, command_row(i)->usage, command_row(i)->help);
    fputc('\n', out);
    for (int i = 1; i < OPTION_COUNT; i++)
        if (option_row((enum cli_option)i)->common || i == OPTION_UNIT)
            option_line(out, (enum cli_option)i);
    fputc('\n', out);
    text_wrap(out,
              "- as FILE is standard input. fettle help NAME tells more of a command or an "
              "operation; fettle ops lists the operations.",
              0, 0, TEXT_WIDTH);
}
