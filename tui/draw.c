#include "tui/draw.h"

#include <curses.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/keys.h"
#include "tui/paint.h"
#include "tui/panel.h"
#include "tui/text.h"
#include "tui/tools.h"

static const double patience = 0.3; /* seconds before progress is shown: short work never flashes */

void draw_layout(struct app *app)
{
    getmaxyx(stdscr, app->rows, app->columns);
    int columns = app->columns;
    int list = pairs_tool_list(app); /* which leaves more room for two pictures */
    app->panel_columns = app->where == WHERE_PAIRS ? list
                         : columns >= 140          ? 40
                         : columns >= 100          ? 34
                         : columns >= 64           ? 28
                                                   : 0;
    app->picture_columns = columns - (app->panel_columns ? app->panel_columns + 1 : 0);
    app->picture_rows = app->rows - 3;
    app->panel_over = false;
    if (app->where == WHERE_PAIRS)
        pairs_tool_layout(app);
    else if (app->view.whole)
        view_fit(app);
    view_touch(app);
}

/* A full line in a tone, cut off or filled up. */
static void bar(const struct app *app, int row, enum tone tone, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void bar(const struct app *app, int row, enum tone tone, const char *format, ...)
{
    char text[1024];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    paint_tone(tone);
    move(row, 0);
    clrtoeol();
    int x = paint_text(row, 0, text, strlen(text), app->columns);
    for (; tone == TONE_TITLE && x < app->columns; x++)
        mvaddch(row, x, ' ');
    paint_tone(TONE_PLAIN);
}

static void draw_title(const struct app *app)
{
    const struct scene *scene = app->scene;
    const struct piece *piece = app_piece(app);
    const char *unsaved = app->unsaved ? "  (not saved)" : "";
    size_t chosen = app_pieces(app);
    char text[1024];
    if (app->where == WHERE_PAIRS) {
        pairs_tool_title(app, text, sizeof text);
        bar(app, 0, TONE_TITLE, "%s", text);
        return;
    }
    if (chosen > 1 && chosen < scene->count)
        bar(app, 0, TONE_TITLE, " fettle  all %zu pieces in sight, %zu hidden%s", chosen,
            scene->count - chosen, unsaved);
    else if (chosen > 1)
        bar(app, 0, TONE_TITLE, " fettle  all %zu pieces%s", chosen, unsaved);
    else if (scene->count > 1 && scene->selected)
        bar(app, 0, TONE_TITLE, " fettle  %s  piece %zu of %zu%s", piece->name, scene->selected,
            scene->count, unsaved);
    else
        bar(app, 0, TONE_TITLE, " fettle  %s%s",
            piece          ? piece->name
            : scene->count ? "every piece is hidden"
                           : "nothing open",
            unsaved);
}

/* --- the line of words ---------------------------------------------------------------------- */

/* ", about 40 s left" once that can be told; "" before. */
static void tell_left(double part, double since, char text[TEXT_SIZE + 16])
{
    char time[TEXT_SIZE];
    text[0] = '\0';
    if (since < 5 || part < 0.05 || part >= 1)
        return;
    text_seconds(since * (1 - part) / part, time);
    snprintf(text, TEXT_SIZE + 16, ", about %s left", time);
}

static const char *progress_phase(const struct app *app)
{
    const char *phase = atomic_load(&app->work.job.phase);
    return phase ? phase : "working";
}

/* "[======....]  60%  fitting, about 40 s left   (Esc stops it)", the gauge so wide, and of the
 * words what the work is so many bytes. */
static int progress_text(struct app *app, int width, int words, char *text, size_t size)
{
    double part = job_progress(&app->work.job);
    char gauge[32], left[TEXT_SIZE + 16];
    for (int i = 0; i < width; i++)
        gauge[i] = i < part * width ? '=' : '.';
    gauge[width] = '\0';
    tell_left(part, seconds_now() - app->work.since, left);
    return snprintf(text, size, "[%s] %3.0f%%  %.*s%s   (Esc stops it)", gauge, 100 * part, words,
                    progress_phase(app), left);
}

/* The gauge is as wide as leaves room for the words; if need be they are cut off, but not what
 * stops it. */
static bool draw_progress(struct app *app)
{
    if (lane_free(&app->work) || seconds_now() - app->work.since < patience)
        return false;
    enum { WIDTH = 20, NARROW = 4, WORDS = 80 };
    char text[256];
    int over = progress_text(app, WIDTH, WORDS, text, sizeof text) - app->columns;
    int width = over <= 0 ? WIDTH : over < WIDTH - NARROW ? WIDTH - over : NARROW;
    int words = (int)strlen(progress_phase(app));
    over = progress_text(app, width, words, text, sizeof text) - app->columns;
    if (over > 0)
        progress_text(app, width, words > over ? words - over : 0, text, sizeof text);
    bar(app, app->rows - 2, TONE_PLAIN, "%s", text);
    return true;
}

enum { WORDS_MOST = 4 };

/* How many lines words take, up to four. */
static int words_height(const struct app *app, const char *words)
{
    int count = 0;
    for (; *words && count < WORDS_MOST; count++)
        text_line(&words, app->columns);
    return count;
}

/* The last line of the words in row `last`; those that are too many for one line lie over the
 * foot of the picture. */
static void draw_lines(const struct app *app, int last, enum tone tone, const char *words)
{
    int row = last + 1 - words_height(app, words);
    for (; row <= last; row++) {
        const char *line = words;
        int length = (int)text_line(&words, app->columns);
        bar(app, row, tone, "%.*s", length, line);
    }
    if (*words) /* more than there is room for */
        mvaddstr(last, app->columns - 4, " ...");
}

/* What was noted before the last line, above the words; where that is too much, its beginning. */
static void draw_report(struct app *app, int above)
{
    int lines = area_height(app->picture_columns, app->report), most = app->picture_rows - 2;
    int shown = lines <= most ? lines : most - 1, row = above - (lines <= most ? lines : most);
    struct area area = {.row = row, .rows = shown, .columns = app->picture_columns};
    app->covered = row;
    for (int i = row; i < above; i++)
        mvprintw(i, 0, "%*s", app->picture_columns, "");
    area_text(&area, TONE_PLAIN, app->report);
    if (lines <= most)
        return;
    area = (struct area){.row = above - 1, .rows = 1, .columns = app->picture_columns};
    area_line(&area, TONE_MARK, "... %d more lines: ; shows all", lines - shown);
}

static void draw_words(struct app *app)
{
    char text[256];
    int last =
        app->rows - 2 - draw_progress(app); /* what is said meanwhile stands above the progress */
    tools_line(app, text, sizeof text);
    const char *words = app->message[0] ? app->message : last == app->rows - 2 ? text : "";
    draw_lines(app, last, app->message[0] && app->message_bad ? TONE_BAD : TONE_PLAIN, words);
    if (app->report) {
        int height = words_height(app, words);
        draw_report(app, last + 1 - (height > 1 ? height : 1));
    }
}

/* --- the line of keys ----------------------------------------------------------------------- */

/* What the arrows do now. */
static const char *arrows_hint(const struct app *app, const struct act *act)
{
    if (act->key != KEY_LEFT || !app->arrows_other)
        return act->hint;
    return app->where == WHERE_LOOK ? "shift" : "turn";
}

/* " n next fault ", " + - size " when the hint names its keys itself. */
static void act_hint(const struct app *app, const struct act *act, char *text, size_t size)
{
    const char *hint = arrows_hint(app, act);
    char key[32];
    const char *keys = act->key == KEY_LEFT ? "arrows" : key_text(act->key, key, sizeof key);
    snprintf(text, size, hint[0] == '*' ? "%.0s%s  " : "%s %s  ", keys, hint + (hint[0] == '*'));
}

/* Adds a hint if it fits in front of what the line must end with. */
static void add_hint(char *line, int *used, int room, const char *hint)
{
    int n = (int)strlen(hint);
    if (*used + n > room)
        return;
    memcpy(line + *used, hint, (size_t)n + 1);
    *used += n;
}

/* Those that stand at the end of the line anyway, and what only means something while a tool is
 * out. */
static bool no_hint(const struct app *app, const struct act *act)
{
    return !act->hint || act->run == act_help || act->run == act_leave ||
           (app->where == WHERE_LOOK && act->run == act_swap_arrows);
}

static void act_hints(const struct app *app, enum where where, char *line, int *used, int room)
{
    char hint[64];
    for (size_t i = 0; act_row(i); i++) {
        const struct act *act = act_row(i);
        if (act->where != where || no_hint(app, act))
            continue;
        act_hint(app, act, hint, sizeof hint);
        add_hint(line, used, room, hint);
    }
}

/* "! fill  ": what mends the fault that is looked at. */
static void mend_hint(struct app *app, char *line, int *used, int room)
{
    const struct op *op = walk_mends(app);
    char hint[64];
    snprintf(hint, sizeof hint, "! %s  ", op ? op->name : "");
    if (op)
        add_hint(line, used, room, hint);
}

static void operation_hints(char *line, int *used, int room)
{
    char hint[64];
    for (size_t i = 0; op_row(i); i++)
        if (op_row(i)->key) {
            snprintf(hint, sizeof hint, "%s %s  ", op_row(i)->key, op_row(i)->name);
            add_hint(line, used, room, hint);
        }
}

/* The hints that fit: those of the tool in hand, of the operations, of the view. The way out of
 * a tool and the help are always among them. */
static void draw_hints(struct app *app)
{
    char line[1024] = "", last[160], out[64] = "", help[64];
    if (app->where != WHERE_LOOK)
        act_hint(app, act_for(app->where, 27), out, sizeof out);
    act_hint(app, act_for(WHERE_ALWAYS, '?'), help, sizeof help);
    snprintf(last, sizeof last, "%s%.*s", out, (int)strlen(help) - 2,
             help); /* without blanks at the end */
    int used = 0, room = app->columns - (int)strlen(last);
    room = room < (int)(sizeof line - sizeof last) ? room : (int)(sizeof line - sizeof last);
    if (app->where == WHERE_LOOK)
        mend_hint(app, line, &used, room);
    act_hints(app, app->where, line, &used, room);
    if (app->where == WHERE_LOOK)
        operation_hints(line, &used, room);
    act_hints(app, WHERE_ALWAYS, line, &used, room);
    strcpy(line + used, last);
    bar(app, app->rows - 1, TONE_QUIET, "%s", line);
}

/* --- the prompt ----------------------------------------------------------------------------- */

/* "  shape=flat|smooth  smooth: go on as ..." */
static void list_params(FILE *out, const struct op *op)
{
    fprintf(out, "%s: %s\n", op->name, op->help);
    for (const struct param *p = op->params; p && p->name; p++) {
        fprintf(out, "  %s=", p->name);
        for (const char *c = p->choices ? p->choices : ""; *c; c++)
            fputc(*c == ' ' ? '|' : *c, out);
        if (p->standard && !p->choices)
            fputs(p->standard, out);
        bool place = p->kind == PARAM_PLACE || p->kind == PARAM_PLACES;
        bool needed = p->need == REQUIRED || p->need == REQUIRED_POSITIONAL;
        fprintf(out, "  %s%s%s\n", p->help, needed ? " (must be given)" : "",
                place ? " (@: a point put with p)" : "");
    }
}

/* "also: along= screw= ...": what is not in the line yet. */
static void list_names(FILE *out, const struct op *op, const char *line)
{
    char name[64];
    fputs("also:", out);
    for (const struct param *p = op->params; p && p->name; p++) {
        snprintf(name, sizeof name, " %s=", p->name);
        if (!strstr(line, name))
            fputs(name, out);
    }
    fputs("  (Tab completes)\n", out);
}

/* What the operation on the line can be told, or what Tab found; NULL when there is nothing. */
static char *assistance(const struct prompt *prompt, bool briefly)
{
    char *text = NULL;
    size_t size;
    const struct completion *found = &prompt->completion;
    const struct op *op = op_named(prompt->line, strcspn(prompt->line, " "));
    FILE *out = found->count > 1 || found->none || op ? open_memstream(&text, &size) : NULL;
    if (!out)
        return NULL;
    if (found->none)
        fputs("nothing begins like that\n", out);
    for (size_t i = 0; found->count > 1 && i < found->count; i++)
        fprintf(out, "%s  ", found->word[i]);
    if (found->count <= 1 && op && briefly)
        list_names(out, op, prompt->line);
    else if (found->count <= 1 && op)
        list_params(out, op);
    fclose(out);
    return text;
}

static void draw_assistance(struct app *app)
{
    /* what would be made is to be seen, or why not to be read */
    bool briefly = app->preview.told && app->prompt.completion.count <= 1;
    char *text = assistance(&app->prompt, briefly);
    if (!text)
        return;
    int lines = area_height(app->columns, text), most = app->picture_rows - 2;
    int said = briefly ? words_height(app, app->message) : 1; /* which stays in sight below it */
    int end = app->rows - 1 - (said > 1 ? said : 1);
    lines = lines < most ? lines : most;
    struct area area = {.row = end - lines, .rows = lines, .columns = app->columns};
    app->covered = area.row;
    for (int row = area.row; row < end; row++)
        bar(app, row, TONE_PLAIN, "%s", "");
    area_text(&area, TONE_QUIET, text);
    free(text);
}

static void draw_prompt(struct app *app)
{
    const struct prompt *prompt = &app->prompt;
    size_t from = 0; /* shown from here, so that the cursor is in sight */
    while (text_columns(prompt->line + from, prompt->cursor - from) > app->columns - 3)
        do
            from++;
        while (((unsigned char)prompt->line[from] & 0xc0) == 0x80);
    draw_assistance(app);
    bar(app, app->rows - 1, TONE_PLAIN, ":%s", prompt->line + from);
    move(app->rows - 1, 1 + text_columns(prompt->line + from, prompt->cursor - from));
}

/* --- over the picture ----------------------------------------------------------------------- */

/* Where there is no room for both, the panels lie over the picture when they are asked for. */
static void draw_panels(struct app *app)
{
    int column = app->panel_columns ? app->picture_columns : 0;
    if (!app->panel_columns && !app->panel_over)
        return;
    struct area area = {.row = 1,
                        .column = app->panel_columns ? column + 2 : 0,
                        .rows = app->picture_rows,
                        .columns = app->panel_columns ? app->panel_columns - 2 : app->columns};
    if (app->panel_columns)
        mvvline(1, column, '|', app->picture_rows);
    for (int row = 0; app->panel_over && row < area.rows; row++)
        bar(app, area.row + row, TONE_PLAIN, "%s", "");
    if (app->where == WHERE_PAIRS)
        pairs_tool_panel(app, &area);
    else
        panels_draw(app, area);
}

static void draw_empty(const struct app *app)
{
    static const char *const lines[] = {"Nothing is open.", "", ":open FILE   (Tab completes)",
                                        "?            all keys", "q            quit"};
    int count = sizeof lines / sizeof *lines, row = 1 + (app->picture_rows - count) / 2;
    for (int i = 0; i < count; i++)
        mvaddnstr(row + i, 4, lines[i], app->picture_columns - 4);
    if (app->trail.present < app->trail.count)
        mvaddnstr(row + count, 4, "r            redo what was undone", app->picture_columns - 4);
}

void draw_screen(struct app *app)
{
    erase();
    if (app->rows < SCREEN_ROWS_LEAST || app->columns < SCREEN_COLUMNS_LEAST) {
        mvprintw(0, 0, "%dx%d: too small", app->columns, app->rows);
        mvprintw(1, 0, "%dx%d is the least", SCREEN_COLUMNS_LEAST, SCREEN_ROWS_LEAST);
        refresh();
        return;
    }
    if (app->pager.on) {
        pager_draw(&app->pager, app->rows, app->columns);
        refresh();
        return;
    }
    app->covered = app->rows;
    draw_title(app);
    if (app->scene->count)
        view_draw(app);
    else if (lane_free(&app->work))
        draw_empty(app);
    tools_draw(app);
    draw_panels(app);
    draw_words(app);
    curs_set(app->prompt.on);
    if (app->question.on)
        draw_lines(app, app->rows - 1, TONE_MARK, app->question.text);
    else if (app->prompt.on)
        draw_prompt(app);
    else
        draw_hints(app);
    refresh();
    if (app->view.fresh)
        pace_shown(&app->pace);
    app->view.fresh = false;
}
