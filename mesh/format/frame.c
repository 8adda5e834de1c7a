#include "format/frame.h"

#include <math.h>

#include "format/decimal.h"

static void take(struct frame *frame, const struct mesh *mesh, const double origin[3])
{
    frame->same = frame->scale == 1;
    for (int k = 0; k < 3; k++) {
        frame->origin[k] = origin[k];
        frame->shift[k] = mesh->origin[k] * frame->scale - origin[k];
        frame->same = frame->same && frame->shift[k] == 0;
    }
}

static void first_number(const struct frame *frame, double number[3])
{
    struct point p = frame_point(frame, 0);
    number[0] = frame->origin[0] + (double)p.x;
    number[1] = frame->origin[1] + (double)p.y;
    number[2] = frame->origin[2] + (double)p.z;
}

void frame_init(struct frame *frame, const struct mesh *mesh, enum unit unit)
{
    const double zero[3] = {0, 0, 0};
    double first[3], origin[3];
    *frame = (struct frame){.point = mesh_point(mesh), .scale = 1 / unit_millimetres(unit)};
    take(frame, mesh, zero);
    if (!mesh_vertices(mesh))
        return;
    /* Rounding the first point may itself carry it over to the next origin: twice settles it. */
    struct point p = mesh_point(mesh)[0];
    const double exact[3] = {frame->shift[0] + p.x * frame->scale,
                             frame->shift[1] + p.y * frame->scale,
                             frame->shift[2] + p.z * frame->scale};
    mesh_origin_for(exact, origin);
    take(frame, mesh, origin);
    first_number(frame, first);
    mesh_origin_for(first, origin);
    take(frame, mesh, origin);
}

double frame_init_float(struct frame *frame, const struct mesh *mesh, enum unit unit)
{
    const double zero[3] = {0, 0, 0};
    *frame = (struct frame){.point = mesh_point(mesh), .scale = 1 / unit_millimetres(unit)};
    take(frame, mesh, zero);
    double most = 0;
    for (int k = 0; k < 3; k++)
        most = fmax(most, fabs(mesh->origin[k]));
    return most * 0x1p-24;
}

char *frame_put(const struct frame *frame, size_t i, char *at)
{
    struct point p = frame_point(frame, i);
    const float value[3] = {p.x, p.y, p.z};
    for (int k = 0; k < 3; k++) {
        at = decimal_sum(at, frame->origin[k], value[k]);
        *at++ = ' ';
    }
    return at;
}
