#include "op/on_table.h"

#include "core/job.h"

enum { SHARE = 20 }; /* permille of the whole */

enum status on_table_look(const struct mesh *mesh, double most, double *rim, struct job *job)
{
    struct job_part whole = job_stage(job, SHARE);
    enum status status = table_edge(mesh, most, rim, job);
    job_part_end(job, whole);
    return status;
}

void on_table_tell(double rim, struct job *job)
{
    if (rim > 0)
        job_note(job,
                 "the edge of the flat place that it stands on, %.4g mm round, was closed, too: if "
                 "that is the table, undo, and \"clear-table\" first",
                 rim);
}
