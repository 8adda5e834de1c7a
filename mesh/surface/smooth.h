/* Smoothing: takes noise off a surface without shrinking it. */
#ifndef FETTLE_SURFACE_SMOOTH_H
#define FETTLE_SURFACE_SMOOTH_H

#include "core/mesh.h"

struct smooth_options {
    unsigned passes;
    double strength; /* above 0, up to 1: how far each pass moves a vertex */
};

struct smooth_report {
    double largest, rms; /* mm: how far vertices were moved; rms over those that may move */
    struct vec at;       /* world: where the one lay that was moved farthest */
    size_t kept;         /* vertices that stay: on boundary or non-manifold edges */
    double grown;        /* share by which the volume grew; 0 when the surface is not closed */
};

/* Each pass moves every vertex towards the mean of its neighbours, then a little farther back
 * (Taubin 1995, "A Signal Processing Approach to Fair Surface Design"): ripples shorter than some
 * edges go, longer shapes stay and so does their size. Neighbours count by cotangents, so that
 * unevenly sized triangles do not creep. Vertices on boundary and non-manifold edges stay where
 * they are. Of a closed surface the volume is then restored by moving all along their normals.
 *
 * *out shares all but the points (the mesh is joined first if it was not); the same mesh is shared
 * when there is nothing to move. Same bytes whatever the number of threads. On failure nothing is
 * owned. */
enum status smooth_mesh(const struct mesh *mesh, const struct smooth_options *options,
                        struct mesh **out, struct smooth_report *report, struct job *job);

#endif
