#include "op/template.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "core/job.h"
#include "op/fixing.h"

/* mm: what printers leave white; room for the rulers; what neighbouring sheets share; around what
 * is drawn; sizes of text. */
static const double margin = 10, strip = 12, shared = 12, air = 6;
static const double large = 5, usual = 3.6, small = 2.8;
static const double ruler = 100;
/* More than words take where the rest fits below them; a line for each screw through a hole. */
static const double words_height = 70, line_height = 8;

enum { TEXT_MOST = 1024, SHEETS_MOST = 60, LISTED = 20 };

struct tiles {
    double low[2], high[2]; /* of what is to be drawn, on the wall */
    double area[2];         /* of a sheet, for drawing */
    double from[2];         /* the lower left corner of the first sheet's area */
    size_t count[2];
};

double template_lift(const struct template_sheet *sheet)
{
    const struct fixing *hole = sheet->screw[0].hole;
    return sheet->keyholes ? hole->travel + fmax(hole->width - hole->shank, 0) / 2 : 0;
}

/* --- rulers and labels ----------------------------------------------------------------------- */

static void draw_ruler(struct paper *paper, double x, double y, bool upright)
{
    paper_pen(paper, 0.15, 0, 0);
    paper_line(paper, x, y, upright ? x : x + ruler, upright ? y + ruler : y);
    for (int i = 0; i <= 10; i++) {
        double at = ruler * i / 10, tick = i % 5 ? 2 : 4;
        if (upright)
            paper_line(paper, x, y + at, x - tick, y + at);
        else
            paper_line(paper, x + at, y, x + at, y - tick);
    }
    if (upright)
        paper_text(paper, x - strip + 3, y + ruler + 1.5, small, "100 mm");
    else
        paper_text(paper, x + ruler + 2, y - 2.5, small,
                   "100 mm: measure both rulers before drilling");
}

static void draw_margins(const struct template_sheet *sheet, struct paper *paper, size_t page,
                         const char *what)
{
    char text[TEXT_MOST];
    draw_ruler(paper, margin + strip, margin + strip - 2, false);
    draw_ruler(paper, margin + strip - 2, margin + strip, true);
    snprintf(text, sizeof text, "%.300s, sheet %zu%s", sheet->name, page, what);
    paper_text(paper, margin + strip, margin + 1, small, text);
}

/* --- what is on the wall --------------------------------------------------------------------- */

static void draw_outline(const struct template_sheet *sheet, struct paper *paper, double x,
                         double y)
{
    const struct outline *o = sheet->outline;
    paper_origin(paper, x + sheet->outline_at[0], y + sheet->outline_at[1]);
    paper_pen(paper, 0.3, 0.35, 0);
    for (size_t i = 0; i < o->loops; i++)
        paper_loop(paper, (const double(*)[2])(o->at + o->start[i]), o->start[i + 1] - o->start[i]);
    paper_origin(paper, x, y);
}

static void draw_screw(const struct template_screw *screw, struct paper *paper)
{
    const struct fixing *hole = screw->hole;
    double x = screw->at[0], y = screw->at[1], shank = hole->shank > 0 ? hole->shank : hole->width;
    double around = hole->kind == FIXING_KEYHOLE ? hole->head : hole->width;
    char text[64];
    paper_pen(paper, 0.15, 0, 0);
    paper_line(paper, x - 9, y, x + 9, y);
    paper_line(paper, x, y - 9, x, y + 9);
    paper_pen(paper, 0.3, 0, 0);
    paper_circle(paper, x, y, shank / 2);
    paper_pen(paper, 0.15, 0, 1);
    paper_circle(paper, x, y, around / 2);
    snprintf(text, sizeof text, "drill here: %s", hole->screw[0] ? hole->screw : "screw");
    paper_text(paper, x + 2, y + 6, small, text);
}

static void draw_lines(const struct template_sheet *sheet, struct paper *paper)
{
    const struct hang *h = sheet->hang;
    double free_up_to = h->high[1] + template_lift(sheet);
    char text[64];
    paper_pen(paper, 0.15, 0, 4);
    paper_line(paper, h->low[0] - air, 0, h->high[0] + air, 0);
    paper_text(paper, h->low[0] - air + 1, 1, small, "level");
    if (sheet->keyholes) {
        paper_pen(paper, 0.15, 0, 2);
        paper_line(paper, h->low[0] - air, free_up_to, h->high[0] + air, free_up_to);
        snprintf(text, sizeof text, "keep free up to here: %.1f mm", template_lift(sheet));
        paper_text(paper, h->low[0] - air + 1, free_up_to + 1, small, text);
    }
    paper_pen(paper, 0.15, 0, 1);
    paper_line(paper, sheet->centre[0], h->low[1], sheet->centre[0], fmax(0, sheet->centre[1]));
    paper_pen(paper, 0.3, 0, 0);
    paper_circle(paper, sheet->centre[0], sheet->centre[1], 1.5);
    paper_text(paper, sheet->centre[0] + 2, sheet->centre[1] - 3, small, "centre of mass");
}

