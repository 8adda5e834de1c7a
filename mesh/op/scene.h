/* A scene: the pieces being worked on. Immutable once published, like meshes; an operation builds
 * the next one from the present one, sharing what did not change. */
#ifndef FETTLE_OP_SCENE_H
#define FETTLE_OP_SCENE_H

#include <stdatomic.h>
#include <stdbool.h>

#include "core/mesh.h"
#include "format/format.h"
#include "op/fixings.h"
#include "scan/rigid.h"

struct piece {
    struct mesh *mesh;
    char *name;                  /* short: "gate", unique in the scene */
    char *path;                  /* the file it was read from, or NULL */
    const struct format *format; /* of that file, or NULL */
    enum unit unit;              /* what the file's numbers were taken as */
    int unit_source;             /* of struct file */
    enum colour_kind colour;
    struct fixings *fixings; /* what was cut into it to fix it by; NULL: nothing */
    bool hidden;             /* not drawn, not worked on unless named */
    bool locked;             /* nothing moves it as a whole */
    struct rigid pose; /* world: how it was moved and turned as a whole since it was opened or made;
                          scaling and mirroring change its shape and are not in it */
    atomic_bool held;  /* a file holds this mesh: read from it, or saved since */
    atomic_size_t refs;
};

struct piece *piece_new(struct mesh *mesh, const char *name); /* takes over the mesh's holder */
struct piece *piece_new_like(const struct piece *piece, struct mesh *mesh); /* takes over mesh */
/* For the maker: what it has from now on; takes over the holder. */
void piece_set_fixings(struct piece *piece, struct fixings *fixings);
/* Remembers that a file holds it now. Any thread; not part of the value. */
void piece_hold(const struct piece *piece);
struct piece *piece_share(const struct piece *piece);
void piece_free(struct piece *piece);

struct original { /* a file that was opened on the way to this scene: not to be written over */
    char *path;
    struct original *before;
    atomic_size_t refs;
};

struct scene {
    struct piece **piece;
    size_t count;
    size_t selected; /* 1-based: the piece operations work on; 0: all that are not hidden */
    struct original *originals; /* the latest first; shared from scene to scene */
    atomic_size_t refs;
};

struct scene *scene_new(void);
struct scene *scene_new_like(const struct scene *scene); /* shares the pieces */
struct scene *scene_share(const struct scene *scene);
void scene_free(struct scene *scene);
/* For the maker: appends (takes over the holder, also on failure; a name that another piece has
 * gets a number), replaces (takes over), removes. */
enum status scene_add(struct scene *scene, struct piece *piece, struct job *job);
void scene_replace(struct scene *scene, size_t i, struct piece *piece);
void scene_remove(struct scene *scene, size_t i);

/* For the maker: the same piece, hidden or not; locked or not. */
enum status scene_hide(struct scene *scene, size_t i, bool hidden, struct job *job);
enum status scene_lock(struct scene *scene, size_t i, bool locked, struct job *job);

/* For the maker, at the end: in pieces whose mesh is another than in the scene before, fixing
 * features that are no longer there are forgotten, which a note says. */
enum status scene_look_at_fixings(struct scene *scene, const struct scene *before, struct job *job);

/* For the maker: remembers that the file was opened. False: out of memory. */
bool scene_opened(struct scene *scene, const char *path);
/* Whether the path leads to a file that was opened (the same file by whatever name). */
bool scene_is_original(const struct scene *scene, const char *path);

#endif
