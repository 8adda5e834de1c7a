#include <stdlib.h>

#include "check/screw_holes_parts.h"
#include "core/job.h"

static void holes_free(void *data)
{
    struct screw_holes *holes = data;
    free(holes->item);
    free(holes);
}

/* Whether one of them goes farther round than half: a bore does, and a keyhole's entry. */
static bool may_be_holes(const struct rounds *rounds)
{
    for (size_t i = 0; i < rounds->count; i++)
        if (rounds->item[i].arc > 180)
            return true;
    return false;
}

static enum status find(const struct mesh *mesh, struct hole_finder *f)
{
    enum status status = rounds_find(mesh, &f->rounds, f->job);
    if (status != STATUS_OK || !may_be_holes(&f->rounds))
        return status;
    f->used = calloc(f->rounds.count, sizeof *f->used);
    f->item = calloc(f->rounds.count, sizeof *f->item);
    if (!f->used || !f->item)
        return job_fail_memory(f->job, f->rounds.count * sizeof *f->item);
    f->tree = mesh_tree(mesh, f->job);
    if (!f->tree)
        return job_status(f->job);
    status = keyholes_find(f);
    return status == STATUS_OK ? bores_find(f) : status;
}

static void *holes_make(const struct mesh *mesh, struct job *job)
{
    struct hole_finder f = {.job = job};
    struct screw_holes *holes = calloc(1, sizeof *holes);
    enum status status = holes ? find(mesh, &f) : job_fail_memory(job, sizeof *holes);
    rounds_release(&f.rounds);
    free(f.used);
    if (status == STATUS_OK) {
        *holes = (struct screw_holes){f.count, f.item};
        return holes;
    }
    free(f.item);
    free(holes);
    return NULL;
}

const struct derived_row derived_screw_holes = {holes_make, holes_free};
