/* Files that were opened, and how they are kept before they are written over. */
#ifndef FETTLE_OP_KEEP_H
#define FETTLE_OP_KEEP_H

#include <stdbool.h>

#include "core/status.h"

struct job;

/* The file that is read for a path: of "all.zip//gate.stl" the archive. The caller frees; NULL when
 * out of memory. */
char *path_file(const char *path);

/* Where an original is kept: "scans/gate.original.stl" for "scans/gate.stl". The caller frees;
 * NULL when out of memory. */
char *kept_name(const char *path);

/* Keeps what is at `path` under `kept`, with its times, unless something is there already: what was
 * kept first stays. *made: whether it was kept now. STATUS_FILE when that is not possible. */
enum status keep_original(const char *path, const char *kept, bool *made, struct job *job);

/* Copies all that is left to read of one open file to another; false: errno says why not. */
bool copy_bytes(int from, int to);

#endif
