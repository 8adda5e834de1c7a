/* Where writers write: a temporary file that takes the place of the old one only when it is whole
 * and on the disk. */
#ifndef FETTLE_FORMAT_SINK_H
#define FETTLE_FORMAT_SINK_H

#include <stdbool.h>
#include <stddef.h>

#include "core/job.h"
#include "format/format.h"

struct sink;

/* Opens `path` for writing; "-" is standard output, and what is no plain file (a pipe, a device)
 * is written straight into. Symbolic links are followed: the file they lead to is replaced.
 * NULL on failure (job_status). */
struct sink *sink_open(const char *path, struct job *job);

/* A sink that keeps its bytes in memory. */
struct sink *sink_memory(struct job *job);
const unsigned char *sink_bytes(const struct sink *sink, size_t *size);

/* Adds bytes. A failure is remembered and reported by sink_close; false means there is no use in
 * going on. */
bool sink_write(struct sink *sink, const void *data, size_t size);
bool sink_text(struct sink *sink, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Writes `count` items in their order, formatted by several threads: `put` writes items from..to-1
 * at `at` and returns the end; no item takes more than `most` bytes. Steps the job by items.
 * False when it failed or was cancelled. */
typedef char *sink_put(const void *context, size_t from, size_t to, char *at);
bool sink_items(struct sink *sink, size_t count, size_t most, sink_put *put, const void *context,
                struct job *job);

/* How it stands, for a writer to end with: STATUS_OK, or the failure with its message, or
 * STATUS_CANCELLED. */
enum status sink_status(const struct sink *sink, struct job *job);

/* Bytes to disk, then the file into its place; frees the sink. STATUS_FILE with the cause when
 * anything failed: then the old file is as it was and the temporary one is gone. */
enum status sink_close(struct sink *sink, struct job *job);

/* Gives up: the old file stays. NULL is allowed. */
void sink_drop(struct sink *sink);

#endif
