/* Keys and their names. */
#ifndef FETTLE_TUI_KEYS_H
#define FETTLE_TUI_KEYS_H

#include <stddef.h>

#ifndef CTRL
#define CTRL(letter) ((letter)&31)
#endif

/* How a key is written in help and hints: "Left", "Ctrl-R", "Tab", "f". Writes into text (at most
 * size bytes with the final 0) and returns it. */
const char *key_text(int key, char *text, size_t size);

#endif
