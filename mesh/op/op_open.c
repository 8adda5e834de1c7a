#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "op/keep.h"
#include "op/op.h"

/* "gate" of "scans/gate.stl.gz" or "all.zip//parts/gate.stl" */
static char *short_name(const char *path, const char *member)
{
    const char *whole = member ? member : path, *slash = strrchr(whole, '/');
    const char *base = slash && slash[1] ? slash + 1 : whole;
    char *name = strdup(strcmp(path, "-") == 0 && !member ? "input" : base);
    for (char *c = name; c && *c; c++) /* a file may be called anything; a terminal would obey it */
        if ((unsigned char)*c < ' ' || *c == 127)
            *c = '_';
    for (int endings = 0; name && endings < 2; endings++) { /* .stl.gz has two */
        char *dot = strrchr(name, '.');
        bool known = dot && dot != name && (endings == 0 || format_for_path(name));
        if (!known)
            break;
        *dot = '\0';
    }
    return name;
}

static bool remember(struct scene *scene, const char *path)
{
    if (strcmp(path, "-") == 0)
        return true;
    char *file = path_file(path);
    bool ok = file && scene_opened(scene, file);
    free(file);
    return ok;
}

static enum status note(const char *name, const struct file *file, struct job *job)
{
    static const char *const sources[] = {"as given", "as the file says", "assumed"};
    const struct bounds *bounds = mesh_bounds(file->mesh, job);
    if (!bounds)
        return job_status(job);
    size_t triangles = mesh_triangles(file->mesh), vertices = mesh_vertices(file->mesh);
    job_note(job, "%s: %s, %zu %s, %.5g x %.5g x %.5g mm, unit %s (%s)%s", name, file->format->name,
             triangles ? triangles : vertices, triangles ? "triangles" : "points", bounds->size.x,
             bounds->size.y, bounds->size.z, unit_name(file->unit), sources[file->unit_source],
             file->partial ? "; not all of it could be read" : "");
    return STATUS_OK;
}

static struct piece *make_piece(const char *path, const struct file *file)
{
    char *name = short_name(path, file->member), *copy = strdup(path);
    struct piece *piece = name && copy ? piece_new(mesh_share(file->mesh), name) : NULL;
    free(name);
    if (!piece) {
        free(copy);
        return NULL;
    }
    piece->path = copy;
    piece->format = file->format;
    piece->unit = file->unit;
    piece->unit_source = (int)file->unit_source;
    piece->colour = file->colour;
    piece_hold(piece);
    return piece;
}

static enum status open_run(struct op_call *call)
{
    const char *path = op_value(call, "file")->text;
    const struct value *unit = op_value(call, "unit");
    struct file file;
    enum status status =
        file_read(path, unit->given ? (enum unit)unit->choice : UNIT_NONE, &file, call->job);
    if (status != STATUS_OK)
        return status;
    struct piece *piece = make_piece(path, &file);
    if (!piece || !remember(call->out, path)) {
        piece_free(piece);
        status = job_fail_memory(call->job, sizeof *piece);
    } else {
        status = scene_add(call->out, piece, call->job);
    }
    if (status == STATUS_OK)
        status = note(call->out->piece[call->out->count - 1]->name, &file, call->job);
    file_release(&file);
    return status;
}

static const struct param params[] = {
    {"file", PARAM_PATH, REQUIRED_POSITIONAL, NULL, 0, 0, NULL,
     "the file; - is standard input, archive.zip//member one of several"},
    {"unit", PARAM_CHOICE, OPTIONAL, NULL, 0, 0, UNIT_NAMES,
     "what the file's numbers mean; else what it says itself, else mm"},
    {0}};

const struct op op_open = {
    .name = "open",
    .key = "o",
    .title = "opening",
    .undo = "open a file",
    .help = "add the mesh in a file as a piece",
    .example = "open part.stl unit=in",
    .manual =
        "The format is found by the file's content, not by its name; gz, bz2, xz, zst, zip, 7z and "
        "tar are unpacked on the way. Vertices at exactly the same position are joined, "
        "lengths become millimetres. Of a damaged file, what is whole is taken, and what is "
        "missing is said. The file itself is never changed.",
    .params = params,
    .run = open_run,
    .changes = true,
};
