#include <stdlib.h>
#include <string.h>

#include "core/weld.h"
#include "format/sink.h"
#include "format/source.h"

/* The row that is surest of the bytes, else the one their name suggests (its reader then says what
 * is wrong with them), else NULL. */
static const struct format *recognise(const struct bytes *bytes)
{
    const struct format *best = NULL, *format;
    int most = 0;
    for (size_t i = 0; (format = format_row(i)); i++) {
        int sure = format->read && format->sniff ? format->sniff(bytes) : 0;
        if (sure > most) {
            most = sure;
            best = format;
        }
    }
    if (!best)
        best = format_for_path(bytes->name);
    return best && best->read ? best : NULL;
}

static enum status fail_unknown(const struct bytes *bytes, struct job *job)
{
    char names[256] = "";
    const struct format *format;
    for (size_t i = 0; (format = format_row(i)); i++)
        if (format->read && strlen(names) + strlen(format->name) + 2 < sizeof names)
            strcat(strcat(names, " "), format->name);
    if (!bytes->size)
        return job_fail(job, STATUS_FORMAT, "\"%s\": is empty; ask for the file again",
                        bytes->name);
    return job_fail(job, STATUS_FORMAT, "\"%s\": is none of the formats known here (%s)",
                    bytes->name, names + 1);
}

/* Brings the positions to millimetres. */
static enum status to_millimetres(struct mesh *mesh, double factor, const char *name,
                                  struct job *job)
{
    struct point *point = mesh_point_edit(mesh);
    size_t count = mesh_vertices(mesh);
    bool finite = true;
    if (factor == 1)
        return STATUS_OK;
    for (int k = 0; k < 3; k++)
        mesh->origin[k] *= factor;
    mesh->joined = false; /* rounded, neighbouring positions may have become one */
#pragma omp parallel for num_threads(job_threads(job)) if (count > 100000) reduction(&& : finite)
    for (size_t i = 0; i < count; i++) {
        point[i] = vec_point(vec_scale(point_vec(point[i]), factor));
        finite = finite && isfinite(point[i].x) && isfinite(point[i].y) && isfinite(point[i].z);
    }
    for (int k = 0; k < 3; k++)
        finite = finite && isfinite(mesh->origin[k]);
    if (!finite)
        return job_fail(job, STATUS_FORMAT,
                        "\"%s\": in that unit its positions are too large to be held; is it right?",
                        name);
    return STATUS_OK;
}

static enum status finish(struct file *file, struct reading *reading, enum unit given,
                          const char *name, struct job *job)
{
    bool stated = reading->unit != UNIT_NONE;
    file->unit = given != UNIT_NONE ? given : stated ? reading->unit : UNIT_MM;
    file->unit_source = given != UNIT_NONE ? UNIT_GIVEN : stated ? UNIT_FROM_FILE : UNIT_ASSUMED;
    file->colour = reading->colour;
    file->partial = reading->partial;
    file->mesh = reading->mesh;
    enum status status = to_millimetres(file->mesh, unit_millimetres(file->unit), name, job);
    if (status != STATUS_OK || file->mesh->joined || !mesh_triangles(file->mesh))
        return status;
    job_phase(job, "joining vertices", 300, mesh_vertices(file->mesh));
    struct mesh *joined = weld_exact(file->mesh, job);
    if (!joined)
        return job_status(job);
    mesh_free(file->mesh);
    file->mesh = joined;
    return STATUS_OK;
}

static enum status read_normal(const struct bytes *bytes, enum unit given, struct file *out,
                               struct job *job)
{
    struct reading reading = {.unit = UNIT_NONE};
    out->format = recognise(bytes);
    if (!out->format)
        return fail_unknown(bytes, job);
    job_phase(job, "reading", 700, bytes->size);
    enum status status = out->format->read(bytes, &reading, job);
    return status == STATUS_OK ? finish(out, &reading, given, bytes->name, job) : status;
}

enum status file_read_bytes(const struct bytes *bytes, enum unit given, struct file *out,
                            struct job *job)
{
    struct pool pool = {0};
    struct bytes normal = *bytes;
    *out = (struct file){0};
    enum status status = text_normal(&normal, &pool, job);
    if (status == STATUS_OK)
        status = read_normal(&normal, given, out, job);
    pool_release(&pool);
    if (status != STATUS_OK)
        file_release(out);
    return status;
}

static enum status fail_lost(const char *path, struct job *job)
{
    job_forgive(job);
    return job_fail(job, STATUS_FILE,
                    "\"%s\": another program cut it off while it was read; open it again when that "
                    "one is done",
                    path);
}

enum status file_read(const char *path, enum unit given, struct file *out, struct job *job)
{
    struct source source;
    *out = (struct file){0};
    if (job)
        atomic_store(&job->mapped_lost, false);
    enum status status = source_open(path, &source, job);
    if (status != STATUS_OK)
        return job && atomic_load(&job->mapped_lost) ? fail_lost(path, job) : status;
    status = file_read_bytes(&source.bytes, given, out, job);
    if (job && atomic_load(&job->mapped_lost)) { /* whatever became of it */
        file_release(out);
        status = fail_lost(path, job);
    }
    if (status == STATUS_OK) {
        out->member = source.member;
        source.member = NULL;
    }
    source_release(&source);
    return status;
}

void file_release(struct file *file)
{
    mesh_free(file->mesh);
    free(file->member);
    *file = (struct file){0};
}

static enum status choose(const struct mesh *mesh, const char *path, const struct format **format,
                          struct job *job)
{
    char names[256] = "";
    const struct format *row;
    for (size_t i = 0; (row = format_row(i)); i++)
        if (row->write && strlen(names) + strlen(row->name) + 2 < sizeof names)
            strcat(strcat(names, " "), row->name);
    if (!*format)
        *format = format_for_path(path);
    if (!*format)
        return job_fail(job, STATUS_USAGE, "\"%s\": its ending names no format; end it in one of%s",
                        path, names);
    if (!(*format)->write)
        return job_fail(job, STATUS_REFUSED, "\"%s\": %s cannot be written; choose one of%s", path,
                        (*format)->name, names);
    if (mesh_triangles(mesh) ? !(*format)->triangles : !(*format)->points)
        return job_fail(job, STATUS_REFUSED, "\"%s\": %s cannot hold %s; choose another format",
                        path, (*format)->name,
                        mesh_triangles(mesh) ? "triangles" : "a point cloud");
    return STATUS_OK;
}

enum status file_write(const struct mesh *mesh, const char *path, const struct format *format,
                       const struct write_options *options, struct job *job)
{
    const struct write_options standard = {.ascii = false, .unit = UNIT_MM};
    enum status status = choose(mesh, path, &format, job);
    if (status != STATUS_OK)
        return status;
    struct sink *sink = sink_open(path, job);
    if (!sink)
        return job_status(job);
    status = format->write(mesh, options ? options : &standard, sink, job);
    if (status != STATUS_OK) {
        sink_drop(sink);
        return status;
    }
    status = sink_close(sink, job);
    if (status == STATUS_OK && mesh->attribute[ATTRIBUTE_colour] && !format->colour)
        job_note(job, "%s keeps no colour; ply does", format->name);
    return status;
}
