/* Compressed files and archives, through libarchive. */
#include <archive.h>
#include <archive_entry.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "format/source.h"

enum {
    STEP = 1 << 20,   /* bytes unpacked between two looks at the job */
    HEAD = 64 * 1024, /* what a member's kind is told from */
    SURE = 60,        /* how sure a format must be of a member without a known extension */
    NAMES_MOST = 12   /* members that a message lists */
};

struct unpacking {
    struct archive *archive;
    const struct bytes *bytes;
    const char *wanted;
    struct pool *pool;
    uint64_t limit;
    char *member; /* the one in the pool */
    bool found;
    size_t meshes, others; /* how many were seen */
    char *names;           /* of the meshes, for a message */
    struct job *job;
};

/* Whether a format is sure that the bytes are its own. */
static bool surely_mesh(const struct bytes *bytes)
{
    const struct format *format;
    for (size_t i = 0; (format = format_row(i)); i++)
        if (format->sniff && format->sniff(bytes) >= SURE)
            return true;
    return false;
}

static const struct {
    size_t at, size;
    const char *magic, *extension;
} kinds[] = {
    {0, 3, "\x1f\x8b\x08", "gz"},
    {0, 3, "\x1f\x8b\x08", "tgz"},
    {0, 3, "BZh", "bz2"},
    {0, 6,
     "\xfd"
     "7zXZ\0",
     "xz"},
    {0, 4, "\x28\xb5\x2f\xfd", "zst"},
    {0, 4, "PK\3\4", "zip"},
    {0, 6, "7z\xbc\xaf\x27\x1c", "7z"},
    {257, 5, "ustar", "tar"},
};
enum { KINDS = sizeof kinds / sizeof *kinds };

bool archive_named(const char *extension)
{
    for (size_t i = 0; i < KINDS; i++)
        if (strcasecmp(kinds[i].extension, extension) == 0)
            return true;
    return false;
}

bool archive_sniff(const struct bytes *bytes)
{
    for (size_t i = 0; i < KINDS; i++)
        if (bytes->size >= kinds[i].at + kinds[i].size &&
            memcmp(bytes->data + kinds[i].at, kinds[i].magic, kinds[i].size) == 0)
            return !surely_mesh(bytes); /* some formats are archives themselves */
    return false;
}

static uint64_t memory_limit(const struct job *job)
{
    uint64_t machine = (uint64_t)sysconf(_SC_PHYS_PAGES) * (uint64_t)sysconf(_SC_PAGESIZE);
    return job && job->memory ? job->memory : machine;
}

static enum status fail_archive(const struct unpacking *u)
{
    const char *cause = archive_error_string(u->archive);
    return job_fail(u->job, STATUS_FORMAT,
                    "\"%s\": cannot be unpacked: %s; pack it anew, or unpack it by other means",
                    u->bytes->name, cause ? cause : "damaged");
}

/* Unpacks up to `most` bytes more of the present member. */
static enum status take(struct unpacking *u, size_t most, bool *end)
{
    struct pool *pool = u->pool;
    *end = false;
    while (most && !*end) {
        size_t step = most < STEP ? most : STEP;
        unsigned char *room = pool->size + step <= u->limit ? pool_room(pool, step) : NULL;
        if (!room)
            return job_fail_memory(u->job, pool->size + step);
        la_ssize_t n = archive_read_data(u->archive, room, step);
        if (n < 0)
            return fail_archive(u);
        *end = n == 0;
        pool->size += (size_t)n;
        most -= (size_t)n;
        int64_t at = archive_filter_bytes(u->archive, -1);
        if (u->job)
            atomic_store(&u->job->done, at > 0 ? (uint64_t)at : 0);
        if (job_cancelled(u->job))
            return job_fail_cancelled(u->job);
    }
    return STATUS_OK;
}

static const char *entry_name(struct archive_entry *entry)
{
    const char *name = archive_entry_pathname(entry);
    if (!name || !*name)
        name = archive_entry_pathname_utf8(entry);
    return name && *name ? name : "unnamed";
}

static const char *last_part(const char *name)
{
    const char *slash = strrchr(name, '/');
    return slash ? slash + 1 : name;
}

static enum status remember(struct unpacking *u, const char *name)
{
    char *names = NULL;
    u->meshes++;
    if (u->meshes > NAMES_MOST)
        return STATUS_OK;
    if (asprintf(&names, "%s%s%s", u->names ? u->names : "", u->names ? ", " : "", name) < 0)
        return job_fail_memory(u->job, strlen(name));
    free(u->names);
    u->names = names;
    return STATUS_OK;
}

