/* A folder of a test's own, under $TMPDIR or /tmp. */
#ifndef FETTLE_TESTS_FOLDER_H
#define FETTLE_TESTS_FOLDER_H

#include <stddef.h>

#include "core/mesh.h"

/* Makes it; the caller frees the path. Aborts when that fails. */
char *folder_new(void);
/* Removes it with all that is in it, and frees the path. */
void folder_remove(char *folder);

/* "folder/name"; the caller frees. */
char *folder_path(const char *folder, const char *name);

/* A file of these bytes; the whole of a file (ends in a NUL beside *size; NULL: not there). */
void folder_write(const char *folder, const char *name, const void *data, size_t size);
char *folder_read(const char *path, size_t *size);

/* Writes the mesh into the folder by its name's ending, and frees the mesh. */
void folder_mesh(const char *folder, const char *name, struct mesh *mesh);

#endif
