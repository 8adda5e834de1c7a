#include "tui/terminal.h"

#include <stdlib.h>
#include <unistd.h>

#include "tui/cli.h"

/* Behind all others: its macros have the names of capabilities, which are common words. */
#include <curses.h>
#include <term.h>

int terminal_complaint(void)
{
    static const char mend[] = "without a screen: fettle check FILE, fettle run RECIPE FILE";
    const char *name = getenv("TERM");
    int error;
    if (setupterm(NULL, STDOUT_FILENO, &error) != OK)
        return cli_complain(STATUS_USAGE, "\"TERM=%s\": is no terminal that is known here; %s",
                            name ? name : "", mend);
    const char *place = tigetstr("cup");
    bool places = place && place != (const char *)-1;
    del_curterm(cur_term);
    return places ? 0
                  : cli_complain(STATUS_USAGE,
                                 "\"TERM=%s\": such a terminal cannot place its cursor; %s", name,
                                 mend);
}
