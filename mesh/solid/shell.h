/* A solid made of a surface and the one at a distance from it. */
#ifndef FETTLE_SOLID_SHELL_H
#define FETTLE_SOLID_SHELL_H

#include "solid/offset.h"

struct shell_options {
    struct offset_options offset;
    bool
        skin; /* only what lies between the two surfaces; else the whole solid out to the new one */
};

/* Of a whole solid all is new and marked as made; of a skin the mesh's own triangles stay as they
 * are, turned over when the new ones are outside of them. STATUS_REFUSED when the mesh is no solid,
 * or so thin that nothing of it is so far inside. */
enum status shell_mesh(const struct mesh *mesh, const struct shell_options *options,
                       struct mesh **out, struct offset_report *report, struct job *job);

/* Marks all triangles of a mesh that is not shared yet as made. */
enum status shell_mark_made(struct mesh *mesh, struct job *job);

#endif
