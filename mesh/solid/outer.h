/* Which of the facets of an arrangement bound what is inside. */
#ifndef FETTLE_SOLID_OUTER_H
#define FETTLE_SOLID_OUTER_H

#include "solid/arrange.h"

enum outer_way { OUTER_GOES, OUTER_STAYS, OUTER_TURNS };

/* Inside is what the mesh winds around more often than not: where its winding number is above 0
 * (the positive fill rule that printers follow; Zhou et al. 2016), or, with `odd`, where a ray out
 * meets it an odd number of times, for closed surfaces that cannot be oriented. Facets with inside
 * on one side only stay, and face outward. The number is constant over each patch of facets between
 * edges that many share, so it is counted once a patch, exactly, along a ray (rays.h).
 * way: one a triangle of the arranged mesh. */
enum status outer_judge(const struct mesh *mesh, const struct arrangement *arrangement, bool odd,
                        uint8_t *way, struct job *job);

/* Whether a closed component of the mesh (triangles with component[t] == which, `facet` one of
 * them) lies inside others, which wind around it more than 0 times. */
enum status outer_encloses(const struct mesh *mesh, const uint32_t *component, uint32_t facet,
                           bool *inside, struct job *job);

#endif
