#include "tests/support/steps.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

#include "tests/support/folder.h"

struct scene *steps_scene(struct mesh *mesh)
{
    struct scene *scene = scene_new();
    mesh->joined = true;
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "part"), NULL), STATUS_OK);
    return scene;
}

enum status steps_run(const struct scene *scene, const char *line, struct scene **out,
                      struct job *job)
{
    struct step step;
    job_init(job);
    ck_assert_msg(step_parse(line, &step, job) == STATUS_OK, "%s", job->message);
    enum status status = step_run(&step, scene, out, job);
    step_release(&step);
    return status;
}

struct scene *steps_after(struct scene *scene, const char *line)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    job_release(&job);
    scene_free(scene);
    return out;
}

struct scene *steps_reopened(const struct scene *scene)
{
    char *folder = folder_new(), *path = folder_path(folder, "part.stl"), line[600];
    snprintf(line, sizeof line, "save \"%s\"", path);
    scene_free(steps_after(scene_share(scene), line));
    snprintf(line, sizeof line, "open \"%s\"", path);
    struct scene *read = steps_after(scene_new(), line);
    ck_assert_ptr_null(read->piece[0]->fixings);
    free(path);
    folder_remove(folder);
    return read;
}
