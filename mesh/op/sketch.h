/* What an operation would make, or looks at, as lines and marks to be drawn over the picture. */
#ifndef FETTLE_OP_SKETCH_H
#define FETTLE_OP_SKETCH_H

#include "core/job.h"
#include "raster/raster.h"

struct sketch {
    struct raster_line *line;
    struct raster_mark *mark;
    size_t lines, lines_room, marks, marks_room;
};

void sketch_release(struct sketch *sketch);

/* A line, world, mm. These and those below fail with STATUS_MEMORY alone. */
enum status sketch_line(struct sketch *sketch, struct vec from, struct vec to, struct job *job);

/* A mark that is seen whatever lies before it. */
enum status sketch_mark(struct sketch *sketch, struct vec at, uint8_t glyph, struct job *job);

/* The edges of a small closed mesh where its faces turn by 30 degrees and more. */
enum status sketch_creases(struct sketch *sketch, const struct mesh *mesh, struct job *job);

#endif
