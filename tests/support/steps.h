/* Lines of the language run on a scene of one piece. */
#ifndef FETTLE_TESTS_SUPPORT_STEPS_H
#define FETTLE_TESTS_SUPPORT_STEPS_H

#include "core/job.h"
#include "op/op.h"

/* A scene with the mesh, which counts as joined, as its piece "part". */
struct scene *steps_scene(struct mesh *mesh);

/* Runs the line; STATUS_OK gives the scene after it. The job is begun here, and keeps message and
 * notes. */
enum status steps_run(const struct scene *scene, const char *line, struct scene **out,
                      struct job *job);

/* The scene after a line that must work; the one before it is freed. */
struct scene *steps_after(struct scene *scene, const char *line);

/* Saved as binary STL and opened again as a scene of its own: nothing is known but triangles. */
struct scene *steps_reopened(const struct scene *scene);

#endif
