#include "tests/support/round_holes.h"

#include <check.h>

#include "core/job.h"

const double holes_within_mm = 0.01, holes_within_degrees = 0.1;

const struct screw_holes *holes_of(const struct mesh *mesh)
{
    struct job job;
    job_init(&job);
    const struct screw_holes *holes = mesh_screw_holes(mesh, &job);
    ck_assert_msg(holes != NULL, "%s", job.message);
    job_release(&job);
    return holes;
}

double degrees_between(struct vec a, struct vec b)
{
    return atan2(vec_length(vec_cross(a, b)), vec_dot(a, b)) * 57.29577951308232;
}
