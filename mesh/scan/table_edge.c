#include "scan/table_edge.h"

#include "core/job.h"
#include "core/topology.h"
#include "scan/table.h"

static const double long_rim = 0.5;  /* of the box's diagonal */
static const double nearly = 0.8;    /* of the rim's vertices */
static const double thickness = 3.5; /* spreads: what lies within belongs to the table, as in
                                        clear-table */

static size_t longest_of(const struct loops *loops)
{
    size_t best = 0;
    for (size_t i = 1; i < loops->count; i++)
        best = loops->length[i] > loops->length[best] ? i : best;
    return best;
}

static bool ends_table(const struct mesh *mesh, const struct loops *loops, size_t loop,
                       const struct table *table)
{
    size_t in = 0, count = loops->start[loop + 1] - loops->start[loop];
    for (size_t i = loops->start[loop]; i < loops->start[loop + 1]; i++) {
        uint32_t v = half_from(mesh_triangle(mesh), loops->half[i]);
        double high = bent_height(&table->surface, point_vec(mesh_point(mesh)[v]));
        in += fabs(high) <= thickness * table->spread;
    }
    return (double)in >= nearly * (double)count;
}

enum status table_edge(const struct mesh *mesh, double most, double *rim, struct job *job)
{
    *rim = 0;
    if (mesh_triangles(mesh) == 0 || !mesh->joined)
        return STATUS_OK;
    const struct loops *loops = mesh_loops(mesh, job);
    const struct bounds *box = loops ? mesh_bounds(mesh, job) : NULL;
    if (!loops || !box)
        return job_status(job);
    size_t longest = longest_of(loops);
    double length = loops->count ? loops->length[longest] : 0;
    if (loops->count == 0 || length < long_rim * vec_length(box->size) ||
        (most > 0 && length > most))
        return STATUS_OK;
    struct table table;
    enum status status = table_find(mesh, NULL, &table, job);
    if (status == STATUS_OK && ends_table(mesh, loops, longest, &table))
        *rim = length;
    if (status == STATUS_REFUSED) { /* no table stands out */
        job_forgive(job);
        status = STATUS_OK;
    }
    return status;
}
