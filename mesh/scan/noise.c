#include "scan/noise.h"

#include "core/apart.h"
#include "core/job.h"
#include "core/nth.h"
#include "core/tree.h"
#include "scan/cells.h"
#include "scan/plane.h"

enum {
    PLACES = 128,
    PLACES_LEAST = 8, /* must show a surface */
    CUBES = 27,       /* a cube and those around it */
    AROUND_LEAST = 16,
    AROUND_MOST = 1024,
    BLOCK = 4096
};

/* Of a surface, a neighbourhood is no higher than this beside its width (both as deviations). */
static const double flat = 0.25;

/* The fourth moment beside the squared second: 3 for normal noise, 1.8 for even, 1 for two sheets.
 */
static const double sheets = 1.5;

struct look {
    const struct mesh *cloud;   /* all points, or those near the places */
    const struct point *normal; /* one a point of it, or NULL */
    struct mesh *own;           /* the cloud and the normals, where they are copies */
    struct point *own_normal;
    struct point place[PLACES];
    struct point facing[PLACES];
    size_t places;
    double deviation[PLACES], around[PLACES];
    size_t count; /* of places that show a surface */
};

/* In spacings: of the disc that so many points cover. */
static double disc_radius(double points)
{
    return sqrt(points * 0.866 / 3.141592653589793);
}

/* --- the points near the places --------------------------------------------------------------- */

/* Every so-many-th vertex. */
static void choose_places(struct look *look, const struct mesh *mesh, const struct point *normal)
{
    size_t vertices = mesh_vertices(mesh);
    look->places = vertices < PLACES ? vertices : PLACES;
    for (size_t i = 0; i < look->places; i++) {
        size_t v = i * vertices / look->places;
        look->place[i] = mesh_point(mesh)[v];
        if (normal)
            look->facing[i] = normal[v];
    }
}

/* The cubes in which everything lies that may be near a place. */
static enum status cubes_around(const struct look *look, double side, struct cells *cubes,
                                struct job *job)
{
    struct point *middle = scratch_new(CUBES * look->places, sizeof *middle);
    if (!middle)
        return job_fail_memory(job, CUBES * look->places * sizeof *middle);
    for (size_t i = 0; i < CUBES * look->places; i++) {
        int cube = (int)(i % CUBES);
        struct vec off = vec(cube % 3 - 1, cube / 3 % 3 - 1, cube / 9 - 1);
        middle[i] = vec_point(vec_along(point_vec(look->place[i / CUBES]), side, off));
    }
    enum status status = cells_make(middle, CUBES * look->places, side, cubes, job);
    scratch_free(middle);
    return status;
}

/* Marks the vertices in the cubes; returns how many. */
static size_t mark_near(const struct mesh *mesh, const struct cells *cubes, uint8_t *is_near,
                        const struct job *job)
{
    size_t count = 0;
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        if (v % BLOCK == 0 && job_cancelled(job))
            return 0;
        is_near[v] = cells_near(cubes, mesh_point(mesh)[v], 0, 0, 0) != NO_INDEX;
        count += is_near[v];
    }
    return count;
}

static enum status copy_near(struct look *look, const struct mesh *mesh, const struct point *normal,
                             const uint8_t *is_near, size_t count, struct job *job)
{
    look->own = mesh_new(count, 0);
    look->own_normal = normal ? scratch_new(count, sizeof *normal) : NULL;
    if (!look->own || (normal && !look->own_normal))
        return job_fail_memory(job, count * 2 * sizeof *normal);
    for (size_t v = 0, n = 0; v < mesh_vertices(mesh) && n < count; v++)
        if (is_near[v]) {
            mesh_point_edit(look->own)[n] = mesh_point(mesh)[v];
            if (normal)
                look->own_normal[n] = normal[v];
            n++;
        }
    look->cloud = look->own;
    look->normal = look->own_normal;
    return STATUS_OK;
}

/* Of a mesh, whose tree is not one of points. */
static enum status gather(struct look *look, const struct mesh *mesh, const struct point *normal,
                          struct job *job)
{
    struct cells cubes;
    double spacing;
    enum status status = mesh_spacing(mesh, &spacing, job);
    if (status == STATUS_OK)
        status = cubes_around(look, spacing * disc_radius(AROUND_MOST), &cubes, job);
    if (status != STATUS_OK)
        return status;
    uint8_t *is_near = scratch_new(mesh_vertices(mesh), 1);
    size_t count = is_near ? mark_near(mesh, &cubes, is_near, job) : 0;
    if (!is_near)
        status = job_fail_memory(job, mesh_vertices(mesh));
    else if (job_cancelled(job))
        status = job_fail_cancelled(job);
    else
        status = copy_near(look, mesh, normal, is_near, count, job);
    scratch_free(is_near);
    cells_release(&cubes);
    return status;
}

