#include "scan/normals.h"

#include "core/eigen.h"
#include "core/job.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/tree.h"
#include "scan/noise.h"

enum {
    BLOCK = 1024, /* points between two looks at the job */
    LINKS = 8,    /* neighbours that a point is made to agree with */
    CLASSES = 24, /* of links, by how much they bend */
    NO_LINK = 255
};

static const double squarely = 0.17; /* cosine of 80 degrees: a view tells which side it is */

struct estimate {
    const struct mesh *cloud;
    const struct tree *tree;
    const struct point *view; /* toward the scanner; NULL: not known */
    unsigned around;
    struct point *normal;
    uint32_t (*link)[LINKS]; /* neighbours */
    uint8_t (*bend)[LINKS];  /* the class of the link, or NO_LINK */
    uint32_t *parent;        /* of the forest that the links join points to */
    uint8_t *against;        /* the point faces against its parent */
    struct job *job;
};

/* --- planes ---------------------------------------------------------------------------------- */

/* The normal of the plane through the middle of the points with the least sum of squares; zero when
 * they lie on a line. */
static struct vec plane_normal(const struct point *point, const struct neighbour *near,
                               size_t count)
{
    struct vec middle = vec(0, 0, 0);
    for (size_t i = 0; i < count; i++)
        middle = vec_along(middle, 1.0 / (double)count, point_vec(point[near[i].vertex]));
    double m[9] = {0}, value[3], vector[9];
    for (size_t i = 0; i < count; i++) {
        struct vec d = vec_sub(point_vec(point[near[i].vertex]), middle);
        const double a[3] = {d.x, d.y, d.z};
        for (int j = 0; j < 9; j++)
            m[j] += a[j / 3] * a[j % 3];
    }
    eigen_symmetric(3, m, value, vector);
    if (!(value[1] > 1e-12 * value[2]))
        return vec(0, 0, 0);
    return vec_unit(vec(vector[0], vector[1], vector[2]));
}

static void estimate_point(const struct estimate *e, uint32_t v)
{
    struct neighbour near[NORMALS_AROUND_MOST];
    const struct point *point = mesh_point(e->cloud);
    size_t count = tree_neighbours(e->tree, point_vec(point[v]), INFINITY, e->around, near);
    e->normal[v] = vec_point(plane_normal(point, near, count));
    unsigned links = 0;
    for (size_t i = 0; i < count && links < LINKS; i++)
        if (near[i].vertex != v)
            e->link[v][links++] = near[i].vertex;
    while (links < LINKS)
        e->link[v][links++] = v;
}

/* Sorts each point's links into classes by the angle between the planes, the flattest first. */
static void class_links(const struct estimate *e, uint32_t v)
{
    for (int i = 0; i < LINKS; i++) {
        struct vec a = point_vec(e->normal[v]), b = point_vec(e->normal[e->link[v][i]]);
        bool none = vec_length2(a) == 0 || vec_length2(b) == 0 || e->link[v][i] == v;
        double bend = sqrt(fmax(0, 1 - fabs(vec_dot(a, b)))); /* 0 to 1 */
        e->bend[v][i] = none ? NO_LINK : (uint8_t)fmin(bend * CLASSES, CLASSES - 1);
    }
}

static void each_point(const struct estimate *e, void (*visit)(const struct estimate *, uint32_t))
{
    size_t count = mesh_vertices(e->cloud);
#pragma omp parallel for num_threads(job_threads(e->job)) schedule(dynamic)
    for (size_t from = 0; from < count; from += BLOCK)
        if (job_step(e->job, BLOCK))
            for (size_t v = from; v < from + BLOCK && v < count; v++)
                visit(e, (uint32_t)v);
}

/* --- agreeing -------------------------------------------------------------------------------- */

