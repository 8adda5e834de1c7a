#include "op/found.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "check/screw_holes.h"
#include "core/job.h"
#include "op/suits.h"

/* --- one piece ------------------------------------------------------------------------------ */

static struct fixing fixing_of(const struct mesh *mesh, const struct screw_hole *hole)
{
    struct suits suits = suits_find(hole);
    bool key = hole->kind == SCREW_HOLE_KEYHOLE, recess = hole->recess != RECESS_NONE;
    struct fixing f = {.kind = key ? FIXING_KEYHOLE : FIXING_BORE,
                       .at = mesh_world(mesh, hole->at),
                       .along = hole->along,
                       .up = hole->up,
                       .width = hole->width,
                       .depth = hole->depth,
                       .through = hole->through,
                       .clear = hole->clear,
                       .length = hole->length,
                       .mouth = recess ? hole->mouth : 0,
                       .sunk = recess ? hole->sunk : 0,
                       .cone = hole->recess == RECESS_SUNK,
                       .by = suits.any && suits.by ? suits.by->standard : NULL,
                       .entry = hole->entry,
                       .travel = hole->travel,
                       .lip = hole->lip,
                       .pocket = hole->pocket,
                       .room = hole->room};
    const struct measure_row *by = suits.any ? suits_recess(hole, suits.screw) : NULL;
    f.recess_by = by ? by->standard : NULL;
    if (suits.any)
        snprintf(f.screw, sizeof f.screw, "%s", screw_name(suits.screw));
    if (key) { /* one that no table has is taken to be as common practice has it */
        f.shank = suits.any ? screw_shank(suits.screw) : fmax(hole->width - KEYHOLE_SHANK_PLAY, 0);
        f.head = suits.any ? suits_head(suits.screw) : fmax(hole->entry - KEYHOLE_HEAD_PLAY, 0);
    } else {
        f.shank = suits.any ? screw_shank(suits.screw) : 0;
    }
    return f;
}

static bool is_known(const struct fixings *known, const struct fixing *fixing)
{
    for (size_t i = 0; known && i < known->count; i++)
        if (fixing_same(&known->item[i], fixing))
            return true;
    return false;
}

enum status found_fixings(const struct piece *piece, struct fixings **out, struct job *job)
{
    const struct screw_holes *holes = mesh_screw_holes(piece->mesh, job);
    *out = NULL;
    if (!holes)
        return job_status(job);
    if (holes->count == 0) {
        *out = fixings_share(piece->fixings);
        return STATUS_OK;
    }
    struct fixing *more = malloc(holes->count * sizeof *more);
    size_t count = 0;
    for (size_t i = 0; more && i < holes->count; i++) {
        more[count] = fixing_of(piece->mesh, &holes->item[i]);
        count += !is_known(piece->fixings, &more[count]);
    }
    if (more)
        *out = count ? fixings_with(piece->fixings, more, count) : fixings_share(piece->fixings);
    free(more);
    return *out ? STATUS_OK : job_fail_memory(job, holes->count * sizeof *more);
}

/* --- all of them ---------------------------------------------------------------------------- */

enum status found_all(const struct op_call *call, struct found *out)
{
    const struct scene *in = call->in;
    enum status status = op_any_chosen(call);
    *out = (struct found){.of = calloc(in->count + 1, sizeof *out->of)};
    if (!out->of)
        return job_fail_memory(call->job, in->count * sizeof *out->of);
    for (size_t i = op_chosen(call, 0); i < in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        status = found_fixings(in->piece[i], &out->of[out->pieces], call->job);
        out->count += out->of[out->pieces] ? out->of[out->pieces]->count : 0;
        out->pieces++;
    }
    if (status != STATUS_OK || out->count == 0)
        return status;
    out->item = malloc(out->count * sizeof *out->item);
    if (!out->item)
        return job_fail_memory(call->job, out->count * sizeof *out->item);
    for (size_t i = 0, n = 0; i < out->pieces; i++)
        for (size_t k = 0; out->of[i] && k < out->of[i]->count; k++)
            out->item[n++] = &out->of[i]->item[k];
    return STATUS_OK;
}

void found_release(struct found *found)
{
    for (size_t i = 0; i < found->pieces; i++)
        fixings_free(found->of[i]);
    free(found->of);
    free(found->item);
    *found = (struct found){0};
}

/* --- in words ------------------------------------------------------------------------------- */

static void keyhole_text(const struct fixing *f, const char *screw, char text[FOUND_TEXT])
{
    char pocket[48] = "open behind";
    if (isfinite(f->pocket))
        snprintf(pocket, sizeof pocket, "pocket %.3g mm", f->pocket);
    snprintf(text, FOUND_TEXT,
             "a keyhole%s: entry %.4g mm, slot %.4g mm, travel %.4g mm, lip %.3g mm, %s", screw,
             f->entry, f->width, f->travel, f->lip, pocket);
}

void found_text(const struct fixing *f, char text[FOUND_TEXT])
{
    char screw[64] = ", for no screw of the tables", recess[96] = "";
    if (f->screw[0])
        snprintf(screw, sizeof screw, " for %s%s%s%s", f->screw, f->by ? " (" : "",
                 f->by ? f->by : "", f->by ? ")" : "");
    if (f->kind == FIXING_KEYHOLE) {
        keyhole_text(f, screw, text);
        return;
    }
    if (f->mouth > 0)
        snprintf(recess, sizeof recess, ", %s %.4g mm wide, %.3g mm deep%s%s%s",
                 f->cone ? "countersunk" : "counterbored", f->mouth, f->sunk,
                 f->recess_by ? " (" : "", f->recess_by ? f->recess_by : "",
                 f->recess_by ? ")" : "");
    snprintf(text, FOUND_TEXT, "a hole of %.4g mm%s, %s %.4g mm%s", f->width, screw,
             f->through ? "through" : "deep", f->length, recess);
}
