#include "tui/paint.h"

#include <curses.h>
#include <langinfo.h>
#include <stdio.h>
#include <string.h>
#include <wchar.h>
#include <wctype.h>

#include "tui/text.h"

enum {
    TONE_PAIRS = 1,  /* pairs 1 .. TONE_COUNT are the tones' */
    CELL_PAIRS = 16, /* from here: the picture's, by what they were first needed for */
};

/* What the terminal has. Curses itself is one per process, and so is this. */
static struct {
    int colours;
    bool background; /* the terminal's own background can be used */
    bool utf8;
    int pairs, next;
} terminal;

enum { PAIR_SLOTS = 1 << 13 };
static struct {
    int fore, back, pair;
} slot[PAIR_SLOTS];

static const struct {
    short fore;
    attr_t attribute; /* with colours */
    attr_t plain;     /* without */
} tones[TONE_COUNT] = {
    [TONE_PLAIN] = {-1, A_NORMAL, A_NORMAL},          [TONE_TITLE] = {-1, A_REVERSE, A_REVERSE},
    [TONE_HEAD] = {COLOR_CYAN, A_BOLD, A_BOLD},       [TONE_QUIET] = {-1, A_DIM, A_NORMAL},
    [TONE_GOOD] = {COLOR_GREEN, A_NORMAL, A_NORMAL},  [TONE_BAD] = {COLOR_RED, A_BOLD, A_BOLD},
    [TONE_WARN] = {COLOR_YELLOW, A_NORMAL, A_NORMAL}, [TONE_MARK] = {-1, A_REVERSE, A_REVERSE},
};

void paint_init(void)
{
    terminal.utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    if (!has_colors() || start_color() == ERR)
        return;
    terminal.background = use_default_colors() == OK;
    terminal.colours = COLORS >= 256 ? 256 : COLORS >= 16 ? 16 : COLORS >= 8 ? 8 : 0;
    terminal.pairs = COLOR_PAIRS;
    terminal.next = CELL_PAIRS;
    short back = terminal.background ? -1 : COLOR_BLACK;
    for (int i = 0; i < TONE_COUNT; i++) {
        short fore = tones[i].fore >= 0 ? tones[i].fore : terminal.background ? -1 : COLOR_WHITE;
        init_pair((short)(TONE_PAIRS + i), fore, back);
    }
}

int paint_colours(void)
{
    return terminal.colours;
}

bool paint_utf8(void)
{
    return terminal.utf8;
}

void paint_tone(enum tone tone)
{
    if (terminal.colours)
        attr_set(tones[tone].attribute, (short)(TONE_PAIRS + (int)tone), NULL);
    else
        attr_set(tones[tone].plain, 0, NULL);
}

/* --- the picture's colours ------------------------------------------------------------------ */

/* One of the eight: a channel is on when it is more than half of the strongest one; the light is
 * told by the glyph. */
static int colour_8(const uint8_t rgb[3])
{
    int most = rgb[0] > rgb[1] ? rgb[0] : rgb[1];
    most = rgb[2] > most ? rgb[2] : most;
    int index = 0;
    for (int k = 0; k < 3; k++)
        index |= (most == 0 || 3 * rgb[k] > 2 * most) << k;
    return index;
}

static int colour_index(const uint8_t rgb[3])
{
    return terminal.colours >= 16 ? xterm_nearest(rgb, terminal.colours) : colour_8(rgb);
}

/* The pair for two colours, made when first needed. When the terminal has no more, pair 0. */
static int cell_pair(int fore, int back)
{
    unsigned at = ((unsigned)fore * 259u + (unsigned)(back + 1)) * 2654435761u >> 19;
    for (unsigned i = 0; i < PAIR_SLOTS; i++, at = (at + 1) % PAIR_SLOTS) {
        if (slot[at].pair && slot[at].fore == fore && slot[at].back == back)
            return slot[at].pair;
        if (slot[at].pair)
            continue;
        if (terminal.next >= terminal.pairs || terminal.next >= PAIR_SLOTS * 3 / 4)
            return 0;
        if (init_extended_pair(terminal.next, fore, back) == ERR)
            return 0;
        slot[at].fore = fore;
        slot[at].back = back;
        slot[at].pair = terminal.next++;
        return slot[at].pair;
    }
    return 0;
}

void paint_cell(int row, int column, const struct cell *cell)
{
    attr_t attribute =
        (cell->bold ? A_BOLD : 0) | (cell->reverse ? A_REVERSE : 0) | (cell->dim ? A_DIM : 0);
    int pair = 0;
    if (terminal.colours && (cell->coloured || cell->backed)) {
        int back = cell->backed ? colour_index(cell->back) : terminal.background ? -1 : COLOR_BLACK;
        pair = cell_pair(colour_index(cell->fore), back);
    }
    wchar_t text[2] = {(wchar_t)(cell->glyph ? cell->glyph : ' '), 0};
    cchar_t wide;
    setcchar(&wide, text, attribute, 0, &pair);
    mvadd_wch(row, column, &wide);
}

int paint_text(int row, int column, const char *text, size_t length, int columns)
{
    char safe[1024];
    length = text_fit(text, length < sizeof safe ? length : sizeof safe, columns);
    memcpy(safe, text, length);
    mbstate_t state = {0};
    for (size_t i = 0; i < length;) {
        wchar_t wide;
        size_t n = mbrtowc(&wide, safe + i, length - i, &state);
        if (n == 0 || n > length - i || !iswprint((wint_t)wide)) {
            n = n && n <= length - i ? n : 1;
            memset(safe + i, '?', n);
            state = (mbstate_t){0};
        }
        i += n;
    }
    mvaddnstr(row, column, safe, (int)length);
    return text_columns(safe, length);
}

void paint_number(int row, int column, size_t number, bool tinted)
{
    char text[24];
    struct cell cell = {.reverse = true, .coloured = tinted && terminal.colours >= 8};
    if (cell.coloured)
        cells_tint(raster_tint(number - 1), terminal.colours, cell.fore);
    snprintf(text, sizeof text, number < 100 ? " %zu " : "%zu", number);
    for (int i = 0; text[i]; i++) {
        cell.glyph = (uint32_t)text[i];
        paint_cell(row, column + i, &cell);
    }
}