/* The root of the tree that v is in, and whether v faces against it; shortens the way there. */
static uint32_t root_of(const struct estimate *e, uint32_t v, uint8_t *against)
{
    uint32_t root = v;
    uint8_t sum = 0;
    for (; e->parent[root] != root; root = e->parent[root])
        sum ^= e->against[root];
    *against = sum;
    while (e->parent[v] != root && v != root) {
        uint32_t up = e->parent[v];
        uint8_t own = e->against[v];
        e->parent[v] = root;
        e->against[v] = sum;
        sum ^= own;
        v = up;
    }
    return root;
}

static void join(const struct estimate *e, uint32_t a, uint32_t b)
{
    uint8_t against_a, against_b;
    uint32_t root_a = root_of(e, a, &against_a), root_b = root_of(e, b, &against_b);
    if (root_a == root_b)
        return;
    uint8_t opposed = vec_dot(point_vec(e->normal[a]), point_vec(e->normal[b])) < 0;
    uint32_t low = root_a < root_b ? root_a : root_b, high = root_a ^ root_b ^ low;
    e->parent[high] = low;
    e->against[high] = against_a ^ against_b ^ opposed;
}

static void join_all(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    for (size_t v = 0; v < count; v++) {
        e->parent[v] = (uint32_t)v;
        e->against[v] = 0;
    }
    for (int class = 0; class < CLASSES; class ++)
        for (size_t v = 0; v < count; v++) {
            if (v % BLOCK == 0 && !job_step(e->job, BLOCK))
                return;
            for (int i = 0; i < LINKS; i++)
                if (e->bend[v][i] == class)
                    join(e, (uint32_t)v, e->link[v][i]);
        }
}

struct part { /* sums over a connected part, kept at its root */
    struct vec middle, normal;
    double outward, across;
    double seen, looked; /* how far its points face their scanners, and how far they could */
    size_t points;
};

/* Sums up each part: first its middle, then how its points face as seen from there. */
static void sum_parts(const struct estimate *e, struct part *part)
{
    size_t count = mesh_vertices(e->cloud);
    for (int round = 0; round < 2; round++)
        for (size_t v = 0; v < count; v++) {
            if (v % BLOCK == 0 && job_cancelled(e->job))
                return;
            uint8_t against;
            struct part *mine = &part[root_of(e, (uint32_t)v, &against)];
            struct vec p = point_vec(mesh_point(e->cloud)[v]), n = point_vec(e->normal[v]);
            if (round == 0) {
                mine->middle = vec_add(mine->middle, p);
                mine->points++;
                continue;
            }
            struct vec d = vec_along(p, -1 / (double)mine->points, mine->middle);
            n = vec_scale(n, against ? -1 : 1);
            double facing = e->view ? vec_dot(n, point_vec(e->view[v])) : 0;
            mine->seen += facing;
            mine->looked += fabs(facing);
            mine->outward += vec_dot(n, d);
            mine->across += vec_length(d);
            mine->normal = vec_add(mine->normal, n);
        }
}

/* A scanner sees only what faces it. Where less than three quarters of a part would (weighed by how
 * squarely), the view the file names cannot be the one it was scanned from, and is no help. */
static bool sees(const struct part *part)
{
    return fabs(part->seen) > 0.5 * part->looked;
}

static bool faces_in(const struct part *part)
{
    if (sees(part))
        return part->seen < 0;
    if (fabs(part->outward) > 1e-3 * part->across)
        return part->outward < 0;
    return part->normal.z < 0;
}

static void face_out(const struct estimate *e, const struct part *part)
{
    size_t count = mesh_vertices(e->cloud);
    for (size_t v = 0; v < count; v++) {
        uint8_t against;
        const struct part *mine = &part[root_of(e, (uint32_t)v, &against)];
        struct vec n = point_vec(e->normal[v]);
        bool turn = faces_in(mine) != (against != 0);
        double facing = e->view && sees(mine) ? vec_dot(n, point_vec(e->view[v])) : 0;
        if (fabs(facing) > squarely) /* it knows better than its neighbours across an edge */
            turn = facing < 0;
        if (turn)
            e->normal[v] = vec_point(vec_scale(n, -1));
    }
}

