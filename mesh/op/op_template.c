#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/fixing.h"
#include "op/hanging.h"
#include "op/placing.h"
#include "op/template.h"

static const double papers[][2] = {{210, 297}, {215.9, 279.4}}; /* mm: ISO 216 A4; ANSI Letter */

/* A mesh is not written over by a page. */
static enum status guard(const struct op_call *call, const char *path)
{
    if (strcmp(path, "-") == 0)
        return STATUS_OK;
    if (scene_is_original(call->in, path) || format_for_path(path))
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": a template is a PDF file; name it so, such as template.pdf", path);
    return STATUS_OK;
}

static enum status find_hanging(const struct op_call *call, const struct mesh *const *mesh,
                                size_t count, struct mass *mass, struct hang *hang,
                                const struct fixing **hole)
{
    size_t found = 0;
    enum status status = mass_find(mesh, count, mass, call->job);
    if (status == STATUS_OK)
        status = hanging_find(call, mesh, count, mass, hang, &found, hole);
    if (status != STATUS_OK)
        return status;
    if (found == 0)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"template\": the part has no keyholes to hang by that were cut here; "
                        "\"keyhole\" cuts them");
    if (!hang->holds)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"template\": it would not hang so: its centre of mass is %s; undo the "
                        "keyholes and cut them elsewhere (\"balance\" tells more)",
                        hang->screws > 1 ? "not between its two screws" : "above its screw");
    return STATUS_OK;
}

/* The part's name, or of several "name and others". */
static const char *name_of(const struct op_call *call, size_t count, char *text, size_t size)
{
    snprintf(text, size, "%s%s", call->in->piece[op_chosen(call, 0)]->name,
             count > 1 ? " and others" : "");
    return text;
}

static enum status draw(const struct op_call *call, const struct template_sheet *sheet)
{
    const char *path = op_value(call, "file")->text;
    size_t pages = 0;
    struct paper *paper = paper_new("Drilling template", call->job);
    if (!paper)
        return job_status(call->job);
    enum status status = template_draw(sheet, paper, &pages, call->job);
    if (status == STATUS_OK)
        status = paper_write(paper, path, call->job);
    paper_free(paper);
    if (status == STATUS_OK)
        job_note(call->job, "saved \"%s\": a drilling template on %zu sheet%s of %s", path, pages,
                 pages == 1 ? "" : "s", op_value(call, "paper")->choice ? "Letter" : "A4");
    return status;
}

static enum status make(const struct op_call *call, const struct mesh *const *mesh, size_t count)
{
    struct mass mass;
    struct hang h;
    struct outline outline;
    char name[512];
    struct template_sheet sheet = {
        .name = name_of(call, count, name, sizeof name), .hang = &h, .outline = &outline};
    enum status status = find_hanging(call, mesh, count, &mass, &h, &sheet.hole);
    if (status != STATUS_OK)
        return status;
    struct vec from = vec_scale(vec_add(h.screw[0], h.screw[h.screws - 1]), 0.5);
    for (int k = 0; k < 2; k++)
        sheet.outline_at[k] = (h.low[k] + h.high[k]) / 2;
    struct vec middle =
        vec_along(vec_along(from, sheet.outline_at[0], h.side), sheet.outline_at[1], h.up);
    sheet.centre[0] = vec_dot(vec_sub(mass.centre, from), h.side);
    sheet.centre[1] = vec_dot(vec_sub(mass.centre, from), h.up);
    memcpy(sheet.paper, papers[op_value(call, "paper")->choice], sizeof sheet.paper);
    status = outline_find(mesh, count, middle, h.out, h.up, h.width, h.height, &outline, call->job);
    if (status == STATUS_OK)
        status = draw(call, &sheet);
    outline_release(&outline);
    if (status == STATUS_OK) {
        job_note(call->job, "print it at 100 %%, then measure its two rulers of 100 mm");
        job_note(call->job, FIXING_CAUTION);
    }
    return status;
}

static enum status template_run(struct op_call *call)
{
    const struct mesh **mesh;
    size_t count;
    enum status status = guard(call, op_value(call, "file")->text);
    if (status == STATUS_OK)
        status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = make(call, mesh, count);
    free(mesh);
    return status;
}

static const struct param params[] = {
    {"file", PARAM_PATH, REQUIRED_POSITIONAL, NULL, 0, 0, NULL,
     "the PDF file to write; - is standard output"},
    {"paper", PARAM_CHOICE, OPTIONAL, "a4", 0, 0, "a4 letter", "what it will be printed on"},
    OP_PIECE,
    {0}};

const struct op op_template = {
    .name = "template",
    .title = "drawing the template",
    .undo = "draw a template",
    .help = "write a drilling template for its keyholes, to be printed at 1:1",
    .manual =
        "A PDF file for the wall behind the chosen pieces, as they hang together by their keyholes "
        "(those that \"keyhole\" cut in this session or recipe): where to drill, the line that "
        "must be level, the outline of the part (right to about a thousandth of its size), where "
        "its centre of mass hangs, the room above that hanging it in takes, screws, their spacing "
        "and how far the heads stand out. Every sheet has two rulers of 100 mm: measure them "
        "before drilling, as printers like to fit a page to the paper. A part larger than a sheet "
        "goes onto several, with lines on which to lay them together. A part that would not hang "
        "so is refused.",
    .params = params,
    .run = template_run,
    .changes = false,
};
