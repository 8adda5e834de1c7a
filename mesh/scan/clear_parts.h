/* Shared by the files that take the table away. */
#ifndef FETTLE_SCAN_CLEAR_PARTS_H
#define FETTLE_SCAN_CLEAR_PARTS_H

#include "core/job.h"
#include "scan/table.h"

struct clearing {
    const struct mesh *mesh;
    struct table table;
    double low;      /* mm: what lies higher may stand on the table */
    double high;     /* mm: what lies higher does */
    float *height;   /* one a vertex, over the table's surface */
    uint8_t *stands; /* one a vertex: it is part of what stands on the table */
    struct job *job;
};

/* Whether to stop at step i of a loop: asked of the job now and then. */
static inline bool stopped(const struct clearing *c, size_t i)
{
    return i % 65536 == 0 && job_cancelled(c->job);
}

/* Fills stands[] by what hangs together across edges, for surfaces whose faces tell above from
 * below. */
enum status clear_by_edges(struct clearing *c);

/* Fills stands[] by what lies close together seen from above, for clouds and for surfaces whose
 * faces disagree. */
enum status clear_by_places(struct clearing *c);

#endif
