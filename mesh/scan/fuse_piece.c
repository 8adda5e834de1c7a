#include "scan/fuse_piece.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/tree.h"
#include "core/weld.h"
#include "scan/noise.h"
#include "scan/normals.h"

enum { LOOKS_MOST = 60000, NEAR = 7, RIM_RINGS = 3, BLOCK = 4096 };

/* A triangle so many times longer than most edges, and so nearly edge-on, spans a jump of depth. */
static const double jump_length = 4, jump_cosine = 0.17;

/* Weight of a vertex on the rim, and one, two edges from it. */
static const float rim_weight[RIM_RINGS] = {0.2f, 0.5f, 0.8f};
/* Cosine: triangles that face farther from their vertex's normal make it a mixed one. */
static const double mixes = 0.88;

static const float least_weight = 0.05f;

/* Every BLOCK elements: whether to stop. */
static bool is_time(size_t i, const struct job *job)
{
    return i % BLOCK == 0 && job_cancelled(job);
}

/* --- spacing --------------------------------------------------------------------------------- */

static int float_order(const void *x, const void *y)
{
    float a = *(const float *)x, b = *(const float *)y;
    return a < b ? -1 : a > b;
}

static double edge_length(const struct mesh *mesh, size_t h)
{
    const uint32_t *v = mesh_triangle(mesh)[h / 3].v;
    struct vec a = point_vec(mesh_point(mesh)[v[h % 3]]);
    return vec_length(vec_sub(point_vec(mesh_point(mesh)[v[(h + 1) % 3]]), a));
}

static struct vec twice_area(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    return vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                     vec_sub(point_vec(mesh_point(mesh)[v[2]]), a));
}

/* Samples of a plane of so many a square unit lie as far apart as those of a net of equal
 * triangles: 1 / density = sqrt(3) / 2 * spacing^2. */
static double cloud_spacing(const struct tree *tree, const struct mesh *mesh, size_t v)
{
    struct neighbour near[NEAR];
    size_t n = tree_neighbours(tree, point_vec(mesh_point(mesh)[v]), INFINITY, NEAR, near);
    if (n < 2)
        return 0;
    double area = 3.141592653589793 * near[n - 1].distance2 / ((double)n - 0.5);
    return sqrt(area * 1.1547);
}

/* The side of the equal triangle of the same area. */
static double triangle_spacing(const struct mesh *mesh, size_t t)
{
    return sqrt(vec_length(twice_area(mesh, t)) * 1.1547);
}

