#include <stdio.h>

#include "tui/cli.h"
#include "tui/text.h"

static int formats_command(struct command_call *call)
{
    (void)call;
    for (size_t i = 0; format_row(i); i++) {
        const struct format *row = format_row(i);
        const char *ways = row->read && row->write ? "reads, writes"
                           : row->read             ? "reads"
                                                   : "writes";
        int at = printf("%-6s %-14s ", row->name, ways);
        text_wrap(stdout, row->title, at, 22, TEXT_WIDTH);
        printf("%21s endings: %s\n", "", row->extensions);
    }
    putchar('\n');
    text_wrap(
        stdout,
        "A file is known by its content. One inside gz, bz2, xz, zst, zip, 7z or tar opens directly; "
        "where there are several: archive.zip//member.",
        0, 0, TEXT_WIDTH);
    return 0;
}

const struct command command_formats = {
    .name = "formats",
    .usage = "formats",
    .help = "list the file formats",
    .manual = "Which kinds of file are read and written, and the endings their names have.",
    .least = 0,
    .most = 0,
    .run = formats_command,
};
