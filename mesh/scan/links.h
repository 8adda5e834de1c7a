/* Which points of two scans lie on each other, at a pose: what best fit steps by, and what a pose
 * is judged by. */
#ifndef FETTLE_SCAN_LINKS_H
#define FETTLE_SCAN_LINKS_H

#include "scan/rigid.h"
#include "scan/surfels.h"

/* Cosine: surfaces that face within 60 degrees of each other may be the same. */
#define LINKS_FACING 0.5

enum link_kind {
    LINK_NONE,    /* no point of the other within reach */
    LINK_BESIDE,  /* the nearest one stands at the other's rim: the point lies beyond it */
    LINK_OPPOSED, /* the surfaces face different ways there */
    LINK_FACING   /* surface before surface, at some distance */
};

struct link {
    uint32_t from, to; /* points of the moving and the fixed scan */
    float distance;    /* of the two tangent planes, mm; signed: the mean of both normals counts */
    float alike;       /* cosine between the normals */
    uint8_t kind;
    uint8_t taken; /* used while judging */
};

struct links {
    size_t count;
    struct link *link;
    float *room; /* for as many numbers */
};

/* Chooses up to `most` points of the moving scan, spread evenly over its list: link[i].from. Always
 * the same ones. The caller releases; STATUS_MEMORY. */
enum status links_make(const struct surfels *moving, size_t most, struct links *out,
                       struct job *job);
void links_release(struct links *links);

/* Finds each link's other end, kind and distance; earlier ends make it quicker (set `to` to
 * NO_INDEX for none). `reach`: mm. `threads`: how many may be used. */
void links_find(struct links *links, const struct surfels *moving, const struct surfels *fixed,
                const struct rigid *pose, double reach, int threads);

/* 2.5 sigma of the facing links' distances, sigma = 1.4826 median (Rusinkiewicz 2019). 0 when there
 * are none. */
double links_limit(const struct links *links);

/* How much a link counts beside others, 0 to 1: less where the normals differ, for beside an edge
 * that only one scan sees over, its points on the far side all pull one way. Thinned scans have but
 * their edges to go by: there all count alike. */
static inline double links_weight(const struct link *link, const struct surfels *moving,
                                  const struct surfels *fixed)
{
    double alike = fmax(0, ((double)link->alike - LINKS_FACING) / (1 - LINKS_FACING));
    return moving->thinned || fixed->thinned ? 1 : alike * alike;
}

/* What a pose makes of two scans. */
struct touch {
    double
        overlap; /* share of the moving scan's points that lie on the other within the tolerance */
    double facing;    /* share that faces it at all, within reach */
    double agreement; /* of what faces it away from edges, the share that lies on it: near 1 where
                         the surfaces are the same */
    double rms;       /* mm: of the distances within the tolerance */
    double facets; /* share of the overlap that faces one of three directions, within 6 degrees */
    double stiffness[36]; /* how distances answer to motions: mean over the overlap of g h^T, where
                             g and h are those of the two scans' normals, so that their noise does
                             not count; motions are turns (as mm at the overlap's radius) about
                             `middle`, then shifts */
    struct vec middle;    /* of the overlap, in the fixed scan's coordinates */
    double radius;        /* of the overlap about it, mm (RMS) */
};
void links_judge(struct links *links, const struct surfels *moving, const struct surfels *fixed,
                 const struct rigid *pose, double tolerance, struct touch *out);

#endif
