/* OFF: what its files share. (From memory of the format's common description; the check values are
 * files of others.) */
#ifndef FETTLE_FORMAT_OFF_H
#define FETTLE_FORMAT_OFF_H

#include "format/gather.h"
#include "format/sink.h"

struct off_header {
    const struct bytes *bytes;
    bool colours, normals, textures, homogeneous, binary; /* by the letters before OFF */
    uint64_t vertices, faces;
    size_t body; /* where the first vertex's line begins */
    size_t body_line;
};

/* Reads the counts into the header too; found: how many vertices and faces are there. */
enum status off_binary_read(struct off_header *header, struct gather *gather, uint64_t found[2],
                            struct job *job);

enum status off_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job);

#endif
