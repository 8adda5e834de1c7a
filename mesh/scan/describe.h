/* The lie of the land around the points of a scan, to know a place again in another scan. */
#ifndef FETTLE_SCAN_DESCRIBE_H
#define FETTLE_SCAN_DESCRIBE_H

#include "scan/rigid.h"
#include "scan/surfels.h"

enum {
    RINGS = 4,
    SECTORS = 16,
    LAND = RINGS * SECTORS, /* heights, ring by ring from the inmost, counter-clockwise */
    TRAITS = 4 * RINGS      /* what does not change when the land is turned */
};

/* Of a place: the heights of the surface above its tangent plane on four rings around it, mm; and
 * each ring's mean and the sizes of its first three waves once the best plane is taken off, so
 * scaled that the squared distance of two places' traits is at most what lands_compare finds, where
 * all around was seen (Parseval). */
struct land {
    float height[LAND];
    float weight[LAND]; /* 1 where something was seen, else 0 */
    float trait[TRAITS];
    struct frame frame; /* at the point; axis[0] is where sector 0 lies, axis[2] the normal */
    uint32_t point;     /* of the surfels */
    bool whole;         /* all weights are 1 */
    bool known;         /* false: too near a rim, or on a crease: heights are of no use */
};

struct lands {
    struct land *land; /* one a surfel, in their order */
    size_t count;
    double radius; /* of the outermost ring, mm */
};

/* Describes the surroundings of every surfel up to `radius` mm, which should be some eight times
 * their spacing. What a rim leaves empty is continued from within, up to a quarter of it. The
 * caller releases; on failure nothing is owned. */
enum status lands_make(const struct surfels *surfels, double radius, struct lands *out,
                       struct job *job);
/* Known ones of several, each moved by its pose, all of one radius; evenly chosen where there are
 * more than `most`. As lands_make. */
enum status lands_merge(const struct lands *const *part, const struct rigid *pose, size_t count,
                        size_t most, struct lands *out, struct job *job);
void lands_release(struct lands *lands);

struct likeness {
    double off2; /* mm2: mean of squares between the heights, where both were seen, less the best
                    plane; INFINITY where too little was */
    struct rigid motion; /* that puts the one place onto the other, the plane accounted for */
};

/* Compares the land around two places, the one turned by whatever suits best; `radius` is that of
 * both. */
void lands_compare(const struct land *a, const struct land *b, double radius, struct likeness *out);

#endif
