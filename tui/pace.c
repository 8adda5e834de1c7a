#include "tui/pace.h"

#include <curses.h>
#include <stdio.h>
#include <string.h>
#include <term.h>
#include <unistd.h>

#include "tui/lane.h"

/* Seconds to wait for an answer: of a terminal that may never give one, and of one that does. */
static const double doubt = 1, patience = 10;
static const double slow = 0.3; /* of a line: seconds from a picture to its answer */

void pace_begin(struct pace *pace)
{
    char name[] = "cup";
    const char *cup = tigetstr(name);
    *pace = (struct pace){0};
    if (!cup || cup == (char *)-1 || strncmp(cup, "\033[", 2) != 0)
        return; /* it speaks another language */
    pace->able = define_key("\033[0n", KEY_SHOWN) == OK && define_key("\033[3n", KEY_SHOWN) == OK;
}

void pace_shown(struct pace *pace)
{
    if (!pace->able)
        return;
    fputs("\033[5n", stdout);
    fflush(stdout);
    pace->waiting++;
    pace->since = seconds_now();
}

void pace_answered(struct pace *pace)
{
    pace->able = pace->proved = true;
    pace->lag = seconds_now() - pace->since;
    set_escdelay(pace->lag > slow ? 150 : 25); /* ms: there the bytes of a key come one by one */
    if (pace->waiting > 0)
        pace->waiting--;
}

int pace_wait(struct pace *pace)
{
    double left = pace->since + (pace->proved ? patience : doubt) - seconds_now();
    if (pace->waiting == 0)
        return 0;
    if (left > 0)
        return (int)(left * 1000) + 1;
    pace->waiting = 0;
    pace->able = false; /* until it answers after all */
    return 0;
}

void pace_end(struct pace *pace)
{
    enum { TICK = 10 };
    double end = seconds_now() + doubt;
    while (pace->waiting && seconds_now() < end) {
        int key = getch(); /* what else was typed by now was typed too late */
        if (key == KEY_SHOWN)
            pace_answered(pace);
        else if (key == ERR)
            napms(TICK);
    }
    pace->waiting = 0;
}
