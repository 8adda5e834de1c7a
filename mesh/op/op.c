#include "op/op.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/tree.h"
#include "op/sketch.h"

#define OPERATION(symbol) extern const struct op op_##symbol;
#include "op/ops.def"
#undef OPERATION

static const struct op *const rows[] = {
#define OPERATION(symbol) &op_##symbol,
#include "op/ops.def"
#undef OPERATION
    NULL};

const char op_unit_names[] =
#define UNIT(symbol, name, millimetres, title) " " name
#include "format/units.def"
#undef UNIT
    ;

const struct op *op_row(size_t i)
{
    return i < sizeof rows / sizeof *rows ? rows[i] : NULL;
}

const struct op *op_named(const char *name, size_t length)
{
    for (size_t i = 0; rows[i]; i++)
        if (strlen(rows[i]->name) == length && strncmp(rows[i]->name, name, length) == 0)
            return rows[i];
    return NULL;
}

static const struct value *value_named(const struct op_call *call, const char *name)
{
    const struct param *param = call->op->params;
    for (size_t i = 0; param && param[i].name; i++)
        if (strcmp(param[i].name, name) == 0)
            return &call->value[i];
    return NULL;
}

const struct value *op_value(const struct op_call *call, const char *name)
{
    const struct value *value = value_named(call, name);
    assert(value && "the row lacks this parameter");
    return value;
}

/* --- usage ---------------------------------------------------------------------------------- */

/* What stands for a value of the kind in a usage line. */
static const char *placeholder(const struct param *param)
{
    switch (param->kind) {
    case PARAM_FLAG:
        return "yes|no";
    case PARAM_COUNT:
    case PARAM_NUMBER:
    case PARAM_PIECE:
        return "N";
    case PARAM_LENGTH:
        return "LENGTH";
    case PARAM_ANGLE:
        return "DEG";
    case PARAM_SHARE:
        return "N%";
    case PARAM_SIZE:
        return "LENGTH|N%";
    case PARAM_VEC:
    case PARAM_PLACE:
    case PARAM_DIRECTION:
        return "x,y,z";
    case PARAM_BOX:
        return "AxBxC";
    case PARAM_PAIRS:
        return "x,y,z:x,y,z;...";
    case PARAM_PLACES:
        return "x,y,z;...";
    case PARAM_CHOICE:
        return param->choices;
    case PARAM_PATH:
        return "FILE";
    case PARAM_TEXT:
        break;
    }
    return "TEXT";
}

static void usage_param(FILE *out, const struct param *param)
{
    bool optional = param->need == OPTIONAL || param->need == POSITIONAL;
    bool bare = param->need == POSITIONAL || param->need == REQUIRED_POSITIONAL;
    fprintf(out, optional ? " [" : " ");
    if (!bare)
        fprintf(out, "%s=", param->name);
    for (const char *c = placeholder(param); *c; c++)
        fputc(*c == ' ' ? '|' : *c, out);
    if (optional)
        fputc(']', out);
}

char *op_usage(const struct op *op)
{
    char *text = NULL;
    size_t size;
    FILE *out = open_memstream(&text, &size);
    if (!out)
        return NULL;
    fprintf(out, "%s", op->name);
    for (size_t i = 0; op->params && op->params[i].name; i++)
        usage_param(out, &op->params[i]);
    bool failed = ferror(out);
    if (fclose(out) != 0 || failed) {
        free(text);
        return NULL;
    }
    return text;
}

/* --- running -------------------------------------------------------------------------------- */

size_t op_chosen(const struct op_call *call, size_t from)
{
    const struct scene *in = call->in;
    const struct value *value = value_named(call, "piece");
    size_t only = value && value->given ? (size_t)value->number : in->selected;
    for (size_t i = from; i < in->count; i++)
        if (only ? i == only - 1 : !in->piece[i]->hidden)
            return i;
    return in->count;
}

static size_t chosen_count(const struct op_call *call)
{
    size_t n = 0;
    for (size_t i = op_chosen(call, 0); i < call->in->count; i = op_chosen(call, i + 1))
        n++;
    return n;
}

/* Puts the piece's name before the notes from `from` on. */
static void name_notes(struct job *job, size_t from, const char *name)
{
    if (!job || job->notes_length <= from)
        return;
    char *notes = strdup(job->notes + from), *rest = notes;
    if (!notes)
        return;
    job->notes_length = from;
    job->notes[from] = '\0';
    for (char *line; (line = strsep(&rest, "\n")) && *line;)
        job_note(job, "%s: %s", name, line);
    free(notes);
}

