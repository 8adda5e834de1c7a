/* Which positions are the same: the hashing behind all exact welding. */
#ifndef FETTLE_CORE_SAME_H
#define FETTLE_CORE_SAME_H

#include "core/mesh.h"

/* Where positions lie: three native floats each, aligned or not; position i begins at
 * base + i / 3 * stride + i % 3 * 12 when `stride` is not 0 (corners of triangles), else at
 * base + i * 12. */
struct positions {
    const unsigned char *base;
    size_t stride;
    size_t count; /* at most 3 * MESH_MOST */
};

/* Numbers the distinct positions in the order of their first occurrence (-0 equals 0): id[i] is the
 * number of position i. *distinct is how many there are; *finite is false when some position is not
 * finite (ids are then of no use). All threads of the job work; the result does not depend on how
 * many there are. `likely` is a guess at the distinct ones, to size the table. Steps the job by
 * positions. */
enum status same_number(const struct positions *positions, size_t likely, uint32_t *id,
                        size_t *distinct, bool *finite, struct job *job);

/* Numbers representatives: id[i] is a representative (id[i] == i) or names one before it; becomes its
 * number, counted in order. Returns how many there are; of no use when the job was cancelled. */
size_t same_count(uint32_t *id, size_t count, const struct job *job);

#endif
