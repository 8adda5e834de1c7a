/* A session: the scene, its history with undo and redo, and the journal that outlives it. */
#ifndef FETTLE_SCENE_SESSION_H
#define FETTLE_SCENE_SESSION_H

#include "op/op.h"

struct session;

struct session_options {
    const char *journal_folder; /* NULL: keep no journal */
    const char *spill_folder;   /* where undo steps go when the budget is used up; NULL: $TMPDIR or /tmp */
    size_t budget;              /* bytes of memory that undo may take; 0: a quarter of the machine's */
};

struct session *session_new(const struct session_options *options, struct job *job);
void session_free(struct session *session); /* closes the journal as finished */

/* The present scene (borrowed; share it to keep it). */
const struct scene *session_scene(const struct session *session);

/* Carries out one line of the language: runs the step, appends it to the journal (fsync), then
 * makes the new scene the present one. On failure the session is as it was. Callable from a worker
 * thread while others read session_scene's earlier result. */
enum status session_do(struct session *session, const char *line, struct job *job);

bool session_undo(struct session *session); /* false: nothing to undo; journalled too */
bool session_redo(struct session *session);

/* The steps done, oldest first; present is how many of them are in effect. */
size_t session_steps(const struct session *session, size_t *present);
const char *session_step_text(const struct session *session, size_t i);  /* its line */
const char *session_step_label(const struct session *session, size_t i); /* its undo label */
const char *session_step_notes(const struct session *session, size_t i); /* what it reported, or "" */

/* Whether there are changes that no save step holds. */
bool session_unsaved(const struct session *session);

#endif
