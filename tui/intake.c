#include "tui/intake.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "op/keep.h"
#include "scene/journal.h"
#include "tui/cli.h"

static int held = -1; /* the file, locked; there is one standard input */

static int fail(const char *path)
{
    return cli_complain(STATUS_FILE,
                        "\"%s\": standard input cannot be kept there: %s; save it as a file first",
                        path, strerror(errno));
}

static int keep(char **path)
{
    char *folder = journal_folder();
    held = folder ? journal_input(folder, path) : -1;
    if (held < 0) {
        int status = fail(folder ? folder : "the state folder");
        free(folder);
        return status;
    }
    free(folder);
    if (isatty(STDERR_FILENO))
        fputs("fettle: reading standard input ...\n", stderr);
    return copy_bytes(STDIN_FILENO, held) && fsync(held) == 0 ? 0 : fail(*path);
}

void intake_end(void)
{
    if (held >= 0)
        close(held);
    held = -1;
}

static int take_terminal(void)
{
    int fd = open("/dev/tty", O_RDWR);
    if (fd < 0 || dup2(fd, STDIN_FILENO) < 0)
        return cli_complain(
            STATUS_USAGE,
            "\"-\": there is no terminal for the screen; without one: fettle check -");
    close(fd);
    return 0;
}

int intake(int count, char **word)
{
    int found = -1;
    for (int i = 0; i < count; i++) {
        if (strcmp(word[i], "-") != 0)
            continue;
        if (found >= 0)
            return cli_complain(STATUS_USAGE,
                                "\"-\": standard input can be opened once; leave one out");
        found = i;
    }
    if (found < 0)
        return 0;
    if (isatty(STDIN_FILENO))
        return cli_complain(
            STATUS_USAGE,
            "\"-\": standard input is the terminal; send a file into it: ... | fettle -");
    char *path = NULL;
    int status = keep(&path);
    if (status == 0)
        status = take_terminal();
    if (status && path)
        unlink(path);
    if (status == 0)
        word[found] = path;
    return status;
}
