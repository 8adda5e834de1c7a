#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "core/mass.h"
#include "op/found.h"
#include "op/placing.h"
#include "op/sketch.h"

enum { TOLD = 40 }; /* more are counted only */

static void tell(const struct op_call *call, const struct found *found)
{
    for (size_t i = 0; i < found->count && i < TOLD; i++) {
        char text[FOUND_TEXT];
        struct vec at = placing_tidy(found->item[i]->at);
        found_text(found->item[i], text);
        job_note(call->job, "%zu: %s; at %.6g, %.6g, %.6g", i + 1, text, at.x, at.y, at.z);
    }
    if (found->count > TOLD)
        job_note(call->job, "and %zu more", found->count - TOLD);
    if (found->count == 0)
        job_note(call->job,
                 "no round holes and no keyholes: such as are left of a scan are too rough to be "
                 "told from other hollows");
}

/* Of a surface turned inside out the pegs are the holes. */
static enum status tell_doubt(const struct op_call *call)
{
    const struct mesh **mesh;
    size_t count;
    struct mass mass;
    enum status status = placing_meshes(call, &mesh, &count);
    if (status == STATUS_OK)
        status = mass_find(mesh, count, &mass, call->job);
    free(mesh);
    if (status == STATUS_OK && mass.kind != MASS_SOLID)
        job_note(call->job, "it is no closed solid that faces outward, so what is found may be the "
                            "outside of something; \"fill\", \"orient\"");
    return status;
}

/* Gives each chosen piece its list. */
static enum status keep(struct op_call *call, const struct found *found)
{
    size_t n = 0;
    for (size_t i = op_chosen(call, 0); i < call->in->count; i = op_chosen(call, i + 1), n++) {
        const struct piece *old = call->in->piece[i];
        if (!found->of[n] || found->of[n] == old->fixings)
            continue;
        struct piece *piece = piece_new_like(old, mesh_share(old->mesh));
        if (!piece)
            return job_fail_memory(call->job, sizeof *piece);
        piece_set_fixings(piece, fixings_share(found->of[n]));
        scene_replace(call->out, i, piece);
    }
    return STATUS_OK;
}

static enum status fixings_run(struct op_call *call)
{
    struct found found;
    enum status status = found_all(call, &found);
    if (status == STATUS_OK)
        status = keep(call, &found);
    if (status == STATUS_OK)
        tell(call, &found);
    if (status == STATUS_OK && found.count)
        status = tell_doubt(call);
    found_release(&found);
    return status;
}

/* Its number at each of them, or a mark when that has two digits, and its axis. */
static enum status draw(const struct op_call *call, const struct found *found,
                        struct sketch *sketch)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < found->count && status == STATUS_OK; i++) {
        const struct fixing *f = found->item[i];
        double size = f->width + f->entry;
        status = sketch_line(sketch, vec_along(f->at, -size, f->along), f->at, call->job);
        if (status == STATUS_OK)
            status = sketch_mark(sketch, vec_along(f->at, -size, f->along),
                                 i < 9 ? (uint8_t)('1' + i) : 'o', call->job);
    }
    return status;
}

static enum status fixings_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct found found;
    enum status status = found_all(call, &found);
    if (status == STATUS_OK)
        status = draw(call, &found, sketch);
    if (status == STATUS_OK)
        tell(call, &found);
    found_release(&found);
    return status;
}

static const struct param params[] = {OP_PIECE_AS(POSITIONAL), {0}};

const struct op op_fixings = {
    .name = "fixings",
    .title = "looking for holes",
    .undo = "find fixings",
    .help = "find the holes for screws and keyholes that a surface has",
    .example = "fixings 1",
    .manual =
        "What \"bore\" and \"keyhole\" cut is known only until the file is saved; this finds it "
        "again in any mesh, whatever program cut it, by the shape alone: round walls that look to "
        "their axis, grown and fitted by least squares, put together to plain, countersunk and "
        "counterbored holes, through or blind, and to keyholes (a round entry, a slot with a round "
        "end, room behind its lip). It tells sizes and the screw of the tables that each suits: by "
        "its clearance (ISO 273), the insert's pilot it is, or the widest that passes. Sizes are "
        "right to about 0.01 mm where a circle has facets enough; the width told is what its "
        "facets leave free. Found are circles of twelve facets and more, 1 to 30 mm wide, that lie "
        "within 2.5 % of their radius of a circle; not threads, tapers, hexagons, nor what a "
        "scanner saw of a hole. The piece then knows them as if they had been cut here; "
        "\"balance\" and \"template\" look by themselves. At the screen their numbers are drawn. "
        "The surface is not changed.",
    .params = params,
    .run = fixings_run,
    .sketch = fixings_sketch,
    .changes = true,
};
