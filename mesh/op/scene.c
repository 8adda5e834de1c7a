#include "op/scene.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "core/job.h"

/* --- pieces --------------------------------------------------------------------------------- */

struct piece *piece_new(struct mesh *mesh, const char *name)
{
    struct piece *piece = calloc(1, sizeof *piece);
    if (piece)
        piece->name = strdup(name);
    if (!piece || !piece->name) {
        free(piece);
        mesh_free(mesh);
        return NULL;
    }
    piece->mesh = mesh;
    piece->pose = rigid_rest();
    atomic_init(&piece->refs, 1);
    return piece;
}

struct piece *piece_new_like(const struct piece *piece, struct mesh *mesh)
{
    struct piece *like = piece_new(mesh, piece->name);
    if (!like)
        return NULL;
    like->path = piece->path ? strdup(piece->path) : NULL;
    if (piece->path && !like->path) {
        piece_free(like);
        return NULL;
    }
    like->format = piece->format;
    like->unit = piece->unit;
    like->unit_source = piece->unit_source;
    like->colour = piece->colour;
    like->fixings = fixings_share(piece->fixings);
    like->hidden = piece->hidden;
    like->locked = piece->locked;
    like->pose = piece->pose;
    atomic_init(&like->held, mesh == piece->mesh && atomic_load(&piece->held));
    return like;
}

void piece_set_fixings(struct piece *piece, struct fixings *fixings)
{
    fixings_free(piece->fixings);
    piece->fixings = fixings;
}

void piece_hold(const struct piece *piece)
{
    atomic_store(&((struct piece *)(uintptr_t)piece)->held, true);
}

struct piece *piece_share(const struct piece *piece)
{
    struct piece *shared = (struct piece *)(uintptr_t)piece; /* the count is not of the value */
    atomic_fetch_add_explicit(&shared->refs, 1, memory_order_relaxed);
    return shared;
}

void piece_free(struct piece *piece)
{
    if (!piece || atomic_fetch_sub_explicit(&piece->refs, 1, memory_order_acq_rel) != 1)
        return;
    mesh_free(piece->mesh);
    fixings_free(piece->fixings);
    free(piece->name);
    free(piece->path);
    free(piece);
}

/* --- originals ------------------------------------------------------------------------------ */

static struct original *original_share(struct original *original)
{
    if (original)
        atomic_fetch_add_explicit(&original->refs, 1, memory_order_relaxed);
    return original;
}

static void original_free(struct original *original)
{
    while (original && atomic_fetch_sub_explicit(&original->refs, 1, memory_order_acq_rel) == 1) {
        struct original *before = original->before;
        free(original->path);
        free(original);
        original = before;
    }
}

bool scene_opened(struct scene *scene, const char *path)
{
    struct original *original = malloc(sizeof *original);
    char *copy = strdup(path);
    if (!original || !copy) {
        free(original);
        free(copy);
        return false;
    }
    *original = (struct original){.path = copy, .before = scene->originals};
    atomic_init(&original->refs, 1);
    scene->originals = original;
    return true;
}

bool scene_is_original(const struct scene *scene, const char *path)
{
    struct stat ours, theirs;
    bool there = stat(path, &ours) == 0;
    for (const struct original *o = scene->originals; o; o = o->before) {
        if (strcmp(o->path, path) == 0)
            return true;
        if (there && stat(o->path, &theirs) == 0 && ours.st_dev == theirs.st_dev &&
            ours.st_ino == theirs.st_ino)
            return true;
    }
    return false;
}

/* --- scenes --------------------------------------------------------------------------------- */

struct scene *scene_new(void)
{
    struct scene *scene = calloc(1, sizeof *scene);
    if (scene)
        atomic_init(&scene->refs, 1);
    return scene;
}

struct scene *scene_new_like(const struct scene *scene)
{
    struct scene *like = scene_new();
    if (!like)
        return NULL;
    like->piece = malloc((scene->count + 1) * sizeof *like->piece);
    if (!like->piece) {
        free(like);
        return NULL;
    }
    for (size_t i = 0; i < scene->count; i++)
        like->piece[i] = piece_share(scene->piece[i]);
    like->count = scene->count;
    like->selected = scene->selected;
    like->originals = original_share(scene->originals);
    return like;
}

