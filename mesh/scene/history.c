#include "scene/history.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

bool history_init(struct history *history)
{
    *history = (struct history){.base = scene_new()};
    return history->base;
}

void history_release(struct history *history)
{
    for (struct entry *entry = history->made; entry;) {
        struct entry *older = entry->older;
        scene_free(entry->scene);
        free(entry->text);
        free(entry->label);
        free(entry->notes);
        free(entry);
        entry = older;
    }
    scene_free(history->base);
    free(history->entry);
    *history = (struct history){0};
}

struct entry *history_entry(struct history *history, const char *text, const char *label,
                            const char *notes)
{
    if (history->count == history->room) {
        size_t room = history->room ? 2 * history->room : 16;
        struct entry **grown = realloc(history->entry, room * sizeof(struct entry *));
        if (!grown)
            return NULL;
        history->entry = grown;
        history->room = room;
    }
    struct entry *entry = calloc(1, sizeof *entry);
    if (!entry)
        return NULL;
    entry->older = history->made;
    history->made = entry; /* also when a text is missing: it goes with the history */
    entry->text = strdup(text);
    entry->label = strdup(label);
    entry->notes = strdup(notes);
    return entry->text && entry->label && entry->notes ? entry : NULL;
}

/* --- what a state holds --------------------------------------------------------------------- */

static bool shown(const struct scene *scene, const struct mesh *mesh)
{
    for (size_t i = 0; i < scene->count; i++)
        if (scene->piece[i]->mesh == mesh)
            return true;
    return false;
}

/* The same piece with its arrays but without what was derived from them; NULL: no memory. */
static struct piece *lean_piece(const struct piece *piece)
{
    struct mesh *mesh = mesh_new_like(piece->mesh);
    struct piece *lean = mesh ? piece_new_like(piece, mesh) : NULL;
    if (lean)
        atomic_store(&lean->held, atomic_load(&piece->held));
    return lean;
}

/* Topologies and trees of a scene nobody sees are not worth their memory: they are made again when
 * it is gone back to. The scene itself may be in use elsewhere, so a lean copy takes its place. */
static void make_lean(struct scene **scene, const struct scene *present)
{
    struct scene *lean = *scene != present ? scene_new_like(*scene) : NULL;
    if (!lean)
        return;
    for (size_t i = 0; i < lean->count; i++) {
        struct piece *piece =
            shown(present, lean->piece[i]->mesh) ? NULL : lean_piece(lean->piece[i]);
        if (piece)
            scene_replace(lean, i, piece);
    }
    scene_free(*scene);
    *scene = lean;
}

void history_go(struct history *history, size_t present)
{
    size_t left = history->present;
    history->present = present;
    make_lean(history_scene(history, left), *history_scene(history, present));
}

void history_push(struct history *history, struct entry *entry, struct scene *scene)
{
    for (size_t i = history->present; i < history->count; i++) {
        scene_free(history->entry[i]->scene);
        history->entry[i]->scene = NULL;
    }
    entry->scene = scene;
    history->entry[history->present] = entry;
    history->count = history->present + 1;
    history_go(history, history->count);
}

/* --- the budget ----------------------------------------------------------------------------- */

struct held { /* an array and how far from the present the nearest state that holds it is */
    struct array *array;
    size_t distance;
};

struct holdings {
    struct held *held;
    size_t count;
};

enum { ARRAYS = 2 + ATTRIBUTE_COUNT }; /* of a mesh */

static void hold(struct holdings *holdings, struct array *array, size_t distance)
{
    if (array && !atomic_load(&array->spilled))
        holdings->held[holdings->count++] = (struct held){array, distance};
}

static void hold_scene(struct holdings *holdings, const struct scene *scene, size_t distance)
{
    for (size_t i = 0; i < scene->count; i++) {
        const struct mesh *mesh = scene->piece[i]->mesh;
        hold(holdings, mesh->point, distance);
        hold(holdings, mesh->triangle, distance);
        for (int a = 0; a < ATTRIBUTE_COUNT; a++)
            hold(holdings, mesh->attribute[a], distance);
    }
}

static int by_array(const void *x, const void *y)
{
    const struct held *a = x, *b = y;
    if (a->array != b->array)
        return (uintptr_t)a->array < (uintptr_t)b->array ? -1 : 1;
    return a->distance < b->distance ? -1 : a->distance > b->distance;
}

static int by_distance(const void *x, const void *y)
{
    const struct held *a = x, *b = y;
    if (a->distance != b->distance)
        return a->distance > b->distance ? -1 : 1;
    return (uintptr_t)a->array < (uintptr_t)b->array ? -1 : a->array != b->array;
}

/* Each array once, the farthest first, without those of the present state. False: no memory. */
static bool take_stock(struct history *history, struct holdings *out)
{
    size_t pieces = 0;
    for (size_t i = 0; i <= history->count; i++)
        pieces += (*history_scene(history, i))->count;
    *out = (struct holdings){.held = malloc((pieces * ARRAYS + 1) * sizeof *out->held)};
    if (!out->held)
        return false;
    for (size_t i = 0; i <= history->count; i++) {
        size_t distance = i < history->present ? history->present - i : i - history->present;
        hold_scene(out, *history_scene(history, i), distance);
    }
    qsort(out->held, out->count, sizeof *out->held, by_array);
    size_t kept = 0;
    for (size_t i = 0; i < out->count; i++)
        if ((i == 0 || out->held[i].array != out->held[i - 1].array) && out->held[i].distance > 0)
            out->held[kept++] = out->held[i];
    out->count = kept;
    qsort(out->held, out->count, sizeof *out->held, by_distance);
    return true;
}

static size_t total(const struct holdings *holdings)
{
    size_t bytes = 0;
    for (size_t i = 0; i < holdings->count; i++)
        bytes += array_bytes(holdings->held[i].array);
    return bytes;
}

size_t history_bytes(struct history *history)
{
    struct holdings holdings;
    if (!take_stock(history, &holdings))
        return 0;
    size_t bytes = total(&holdings);
    free(holdings.held);
    return bytes;
}

enum status history_spill(struct history *history, size_t budget, const char *folder,
                          struct job *job)
{
    struct holdings holdings;
    if (!take_stock(history, &holdings))
        return job_fail_memory(job, 0);
    size_t bytes = total(&holdings);
    enum status status = STATUS_OK;
    for (size_t i = 0; status == STATUS_OK && bytes > budget && i < holdings.count; i++) {
        struct array *array = holdings.held[i].array;
        size_t own = array_bytes(array);
        status = array_spill(array, folder, job);
        bytes -= atomic_load(&array->spilled) ? own : 0;
    }
    free(holdings.held);
    return status;
}
