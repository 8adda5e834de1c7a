/* Pages to be printed at their true size, as a PDF file (ISO 32000) by libharu, or one page as an
 * SVG file (svg.h): millimetres, counted from the lower left corner of the page, or from where
 * paper_origin says. What is drawn carries no date and is not packed, so that the same drawing
 * gives the same bytes; viewers of a PDF are asked not to scale it when printing.
 *
 * Failures are remembered: drawing goes on for nothing, and paper_write tells. */
#ifndef FETTLE_FORMAT_PAPER_H
#define FETTLE_FORMAT_PAPER_H

#include <stdbool.h>
#include <stddef.h>

#include "core/job.h"

struct paper;

enum paper_kind { PAPER_PDF, PAPER_SVG };

/* The kind that a path's ending names, .pdf or .svg; false: none. */
bool paper_kind_of(const char *path, enum paper_kind *kind);

/* NULL: out of memory. */
struct paper *paper_new(const char *title, enum paper_kind kind, struct job *job);
void paper_free(struct paper *paper);

/* Of a PDF's page, mm: 14 400 of its units (ISO 32000-1, annex C). */
#define PAPER_MOST 5080.0

/* Begins a page of that size; origin at its corner, lines black, 0.2 mm wide, unbroken. */
void paper_page(struct paper *paper, double width, double height);
void paper_origin(struct paper *paper, double x, double y);

/* What is drawn until paper_clip_end lies within the box only. Not nested. */
void paper_clip(struct paper *paper, double x, double y, double width, double height);
void paper_clip_end(struct paper *paper);

/* Width mm, grey from 0, black, to 1; dashes and gaps so long, 0: unbroken. */
void paper_pen(struct paper *paper, double width, double grey, double dash);
void paper_line(struct paper *paper, double x0, double y0, double x1, double y1);
void paper_circle(struct paper *paper, double x, double y, double radius);
void paper_loop(struct paper *paper, const double (*at)[2], size_t count); /* closed */

/* A line of text from x, y on its base line; `size` is the height of its capitals and what hangs
 * below, mm. UTF-8; what is not in Latin-1 becomes '?'. */
void paper_text(struct paper *paper, double x, double y, double size, const char *text);
double paper_text_width(struct paper *paper, double size, const char *text);

/* Text broken into lines of at most that width, the first on base line y; returns the base line
 * behind the last one. */
double paper_words(struct paper *paper, double x, double y, double width, double size,
                   const char *text);

/* Writes the file, atomically (sink.h). STATUS_REFUSED where there is no page, or a second one for
 * an SVG file. */
enum status paper_write(struct paper *paper, const char *path, struct job *job);

#endif
