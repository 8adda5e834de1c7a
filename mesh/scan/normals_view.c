#include "scan/normals_parts.h"

#include <string.h>

#include "core/eigen.h"
#include "core/job.h"
#include "scan/seen.h"
#include "scan/surfels.h"

enum { STARTS = 6, ROUNDS = 12, TRIES = 4 };
static const double thinner = 2; /* spacings */

/* Of the vertex at a patch's root the sum of its normals, of others zero. */
static void sum_patches(const struct estimate *e, const uint32_t *root, struct vec *sum)
{
    size_t count = mesh_vertices(e->cloud);
    memset(sum, 0, count * sizeof *sum);
    for (size_t v = 0; v < count; v++)
        sum[root[v]] = vec_add(sum[root[v]], point_vec(e->normal[v]));
}

/* The sum of all patches, each turned to face a direction. */
static struct vec facing_sum(const struct vec *patch, size_t count, struct vec to)
{
    struct vec sum = vec(0, 0, 0);
    for (size_t v = 0; v < count; v++)
        sum = vec_along(sum, vec_dot(patch[v], to) < 0 ? -1 : 1, patch[v]);
    return sum;
}

/* The direction that the patches, each turned to face it, face most: the best of those that turning
 * and summing ends at from the largest patches. */
static struct vec most_faced(const struct vec *patch, size_t count)
{
    struct vec best = vec(0, 0, 0);
    double most = INFINITY;
    for (int start = 0; start < STARTS; start++) {
        double next = 0; /* the next largest */
        struct vec sum = vec(0, 0, 0);
        for (size_t v = 0; v < count; v++) {
            double size = vec_length2(patch[v]);
            if (size < most && size > next) {
                next = size;
                sum = patch[v];
            }
        }
        most = next;
        for (int round = 0; round < ROUNDS && next > 0; round++)
            sum = facing_sum(patch, count, vec_unit(sum));
        if (vec_length2(sum) > vec_length2(best))
            best = sum;
    }
    return vec_unit(best);
}

/* Directions from which the scanner may have looked, about: the one most faced; and where that
 * would have sides face each other's way that both face the scanner obliquely, those across it. */
static void list_tries(const struct estimate *e, const struct vec *patch, struct vec tries[TRIES])
{
    size_t count = mesh_vertices(e->cloud);
    double m[9] = {0}, value[3], vector[9];
    for (size_t v = 0; v < count; v++) {
        const double n[3] = {(double)e->normal[v].x, (double)e->normal[v].y,
                             (double)e->normal[v].z};
        for (int k = 0; k < 9; k++)
            m[k] += n[k / 3] * n[k % 3];
    }
    eigen_symmetric(3, m, value, vector);
    tries[0] = most_faced(patch, count);
    for (int k = 0; k < 3; k++)
        tries[3 - k] = vec(vector[3 * k], vector[3 * k + 1], vector[3 * k + 2]);
}

/* The normals, each patch turned to face a direction. */
static void turn_patches(const struct estimate *e, const uint32_t *root, const struct vec *patch,
                         struct vec to, struct point *out)
{
    for (size_t v = 0; v < mesh_vertices(e->cloud); v++)
        out[v] =
            vec_point(vec_scale(point_vec(e->normal[v]), vec_dot(patch[root[v]], to) < 0 ? -1 : 1));
}

/* Looks for the camera that sees the points with these normals. */
static enum status look(const struct estimate *e, const struct point *normal, struct camera *camera,
                        struct vec *middle)
{
    struct surfels full = {0}, thin = {0}, firm = {0};
    *camera = (struct camera){0};
    enum status status = surfels_take(e->cloud, normal, &full, e->job);
    *middle = full.middle;
    if (status == STATUS_OK && surfels_count(&full) > 0 && full.spacing > 0) {
        status = surfels_thin(&full, thinner * full.spacing, 1, &thin, e->job);
        if (status == STATUS_OK)
            status = surfels_firm(&thin, &firm, e->job);
        if (status == STATUS_OK)
            status = camera_find(&full, &firm, camera, e->job);
    }
    surfels_release(&full);
    surfels_release(&thin);
    surfels_release(&firm);
    return status;
}

/* The directions to the camera, or the opposite ones, if so turned the points face away from their
 * middle: the pictures of front and back have their points in the same places. */
static void point_at(const struct estimate *e, const struct point *normal, const struct aim *aim,
                     struct vec middle, struct point *view)
{
    size_t count = mesh_vertices(e->cloud);
    double outward = 0;
    struct vec mean = vec(0, 0, 0);
    for (size_t v = 0; v < count; v++)
        mean = vec_along(mean, 1 / (double)count, point_vec(mesh_point(e->cloud)[v]));
    for (size_t v = 0; v < count; v++)
        outward += vec_dot(point_vec(normal[v]), vec_sub(point_vec(mesh_point(e->cloud)[v]), mean));
    for (size_t v = 0; v < count; v++) {
        struct vec p = vec_sub(mesh_world(e->cloud, point_vec(mesh_point(e->cloud)[v])), middle);
        struct vec to = vec_unit(vec_along(aim->toward, -aim->nearness, p));
        view[v] = vec_point(vec_scale(to, outward < 0 ? -1 : 1));
    }
}

/* Tries directions until there is a camera in whose picture the points lie evenly; else the first
 * that sees them all will do. */
static enum status try_all(const struct estimate *e, const uint32_t *root, struct vec *patch,
                           struct point *normal, struct point **view)
{
    struct vec tries[TRIES], middle;
    size_t count = mesh_vertices(e->cloud);
    bool sharp = false;
    enum status status = STATUS_OK;
    sum_patches(e, root, patch);
    list_tries(e, patch, tries);
    for (int i = 0; i < TRIES && status == STATUS_OK && !sharp; i++) {
        struct camera camera;
        turn_patches(e, root, patch, tries[i], normal);
        status = look(e, normal, &camera, &middle);
        sharp = status == STATUS_OK && camera.sharp;
        if (status == STATUS_OK && (sharp || (camera.single && !*view))) {
            *view = *view ? *view : scratch_new(count, sizeof **view);
            if (*view)
                point_at(e, normal, &camera.aim[0], middle, *view);
            else
                status = job_fail_memory(e->job, count * sizeof **view);
        }
        camera_release(&camera);
    }
    return status;
}

enum status view_guess(const struct estimate *e, const uint32_t *root, struct point **view)
{
    size_t count = mesh_vertices(e->cloud);
    *view = NULL;
    struct vec *patch = scratch_new(count, sizeof *patch);
    struct point *normal = scratch_new(count, sizeof *normal);
    enum status status = patch && normal
                             ? try_all(e, root, patch, normal, view)
                             : job_fail_memory(e->job, count * (sizeof *patch + sizeof *normal));
    scratch_free(patch);
    scratch_free(normal);
    return status;
}