/* The median over triangles (or points of a cloud) spread evenly over the piece. */
static enum status measure_spacing(struct fuse_piece *piece, struct job *job)
{
    const struct mesh *mesh = piece->mesh;
    size_t triangles = mesh_triangles(mesh), all = triangles ? triangles : mesh_vertices(mesh);
    size_t step = all / LOOKS_MOST + 1, count = 0;
    const struct tree *tree = triangles || !all ? NULL : mesh_tree(mesh, job);
    if (!triangles && all && !tree)
        return job_status(job);
    float *length = malloc((all / step + 1) * sizeof *length);
    if (!length)
        return job_fail_memory(job, (all / step + 1) * sizeof *length);
    for (size_t i = 0; i < all && !job_cancelled(job); i += step) {
        double l = triangles ? triangle_spacing(mesh, i) : cloud_spacing(tree, mesh, i);
        if (l > 0)
            length[count++] = (float)l;
    }
    qsort(length, count, sizeof *length, float_order);
    piece->spacing = count ? (double)length[count / 2] : 0;
    free(length);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- view ------------------------------------------------------------------------------------ */

static void find_view(struct fuse_piece *piece, const struct job *job)
{
    struct vec sum = vec(0, 0, 0);
    double total = 0;
    const struct mesh *mesh = piece->mesh;
    size_t triangles = mesh_triangles(mesh), all = triangles ? triangles : mesh_vertices(mesh);
    for (size_t i = 0; i < all; i++) {
        if (is_time(i, job))
            return;
        struct vec n = triangles ? twice_area(mesh, i) : point_vec(piece->normal[i]);
        sum = vec_add(sum, n);
        total += vec_length(n);
    }
    double agree = total > 0 ? vec_length(sum) / total : 0;
    piece->view = vec_unit(sum);
    piece->one_sided = fmin(fmax((agree - 0.15) / 0.3, 0), 1);
}

/* --- jumps of depth -------------------------------------------------------------------------- */

static bool is_jump(const struct fuse_piece *piece, size_t t)
{
    double longest = 0;
    for (size_t k = 0; k < 3; k++)
        longest = fmax(longest, edge_length(piece->mesh, 3 * t + k));
    struct vec n = vec_unit(twice_area(piece->mesh, t));
    return longest > jump_length * piece->spacing && fabs(vec_dot(n, piece->view)) < jump_cosine;
}

/* Only a piece that was seen from one side has them. */
static enum status drop_jumps(struct fuse_piece *piece, struct job *job)
{
    size_t triangles = mesh_triangles(piece->mesh);
    if (triangles == 0 || piece->one_sided < 1)
        return STATUS_OK;
    uint8_t *keep = scratch_new(triangles, 1);
    if (!keep)
        return job_fail_memory(job, triangles);
    for (size_t t = 0; t < triangles && !is_time(t, job); t++) {
        keep[t] = !is_jump(piece, t);
        piece->jumps += !keep[t];
    }
    if (job_cancelled(job)) {
        scratch_free(keep);
        return job_fail_cancelled(job);
    }
    struct mesh *rest = piece->jumps ? mesh_subset(piece->mesh, keep, job) : NULL;
    scratch_free(keep);
    if (piece->jumps && !rest)
        return job_status(job);
    if (rest) {
        mesh_free(piece->mesh);
        piece->mesh = rest;
    }
    return STATUS_OK;
}

/* --- weights --------------------------------------------------------------------------------- */

/* How many edges each vertex is from a rim, at most RIM_RINGS. */
static enum status find_rings(const struct mesh *mesh, uint8_t *ring, struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    if (!topology)
        return job_status(job);
    const struct triangle *triangle = mesh_triangle(mesh);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        ring[v] = RIM_RINGS;
    for (uint32_t h = 0; h < 3 * mesh_triangles(mesh) && !is_time(h, job); h++)
        if (topology->twin[h] == TWIN_NONE)
            ring[half_from(triangle, h)] = ring[half_to(triangle, h)] = 0;
    for (uint8_t r = 0; r + 1 < RIM_RINGS && topology->boundary; r++)
        for (size_t t = 0; t < mesh_triangles(mesh) && !is_time(t, job); t++)
            for (int k = 0; k < 3; k++)
                if (ring[triangle[t].v[k]] == r)
                    for (int j = 0; j < 3; j++)
                        if (ring[triangle[t].v[j]] > r + 1)
                            ring[triangle[t].v[j]] = (uint8_t)(r + 1);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* The mean of what is positive: the yardstick of the piece's confidences. */
static double mean_confidence(const float *confidence, size_t vertices)
{
    double sum = 0, count = 0;
    for (size_t v = 0; v < vertices; v++)
        if (isfinite(confidence[v]) && confidence[v] > 0) {
            sum += (double)confidence[v];
            count++;
        }
    return count > 0 ? sum / count : 1;
}

static void weigh(struct fuse_piece *piece, const uint8_t *ring, const struct job *job)
{
    const float *confidence = mesh_attribute(piece->mesh, ATTRIBUTE_confidence);
    size_t vertices = mesh_vertices(piece->mesh);
    float mean = confidence ? (float)mean_confidence(confidence, vertices) : 1;
    piece->confidence = confidence ? (double)mean : 0;
    for (size_t v = 0; v < vertices && !is_time(v, job); v++) {
        float cosine = (float)vec_dot(point_vec(piece->normal[v]), piece->view);
        float sided = (float)piece->one_sided;
        piece->square[v] = 1 - sided + sided * fmaxf(cosine, least_weight);
        float weight = piece->square[v];
        if (ring[v] < RIM_RINGS)
            weight *= rim_weight[ring[v]];
        if (confidence)
            weight *= confidence[v] > 0 ? fminf(confidence[v] / mean, 4) : 0;
        piece->weight[v] = fmaxf(weight, least_weight * least_weight);
    }
}

static void find_mixed(struct fuse_piece *piece, const struct job *job)
{
    memset(piece->mixed, 0, mesh_vertices(piece->mesh));
    for (size_t t = 0; t < mesh_triangles(piece->mesh) && !is_time(t, job); t++) {
        struct vec n = vec_unit(twice_area(piece->mesh, t));
        for (int k = 0; k < 3; k++) {
            uint32_t v = mesh_triangle(piece->mesh)[t].v[k];
            if (vec_dot(n, point_vec(piece->normal[v])) < mixes)
                piece->mixed[v] = 1;
        }
    }
}

static enum status make_weights(struct fuse_piece *piece, struct job *job)
{
    size_t vertices = mesh_vertices(piece->mesh);
    uint8_t *ring = scratch_new(vertices, 1);
    piece->weight = scratch_new(vertices, sizeof *piece->weight);
    piece->square = scratch_new(vertices, sizeof *piece->square);
    piece->mixed = scratch_new(vertices, 1);
    enum status status = ring && piece->weight && piece->square && piece->mixed
                             ? find_rings(piece->mesh, ring, job)
                             : job_fail_memory(job, vertices * 10);
    if (status == STATUS_OK) {
        weigh(piece, ring, job);
        find_mixed(piece, job);
        status = job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
    }
    scratch_free(ring);
    return status;
}

static enum status make_normals(struct fuse_piece *piece, struct job *job)
{
    piece->normal = normals_of(piece->mesh, job);
    return piece->normal ? STATUS_OK : job_status(job);
}

static enum status measure_noise(struct fuse_piece *piece, struct job *job)
{
    struct noise noise;
    enum status status = noise_measure(piece->mesh, piece->normal, &noise, job);
    piece->noise = noise.deviation;
    return status;
}

enum status fuse_piece_make(const struct mesh *mesh, struct fuse_piece *out, struct job *job)
{
    *out = (struct fuse_piece){0};
    out->mesh = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    enum status status = out->mesh ? measure_spacing(out, job) : job_status(job);
    bool cloud = out->mesh && mesh_triangles(out->mesh) == 0;
    if (status == STATUS_OK && cloud)
        status = make_normals(out, job);
    if (status == STATUS_OK) {
        find_view(out, job);
        status = drop_jumps(out, job);
    }
    if (status == STATUS_OK && !cloud)
        status = make_normals(out, job);
    if (status == STATUS_OK)
        status = measure_noise(out, job);
    if (status == STATUS_OK)
        status = make_weights(out, job);
    if (status != STATUS_OK)
        fuse_piece_release(out);
    return status;
}

void fuse_piece_release(struct fuse_piece *piece)
{
    mesh_free(piece->mesh);
    scratch_free(piece->normal);
    scratch_free(piece->weight);
    scratch_free(piece->square);
    scratch_free(piece->mixed);
    *piece = (struct fuse_piece){0};
}
