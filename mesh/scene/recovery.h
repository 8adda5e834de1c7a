/* Work that a lost connection, a signal or a crash left behind: journals that were not finished and
 * that no living session holds. */
#ifndef FETTLE_SCENE_RECOVERY_H
#define FETTLE_SCENE_RECOVERY_H

#include <time.h>

#include "scene/recipe.h"
#include "scene/session.h"

struct recovery {
    char *path;           /* of the journal */
    time_t changed;       /* when its last step was done */
    struct recipe recipe; /* its lines */
    size_t *line;   /* which of them make the history that was left: indices into recipe.line */
    size_t count;   /*   how many they are */
    size_t present; /*   how many of them were in effect, the rest could be redone */
    size_t *input;  /* one a line of the recipe: the state it worked on (struct recipe_trace) */
    char *trouble;  /* why it cannot be carried out (another version's step), or NULL */
    int fd;         /* locked, so that no other session takes it up; -1: given away */
    size_t length;  /* bytes that are whole */
};

/* The unfinished journals in the folder with at least one step in effect, the latest first. A
 * folder that is not there holds none. */
enum status recovery_list(const char *folder, struct recovery **out, size_t *count,
                          struct job *job);
void recovery_list_free(struct recovery *list, size_t count);

/* Carries out the first `most` of its steps (SIZE_MAX: all that were in effect, and what could be
 * redone) in a new session that goes on with the same journal. Saves are not done again; pieces
 * whose saved file is still as it was written count as saved. A file that was read and has changed
 * since is told in a note; where its original was kept (op_save), that is taken.
 * On failure *carried is how many steps worked, for another try with `most`, and the journal is as
 * it was. */
enum status recovery_resume(struct recovery *recovery, size_t most,
                            const struct session_options *options, struct session **out,
                            size_t *carried, struct job *job);

/* Marks it finished: it is not offered again, but stays in the folder for a while. */
enum status recovery_discard(struct recovery *recovery, struct job *job);

#endif
