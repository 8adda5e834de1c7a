#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/fixing.h"
#include "op/hanging.h"
#include "op/placing.h"
#include "op/template.h"

/* mm: ISO 216 A4; ANSI Letter; and what a larger one is no smaller than */
static const double papers[][2] = {{210, 297}, {215.9, 279.4}, {210, 297}};
enum { WHOLE = 2 };

enum { BY_KEYHOLES, BY_BORES };

/* A mesh is not written over by a page, and nothing is called what it is not. */
static enum status guard(const struct op_call *call, const char *path, enum paper_kind *kind)
{
    *kind = PAPER_PDF;
    if (strcmp(path, "-") == 0)
        return STATUS_OK;
    if (scene_is_original(call->in, path) || !paper_kind_of(path, kind))
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": a template is a PDF or an SVG file; name it so, such as "
                        "template.pdf",
                        path);
    return STATUS_OK;
}

static struct hanging_choice choice_of(const struct op_call *call, struct vec *wall)
{
    const struct value *by = op_value(call, "by"), *side = op_value(call, "wall");
    const double *up = op_value(call, "up")->vec;
    *wall = vec(side->vec[0], side->vec[1], side->vec[2]);
    return (struct hanging_choice){.keyholes = !by->given || by->choice != BY_BORES,
                                   .bores = by->given && by->choice != BY_KEYHOLES,
                                   .bores_instead = !by->given,
                                   .only = op_value(call, "only")->text,
                                   .wall = side->given ? wall : NULL,
                                   .up = vec(up[0], up[1], up[2])};
}

static enum status find_hanging(const struct op_call *call, const struct mesh *const *mesh,
                                size_t count, struct mass *mass, struct hanging *hanging)
{
    struct vec wall;
    struct hanging_choice choice = choice_of(call, &wall);
    enum status status = mass_find(mesh, count, mass, call->job);
    if (status == STATUS_OK)
        status = hanging_find(call, mesh, count, mass, &choice, hanging);
    if (status != STATUS_OK)
        return status;
    if (hanging->keyholes + hanging->bores == 0)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"template\": the part has no keyholes%s to hang it by; \"keyhole\" and "
                        "\"bore\" cut such, \"fixings\" lists what it has",
                        choice.keyholes ? " and no holes for screws through it"
                                        : " that count, and no holes for screws through it");
    if (!hanging->hang.holds)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"template\": it would not hang so: its centre of mass is %s; undo the "
                        "keyholes and cut them elsewhere (\"balance\" tells more)",
                        hanging->hang.screws > 1 ? "not between its two screws"
                                                 : "above its screw");
    return STATUS_OK;
}

/* Where the hole's axis meets the wall, right and up of the middle of the screws. */
static void place_on_wall(const struct hang *h, const struct fixing *hole, double at[2])
{
    struct vec from = vec_scale(vec_add(h->screw[0], h->screw[h->screws - 1]), 0.5);
    struct vec wall = vec_along(from, -h->proud, h->out);
    double far = vec_dot(vec_sub(wall, hole->at), h->out) / vec_dot(hole->along, h->out);
    struct vec place = vec_sub(vec_along(hole->at, far, hole->along), from);
    at[0] = vec_dot(place, h->side);
    at[1] = vec_dot(place, h->up);
}

static int by_place(const void *a, const void *b)
{
    const struct template_screw *x = a, *y = b;
    return (x->at[0] > y->at[0]) - (x->at[0] < y->at[0]);
}

/* All that is to be drilled: the one or two screws that bear, then those through bores. The caller
 * frees it. */
static struct template_screw *screws_of(const struct hanging *hanging, struct template_sheet *sheet)
{
    const struct hang *h = &hanging->hang;
    struct vec from = vec_scale(vec_add(h->screw[0], h->screw[h->screws - 1]), 0.5);
    struct template_screw *screw = malloc((hanging->bores + 2) * sizeof *screw);
    sheet->keyholes = hanging->keyholes ? (size_t)h->screws : 0;
    sheet->bores = hanging->bores;
    for (size_t i = 0; screw && i < sheet->keyholes; i++) {
        struct vec place = vec_sub(h->screw[i], from);
        screw[i] = (struct template_screw){{vec_dot(place, h->side), vec_dot(place, h->up)},
                                           hanging->by[0]};
    }
    for (size_t i = 0; screw && i < hanging->bores; i++) {
        struct template_screw *next = &screw[sheet->keyholes + i];
        next->hole = hanging->by[hanging->keyholes + i];
        place_on_wall(h, next->hole, next->at);
    }
    if (screw)
        qsort(screw + sheet->keyholes, hanging->bores, sizeof *screw, by_place);
    return screw;
}

/* The part's name, or of several "name and others". */
static const char *name_of(const struct op_call *call, size_t count, char *text, size_t size)
{
    snprintf(text, size, "%s%s", call->in->piece[op_chosen(call, 0)]->name,
             count > 1 ? " and others" : "");
    return text;
}

static void tell_saved(const struct op_call *call, const struct template_sheet *sheet, size_t pages)
{
    static const char *const names[] = {"A4", "Letter"};
    const char *path = op_value(call, "file")->text;
    int paper = op_value(call, "paper")->choice;
    if (memcmp(sheet->paper, papers[paper], sizeof sheet->paper) != 0 || paper == WHOLE)
        job_note(call->job, "saved \"%s\": a drilling template on one sheet of %.5g x %.5g mm",
                 path, sheet->paper[0], sheet->paper[1]);
    else
        job_note(call->job, "saved \"%s\": a drilling template on %zu sheet%s of %s", path, pages,
                 pages == 1 ? "" : "s", names[paper]);
}