/* With the middle of the screws at x, y of the page. */
static void draw_wall(const struct template_sheet *sheet, struct paper *paper, double x, double y)
{
    draw_outline(sheet, paper, x, y);
    draw_lines(sheet, paper);
    for (size_t i = 0; i < sheet->keyholes + sheet->bores; i++)
        draw_screw(&sheet->screw[i], paper);
    paper_origin(paper, 0, 0);
}

/* --- one sheet or many ----------------------------------------------------------------------- */

static struct tiles tiles_of(const struct template_sheet *sheet)
{
    const struct hang *h = sheet->hang;
    struct tiles t = {.low = {h->low[0] - air, h->low[1] - air},
                      .high = {h->high[0] + air, h->high[1] + template_lift(sheet) + air}};
    for (size_t i = 0; i < sheet->keyholes + sheet->bores; i++) {
        const double *at = sheet->screw[i].at;
        t.low[0] = fmin(t.low[0], at[0] - 10);
        t.high[0] = fmax(t.high[0], at[0] + 25); /* and what is written there */
        t.low[1] = fmin(t.low[1], at[1] - 10);
        t.high[1] = fmax(t.high[1], at[1] + 10);
    }
    for (int k = 0; k < 2; k++) {
        double size = t.high[k] - t.low[k];
        t.area[k] = sheet->paper[k] - 2 * margin - strip;
        double step = t.area[k] - shared;
        t.count[k] = (size_t)fmax(1, ceil((size - shared) / step));
        t.from[k] = t.low[k] - ((double)t.count[k] * step + shared - size) / 2;
    }
    return t;
}

/* Where a sheet meets its neighbour: a line in the middle of what they share, on which circles lie
 * at the same places of the wall. */
static void draw_join(struct paper *paper, double at, double length, bool upright, double corner)
{
    paper_pen(paper, 0.2, 0, 3);
    paper_line(paper, upright ? at : corner, upright ? corner : at, upright ? at : corner + length,
               upright ? corner + length : at);
    paper_pen(paper, 0.2, 0, 0);
    for (int i = 1; i < 4; i += 2) {
        double along = corner + length * i / 4;
        paper_circle(paper, upright ? at : along, upright ? along : at, 2);
    }
}

static void draw_joins(const struct tiles *t, struct paper *paper, size_t i, size_t j)
{
    double corner = margin + strip;
    if (i > 0)
        draw_join(paper, corner + shared / 2, t->area[1], true, corner);
    if (i + 1 < t->count[0])
        draw_join(paper, corner + t->area[0] - shared / 2, t->area[1], true, corner);
    if (j > 0)
        draw_join(paper, corner + shared / 2, t->area[0], false, corner);
    if (j + 1 < t->count[1])
        draw_join(paper, corner + t->area[1] - shared / 2, t->area[0], false, corner);
}

/* Column i from the left, row j from below. */
static void draw_tile(const struct template_sheet *sheet, const struct tiles *t,
                      struct paper *paper, size_t i, size_t j, size_t page)
{
    double corner = margin + strip;
    double left = t->from[0] + (double)i * (t->area[0] - shared);
    double below = t->from[1] + (double)j * (t->area[1] - shared);
    char text[128];
    paper_page(paper, sheet->paper[0], sheet->paper[1]);
    snprintf(text, sizeof text, ": column %zu of %zu from the left, row %zu of %zu from the top",
             i + 1, t->count[0], t->count[1] - j, t->count[1]);
    draw_margins(sheet, paper, page, text);
    paper_clip(paper, corner, corner, t->area[0], t->area[1]);
    draw_wall(sheet, paper, corner - left, corner - below);
    paper_clip_end(paper);
    draw_joins(t, paper, i, j);
}

/* --- what is written ------------------------------------------------------------------------- */

static double write_line(struct paper *paper, const struct template_sheet *sheet, double y,
                         double size, const char *format, ...)
    __attribute__((format(printf, 5, 6)));

static double write_line(struct paper *paper, const struct template_sheet *sheet, double y,
                         double size, const char *format, ...)
{
    char text[TEXT_MOST];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    double x = margin + strip;
    return paper_words(paper, x, y, sheet->paper[0] - margin - x, size, text) - 0.3 * size;
}

static double write_keyholes(const struct template_sheet *sheet, struct paper *paper, double y)
{
    const struct template_screw *s = sheet->screw;
    const struct fixing *hole = s->hole;
    char screw[96];
    snprintf(screw, sizeof screw, "%s%sshank %.4g mm, head %.4g mm", hole->screw,
             hole->screw[0] ? ", " : "", hole->shank, hole->head);
    if (sheet->keyholes > 1)
        y = write_line(paper, sheet, y, usual,
                       "Two screws (%s), %.2f mm apart, level with each other.", screw,
                       s[1].at[0] - s[0].at[0]);
    else
        y = write_line(paper, sheet, y, usual, "One screw (%s).", screw);
    return write_line(
        paper, sheet, y, usual,
        "Let the heads stand %.1f mm clear of the wall. To hang it in, the part needs "
        "%.1f mm free above it.",
        hole->lip + sheet->hang->proud, template_lift(sheet));
}

