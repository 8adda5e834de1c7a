/* What estimating normals shares between its files. */
#ifndef FETTLE_SCAN_NORMALS_PARTS_H
#define FETTLE_SCAN_NORMALS_PARTS_H

#include "core/mesh.h"
#include "core/tree.h"

enum {
    SIDES_BLOCK = 1024, /* points between two looks at the job */
    SIDES_LINKS = 8,    /* neighbours that a point is made to agree with */
    SIDES_CLASSES = 24, /* of links, by how much they bend */
    SIDES_NO_LINK = 255
};

struct estimate {
    const struct mesh *cloud;
    const struct tree *tree;
    const struct point *view; /* toward the scanner; NULL: not known */
    unsigned around;
    struct point *normal;
    uint32_t (*link)[SIDES_LINKS]; /* neighbours */
    uint8_t (*bend)[SIDES_LINKS];  /* the class of the link, or SIDES_NO_LINK */
    uint32_t *parent;              /* of the forest that the links join points to */
    uint8_t *against;              /* the point faces against its parent */
    struct job *job;
};

/* Turns the normals so that they agree (normals_estimate says how). Links, bends and room for the
 * forest are there. */
enum status sides_agree(struct estimate *e);

/* Where one scanner must have stood to see all points at once, as the directions to it, one a
 * point; *view is NULL when there is no such place. The normals agree within patches: those of the
 * points with the same root[]. The caller frees *view with scratch_free. */
enum status view_guess(const struct estimate *e, const uint32_t *root, struct point **view);

#endif
