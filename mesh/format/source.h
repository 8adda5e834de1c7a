/* Where a reader's bytes come from: a mapped file, standard input, a member of an archive. */
#ifndef FETTLE_FORMAT_SOURCE_H
#define FETTLE_FORMAT_SOURCE_H

#include "core/job.h"
#include "format/format.h"

struct source {
    struct bytes bytes; /* bytes.name is `name` */
    char *name;         /* for messages: "gate.stl", "mail.zip//gate.stl", "standard input" */
    char *member;       /* the name inside an archive, or NULL */
    size_t mapped;      /* bytes of the mapping behind bytes.data */
    struct job *job;    /* that knows of the mapping, or NULL */
};

/* Opens a path: "-" is standard input; a compressed file or an archive is unpacked into memory
 * ("path//member" names one of several members). On failure nothing is owned. */
enum status source_open(const char *path, struct source *out, struct job *job);
void source_release(struct source *source);

/* A growing piece of memory that a source is collected in; it doubles by moving pages, not bytes.
 */
struct pool {
    unsigned char *data;
    size_t size, room;
};
/* Room for `more` bytes behind size, or NULL when there is no memory. */
unsigned char *pool_room(struct pool *pool, size_t more);
void pool_release(struct pool *pool);

/* Text as readers know it: a byte a character, lines that end in '\n'. Skips a byte order mark;
 * UTF-16 and lines that end in '\r' alone are copied into `pool` (the caller releases it; what is
 * not ASCII in UTF-16 becomes '?'). Other bytes stay as they are. */
enum status text_normal(struct bytes *bytes, struct pool *pool, struct job *job);

/* Whether the bytes are of a compressed file or an archive. */
bool archive_sniff(const struct bytes *bytes);

/* Whether archives' names end so ("zip"), without the dot. */
bool archive_named(const char *extension);

/* Unpacks the member called `wanted`, or the only mesh there is when that is NULL. Several meshes:
 * STATUS_USAGE and a message that lists them. *member is the name found (the caller frees it). */
enum status archive_open(const struct bytes *bytes, const char *wanted, struct pool *out,
                         char **member, struct job *job);

#endif