static enum status make_agree(const struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    job_phase(e->job, "making neighbours agree", 400, count * CLASSES);
    join_all(e);
    if (job_cancelled(e->job))
        return job_fail_cancelled(e->job);
    struct part *part = scratch_new(count, sizeof *part);
    if (!part)
        return job_fail_memory(e->job, count * sizeof *part);
    for (size_t v = 0; v < count; v++)
        part[v] = (struct part){0};
    sum_parts(e, part);
    face_out(e, part);
    scratch_free(part);
    return job_cancelled(e->job) ? job_fail_cancelled(e->job) : STATUS_OK;
}

/* --- all of it ------------------------------------------------------------------------------- */

static enum status estimate_all(struct estimate *e)
{
    size_t count = mesh_vertices(e->cloud);
    e->tree = mesh_tree(e->cloud, e->job);
    if (!e->tree)
        return job_status(e->job);
    e->link = scratch_new(count, sizeof *e->link);
    e->bend = scratch_new(count, sizeof *e->bend);
    e->parent = scratch_new(count, sizeof *e->parent);
    e->against = scratch_new(count, sizeof *e->against);
    if (!e->link || !e->bend || !e->parent || !e->against)
        return job_fail_memory(e->job, count * (sizeof *e->link + sizeof *e->bend + 5));
    job_phase(e->job, "estimating normals", 600, 2 * count);
    each_point(e, estimate_point);
    each_point(e, class_links);
    if (job_cancelled(e->job))
        return job_fail_cancelled(e->job);
    return make_agree(e);
}

struct point *normals_estimate(const struct mesh *mesh, unsigned around, struct job *job)
{
    struct estimate e = {
        .around = around, .view = mesh_attribute(mesh, ATTRIBUTE_view), .job = job};
    size_t count = mesh_vertices(mesh);
    struct mesh *cloud = mesh_cloud(mesh, job);
    if (!cloud)
        return NULL;
    e.cloud = cloud;
    e.normal = scratch_new(count, sizeof *e.normal);
    enum status status =
        e.normal ? estimate_all(&e) : job_fail_memory(job, count * sizeof *e.normal);
    scratch_free(e.link);
    scratch_free(e.bend);
    scratch_free(e.parent);
    scratch_free(e.against);
    mesh_free(cloud);
    if (status == STATUS_OK)
        return e.normal;
    scratch_free(e.normal);
    return NULL;
}

/* A copy of given normals, each made unit. */
static struct point *copied(const struct point *given, size_t count, struct job *job)
{
    struct point *normal = scratch_new(count, sizeof *normal);
    if (!normal)
        job_fail_memory(job, count * sizeof *normal);
    for (size_t v = 0; v < count && normal; v++)
        normal[v] = vec_point(vec_unit(point_vec(given[v])));
    return normal;
}

/* Of a cloud whose file tells none. */
static struct point *estimated(const struct mesh *mesh, struct job *job)
{
    struct noise noise;
    if (noise_measure(mesh, NULL, &noise, job) != STATUS_OK)
        return NULL;
    unsigned around = noise.around > NORMALS_AROUND ? noise.around : NORMALS_AROUND;
    return normals_estimate(mesh, around < NORMALS_AROUND_MOST ? around : NORMALS_AROUND_MOST, job);
}

struct point *normals_of(const struct mesh *mesh, struct job *job)
{
    const struct point *given = mesh_attribute(mesh, ATTRIBUTE_normal);
    if (mesh_triangles(mesh) == 0)
        return given ? copied(given, mesh_vertices(mesh), job) : estimated(mesh, job);
    const struct normals *normals = mesh_normals(mesh, job);
    return normals ? copied(normals->vertex, mesh_vertices(mesh), job) : NULL;
}
