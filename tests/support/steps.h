/* Lines of the language run on a scene. */
#ifndef FETTLE_TESTS_SUPPORT_STEPS_H
#define FETTLE_TESTS_SUPPORT_STEPS_H

#include "core/job.h"
#include "op/op.h"

/* A scene with the mesh, which counts as joined, as its piece "part". */
struct scene *steps_scene(struct mesh *mesh);

/* A scene with the two meshes as "base" and "part". */
struct scene *steps_pair(struct mesh *base, struct mesh *part);

/* Reads and runs the line; STATUS_OK gives the scene after it. The job is begun here, and keeps
 * message and notes. */
enum status steps_run(const struct scene *scene, const char *line, struct scene **out,
                      struct job *job);

/* The scene after a line that must work; the one before it is freed. */
struct scene *steps_after(struct scene *scene, const char *line);

/* The same, and a note must say `told`. */
struct scene *steps_told(struct scene *scene, const char *line, const char *told);

/* A line that must not work, with `why` in its message. */
void steps_refused(const struct scene *scene, const char *line, const char *why);

/* Saved as binary STL and opened again as a scene of its own: nothing is known but triangles. */
struct scene *steps_reopened(const struct scene *scene);

#endif
