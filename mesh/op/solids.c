#include "op/solids.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/mass.h"
#include "op/keep.h"

struct tool { /* the second solid */
    struct mesh *mesh;
    size_t piece; /* in->count: it comes from a file */
};

/* The file must not be saved over unasked. */
static bool remember(struct scene *scene, const char *path)
{
    char *file = strcmp(path, "-") == 0 ? NULL : path_file(path);
    bool ok = strcmp(path, "-") == 0 || (file && scene_opened(scene, file));
    free(file);
    return ok;
}

static enum status tool_read(const struct op_call *call, struct tool *tool)
{
    const char *path = op_value(call, "file")->text;
    const struct value *unit = op_value(call, "unit");
    struct file file;
    enum status status =
        file_read(path, unit->given ? (enum unit)unit->choice : UNIT_NONE, &file, call->job);
    if (status != STATUS_OK)
        return status;
    if (remember(call->out, path))
        tool->mesh = mesh_share(file.mesh);
    else
        status = job_fail_memory(call->job, strlen(path));
    file_release(&file);
    return status;
}

static enum status tool_find(const struct op_call *call, struct tool *tool)
{
    const struct value *file = op_value(call, "file"), *piece = op_value(call, "tool");
    tool->piece = call->in->count;
    if (file->given == piece->given)
        return job_fail(call->job, STATUS_USAGE,
                        "\"%s\": needs the second solid: a file, or a piece of the scene as tool=2",
                        call->op->name);
    if (file->given)
        return tool_read(call, tool);
    size_t number = (size_t)piece->number;
    if (number == 0)
        return job_fail(call->job, STATUS_USAGE, "\"%s\": takes one tool; tool= is 1 to %zu",
                        call->op->name, call->in->count);
    tool->piece = number - 1;
    tool->mesh = mesh_share(call->in->piece[tool->piece]->mesh);
    return STATUS_OK;
}

/* Solids' volumes, cm3. */
static enum status tell_volume(const struct op_call *call, size_t i, const struct mesh *made)
{
    struct mass before, after;
    enum status status =
        mass_find((const struct mesh *[]){call->in->piece[i]->mesh}, 1, &before, call->job);
    if (status == STATUS_OK)
        status = mass_find((const struct mesh *[]){made}, 1, &after, call->job);
    if (status == STATUS_OK && before.kind == MASS_SOLID && after.kind == MASS_SOLID)
        job_note(call->job, "%s: %.5g cm3 before, %.5g cm3 now", call->in->piece[i]->name,
                 before.amount / 1000, after.amount / 1000);
    return status;
}

static void tell(const struct op_call *call, size_t i, const struct mesh *made,
                 const struct boolean_report *r)
{
    const char *name = call->in->piece[i]->name;
    if (r->crossed[0] + r->crossed[1] == 0)
        job_note(call->job, "%s: the two surfaces do not meet; %zu triangles", name,
                 mesh_triangles(made));
    else
        job_note(call->job, "%s: %zu triangles cut through, %zu made; %zu in all", name,
                 r->crossed[0] + r->crossed[1], r->made, mesh_triangles(made));
    if (r->parted)
        job_note(call->job, "%s: parted in %zu vertices where it would only touch itself", name,
                 r->parted);
    if (r->aside > 0)
        job_note(call->job,
                 "%s: the second solid was moved aside by %.2g mm, as the two nearly coincide",
                 name, r->aside);
    if (r->crossings)
        job_note(call->job,
                 "%s: %llu pairs of triangles at the cut still cross by rounding; move one of the "
                 "solids a little and try again",
                 name, (unsigned long long)r->crossings);
}

/* Of two solids made one, both have their holes and keyholes, as far as they are still there. */
static enum status add_fixings(const struct op_call *call, struct piece *made,
                               const struct fixings *more)
{
    struct fixings *all = fixings_with(made->fixings, more->item, more->count), *kept = NULL;
    if (!all)
        return job_fail_memory(call->job, more->count * sizeof *more->item);
    enum status status = fixings_look(all, made->mesh, &kept, call->job);
    fixings_free(all);
    if (status == STATUS_OK)
        piece_set_fixings(made, kept);
    return status;
}

static enum status work_on(struct op_call *call, enum boolean_kind kind, size_t i,
                           const struct tool *tool)
{
    const struct piece *piece = call->in->piece[i];
    struct mesh *made = NULL;
    struct boolean_report report;
    enum status status = boolean_mesh(piece->mesh, tool->mesh, kind, &made, &report, call->job);
    if (status != STATUS_OK)
        return status;
    tell(call, i, made, &report);
    status = tell_volume(call, i, made);
    if (status != STATUS_OK) {
        mesh_free(made);
        return status;
    }
    struct piece *next = piece_new_like(piece, made);
    if (!next)
        return job_fail_memory(call->job, sizeof *next);
    const struct fixings *more =
        tool->piece < call->in->count ? call->in->piece[tool->piece]->fixings : NULL;
    if (kind == BOOLEAN_UNITE && more)
        status = add_fixings(call, next, more);
    if (status != STATUS_OK)
        piece_free(next);
    else
        scene_replace(call->out, i, next);
    return status;
}

/* The next chosen piece from `from` on that is not the tool. */
static size_t next_chosen(const struct op_call *call, const struct tool *tool, size_t from)
{
    size_t i = op_chosen(call, from);
    return i == tool->piece && i < call->in->count ? op_chosen(call, i + 1) : i;
}

static enum status work(struct op_call *call, enum boolean_kind kind, const struct tool *tool)
{
    size_t count = 0, done = 0;
    enum status status = op_any_chosen(call);
    for (size_t i = next_chosen(call, tool, 0); i < call->in->count;
         i = next_chosen(call, tool, i + 1))
        count++;
    if (status == STATUS_OK && count == 0)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"%s\": a piece cannot be its own tool; name another", call->op->name);
    for (size_t i = next_chosen(call, tool, 0); i < call->in->count && status == STATUS_OK;
         i = next_chosen(call, tool, i + 1)) {
        struct job_part outer = job_part(call->job, done++, count);
        status = work_on(call, kind, i, tool);
        job_part_end(call->job, outer);
    }
    return status;
}

enum status solids_run(struct op_call *call, enum boolean_kind kind)
{
    struct tool tool = {0};
    enum status status = tool_find(call, &tool);
    if (status == STATUS_OK)
        status = work(call, kind, &tool);
    if (status == STATUS_OK && tool.piece < call->in->count)
        scene_remove(call->out, tool.piece);
    mesh_free(tool.mesh);
    return status;
}

const struct param solids_params[] = {
    {"file", PARAM_PATH, POSITIONAL, NULL, 0, 0, NULL,
     "the file that holds the second solid; archive.zip//member one of several"},
    {"tool", PARAM_PIECE, OPTIONAL, NULL, 0, 0, NULL,
     "instead of a file: the piece, counted from 1, that is the second solid; it goes"},
    {"unit", PARAM_CHOICE, OPTIONAL, NULL, 0, 0, UNIT_NAMES,
     "what the file's numbers mean; else what it says itself, else mm"},
    OP_PIECE,
    {0}};
