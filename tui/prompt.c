#include "tui/prompt.h"

#include <curses.h>
#include <stdlib.h>
#include <string.h>

#include "tui/keys.h"

void prompt_open(struct prompt *prompt, const char *line)
{
    size_t n = strlen(line);
    prompt->length = prompt->cursor = n < PROMPT_MOST ? n : PROMPT_MOST;
    memcpy(prompt->line, line, prompt->length);
    prompt->line[prompt->length] = '\0';
    prompt->at = prompt->histories;
    prompt->on = true;
    completion_release(&prompt->completion);
}

void prompt_release(struct prompt *prompt)
{
    for (size_t i = 0; i < prompt->histories; i++)
        free(prompt->history[i]);
    prompt->histories = 0;
    completion_release(&prompt->completion);
}

/* Replaces bytes [from, to) by text, the cursor behind it; what does not fit is not taken. */
static void replace(struct prompt *prompt, size_t from, size_t to, const char *text)
{
    size_t n = strlen(text);
    if (prompt->length - (to - from) + n > PROMPT_MOST)
        return;
    memmove(prompt->line + from + n, prompt->line + to, prompt->length - to + 1);
    memcpy(prompt->line + from, text, n);
    prompt->length = prompt->length - (to - from) + n;
    prompt->cursor = from + n;
}

static bool continues(char c) /* a byte inside a UTF-8 character */
{
    return ((unsigned char)c & 0xc0) == 0x80;
}

static size_t before(const struct prompt *prompt, size_t at)
{
    while (at > 0 && continues(prompt->line[--at]))
        ;
    return at;
}

static size_t behind(const struct prompt *prompt, size_t at)
{
    while (at < prompt->length && continues(prompt->line[++at]))
        ;
    return at;
}

static size_t word_before(const struct prompt *prompt)
{
    size_t at = prompt->cursor;
    while (at > 0 && prompt->line[at - 1] == ' ')
        at--;
    while (at > 0 && prompt->line[at - 1] != ' ')
        at--;
    return at;
}

/* --- history -------------------------------------------------------------------------------- */

static void remember(struct prompt *prompt)
{
    bool again =
        prompt->histories > 0 && strcmp(prompt->history[prompt->histories - 1], prompt->line) == 0;
    char *copy = prompt->length == 0 || again ? NULL : strdup(prompt->line);
    if (!copy)
        return;
    if (prompt->histories == PROMPT_HISTORY) {
        free(prompt->history[0]);
        memmove(prompt->history, prompt->history + 1,
                (PROMPT_HISTORY - 1) * sizeof *prompt->history);
        prompt->histories--;
    }
    prompt->history[prompt->histories++] = copy;
}

static void recall(struct prompt *prompt, int step)
{
    if ((step < 0 && prompt->at == 0) || (step > 0 && prompt->at == prompt->histories))
        return;
    if (prompt->at == prompt->histories)
        memcpy(prompt->kept, prompt->line, prompt->length + 1);
    prompt->at = step < 0 ? prompt->at - 1 : prompt->at + 1;
    const char *line = prompt->at == prompt->histories ? prompt->kept : prompt->history[prompt->at];
    replace(prompt, 0, prompt->length, line);
}

/* --- completion ----------------------------------------------------------------------------- */

static void complete(struct prompt *prompt)
{
    completion_release(&prompt->completion);
    completion_find(&prompt->completion, prompt->line, prompt->cursor);
    if (prompt->completion.common)
        replace(prompt, prompt->completion.from, prompt->cursor, prompt->completion.common);
}

/* --- keys ----------------------------------------------------------------------------------- */

static bool edit_key(struct prompt *prompt, int key)
{
    size_t cursor = prompt->cursor;
    switch (key) {
    case KEY_LEFT:
    case CTRL('B'):
        prompt->cursor = before(prompt, cursor);
        break;
    case KEY_RIGHT:
    case CTRL('F'):
        prompt->cursor = behind(prompt, cursor);
        break;
    case KEY_HOME:
    case CTRL('A'):
        prompt->cursor = 0;
        break;
    case KEY_END:
    case CTRL('E'):
        prompt->cursor = prompt->length;
        break;
    case KEY_BACKSPACE:
    case 127:
    case CTRL('H'):
        replace(prompt, before(prompt, cursor), cursor, "");
        break;
    case KEY_DC:
    case CTRL('D'):
        replace(prompt, cursor, behind(prompt, cursor), "");
        break;
    case CTRL('U'):
        replace(prompt, 0, cursor, "");
        break;
    case CTRL('K'):
        replace(prompt, cursor, prompt->length, "");
        break;
    case CTRL('W'):
        replace(prompt, word_before(prompt), cursor, "");
        break;
    case KEY_UP:
    case CTRL('P'):
        recall(prompt, -1);
        break;
    case KEY_DOWN:
    case CTRL('N'):
        recall(prompt, 1);
        break;
    default:
        return false;
    }
    return true;
}

enum prompt_end prompt_key(struct prompt *prompt, int key)
{
    if (key == '\t') {
        complete(prompt);
        return PROMPT_GOES_ON;
    }
    completion_release(&prompt->completion);
    if (key == '\r' || key == '\n' || key == KEY_ENTER) {
        remember(prompt);
        prompt->on = false;
        return PROMPT_DONE;
    }
    if (key == 27 || key == CTRL('C')) {
        prompt->on = false;
        return PROMPT_LEFT;
    }
    bool again = key == ':' && prompt->cursor == 0; /* ':' opened it, and no line begins so */
    if (!edit_key(prompt, key) && !again && key >= ' ' && key < 256) {
        char text[2] = {(char)key, '\0'};
        replace(prompt, prompt->cursor, prompt->cursor, text);
    }
    return PROMPT_GOES_ON;
}
