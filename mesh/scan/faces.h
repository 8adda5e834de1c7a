/* The flat faces of a scan, and the poses at which two scans' faces lie on each other. */
#ifndef FETTLE_SCAN_FACES_H
#define FETTLE_SCAN_FACES_H

#include "scan/rigid.h"
#include "scan/surfels.h"

enum { FACES_MOST = 40 };
struct face {
    struct vec normal;
    double at;    /* mm: of its plane along the normal */
    double share; /* of the surfels */
};

struct faces {
    struct face face[FACES_MOST];
    int count;
    uint8_t *of; /* one a surfel: its face; FACES_MOST and more: none */
};

/* The largest planes on which surfels lie: of each of the commonest directions those where most of
 * its surfels stand. The caller releases; on failure nothing is owned. */
enum status faces_find(const struct surfels *surfels, struct faces *out, struct job *job);
void faces_release(struct faces *faces);

/* Poses (moving to fixed, up to `most`) that put a face of the moving scan onto one of the fixed
 * scan, a second direction of faces along one, against one or square to one of its directions (of
 * a part's sides no two scans need see the same), and then planes onto planes or rims of faces onto
 * rims along the three axes. What is flat looks alike everywhere, so that the lie of the land says
 * little of where it belongs (match.h), but faces and rims do. The better supported the earlier,
 * turn by turn. Returns how many; stops early when the job is cancelled. */
size_t faces_guess(const struct surfels *moving, const struct faces *moving_faces,
                   const struct surfels *fixed, const struct faces *fixed_faces, size_t most,
                   struct rigid *pose, struct job *job);

#endif