static enum status keep(struct unpacking *u, const char *name)
{
    bool end;
    enum status status = take(u, SIZE_MAX, &end);
    u->found = status == STATUS_OK;
    if (archive_format(u->archive) != ARCHIVE_FORMAT_RAW && !(u->member = strdup(name)))
        return job_fail_memory(u->job, strlen(name));
    return status;
}

/* Looks at one member; the first mesh (or the wanted one) stays in the pool. */
static enum status visit(struct unpacking *u, struct archive_entry *entry)
{
    const char *name = entry_name(entry);
    bool raw = archive_format(u->archive) == ARCHIVE_FORMAT_RAW, end;
    if (!raw &&
        (archive_entry_filetype(entry) != AE_IFREG || strncmp(last_part(name), "._", 2) == 0))
        return STATUS_OK;
    if (u->wanted)
        return strcmp(name, u->wanted) == 0 ? keep(u, name) : remember(u, name);
    bool mesh = raw || format_for_path(name);
    size_t before = u->pool->size;
    if (!mesh) {
        enum status status = take(u, HEAD, &end);
        struct bytes head = {u->pool->data + before, u->pool->size - before, name, false};
        mesh = status == STATUS_OK && surely_mesh(&head);
        if (status != STATUS_OK)
            return status;
        if (!mesh || u->found)
            u->pool->size = before;
    }
    if (!mesh) {
        u->others++;
        return STATUS_OK;
    }
    enum status status = remember(u, name);
    return status == STATUS_OK && !u->found ? keep(u, name) : status;
}

static enum status conclude(struct unpacking *u)
{
    const char *more = u->meshes > NAMES_MOST ? ", ..." : "";
    const char *names = u->names ? u->names : "nothing";
    if (u->wanted && !u->found)
        return job_fail(u->job, STATUS_USAGE, "\"%s\": has no member \"%s\"; it holds %s%s",
                        u->bytes->name, u->wanted, names, more);
    if (!u->wanted && u->meshes > 1)
        return job_fail(u->job, STATUS_USAGE,
                        "\"%s\": holds %zu meshes; name one as %s//MEMBER: %s%s", u->bytes->name,
                        u->meshes, u->bytes->name, names, more);
    if (!u->found)
        return job_fail(u->job, STATUS_FORMAT,
                        "\"%s\": holds no file that looks like a mesh (%zu other files)",
                        u->bytes->name, u->others);
    return STATUS_OK;
}

static enum status walk(struct unpacking *u)
{
    struct archive_entry *entry;
    enum status status = STATUS_OK;
    if (archive_read_open_memory(u->archive, u->bytes->data, u->bytes->size) != ARCHIVE_OK)
        return fail_archive(u);
    while (status == STATUS_OK && !(u->wanted && u->found)) {
        int got = archive_read_next_header(u->archive, &entry);
        if (got == ARCHIVE_EOF)
            break;
        /* A file cut off behind a whole member still gives that member. */
        if (got < ARCHIVE_WARN && !u->found)
            return fail_archive(u);
        if (got < ARCHIVE_WARN) {
            job_note(u->job, "\"%s\": damaged behind \"%s\": %s", u->bytes->name,
                     u->member ? u->member : "", archive_error_string(u->archive));
            break;
        }
        status = visit(u, entry);
    }
    return status == STATUS_OK ? conclude(u) : status;
}

enum status archive_open(const struct bytes *bytes, const char *wanted, struct pool *out,
                         char **member, struct job *job)
{
    struct unpacking u = {.archive = archive_read_new(),
                          .bytes = bytes,
                          .wanted = wanted,
                          .pool = out,
                          .limit = memory_limit(job),
                          .job = job};
    if (!u.archive)
        return job_fail_memory(job, STEP);
    archive_read_support_filter_all(u.archive);
    archive_read_support_format_tar(u.archive);
    archive_read_support_format_zip(u.archive);
    archive_read_support_format_7zip(u.archive);
    archive_read_support_format_raw(u.archive);
    job_phase(job, "unpacking", 300, bytes->size);
    enum status status = walk(&u);
    archive_read_free(u.archive);
    free(u.names);
    if (status != STATUS_OK) {
        free(u.member);
        u.member = NULL;
        pool_release(out);
    }
    *member = u.member;
    return status;
}
