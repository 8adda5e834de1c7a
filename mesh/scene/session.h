/* A session: the scene, its history with undo and redo, and the journal that outlives it.
 *
 * One thread at a time works on a session (session_do and all else that changes it); meanwhile
 * others may call what is marked "any thread". */
#ifndef FETTLE_SCENE_SESSION_H
#define FETTLE_SCENE_SESSION_H

#include "op/op.h"

struct session;

struct session_options {
    const char *journal_folder; /* NULL: keep no journal; see journal_folder() */
    const char *spill_folder;   /* where undo steps go when the budget is used up; NULL: $TMPDIR,
                                   /var/tmp or /tmp */
    size_t budget;              /* bytes of memory that undo may take; 0: a quarter of the
                                   machine's */
};

/* An empty scene without history. NULL when out of memory. The journal's file is made with the
 * first step. */
struct session *session_new(const struct session_options *options, struct job *job);

/* Ends it: the journal is closed as finished, and not offered again. NULL is allowed. */
void session_free(struct session *session);

/* Ends it because the terminal is gone or somebody asked the program to stop: what was not saved is
 * offered again at the next start. (With nothing unsaved the same as session_free.) */
void session_leave(struct session *session);

/* The present scene, borrowed: for the thread that works on the session, until it changes. */
const struct scene *session_scene(const struct session *session);

/* The present scene, shared: any thread; the caller frees it. */
struct scene *session_hold(const struct session *session);

/* Carries out one line of the language (or `undo` or `redo`): runs the step, appends it to the
 * journal (fsync), then makes the new scene the present one. On failure the session is as it was.
 * When the journal cannot be written the step still counts, and a note says so. */
enum status session_do(struct session *session, const char *line, struct job *job);

/* False: nothing to undo or redo. Journalled too. */
bool session_undo(struct session *session);
bool session_redo(struct session *session);

/* Chooses the piece that steps work on: counted from 1, 0 for all that are not hidden. Not a step:
 * what is undone is the work, and steps are journalled with the piece they worked on. False when
 * there is no such piece or no memory. */
bool session_select(struct session *session, size_t piece);

/* The steps done, oldest first, with those that can be redone; present is how many of them are in
 * effect. Any thread. */
size_t session_steps(const struct session *session, size_t *present);

/* Step i, counted from 0; all "" when there is none. Any thread; texts stay until the session
 * ends. */
struct session_step {
    const char *text, *label, *notes; /* its line, its undo label, its report or "" */
};
struct session_step session_step(const struct session *session, size_t i);

/* Whether a piece of the present scene is other than in every file. Any thread. */
bool session_unsaved(const struct session *session);

/* For recovery: from here on the steps go to this journal (taken over). */
struct journal;
void session_set_journal(struct session *session, struct journal *journal);

/* Bytes of memory that undo takes (not those on the disk, nor what the present scene shares). */
size_t session_undo_bytes(const struct session *session);

#endif
