/* Samples spread evenly over a surface or a cloud, the same every time. */
#ifndef FETTLE_SCAN_SAMPLES_H
#define FETTLE_SCAN_SAMPLES_H

#include "core/mesh.h"

struct sample {
    struct vec at;     /* local */
    struct vec corner; /* of the triangle it is on; the point itself in a cloud */
    struct vec normal; /* unit; zero where the surface tells none */
};

struct samples {
    struct sample *sample;
    size_t count;
};

/* About `most` samples: of a mesh, points on its triangles, one in each equal share of the area (so
 * that what is cut finely counts no more than what is cut coarsely), with the face's normal; of a
 * cloud, every so-many-th point, with the normal the file gave it. In the order of the triangles or
 * points. Fewer when a cloud has fewer points; none when there is no area. STATUS_MEMORY and
 * STATUS_CANCELLED; the caller releases, nothing is owned on failure. */
enum status samples_take(const struct mesh *mesh, size_t most, struct samples *out,
                         struct job *job);
void samples_release(struct samples *samples);

/* The next number of a sequence that is the same on every machine, 0 to 1 (1 left out): splitmix64
 * (Steele, Lea & Flood 2014). */
double samples_random(uint64_t *state);

#endif
