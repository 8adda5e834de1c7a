/* The completion script for bash, written from the tables. */
#include <string.h>

#include "tui/manual.h"

static void command_options(FILE *out, const struct command *command)
{
    for (int i = 1; i < OPTION_COUNT; i++)
        if (!command || command_takes(command, (enum cli_option)i))
            fprintf(out, " --%s", option_row((enum cli_option)i)->name);
}

static void commands(FILE *out)
{
    fputs("    local commands='", out);
    for (int i = 0; command_row(i); i++)
        fprintf(out, "%s%s", i ? " " : "", command_row(i)->name);
    fputs("'\n    local operations='", out);
    for (size_t i = 0; op_row(i); i++)
        fprintf(out, "%s%s", i ? " " : "", op_row(i)->name);
    fputs("'\n", out);
}

static void options(FILE *out)
{
    fputs("    case $command in\n", out);
    for (int i = 0; command_row(i); i++) {
        fprintf(out, "    %s) options='", command_row(i)->name);
        command_options(out, command_row(i));
        fputs("' ;;\n", out);
    }
    fputs("    *) options='", out);
    for (int i = 1; i < OPTION_COUNT; i++)
        if (option_row((enum cli_option)i)->common || i == OPTION_UNIT)
            fprintf(out, " --%s", option_row((enum cli_option)i)->name);
    fputs("' ;;\n    esac\n", out);
}

void manual_completion(FILE *out)
{
    fputs("# Completion of fettle for bash; made by `fettle help --completion`.\n"
          "_fettle()\n{\n"
          "    local word=${COMP_WORDS[COMP_CWORD]} last=${COMP_WORDS[COMP_CWORD-1]}\n"
          "    local command= options= each\n",
          out);
    commands(out);
    fputs("    for each in \"${COMP_WORDS[@]:1:COMP_CWORD-1}\"; do\n"
          "        [[ $each == -* ]] || { command=$each; break; }\n"
          "    done\n",
          out);
    options(out);
    fputs("    COMPREPLY=()\n"
          "    case $last in\n"
          "    --unit) COMPREPLY=($(compgen -W '",
          out);
    for (int unit = 0; unit < UNIT_COUNT; unit++)
        fprintf(out, "%s ", unit_name((enum unit)unit));
    fputs("' -- \"$word\")); return ;;\n"
          "    --threads|--memory|--size|--within) return ;;\n"
          "    esac\n"
          "    if [[ $word == -* ]]; then\n"
          "        COMPREPLY=($(compgen -W \"$options\" -- \"$word\"))\n"
          "    elif [[ $command == help ]]; then\n"
          "        COMPREPLY=($(compgen -W \"$commands $operations\" -- \"$word\"))\n"
          "    else\n"
          "        compopt -o filenames 2>/dev/null\n"
          "        mapfile -t COMPREPLY < <(compgen -f -- \"$word\")\n"
          "        [[ -n $command ]] || COMPREPLY+=($(compgen -W \"$commands\" -- \"$word\"))\n"
          "    fi\n"
          "}\n"
          "complete -F _fettle fettle\n",
          out);
}