/* Where each of the screws through holes goes, from the first of all. */
static double write_bores(const struct template_sheet *sheet, struct paper *paper, double y)
{
    const struct template_screw *s = sheet->screw;
    size_t all = sheet->keyholes + sheet->bores;
    y = write_line(paper, sheet, y, usual, "%zu screw%s straight through the part%s.", sheet->bores,
                   sheet->bores == 1 ? "" : "s", sheet->keyholes ? ", when it hangs there" : "");
    for (size_t i = sheet->keyholes; i < all && i < LISTED; i++) {
        const struct fixing *hole = s[i].hole;
        char from[80] = "";
        double right = s[i].at[0] - s[0].at[0], above = s[i].at[1] - s[0].at[1];
        if (i > 0)
            snprintf(from, sizeof from,
                     "%.2f mm to the %s of the first screw, %.2f mm %s it: ", fabs(right),
                     right < 0 ? "left" : "right", fabs(above), above < 0 ? "below" : "above");
        y = write_line(paper, sheet, y, small, "%s%s, through a hole of %.2f mm and %.1f mm long.",
                       from, hole->screw[0] ? hole->screw : "a screw", hole->width, hole->length);
    }
    return y;
}

static double write_screws(const struct template_sheet *sheet, struct paper *paper, double y)
{
    if (sheet->keyholes)
        y = write_keyholes(sheet, paper, y);
    return sheet->bores ? write_bores(sheet, paper, y) : y;
}

/* From the top of the page; returns where it ends. */
static double write_words(const struct template_sheet *sheet, const struct tiles *t, bool many,
                          struct paper *paper)
{
    const struct hang *h = sheet->hang;
    double y = sheet->paper[1] - margin - large;
    y = write_line(paper, sheet, y, large, "Drilling template: %.300s", sheet->name);
    y = write_line(
        paper, sheet, y, usual,
        "Print at 100 %%, not fitted to the page. Then measure both rulers: each is 100 mm "
        "long, or the sheet is wrong and not to be drilled by.");
    y = write_line(
        paper, sheet, y, usual,
        "You see the wall as you stand before it, with the outline of the part as it will "
        "hang. Use a level: the line marked so lies level.");
    y = write_screws(sheet, paper, y);
    if (fabs(h->tilt) >= 0.05)
        y = write_line(
            paper, sheet, y, usual,
            "It will hang with its %s side %.1f degrees lower than its slots would have it.",
            h->tilt > 0 ? "right" : "left", fabs(h->tilt));
    if (many)
        y = write_line(paper, sheet, y, usual,
                       "%zu sheets follow, %zu across and %zu up. Lay their dashed lines and the "
                       "circles on them over each other, and tape them together.",
                       t->count[0] * t->count[1], t->count[0], t->count[1]);
    y = write_line(
        paper, sheet, y, small,
        "Look for pipes and cables in the wall before you drill. Caution: " FIXING_CAUTION ".");
    return y;
}

/* Of the first sheet, for what is written there. */
static double words_room(const struct template_sheet *sheet)
{
    return words_height + line_height * (double)sheet->bores;
}

void template_whole(struct template_sheet *sheet)
{
    struct tiles t = tiles_of(sheet);
    const double room[2] = {0, words_room(sheet)};
    for (int k = 0; k < 2; k++)
        sheet->paper[k] =
            fmax(sheet->paper[k], ceil(t.high[k] - t.low[k] + room[k] + 2 * margin + strip));
}

enum status template_draw(const struct template_sheet *sheet, struct paper *paper, size_t *pages,
                          struct job *job)
{
    struct tiles t = tiles_of(sheet);
    double corner = margin + strip, size[2] = {t.high[0] - t.low[0], t.high[1] - t.low[1]};
    size_t tiles = t.count[0] * t.count[1];
    *pages = 1;
    if (!(t.count[0] <= SHEETS_MOST && t.count[1] <= SHEETS_MOST && tiles <= SHEETS_MOST))
        return job_fail(job, STATUS_REFUSED,
                        "it takes more than %d sheets: the part is %.4g x %.4g mm; measure its "
                        "screws' places on the wall instead",
                        SHEETS_MOST, sheet->hang->width, sheet->hang->height);
    paper_page(paper, sheet->paper[0], sheet->paper[1]);
    bool one = size[0] <= t.area[0] && size[1] <= t.area[1] - words_room(sheet);
    double y = write_words(sheet, &t, !one, paper);
    draw_margins(sheet, paper, 1, "");
    if (one) {
        draw_wall(sheet, paper, corner + (t.area[0] - size[0]) / 2 - t.low[0],
                  corner + (y - corner - size[1]) / 2 - t.low[1]);
        return STATUS_OK;
    }
    for (size_t j = t.count[1]; j-- > 0;)
        for (size_t i = 0; i < t.count[0]; i++)
            draw_tile(sheet, &t, paper, i, j, ++*pages);
    return STATUS_OK;
}
