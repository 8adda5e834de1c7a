/* What there is: points, triangles, or nothing. */
#include "check/rows.h"

const struct check check_content;

static enum status run(struct inspection *inspection, struct job *job)
{
    size_t vertices = mesh_vertices(inspection->mesh), triangles = mesh_triangles(inspection->mesh);
    inspection_count(inspection, FIGURE_vertices, (int64_t)vertices);
    inspection_count(inspection, FIGURE_triangles, (int64_t)triangles);
    if (triangles)
        return STATUS_OK;
    if (vertices)
        return inspection_find(inspection, &check_content, SEVERITY_WARNING, vertices, NULL, 0, job,
                               "%zu point%s without triangles: a point cloud, no surface yet",
                               vertices, plural(vertices));
    return inspection_find(inspection, &check_content, SEVERITY_ERROR, 0, NULL, 0, job,
                           "nothing in it: no triangles and no points");
}

const struct check check_content = {
    .name = "content",
    .title = "No surface",
    .help = "A point cloud cannot be printed; \"fuse\" makes a surface of it.",
    .mend = "fuse",
    .severity = SEVERITY_WARNING,
    .run = run,
};
