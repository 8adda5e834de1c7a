#include "tui/keys.h"

#include <curses.h>
#include <stdio.h>

static const struct {
    int key;
    const char *text;
} named[] = {
    {KEY_LEFT, "Left"},
    {KEY_RIGHT, "Right"},
    {KEY_UP, "Up"},
    {KEY_DOWN, "Down"},
    {KEY_HOME, "Home"},
    {KEY_END, "End"},
    {KEY_NPAGE, "PgDn"},
    {KEY_PPAGE, "PgUp"},
    {KEY_BTAB, "Shift-Tab"},
    {KEY_SLEFT, "Shift-Left"},
    {KEY_SRIGHT, "Shift-Right"},
    {KEY_SF, "Shift-Down"},
    {KEY_SR, "Shift-Up"},
    {KEY_DC, "Del"},
    {KEY_BACKSPACE, "Backspace"},
    {127, "Backspace"},
    {'\r', "Enter"},
    {'\t', "Tab"},
    {' ', "Space"},
    {27, "Esc"},
};

const char *key_text(int key, char *text, size_t size)
{
    for (size_t i = 0; i < sizeof named / sizeof *named; i++)
        if (named[i].key == key) {
            snprintf(text, size, "%s", named[i].text);
            return text;
        }
    if (key > 0 && key < 27)
        snprintf(text, size, "Ctrl-%c", key + 'A' - 1);
    else
        snprintf(text, size, "%c", key > 32 && key < 127 ? key : '?');
    return text;
}
