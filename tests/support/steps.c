#include "tests/support/steps.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/support/folder.h"

struct scene *steps_scene(struct mesh *mesh)
{
    struct scene *scene = scene_new();
    mesh->joined = true;
    ck_assert_int_eq(scene_add(scene, piece_new(mesh, "part"), NULL), STATUS_OK);
    return scene;
}

struct scene *steps_pair(struct mesh *base, struct mesh *part)
{
    struct scene *scene = scene_new();
    ck_assert_int_eq(scene_add(scene, piece_new(base, "base"), NULL), STATUS_OK);
    ck_assert_int_eq(scene_add(scene, piece_new(part, "part"), NULL), STATUS_OK);
    return scene;
}

enum status steps_run(const struct scene *scene, const char *line, struct scene **out,
                      struct job *job)
{
    struct step step;
    job_init(job);
    enum status status = step_parse(line, &step, job);
    if (status != STATUS_OK)
        return status;
    status = step_run(&step, scene, out, job);
    step_release(&step);
    return status;
}

struct scene *steps_told(struct scene *scene, const char *line, const char *told)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    const char *notes = job.notes ? job.notes : "";
    ck_assert_msg(strstr(notes, told) != NULL, "%s: not told: %s\n%s", line, told, notes);
    job_release(&job);
    scene_free(scene);
    return out;
}

struct scene *steps_after(struct scene *scene, const char *line)
{
    return steps_told(scene, line, "");
}

void steps_refused(const struct scene *scene, const char *line, const char *why)
{
    struct scene *out = NULL;
    struct job job;
    ck_assert_msg(steps_run(scene, line, &out, &job) != STATUS_OK, "%s: not refused", line);
    ck_assert_msg(strstr(job.message, why) != NULL, "%s: %s", line, job.message);
    ck_assert_ptr_null(out);
    job_release(&job);
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
