/* The scenes of a session, one after each step, kept under a budget of memory. */
#ifndef FETTLE_SCENE_HISTORY_H
#define FETTLE_SCENE_HISTORY_H

#include "op/scene.h"

struct entry {
    struct scene *scene; /* after the step; NULL once it can no longer be redone */
    char *text, *label, *notes;
    struct entry *older; /* of those that were made and stay until the history ends */
};

struct history {
    struct scene *base;   /* before the first step */
    struct entry **entry; /* the steps, oldest first */
    size_t count, room;
    size_t present;     /* how many are in effect */
    struct entry *made; /* all of them ever, the latest first: others may still read the texts */
};

bool history_init(struct history *history);
void history_release(struct history *history);

static inline struct scene **history_scene(struct history *history, size_t i)
{
    return i == 0 ? &history->base : &history->entry[i - 1]->scene;
}

/* Makes an entry of copies of the texts and sees to it that there is room for it; it is the
 * history's, but not yet one of its steps. NULL when out of memory. */
struct entry *history_entry(struct history *history, const char *text, const char *label,
                            const char *notes);

/* Makes the entry the present one with its scene (takes it over); what could be redone is gone. */
void history_push(struct history *history, struct entry *entry, struct scene *scene);

/* Goes to another state, 0 to count. */
void history_go(struct history *history, size_t present);

/* Bytes in memory that only other states than the present one hold. */
size_t history_bytes(struct history *history);

/* Moves arrays into files in `folder`, those farthest from the present first, until no more than
 * `budget` bytes are left. STATUS_FILE when the disk is full; nothing is lost then. */
enum status history_spill(struct history *history, size_t budget, const char *folder,
                          struct job *job);

#endif
