/* The numbers of a file: the double origin of what is read from text and doubles, and the way back
 * from a mesh's millimetres to the numbers that are written. */
#ifndef FETTLE_FORMAT_FRAME_H
#define FETTLE_FORMAT_FRAME_H

#include "format/format.h"

struct frame { /* how a mesh's positions are written: number = origin + frame_point */
    const struct point *point;
    double shift[3]; /* the mesh's origin less the one below, in the file's unit */
    double origin[3];
    double scale; /* the file's units a millimetre */
    bool same;    /* points are written as they are */
};

/* For formats that read doubles: the origin is the one frame_origin would choose for what is
 * written, so that reading and writing again gives the same numbers. */
void frame_init(struct frame *frame, const struct mesh *mesh, enum unit unit);

/* For formats of plain floats: origin zero. Returns the largest error that this makes, in mm. */
double frame_init_float(struct frame *frame, const struct mesh *mesh, enum unit unit);

static inline struct point frame_point(const struct frame *frame, size_t i)
{
    struct point p = frame->point[i];
    if (frame->same)
        return p;
    return (struct point){(float)(frame->shift[0] + p.x * frame->scale),
                          (float)(frame->shift[1] + p.y * frame->scale),
                          (float)(frame->shift[2] + p.z * frame->scale)};
}

/* Writes position i as three decimals, each followed by a blank; returns where it ends. */
char *frame_put(const struct frame *frame, size_t i, char *at);

#endif
