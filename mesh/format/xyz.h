/* Points as text: what its two files share. */
#ifndef FETTLE_FORMAT_XYZ_H
#define FETTLE_FORMAT_XYZ_H

#include "format/sink.h"

enum status xyz_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job);

#endif
