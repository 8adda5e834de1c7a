/* What the suites about sessions, their journals and recovery share: a folder with some meshes in
 * it, which is the working directory, and a folder for journals. */
#ifndef FETTLE_TESTS_SUPPORT_SESSIONS_H
#define FETTLE_TESTS_SUPPORT_SESSIONS_H

#include "scene/session.h"

extern char *sessions_folder, *sessions_journals;
extern int
    sessions_threads; /* of the jobs; a forked child must not use more than one (OpenMP's pool) */

void sessions_set_up(void); /* holed.stl, lumpy.stl, box.stl, big.stl, solid.stl, coloured.ply */
void sessions_tear_down(void);

struct session *sessions_begin(void);
void sessions_do(struct session *session, const char *line);

/* How many journals wait to be taken up. */
size_t sessions_unfinished(void);

/* Takes up the only one of them, `most` steps. */
struct session *sessions_resume(size_t most, struct job *job);

/* The text of the one journal in the folder; `path`, unless NULL, where it lies. Caller frees both.
 */
char *sessions_journal(char **path);

/* The journal is a recipe that makes the same bytes as the session has. */
void sessions_expect_recipe(const struct session *session);

#endif
