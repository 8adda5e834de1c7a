#include "tests/support/folder.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "format/format.h"

char *folder_new(void)
{
    const char *base = getenv("TMPDIR");
    char *folder = NULL;
    if (asprintf(&folder, "%s/fettle-test-XXXXXX", base && *base ? base : "/tmp") < 0 ||
        !mkdtemp(folder))
        abort();
    return folder;
}

static int remove_one(const char *path, const struct stat *info, int kind, struct FTW *where)
{
    (void)info;
    (void)kind;
    (void)where;
    return remove(path);
}

void folder_remove(char *folder)
{
    nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
    free(folder);
}

char *folder_path(const char *folder, const char *name)
{
    char *path = NULL;
    if (asprintf(&path, "%s/%s", folder, name) < 0)
        abort();
    return path;
}

void folder_write(const char *folder, const char *name, const void *data, size_t size)
{
    char *path = folder_path(folder, name);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(data, 1, size, file) != size || fclose(file) != 0)
        abort();
    free(path);
}

char *folder_read(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    if (!file)
        return NULL;
    fseek(file, 0, SEEK_END);
    long end = ftell(file);
    rewind(file);
    char *data = malloc((size_t)end + 1);
    if (!data || fread(data, 1, (size_t)end, file) != (size_t)end)
        abort();
    fclose(file);
    data[end] = '\0';
    if (size)
        *size = (size_t)end;
    return data;
}

void folder_mesh(const char *folder, const char *name, struct mesh *mesh)
{
    char *path = folder_path(folder, name);
    if (file_write(mesh, path, NULL, NULL, NULL) != STATUS_OK)
        abort();
    mesh_free(mesh);
    free(path);
}