static enum status draw(const struct op_call *call, const struct template_sheet *sheet,
                        enum paper_kind kind)
{
    size_t pages = 0;
    struct paper *paper = paper_new("Drilling template", kind, call->job);
    if (!paper)
        return job_status(call->job);
    enum status status = template_draw(sheet, paper, &pages, call->job);
    if (status == STATUS_OK)
        status = paper_write(paper, op_value(call, "file")->text, call->job);
    paper_free(paper);
    if (status == STATUS_OK)
        tell_saved(call, sheet, pages);
    return status;
}

static enum status draw_hanging(const struct op_call *call, const struct mesh *const *mesh,
                                size_t count, const struct mass *mass,
                                const struct hanging *hanging, enum paper_kind kind)
{
    const struct hang *h = &hanging->hang;
    struct outline outline;
    char name[512];
    struct template_sheet sheet = {
        .name = name_of(call, count, name, sizeof name), .hang = h, .outline = &outline};
    struct vec from = vec_scale(vec_add(h->screw[0], h->screw[h->screws - 1]), 0.5);
    struct template_screw *screw = screws_of(hanging, &sheet);
    if (!screw)
        return job_fail_memory(call->job, hanging->bores * sizeof *screw);
    sheet.screw = screw;
    for (int k = 0; k < 2; k++)
        sheet.outline_at[k] = (h->low[k] + h->high[k]) / 2;
    struct vec middle =
        vec_along(vec_along(from, sheet.outline_at[0], h->side), sheet.outline_at[1], h->up);
    sheet.centre[0] = vec_dot(vec_sub(mass->centre, from), h->side);
    sheet.centre[1] = vec_dot(vec_sub(mass->centre, from), h->up);
    int size = op_value(call, "paper")->choice;
    memcpy(sheet.paper, papers[size], sizeof sheet.paper);
    if (size == WHOLE || kind == PAPER_SVG)
        template_whole(&sheet);
    enum status status =
        outline_find(mesh, count, middle, h->out, h->up, h->width, h->height, &outline, call->job);
    if (status == STATUS_OK && kind == PAPER_PDF &&
        fmax(sheet.paper[0], sheet.paper[1]) > PAPER_MOST)
        status =
            job_fail(call->job, STATUS_REFUSED,
                     "\"template\": one sheet would be %.5g x %.5g mm, and a PDF's is %g mm at "
                     "most; write an SVG file, or several sheets: paper=a4",
                     sheet.paper[0], sheet.paper[1], PAPER_MOST);
    if (status == STATUS_OK)
        status = draw(call, &sheet, kind);
    outline_release(&outline);
    free(screw);
    return status;
}

static enum status make(const struct op_call *call, const struct mesh *const *mesh, size_t count,
                        enum paper_kind kind)
{
    struct mass mass;
    struct hanging hanging = {0};
    enum status status = find_hanging(call, mesh, count, &mass, &hanging);
    if (status == STATUS_OK)
        status = draw_hanging(call, mesh, count, &mass, &hanging, kind);
    hanging_release(&hanging);
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
    enum paper_kind kind;
    enum status status = guard(call, op_value(call, "file")->text, &kind);
    if (status == STATUS_OK)
        status = placing_meshes(call, &mesh, &count);
    if (status != STATUS_OK)
        return status;
    status = make(call, mesh, count, kind);
    free(mesh);
    return status;
}

static const struct param params[] = {
    {"file", PARAM_PATH, REQUIRED_POSITIONAL, NULL, 0, 0, "pdf svg",
     "the file to write, PDF or SVG; - is standard output, PDF"},
    {"by", PARAM_CHOICE, OPTIONAL, NULL, 0, 0, "keyholes bores both",
     "what it is held by; keyholes, or when there are none, bores"},
    {"only", PARAM_TEXT, OPTIONAL, NULL, 0, 0, NULL,
     "by which of them: their numbers as \"fixings\" tells them, such as 1,3"},
    {"wall", PARAM_DIRECTION, OPTIONAL, NULL, 0, 0, NULL,
     "by bores alone: on which side of it the wall is; to be seen from the holes"},
    {"up", PARAM_DIRECTION, OPTIONAL, "z", 0, 0, NULL,
     "by bores alone: which way is up when it is on the wall"},
    {"paper", PARAM_CHOICE, OPTIONAL, "a4", 0, 0, "a4 letter whole",
     "what it will be printed on; whole: one sheet as large as it takes, as in an SVG file"},
    OP_PIECE,
    {0}};

const struct op op_template = {
    .name = "template",
    .title = "drawing the template",
    .undo = "draw a template",
    .help = "write a drilling template for its fixings, to be printed at 1:1",
    .example = "template wall.pdf paper=letter",
    .manual =
        "A PDF or SVG file for the wall behind the chosen pieces, as they hang together by their "
        "keyholes, or as screws through their bores hold them: where to drill, the line that must "
        "be level, the outline of the part (right to about a thousandth of its size), where its "
        "centre of mass hangs, the room above that hanging it in takes, screws, their spacing and "
        "how far the heads stand out. Keyholes and bores are those that were cut here and those "
        "that are found in the surface (\"fixings\" lists them); bores count that go straight "
        "through the part and suit a screw. With both, the bores are drawn where they come as it "
        "hangs; one keyhole beside bores does not let it swing, so its slot is upright. By bores "
        "alone the part is upright as up= says, and the wall is on the side away from the heads' "
        "recesses, else where the holes' rims lie farthest out. Every sheet has two rulers of 100 "
        "mm: measure them before drilling, as printers like to fit a page to the paper. A part "
        "larger than a sheet goes onto several, with lines on which to lay them together; with "
        "paper=whole, and in an SVG file, onto one as large as it takes, for a plotter. A part "
        "that would not hang so is refused.",
    .params = params,
    .run = template_run,
    .changes = false,
};
