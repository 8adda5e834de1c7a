#include "tests/support/steps.h"

#include <check.h>

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
