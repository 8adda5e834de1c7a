#include "solid/outer.h"

#include "core/job.h"
#include "core/topology.h"
#include "solid/rays.h"

enum { LOOK = 4096 };

struct judging {
    const struct mesh *mesh;
    const struct arrangement *a;
    const struct topology *topology; /* of the arranged mesh */
    struct rays rays;
    bool odd;
    uint32_t *queue;
    uint8_t *other; /* one a triangle: seen, and whether it faces as the first of its patch */
    uint8_t *way;
    struct job *job;
};

enum { UNSEEN, ALIKE, OTHERWISE };

/* The triangles that hang together with `first` over edges of two; returns how many. */
static size_t flood(struct judging *j, uint32_t first)
{
    size_t begin = 0, end = 0;
    j->queue[end++] = first;
    j->other[first] = ALIKE;
    for (; begin < end; begin++) {
        uint32_t t = j->queue[begin];
        for (uint32_t h = 3 * t; h < 3 * t + 3; h++) {
            uint32_t twin = j->topology->twin[h];
            if (twin == TWIN_NONE || twin == TWIN_MANY)
                continue;
            uint32_t next = (twin & ~TWIN_FLIPPED) / 3;
            if (j->other[next] != UNSEEN)
                continue;
            bool flipped = twin & TWIN_FLIPPED;
            j->other[next] = flipped == (j->other[t] == ALIKE) ? OTHERWISE : ALIKE;
            j->queue[end++] = next;
        }
        if (begin % LOOK == LOOK - 1 && job_cancelled(j->job))
            break;
    }
    return end;
}

static double area2_of(const struct mesh *mesh, uint32_t t)
{
    struct vec p[3];
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    return vec_length2(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])));
}

static void corners_of(const struct judging *j, uint32_t t, int64_t q[3][3])
{
    for (int k = 0; k < 3; k++) {
        uint32_t v = mesh_triangle(j->a->mesh)[t].v[k];
        if (v >= j->a->old) {
            memcpy(q[k], spot_at(&j->a->spots, j->a->spot[v - j->a->old])->q, sizeof q[k]);
            continue;
        }
        spots_grid(&j->a->spots, mesh_point(j->a->mesh)[v], q[k]);
        for (int i = 0; i < 3; i++)
            q[k][i] *= (int64_t)1 << SPOT_FRACTION;
    }
}

static struct plane plane_of(const struct mesh *mesh, const struct spots *spots, uint32_t triangle)
{
    int64_t p[3][3];
    for (int k = 0; k < 3; k++)
        spots_grid(spots, mesh_point(mesh)[mesh_triangle(mesh)[triangle].v[k]], p[k]);
    return plane_through(p[0], p[1], p[2]);
}

/* Of the triangle: OUTER_TURNS when it is kept the other way round. */
static bool judge_one(const struct judging *j, uint32_t t, uint8_t *way)
{
    struct plane plane = plane_of(j->mesh, &j->a->spots, j->a->from[t]);
    struct rays_count n;
    int64_t q[3][3];
    corners_of(j, t, q);
    if (!rays_count(&j->rays, (const int64_t(*)[3])q, &plane, &n))
        return false;
    bool above = j->odd ? n.all_above % 2 : n.above > 0;
    bool below = j->odd ? (n.all_above + n.all_on) % 2 : n.above + n.on > 0;
    int axis = plane_axis(&plane);
    /* The facet may run against the triangle that it was cut out of no more than in its order. */
    bool up = plane.normal[axis] > 0;
    *way = above == below ? OUTER_GOES : up == below ? OUTER_STAYS : OUTER_TURNS;
    return true;
}

enum { TRIES = 16 };

/* By the largest; where that will not do, by others. */
static void judge_patch(struct judging *j, size_t count)
{
    uint8_t way = OUTER_GOES;
    uint32_t best = j->queue[0];
    double most = -1;
    for (size_t i = 0; i < count; i++) {
        double area2 = area2_of(j->a->mesh, j->queue[i]);
        if (area2 > most) {
            most = area2;
            best = j->queue[i];
        }
    }
    bool known = judge_one(j, best, &way);
    for (size_t i = 0; i < count && i < TRIES && !known; i++) {
        best = j->queue[i * count / (count < TRIES ? count : TRIES)];
        known = judge_one(j, best, &way);
    }
    for (size_t i = 0; i < count; i++) {
        uint32_t t = j->queue[i];
        bool same = j->other[t] == j->other[best];
        j->way[t] = way == OUTER_GOES || same ? way
                    : way == OUTER_STAYS      ? OUTER_TURNS
                                              : OUTER_STAYS;
    }
}

static enum status judge_all(struct judging *j)
{
    size_t triangles = mesh_triangles(j->a->mesh), done = 0;
    job_phase(j->job, "telling inside from outside", 150, triangles);
    for (uint32_t t = 0; t < triangles; t++) {
        if (j->other[t] != UNSEEN)
            continue;
        size_t count = flood(j, t);
        judge_patch(j, count);
        done += count;
        if (done >= 64 && !job_step(j->job, done))
            return job_fail_cancelled(j->job);
        done = done >= 64 ? 0 : done;
    }
    return STATUS_OK;
}

enum status outer_judge(const struct mesh *mesh, const struct arrangement *arrangement, bool odd,
                        uint8_t *way, struct job *job)
{
    size_t triangles = mesh_triangles(arrangement->mesh);
    struct judging j = {.mesh = mesh, .a = arrangement, .odd = odd, .way = way, .job = job};
    j.topology = mesh_topology(arrangement->mesh, job);
    j.rays = (struct rays){.mesh = mesh, .spots = &arrangement->spots};
    j.rays.tree = j.topology ? mesh_tree(mesh, job) : NULL;
    if (!j.rays.tree)
        return job_status(job);
    j.queue = scratch_new(triangles, sizeof *j.queue);
    j.other = scratch_new(triangles, 1);
    enum status status = STATUS_OK;
    if (j.queue && j.other) {
        memset(j.other, UNSEEN, triangles);
        status = judge_all(&j);
    } else {
        status = job_fail_memory(job, triangles * 5);
    }
    scratch_free(j.queue);
    scratch_free(j.other);
    return status;
}

enum status outer_encloses(const struct mesh *mesh, const uint32_t *component, uint32_t facet,
                           bool *inside, struct job *job)
{
    struct spots spots;
    spots_init(&spots, mesh);
    struct rays rays = {.mesh = mesh,
                        .tree = mesh_tree(mesh, job),
                        .spots = &spots,
                        .component = component,
                        .without = component[facet]};
    if (!rays.tree)
        return job_status(job);
    struct plane plane = plane_of(mesh, &spots, facet);
    int64_t q[3][3];
    for (int k = 0; k < 3; k++) {
        spots_grid(&spots, mesh_point(mesh)[mesh_triangle(mesh)[facet].v[k]], q[k]);
        for (int i = 0; i < 3; i++)
            q[k][i] *= (int64_t)1 << SPOT_FRACTION;
    }
    struct rays_count n = {0};
    *inside = rays_count(&rays, (const int64_t(*)[3])q, &plane, &n) && n.above > 0;
    return STATUS_OK;
}
