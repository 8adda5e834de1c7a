/* STL: what its files share. */
#ifndef FETTLE_FORMAT_STL_H
#define FETTLE_FORMAT_STL_H

#include "format/sink.h"

enum { STL_HEADER = 84, STL_COUNT_AT = 80, STL_FACET = 50, STL_VERTICES_AT = 12, STL_WORD_AT = 48 };

/* How our own files begin; STL_UNIT and the unit follow when it is not mm. */
#define STL_TITLE "binary STL"
#define STL_SOLID "solid mesh"
#define STL_UNIT ", unit "

enum status stl_text_read(const struct bytes *bytes, struct reading *out, struct job *job);

enum status stl_write(const struct mesh *mesh, const struct write_options *options,
                      struct sink *sink, struct job *job);

#endif
