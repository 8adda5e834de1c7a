#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "op/op.h"

/* Marks what stays; returns the number of triangles that go. */
static size_t mark(const struct mesh *mesh, bool made_too, uint8_t *keep)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    size_t count = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        keep[t] = origin[t] == ORIGIN_MEASURED || (origin[t] == ORIGIN_MADE && !made_too);
        count += !keep[t];
    }
    return count;
}

static enum status take(const struct mesh *mesh, size_t gone, const uint8_t *keep,
                        struct mesh **out, struct job *job)
{
    if (gone == mesh_triangles(mesh))
        return job_fail(job, STATUS_REFUSED, "nothing of it was measured; nothing would be left");
    *out = mesh_subset(mesh, keep, job);
    if (!*out)
        return job_status(job);
    job_note(job, "%zu triangles gone that were not measured; %zu stay", gone,
             mesh_triangles(*out));
    return STATUS_OK;
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    const bool known = mesh_attribute(mesh, ATTRIBUTE_origin) && mesh_triangles(mesh);
    uint8_t *keep = known ? scratch_new(mesh_triangles(mesh), 1) : NULL;
    if (known && !keep)
        return job_fail_memory(job, mesh_triangles(mesh));
    size_t gone = known ? mark(mesh, op_value(call, "made")->choice != 0, keep) : 0;
    enum status status = STATUS_OK;
    if (gone) {
        status = take(mesh, gone, keep, out, job);
    } else {
        *out = mesh_share(mesh);
        job_note(job, known ? "all of it was measured" : "nothing is known to be invented");
    }
    scratch_free(keep);
    return status;
}

static enum status bare_run(struct op_call *call)
{
    return op_each(call, make);
}

static const struct param params[] = {{"made", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL,
                                       "also what was made on purpose: caps of cuts and the like"},
                                      OP_PIECE,
                                      {0}};

const struct op op_bare = {
    .name = "bare",
    .title = "taking away what was invented",
    .undo = "take away what was invented",
    .help = "take away what was invented, leaving what was measured",
    .example = "bare piece=1",
    .manual = "Triangles that fill or fuse have invented go, where no scan saw; what was measured "
              "stays, and is open there again. What was made on purpose, such as the cap of a cut, "
              "stays too, unless made=yes. A ply file keeps what was measured and what was not.",
    .params = params,
    .run = bare_run,
    .changes = true,
};
