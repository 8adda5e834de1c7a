#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "core/join.h"
#include "op/keep.h"
#include "op/op.h"

/* The chosen pieces as one mesh; *pieces: how many they are. */
static struct mesh *gather(const struct op_call *call, size_t *pieces)
{
    const struct scene *in = call->in;
    const struct mesh **mesh = malloc((in->count + 1) * sizeof *mesh);
    if (!mesh) {
        job_fail_memory(call->job, (in->count + 1) * sizeof *mesh);
        return NULL;
    }
    *pieces = 0;
    for (size_t i = op_chosen(call, 0); i < in->count; i = op_chosen(call, i + 1))
        mesh[(*pieces)++] = in->piece[i]->mesh;
    struct mesh *all = mesh_join(mesh, *pieces, call->job);
    free(mesh);
    return all;
}

static enum status choose_format(const struct op_call *call, const char *path,
                                 const struct format **format)
{
    const struct value *as = op_value(call, "as");
    *format = as->given ? format_named(as->text) : format_for_path(path);
    if (as->given && !*format)
        return job_fail(call->job, STATUS_USAGE,
                        "\"save\": as=%s is no format; `formats` lists them", as->text);
    if (!*format && strcmp(path, "-") == 0)
        *format = format_named("stl");
    return STATUS_OK; /* a name that tells nothing: file_write explains */
}

/* Before an original is written over: refuses, or keeps it as *kept (NULL: there was no need). */
static enum status guard(const struct op_call *call, const char *path, char **kept, bool *made)
{
    if (strcmp(path, "-") == 0 || !scene_is_original(call->in, path) || access(path, F_OK) != 0)
        return STATUS_OK;
    *kept = kept_name(path);
    if (!*kept)
        return job_fail_memory(call->job, strlen(path));
    if (op_value(call, "over")->choice)
        return keep_original(path, *kept, made, call->job);
    return job_fail(call->job, STATUS_REFUSED,
                    "\"%s\": is a file that was opened; save under another name, or say over=yes "
                    "(it is then kept as \"%s\")",
                    path, *kept);
}

static void note(const struct op_call *call, const struct mesh *mesh, const struct format *format,
                 const char *path, size_t pieces)
{
    size_t triangles = mesh_triangles(mesh);
    enum unit unit = (enum unit)op_value(call, "unit")->choice;
    job_note(call->job, "saved \"%s\": %s, %zu %s, unit %s", path, format->name,
             triangles ? triangles : mesh_vertices(mesh), triangles ? "triangles" : "points",
             unit_name(unit));
    if (pieces > 1)
        job_note(call->job, "%zu pieces went into one file, as they lie; piece=N saves one",
                 pieces);
}

static enum status write_out(const struct op_call *call, const char *path,
                             const struct format *format)
{
    size_t pieces = 0;
    struct mesh *mesh = gather(call, &pieces);
    if (!mesh)
        return job_status(call->job);
    const struct write_options options = {.ascii = op_value(call, "ascii")->choice,
                                          .unit = (enum unit)op_value(call, "unit")->choice};
    enum status status = file_write(mesh, path, format, &options, call->job);
    if (status == STATUS_OK) {
        note(call, mesh, format, path, pieces);
        for (size_t i = op_chosen(call, 0); i < call->in->count; i = op_chosen(call, i + 1))
            piece_hold(call->in->piece[i]);
    }
    mesh_free(mesh);
    return status;
}

static enum status save_run(struct op_call *call)
{
    const char *path = op_value(call, "file")->text;
    const struct format *format;
    char *kept = NULL;
    bool made = false;
    enum status status = op_any_chosen(call);
    if (status == STATUS_OK)
        status = choose_format(call, path, &format);
    if (status == STATUS_OK)
        status = guard(call, path, &kept, &made);
    if (status == STATUS_OK)
        status = write_out(call, path, format);
    if (status != STATUS_OK && made)
        unlink(kept);
    else if (status == STATUS_OK && kept)
        job_note(call->job,
                 made ? "the original is kept as \"%s\""
                      : "\"%s\" was there before and stays as it is",
                 kept);
    free(kept);
    return status;
}

static const struct param params[] = {
    {"file", PARAM_PATH, REQUIRED_POSITIONAL, NULL, 0, 0, NULL,
     "where to; its ending names the format; - is standard output"},
    {"ascii", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL, "as text, where the format has both"},
    {"unit", PARAM_CHOICE, OPTIONAL, "mm", 0, 0, UNIT_NAMES, "what the numbers in the file mean"},
    {"over", PARAM_FLAG, OPTIONAL, "no", 0, 0, NULL,
     "write over a file that was opened; it is kept once"},
    {"as", PARAM_TEXT, OPTIONAL, NULL, 0, 0, NULL, "the format, whatever the ending"},
    OP_PIECE,
    {0}};

const struct op op_save = {
    .name = "save",
    .key = "s",
    .title = "saving",
    .undo = "save",
    .help = "write the piece to a file",
    .example = "save part.ply",
    .manual = "Writes into a temporary file that takes the name only when it is whole and on the "
              "disk, so that there is never half a file. Several pieces go into one file as they "
              "lie. A file that was opened is not written over unless over=yes; then it is kept "
              "once beside the new one, gate.stl as gate.original.stl.",
    .params = params,
    .run = save_run,
    .changes = false,
    .saves = true,
};
