/* OBJ: what its two files share. */
#ifndef FETTLE_FORMAT_OBJ_H
#define FETTLE_FORMAT_OBJ_H

#include "format/sink.h"

enum status obj_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job);

#endif