/* --- one place -------------------------------------------------------------------------------- */

struct patch { /* the points around a place, on its side */
    struct vec at[AROUND_MOST];
    size_t count;
    struct plane plane;
    double height, width; /* deviations from the plane, and from its middle along it */
};

static void find_patch(const struct look *look, size_t place, const struct neighbour *near,
                       size_t count, struct patch *patch)
{
    patch->count = 0;
    for (size_t i = 0; i < count; i++) {
        if (look->normal &&
            !(vec_dot(point_vec(look->facing[place]), point_vec(look->normal[near[i].vertex])) > 0))
            continue;
        patch->at[patch->count++] = point_vec(mesh_point(look->cloud)[near[i].vertex]);
    }
}

static bool is_flat(struct patch *patch)
{
    double sum = 0;
    if (patch->count < AROUND_LEAST ||
        !plane_fit(patch->at, patch->count, &patch->plane, &patch->height))
        return false;
    for (size_t i = 0; i < patch->count; i++)
        sum += vec_length2(vec_sub(patch->at[i], patch->plane.through));
    double across = patch->height * patch->height;
    patch->width = sqrt(fmax(sum / (double)patch->count - across, 0) / 2);
    return patch->height < flat * patch->width;
}

/* What is left beside the best quadric, as a deviation; negative: it is two sheets, or says
 * nothing. */
static double deviation(const struct patch *patch)
{
    struct bent_plane bent = bent_flat(&patch->plane, 2 * patch->width);
    double second = 0, fourth = 0, count = (double)patch->count;
    if (!bent_fit(&bent, patch->at, patch->count))
        return -1;
    for (size_t i = 0; i < patch->count; i++) {
        double off = bent_height(&bent, patch->at[i]);
        second += off * off;
        fourth += off * off * off * off;
    }
    if (fourth * count < sheets * second * second)
        return -1;
    return sqrt(second / (count - BENT_TERMS));
}

/* Whether it shows a surface; takes down what it says. */
static bool look_at(struct look *look, const struct tree *tree, size_t place,
                    struct neighbour *near, struct patch *patch)
{
    for (size_t around = AROUND_LEAST; around <= AROUND_MOST; around *= 2) {
        size_t count = tree_neighbours(tree, point_vec(look->place[place]), INFINITY, around, near);
        find_patch(look, place, near, count, patch);
        if (is_flat(patch)) {
            double found = deviation(patch);
            double wide = 4 * found / (2 * patch->width); /* an even disc is twice as wide */
            look->deviation[look->count] = found;
            look->around[look->count] = wide * wide * (double)patch->count;
            return found >= 0;
        }
        if (count < around)
            return false;
    }
    return false;
}

/* --- all of them ------------------------------------------------------------------------------ */

static enum status look_at_all(struct look *look, struct job *job)
{
    const struct tree *tree = mesh_tree(look->cloud, job);
    if (!tree)
        return job_status(job);
    struct neighbour *near = scratch_new(AROUND_MOST, sizeof *near);
    struct patch *patch = scratch_new(1, sizeof *patch);
    for (size_t i = 0; i < look->places && near && patch && !job_cancelled(job); i++)
        look->count += look_at(look, tree, i, near, patch);
    enum status status = near && patch ? STATUS_OK : job_fail_memory(job, sizeof *patch);
    scratch_free(near);
    scratch_free(patch);
    return status == STATUS_OK && job_cancelled(job) ? job_fail_cancelled(job) : status;
}

enum status noise_measure(const struct mesh *mesh, const struct point *normal, struct noise *out,
                          struct job *job)
{
    struct look look = {.cloud = mesh, .normal = normal};
    enum status status = STATUS_OK;
    *out = (struct noise){0, 0};
    if (mesh_vertices(mesh) < AROUND_LEAST)
        return STATUS_OK;
    choose_places(&look, mesh, normal);
    if (mesh_triangles(mesh))
        status = gather(&look, mesh, normal, job);
    if (status == STATUS_OK)
        status = look_at_all(&look, job);
    if (status == STATUS_OK && look.count >= PLACES_LEAST) {
        out->deviation = nth_smallest(look.deviation, look.count, look.count / 2);
        out->around = (unsigned)nth_smallest(look.around, look.count, look.count / 2);
    }
    scratch_free(look.own_normal);
    mesh_free(look.own);
    return status;
}
