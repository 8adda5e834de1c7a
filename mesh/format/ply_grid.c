/* Range grids: a picture of the surface, one cell a pixel of the scanner. Four neighbouring cells
 * make up to two triangles, unless they lie on different surfaces: an edge much longer than the
 * points' usual distance says so (common practice, no source). */
#include <stdlib.h>

#include "core/job.h"
#include "format/ply.h"

/* An edge may be this many times the median distance of neighbours: what a surface seen at 80
 * degrees from its normal has. */
static const double jump = 6;
enum { SAMPLES = 65536 };

struct grid {
    const uint32_t *cell;
    const struct point *point;
    size_t columns, rows, points;
    double longest;
};

static double distance(const struct grid *grid, uint32_t a, uint32_t b)
{
    return vec_length(vec_sub(point_vec(grid->point[a]), point_vec(grid->point[b])));
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The median distance of cells that are neighbours in a row, from samples all over the grid. */
static bool median(const struct grid *grid, double *out)
{
    size_t cells = grid->columns * grid->rows, step = cells / SAMPLES + 1, n = 0;
    double *sample = malloc((SAMPLES + 1) * sizeof *sample);
    if (!sample)
        return false;
    for (size_t i = 0; i + 1 < cells && n < SAMPLES; i += step)
        if ((i + 1) % grid->columns && grid->cell[i] < grid->points &&
            grid->cell[i + 1] < grid->points) {
            double d = distance(grid, grid->cell[i], grid->cell[i + 1]);
            sample[n] = d;
            n += isfinite(d) && d > 0;
        }
    qsort(sample, n, sizeof *sample, compare);
    *out = n ? sample[n / 2] : 0;
    free(sample);
    return true;
}

static bool near(const struct grid *grid, uint32_t a, uint32_t b)
{
    return a < grid->points && b < grid->points && distance(grid, a, b) <= grid->longest;
}

static void join(const struct grid *grid, uint32_t a, uint32_t b, uint32_t c, struct gather *gather)
{
    if (near(grid, a, b) && near(grid, b, c) && near(grid, c, a))
        GATHER_ADD(gather, &gather->triangle, struct triangle, {{a, b, c}});
}

/* The cells a b over c d: along the shorter diagonal, or the one corner's triangle there is. */
static void join_cells(const struct grid *grid, size_t i, struct gather *gather)
{
    uint32_t a = grid->cell[i], b = grid->cell[i + 1];
    uint32_t c = grid->cell[i + grid->columns], d = grid->cell[i + grid->columns + 1];
    bool ad = a < grid->points && d < grid->points, bc = b < grid->points && c < grid->points;
    if (ad && (!bc || distance(grid, a, d) <= distance(grid, b, c))) {
        join(grid, a, b, d, gather);
        join(grid, a, d, c, gather);
    } else if (bc) {
        join(grid, a, b, c, gather);
        join(grid, b, d, c, gather);
    }
}

/* The surface should face the scanner. */
static enum status face_scanner(const struct grid *grid, struct gather *gather, struct job *job)
{
    struct triangle *t = gather->triangle.used ? gather->triangle.array->data : NULL;
    const double *o = gather->origin;
    double facing = 0;
    struct vec from;
    bool far;
    enum status status = ply_grid_side(gather, &from, &far, job);
    for (size_t i = 0; i < gather->triangle.used; i++) {
        struct vec a = point_vec(grid->point[t[i].v[0]]);
        struct vec n = vec_cross(vec_sub(point_vec(grid->point[t[i].v[1]]), a),
                                 vec_sub(point_vec(grid->point[t[i].v[2]]), a));
        facing += vec_dot(n, far ? from : vec_sub(from, vec_add(a, vec(o[0], o[1], o[2]))));
    }
    for (size_t i = 0; facing < 0 && i < gather->triangle.used; i++) {
        uint32_t v = t[i].v[1];
        t[i].v[1] = t[i].v[2];
        t[i].v[2] = v;
    }
    return status;
}

enum status ply_grid(const struct ply_header *header, struct gather *gather, struct job *job)
{
    struct grid grid = {.cell = gather->cell.array->data,
                        .columns = header->columns,
                        .rows = header->rows,
                        .points = gather->point.used};
    if (gather->triangle.used || !grid.points || grid.columns < 2 || grid.rows < 2)
        return STATUS_OK;
    grid.point = gather->point.array->data;
    if (gather->cell.used / grid.columns < grid.rows) {
        job_note(job,
                 "\"%s\": its range grid is smaller than %zu by %zu; only its points were read",
                 header->bytes->name, grid.columns, grid.rows);
        return STATUS_OK;
    }
    double usual;
    if (!median(&grid, &usual))
        return job_fail_memory(job, SAMPLES * sizeof usual);
    grid.longest = jump * usual;
    for (size_t row = 0; row + 1 < grid.rows && !gather->starved; row++) {
        for (size_t column = 0; column + 1 < grid.columns; column++)
            join_cells(&grid, row * grid.columns + column, gather);
        if (job_cancelled(job))
            return job_fail_cancelled(job);
    }
    enum status status = face_scanner(&grid, gather, job);
    if (status != STATUS_OK)
        return status;
    job_note(job, "\"%s\": its range grid of %zu by %zu was joined to %zu triangles",
             header->bytes->name, grid.columns, grid.rows, gather->triangle.used);
    return gather->starved ? job_fail_memory(job, array_bytes(gather->triangle.array)) : STATUS_OK;
}