struct scene *scene_share(const struct scene *scene)
{
    struct scene *shared = (struct scene *)(uintptr_t)scene; /* the count is not of the value */
    atomic_fetch_add_explicit(&shared->refs, 1, memory_order_relaxed);
    return shared;
}

void scene_free(struct scene *scene)
{
    if (!scene || atomic_fetch_sub_explicit(&scene->refs, 1, memory_order_acq_rel) != 1)
        return;
    for (size_t i = 0; i < scene->count; i++)
        piece_free(scene->piece[i]);
    free(scene->piece);
    original_free(scene->originals);
    free(scene);
}

static bool name_taken(const struct scene *scene, const char *name)
{
    for (size_t i = 0; i < scene->count; i++)
        if (strcmp(scene->piece[i]->name, name) == 0)
            return true;
    return false;
}

/* "gate", "gate-2", "gate-3", ... */
static bool make_unique(const struct scene *scene, struct piece *piece)
{
    if (!name_taken(scene, piece->name))
        return true;
    size_t size = strlen(piece->name) + 24;
    char *name = malloc(size);
    if (!name)
        return false;
    size_t number = 2;
    do
        snprintf(name, size, "%s-%zu", piece->name, number++);
    while (name_taken(scene, name));
    free(piece->name);
    piece->name = name;
    return true;
}

enum status scene_add(struct scene *scene, struct piece *piece, struct job *job)
{
    size_t bytes = (scene->count + 1) * sizeof *scene->piece;
    struct piece **grown = realloc(scene->piece, bytes);
    if (grown)
        scene->piece = grown;
    if (!grown || !make_unique(scene, piece)) {
        piece_free(piece);
        return job_fail_memory(job, bytes);
    }
    scene->piece[scene->count++] = piece;
    return STATUS_OK;
}

void scene_replace(struct scene *scene, size_t i, struct piece *piece)
{
    piece_free(scene->piece[i]);
    scene->piece[i] = piece;
}

void scene_remove(struct scene *scene, size_t i)
{
    piece_free(scene->piece[i]);
    memmove(scene->piece + i, scene->piece + i + 1, (scene->count - i - 1) * sizeof *scene->piece);
    scene->count--;
    if (scene->selected == i + 1)
        scene->selected = 0;
    else if (scene->selected > i + 1)
        scene->selected--;
}

static enum status set_flags(struct scene *scene, size_t i, bool hidden, bool locked,
                             struct job *job)
{
    const struct piece *old = scene->piece[i];
    if (old->hidden == hidden && old->locked == locked)
        return STATUS_OK;
    struct piece *piece = piece_new_like(old, mesh_share(old->mesh));
    if (!piece)
        return job_fail_memory(job, sizeof *piece);
    piece->hidden = hidden;
    piece->locked = locked;
    scene_replace(scene, i, piece);
    return STATUS_OK;
}

enum status scene_hide(struct scene *scene, size_t i, bool hidden, struct job *job)
{
    return set_flags(scene, i, hidden, scene->piece[i]->locked, job);
}

enum status scene_lock(struct scene *scene, size_t i, bool locked, struct job *job)
{
    return set_flags(scene, i, scene->piece[i]->hidden, locked, job);
}

/* Whether the piece has its features from a piece of the scene that had another mesh. */
static bool fixings_in_doubt(const struct piece *piece, const struct scene *before)
{
    bool taken = false;
    for (size_t i = 0; piece->fixings && i < before->count; i++) {
        if (before->piece[i]->fixings != piece->fixings)
            continue;
        if (before->piece[i]->mesh == piece->mesh)
            return false;
        taken = true;
    }
    return taken;
}

enum status scene_look_at_fixings(struct scene *scene, const struct scene *before, struct job *job)
{
    for (size_t i = 0; i < scene->count; i++) {
        struct piece *piece = scene->piece[i]; /* not published yet */
        struct fixings *kept;
        if (!fixings_in_doubt(piece, before))
            continue;
        size_t had = piece->fixings->count;
        enum status status = fixings_look(piece->fixings, piece->mesh, &kept, job);
        if (status != STATUS_OK)
            return status;
        size_t has = kept ? kept->count : 0;
        if (has < had)
            job_note(job, "%s: %zu of the %zu holes and keyholes cut before %s gone", piece->name,
                     had - has, had, had - has == 1 ? "is" : "are");
        piece_set_fixings(piece, kept);
    }
    return STATUS_OK;
}
