/* Any bytes as a file. What is read must be a mesh that keeps its promises; written in every format
 * and read again it must come out the same, byte for byte, the second time. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "format/sink.h"
#include "format/source.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check(const struct mesh *mesh)
{
    for (size_t i = 0; i < mesh_vertices(mesh); i++) {
        struct point p = mesh_point(mesh)[i];
        if (!isfinite(p.x) || !isfinite(p.y) || !isfinite(p.z))
            abort();
    }
    for (size_t i = 0; i < 3 * mesh_triangles(mesh); i++)
        if (mesh_triangle(mesh)[i / 3].v[i % 3] >= mesh_vertices(mesh))
            abort();
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        if (mesh->attribute[i] &&
            mesh->attribute[i]->count != mesh_domain(mesh, attribute_row(i)->domain))
            abort();
}

/* Reads bytes by the given row; NULL when they cannot be read. */
static struct mesh *load(const struct format *format, const unsigned char *data, size_t size)
{
    struct job job;
    struct bytes bytes = {.data = data, .size = size, .name = "fuzz"};
    struct file file = {0};
    struct reading reading = {.unit = UNIT_NONE};
    job_init(&job);
    job.threads = 1;
    enum status status = format ? format->read(&bytes, &reading, &job)
                                : file_read_bytes(&bytes, UNIT_NONE, &file, &job);
    struct mesh *mesh = format ? reading.mesh : file.mesh;
    if (status != STATUS_OK && (mesh || !*job.message))
        abort(); /* a failure owns nothing and says why */
    if (mesh)
        check(mesh);
    job_release(&job);
    return mesh;
}

static struct sink *save(const struct format *format, const struct mesh *mesh, bool ascii)
{
    struct job job;
    const struct write_options options = {.ascii = ascii, .unit = UNIT_MM};
    job_init(&job);
    job.threads = 1;
    struct sink *sink = sink_memory(&job);
    if (!sink || format->write(mesh, &options, sink, &job) != STATUS_OK)
        abort();
    job_release(&job);
    return sink;
}

/* What the present mesh becomes when it is saved and loaded. */
static struct mesh *turn(const struct format *format, const struct mesh *mesh, bool ascii,
                         struct sink **saved)
{
    size_t size;
    *saved = save(format, mesh, ascii);
    const unsigned char *data = sink_bytes(*saved, &size);
    struct bytes bytes = {.data = data, .size = size, .name = "fuzz"};
    struct file file;
    if (file_read_bytes(&bytes, UNIT_MM, &file, NULL) != STATUS_OK)
        abort();
    check(file.mesh);
    return file.mesh;
}

static void round_trip(const struct format *format, const struct mesh *mesh, bool ascii)
{
    struct sink *first, *second;
    size_t size, again;
    struct mesh *loaded = turn(format, mesh, ascii, &first);
    struct mesh *twice = turn(format, loaded, ascii, &second);
    struct sink *third = save(format, twice, ascii);
    const unsigned char *a = sink_bytes(second, &size), *b = sink_bytes(third, &again);
    if (size != again || memcmp(a, b, size) != 0) {
        fprintf(stderr, "%s %s:\n%.*s\n---\n%.*s\n", format->name, ascii ? "text" : "",
                (int)(size < 2000 ? size : 2000), (const char *)a,
                (int)(again < 2000 ? again : 2000), (const char *)b);
        abort();
    }
    mesh_free(loaded);
    mesh_free(twice);
    sink_drop(first);
    sink_drop(second);
    sink_drop(third);
}

static void try_archive(const uint8_t *data, size_t size)
{
    struct bytes bytes = {.data = data, .size = size, .name = "fuzz"};
    struct pool pool = {0};
    char *member = NULL;
    struct job job;
    job_init(&job);
    job.memory = 64 << 20;
    if (archive_open(&bytes, NULL, &pool, &member, &job) == STATUS_OK)
        mesh_free(load(NULL, pool.data, pool.size));
    pool_release(&pool);
    free(member);
    job_release(&job);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const struct format *format;
    struct bytes bytes = {.data = data, .size = size, .name = "fuzz"};
    struct mesh *mesh = load(NULL, data, size);
    if (archive_sniff(&bytes))
        try_archive(data, size);
    for (size_t i = 0; (format = format_row(i)); i++) {
        if (format->read)
            mesh_free(load(format, data, size));
        bool fits = mesh && mesh_vertices(mesh) && (mesh_triangles(mesh) ? format->triangles : format->points);
        for (int ascii = 0; fits && format->write && ascii < 2; ascii++)
            round_trip(format, mesh, ascii);
    }
    mesh_free(mesh);
    return 0;
}
