/* Amount, middle and inertia of bodies, from their surface alone.
 *
 * The integrals of 1, x and x x' over a closed surface's inside are sums over the signed tetrahedra
 * from one point to its triangles, and exact for them: amount a, corners summing to s, a second
 * moment of a / 20 (s s' + sum of v v') (after Lien & Kajiya 1984; Mirtich 1996 and Eberly 2002 do
 * the same over projections). The point is the middle of the box, so that a body far off loses no
 * digits. Of a surface without an inside, and of a cloud, the same is told of the skin and of the
 * points. */
#ifndef FETTLE_CORE_MASS_H
#define FETTLE_CORE_MASS_H

#include "core/mesh.h"
#include "core/sum.h"

struct moments { /* about a point: amount; x y z; xx yy zz yz zx xy; not scaled yet: mass_of */
    struct sum sum[10];
};

enum mass_kind { MASS_SOLID, MASS_SURFACE, MASS_POINTS };

struct mass {
    enum mass_kind kind;
    double amount;        /* mm3 of a solid, mm2 of a surface, points of a cloud */
    struct vec centre;    /* world, mm */
    double inertia[3][3]; /* about the centre, amount times mm2: times a density it is mass times
                             mm2. Ixx is the sum of amount times (y2 + z2), Ixy that of -xy */
};

/* Adds the mesh to the moments of the inside and of the skin, about a world position.
 * The same whatever the thread count. STATUS_MEMORY and STATUS_CANCELLED. */
enum status mesh_moments(const struct mesh *mesh, struct vec about, struct moments *solid,
                         struct moments *surface, struct job *job);

/* What the moments say; centre and inertia are zero when the amount is. */
struct mass mass_of(const struct moments *moments, enum mass_kind kind, struct vec about);

/* Of the meshes taken together (where they overlap it counts twice): of the solid when each is
 * closed and the volume is more than 0, else of the surface, else of all points. */
enum status mass_find(const struct mesh *const *mesh, size_t count, struct mass *out,
                      struct job *job);

/* The principal moments, the least first, and their axes: unit vectors, right-handed. */
void mass_axes(const struct mass *mass, double moment[3], struct vec axis[3]);

#endif
