/* The journal: a recipe on the disk that grows with every step, so that an hour of work outlives
 * the connection. Lines are those of the language and `undo` and `redo`; what is to be known of a
 * file stands behind its step as a comment. The file is made with the first line and locked (flock)
 * as long as its session lives. */
#ifndef FETTLE_SCENE_JOURNAL_H
#define FETTLE_SCENE_JOURNAL_H

#include <stdbool.h>
#include <stddef.h>

#include "core/status.h"

struct job;
struct journal;

#define JOURNAL_FINISHED "# finished" /* the last line of one that is not to be taken up again */
#define JOURNAL_ENDING ".recipe"

/* What a file was when a step read it: a comment behind the step, for printf and scanf alike. */
#define JOURNAL_WAS "# was %lld bytes, changed %lld.%09ld"
struct stat;

/* The file behind a path, or the archive of "all.zip//gate.stl"; false: it is no plain file. */
bool journal_stat(const char *path, struct stat *out);

/* For scandir: whether it may be a journal by its name. */
struct dirent;
int journal_named(const struct dirent *entry);

/* $XDG_STATE_HOME/fettle or ~/.local/state/fettle; the caller frees. NULL: neither variable is set,
 * or out of memory. */
char *journal_folder(void);

/* A journal that will lie in `folder` (made if need be). NULL when out of memory. */
struct journal *journal_new(const char *folder);

/* Goes on with a file that is open for reading and writing, and locked; takes the descriptor over.
 * `length`: what of it is whole. NULL when out of memory (the descriptor is then still the
 * caller's). */
struct journal *journal_adopt(int fd, const char *path, size_t length);

/* Adds a line, on the disk when it returns STATUS_OK. On STATUS_FILE the line is kept and goes with
 * the next; *missing lines are then not on the disk. */
enum status journal_append(struct journal *journal, const char *line, size_t *missing,
                           struct job *job);

/* Makes a file in the folder for what came by standard input, so that recovery can open it again:
 * its descriptor, locked, and its path (the caller frees, also on failure); -1: errno says why. It
 * goes when a journal is closed as finished and no unfinished one mentions it, once nobody holds the
 * descriptor. */
int journal_input(const char *folder, char **path);

/* Closes it: finished, or to be taken up again. Of finished ones the latest fifty are kept. NULL is
 * allowed. */
void journal_close(struct journal *journal, bool finished);

#endif