enum status op_one(struct op_call *call, size_t i,
                   enum status (*make)(const struct op_call *, const struct mesh *, struct mesh **,
                                       struct job *))
{
    const struct mesh *mesh = call->in->piece[i]->mesh;
    struct mesh *made = NULL;
    size_t noted = call->job ? call->job->notes_length : 0;
    enum status status = make(call, mesh, &made, call->job);
    if (chosen_count(call) > 1)
        name_notes(call->job, noted, call->in->piece[i]->name);
    if (status != STATUS_OK)
        return status;
    if (!made || made == mesh) {
        mesh_free(made);
        return STATUS_OK;
    }
    struct piece *piece = piece_new_like(call->in->piece[i], made);
    if (!piece)
        return job_fail_memory(call->job, sizeof *piece);
    scene_replace(call->out, i, piece);
    return STATUS_OK;
}

enum status op_any_chosen(const struct op_call *call)
{
    if (op_chosen(call, 0) < call->in->count)
        return STATUS_OK;
    if (call->in->count == 0)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"%s\": there is no piece to work on; open a file first", call->op->name);
    return job_fail(call->job, STATUS_REFUSED, "\"%s\": all pieces are hidden; name one: piece=1",
                    call->op->name);
}

enum status op_nearest(const struct op_call *call, bool clouds, size_t *piece,
                       struct nearest *nearest)
{
    const double *p = op_value(call, "at")->vec;
    *nearest = (struct nearest){.triangle = NO_INDEX, .distance = INFINITY};
    enum status status = op_any_chosen(call);
    for (size_t i = op_chosen(call, 0); status == STATUS_OK && i < call->in->count;
         i = op_chosen(call, i + 1)) {
        const struct mesh *mesh = call->in->piece[i]->mesh;
        if (mesh_triangles(mesh) == 0 && !clouds)
            continue;
        const struct tree *tree = mesh_tree(mesh, call->job);
        if (!tree)
            return job_status(call->job);
        struct nearest near =
            tree_nearest(tree, mesh_local(mesh, vec(p[0], p[1], p[2])), nearest->distance);
        if (near.triangle == NO_INDEX || !(near.distance < nearest->distance))
            continue;
        *nearest = near;
        *piece = i;
    }
    return status;
}

enum status op_each(struct op_call *call,
                    enum status (*make)(const struct op_call *call, const struct mesh *mesh,
                                        struct mesh **out, struct job *job))
{
    size_t count = chosen_count(call), done = 0;
    enum status status = op_any_chosen(call);
    size_t i = op_chosen(call, 0);
    for (; status == STATUS_OK && done < count; i = op_chosen(call, i + 1)) {
        struct job_part outer = job_part(call->job, done++, count);
        status = op_one(call, i, make);
        job_part_end(call->job, outer);
    }
    return status;
}

/* A piece that a parameter names must be there. */
static enum status pieces_there(const struct step *step, const struct scene *in, struct job *job)
{
    const struct param *param = step->op->params;
    for (size_t i = 0; param && param[i].name; i++)
        if (param[i].kind == PARAM_PIECE && step->value[i].number > (double)in->count)
            return in->count ? job_fail(job, STATUS_REFUSED, "\"%s\": %s=%.0f: there %s only %zu",
                                        step->op->name, param[i].name, step->value[i].number,
                                        in->count == 1 ? "is" : "are", in->count)
                             : job_fail(job, STATUS_REFUSED,
                                        "\"%s\": %s=%.0f: there is no piece; open a file first",
                                        step->op->name, param[i].name, step->value[i].number);
    return STATUS_OK;
}

enum status step_run(const struct step *step, const struct scene *in, struct scene **out,
                     struct job *job)
{
    if (!step->op) {
        *out = scene_share(in);
        return STATUS_OK;
    }
    enum status status = job_cancelled(job) ? job_fail_cancelled(job) : pieces_there(step, in, job);
    if (status != STATUS_OK)
        return status;
    struct scene *made = scene_new_like(in);
    if (!made)
        return job_fail_memory(job, sizeof *made);
    struct op_call call = {step->op, in, made, step->value, job};
    job_phase(job, step->op->title, 0, 0);
    status = step->op->run(&call);
    if (status == STATUS_OK && step->op->changes)
        status = scene_look_at_fixings(made, in, job);
    if (status == STATUS_OK && !step->op->changes) {
        scene_free(made);
        made = scene_share(in);
    }
    if (status == STATUS_OK)
        *out = made;
    else
        scene_free(made);
    return status;
}

enum status step_sketch(const struct step *step, const struct scene *in, struct sketch *sketch,
                        struct job *job)
{
    *sketch = (struct sketch){0};
    if (!step->op || !step->op->sketch)
        return STATUS_OK;
    const struct op_call call = {step->op, in, NULL, step->value, job};
    enum status status = pieces_there(step, in, job);
    return status == STATUS_OK ? step->op->sketch(&call, sketch) : status;
}
