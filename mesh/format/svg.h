/* One page as an SVG file (W3C, Scalable Vector Graphics 1.1) in millimetres: what paper.c draws
 * on when it is to be no PDF. Places are counted from the lower left corner, as there. A failure is
 * the sink's and told by svg_write. */
#ifndef FETTLE_FORMAT_SVG_H
#define FETTLE_FORMAT_SVG_H

#include <stdbool.h>
#include <stddef.h>

#include "core/job.h"

struct svg;

/* NULL: out of memory. */
struct svg *svg_new(const char *title, struct job *job);
void svg_free(struct svg *svg);

/* Begins the page. There is one: of more the file tells as an error. */
void svg_page(struct svg *svg, double width, double height);

/* What is drawn until svg_clip_end lies within the box only. Not nested. */
void svg_clip(struct svg *svg, double x, double y, double width, double height);
void svg_clip_end(struct svg *svg);

void svg_pen(struct svg *svg, double width, double grey, double dash);
void svg_line(struct svg *svg, double x0, double y0, double x1, double y1);
void svg_circle(struct svg *svg, double x, double y, double radius);
/* A closed line; `right` and `up` are added to its places. */
void svg_loop(struct svg *svg, const double (*at)[2], size_t count, double right, double up);

/* A line of Latin-1 text on its base line, set so wide. */
void svg_text(struct svg *svg, double x, double y, double size, double width, const char *latin);

/* Writes the file, atomically (sink.h). */
enum status svg_write(struct svg *svg, const char *path, struct job *job);

#endif
