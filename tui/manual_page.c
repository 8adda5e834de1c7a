/* The manual page: man(7) macros, written from the tables. */
#include <stdlib.h>
#include <string.h>

#include "tui/manual.h"
#include "tui/text.h"

/* Text with what troff would take for its own made plain. */
static void plain(FILE *out, const char *text)
{
    for (const char *c = text; *c; c++) {
        if ((*c == '.' || *c == '\'') && (c == text || c[-1] == '\n'))
            fputs("\\&", out);
        if (*c == '\\')
            fputs("\\e", out);
        else if (*c == '-')
            fputs("\\-", out);
        else if (*c == '`')
            fputs("\\(ga", out);
        else if (*c == '\'')
            fputs("\\(aq", out);
        else if (*c == '~')
            fputs("\\(ti", out);
        else if (*c == '"')
            fputs("\\(dq", out);
        else
            fputc(*c, out);
    }
}

static void section(FILE *out, const char *title)
{
    fprintf(out, ".SH %s\n", title);
}

static void entry(FILE *out, const char *term)
{
    fputs(".TP\n\\fB", out);
    plain(out, term);
    fputs("\\fR\n", out);
}

static void paragraph(FILE *out, const char *text)
{
    plain(out, text);
    fputc('\n', out);
}

static void commands(FILE *out)
{
    section(out, "COMMANDS");
    entry(out, "fettle FILE...");
    paragraph(out, "Opens the files as pieces of one scene, on the screen.");
    for (int i = 0; command_row(i); i++) {
        char *term = NULL;
        if (asprintf(&term, "fettle %s", command_row(i)->usage) < 0)
            continue;
        entry(out, term);
        free(term);
        paragraph(out, command_row(i)->manual);
    }
}

static void options(FILE *out)
{
    section(out, "OPTIONS");
    for (int i = 1; i < OPTION_COUNT; i++) {
        const struct option_row *row = option_row((enum cli_option)i);
        char term[80] = "";
        if (row->letter)
            snprintf(term, sizeof term, "-%c, ", row->letter);
        snprintf(term + strlen(term), sizeof term - strlen(term), "--%s%s%s", row->name,
                 row->argument ? " " : "", row->argument ? row->argument : "");
        entry(out, term);
        paragraph(out, row->help);
    }
}

static void operation(FILE *out, const struct op *op)
{
    char *usage = op_usage(op);
    fprintf(out, ".SS %s\n", op->name);
    fputs("\\fB", out);
    plain(out, usage ? usage : op->name);
    fputs("\\fR\n.PP\nSuch as: \\fB", out);
    free(usage);
    plain(out, op->example);
    fputs("\\fR\n.PP\n", out);
    paragraph(out, op->manual);
    for (const struct param *param = op->params; param && param->name; param++) {
        char what[MANUAL_PARAM];
        manual_param(param, what);
        entry(out, param->name);
        plain(out, param->help);
        fputs(" (", out);
        plain(out, what);
        fputs(")\n", out);
    }
}

static void operations(FILE *out)
{
    section(out, "OPERATIONS");
    paragraph(out, "Each is a step of a recipe and a command at the screen's prompt. Values with "
                   "blanks or # in them stand in double quotes.");
    for (size_t i = 0; op_row(i); i++)
        operation(out, op_row(i));
}

static void formats(FILE *out)
{
    section(out, "FORMATS");
    for (size_t i = 0; format_row(i); i++) {
        entry(out, format_row(i)->name);
        plain(out, format_row(i)->title);
        fputs(" (", out);
        plain(out, format_row(i)->extensions);
        fputs(")\n", out);
    }
}

static void exit_statuses(FILE *out)
{
    section(out, "EXIT STATUS");
    entry(out, "0");
    paragraph(out, "done; for check: sound");
    entry(out, "1");
    paragraph(out, "check found faults, or compare went beyond its tolerance");
    for (int i = 1, last = 0; i < STATUS_COUNT; i++) {
        char number[16];
        int status = status_exit((enum status)i);
        snprintf(number, sizeof number, "%d", status);
        if (status != last)
            entry(out, number);
        else
            fputs(".br\n", out);
        paragraph(out, status_meaning((enum status)i));
        last = status;
    }
}

static void files(FILE *out)
{
    section(out, "FILES");
    entry(out, "$XDG_STATE_HOME/fettle, else ~/.local/state/fettle");
    paragraph(out,
              "The journals: recipes of what was done on the screen. One whose session was cut "
              "off is offered at the next start.");
    section(out, "ENVIRONMENT");
    entry(out, "TMPDIR");
    paragraph(out, "Where undo steps go that take too much memory; else /var/tmp.");
    entry(out, "NO_COLOR");
    paragraph(out, "When it is set, draw uses no colour unless it is told to.");
}

void manual_page(FILE *out)
{
    fputs(".TH FETTLE 1 \"\" \"fettle " FETTLE_VERSION "\" \"User commands\"\n", out);
    section(out, "NAME");
    fputs("fettle \\- make scanned triangle meshes fit to print\n", out);
    section(out, "SYNOPSIS");
    fputs(".nf\nfettle FILE...\n", out);
    for (int i = 0; command_row(i); i++) {
        fputs("fettle ", out);
        paragraph(out, command_row(i)->usage);
    }
    fputs(".fi\n", out);
    section(out, "DESCRIPTION");
    paragraph(out, "fettle trims and cleans the triangle meshes that 3D scanners leave until they "
                   "are fit to print: on the screen of a terminal, or without one by recipes. "
                   "Standard input is read where FILE is -.");
    commands(out);
    options(out);
    operations(out);
    formats(out);
    exit_statuses(out);
    files(out);
}
