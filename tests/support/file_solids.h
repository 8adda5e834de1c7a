/* Solids that nobody here wrote, in pairs: those of the open files (tests/data/open_files.txt, of
 * the Debian packages assimp-testmodels and libcgal-dev) that are closed, oriented, manifold and
 * cross themselves nowhere. */
#ifndef FETTLE_TESTS_SUPPORT_FILE_SOLIDS_H
#define FETTLE_TESTS_SUPPORT_FILE_SOLIDS_H

#include "core/mesh.h"

enum { FILE_SOLIDS = 256 };

struct file_solids {
    struct mesh *solid[FILE_SOLIDS]; /* 64 mm long, about the origin, on a lattice of 2^-10 mm */
    char name[FILE_SOLIDS][64];      /* the file's, without its folder */
    size_t count, found; /* the first `found` are solids as they are, the others mended */
    size_t refused;      /* read, but no solids even then, or of too many triangles */
};

/* Reads them all; those of more than `most` triangles are left out. Aborts where the packages are
 * not installed. */
void file_solids_read(struct file_solids *list, size_t most);
/* Only those that are solids as they are: mending the others takes ten times as long. */
void file_solids_read_found(struct file_solids *list, size_t most);
void file_solids_release(struct file_solids *list);

/* The one solid of a file of this name. The caller frees. */
struct mesh *file_solid(const char *name);

enum file_pair_kind { FILE_PAIR_ANY, FILE_PAIR_COPLANAR, FILE_PAIR_TOUCHING, FILE_PAIR_KINDS };

/* Two of the first `among`: in any pose (two of three seeds); or turned by quarter turns, which the
 * lattice takes exactly, and so moved that the boxes have a side's plane in common, or a vertex
 * lies on a vertex of the other. `which` gets their numbers. The caller frees both meshes. */
enum file_pair_kind file_solids_pair(const struct file_solids *list, size_t among, uint64_t seed,
                                     struct mesh *pair[2], size_t which[2]);

/* The same of two solids that are given. */
enum file_pair_kind file_solids_posed(const struct mesh *first, const struct mesh *second,
                                      uint64_t seed, struct mesh *pair[2]);

#endif
