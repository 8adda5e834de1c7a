/* What of one solid lies inside the other: winding numbers, and floods. */
#include "core/exact.h"
#include "solid/boolean_parts.h"

/* --- winding ---------------------------------------------------------------------------------- */

/* A ray along x from p, or from beside it towards `toward`, or, where that does not decide either,
 * from beside that by the least in y and by much less in z: each triangle is met or missed, never
 * touched in its edge (Edelsbrunner & Muecke 1990, "Simulation of Simplicity"). */
struct ray {
    const struct solid *s;
    struct vec p;
    const struct vec *toward;
    int winding;
};

static int sign_of(double x)
{
    return (x > 0) - (x < 0);
}

/* Which side of a b, seen along x, the ray passes. */
static int ray_turn(const struct ray *ray, struct vec a, struct vec b)
{
    int turn = flat_turn(a, b, ray->p, 0);
    if (!turn && ray->toward)
        turn = flat_turn(a, b, *ray->toward, 0);
    if (!turn)
        turn = sign_of(a.z - b.z);
    return turn ? turn : sign_of(b.y - a.y);
}

static bool ray_meets(uint32_t face, void *context)
{
    struct ray *ray = context;
    struct vec c[3];
    solid_face(ray->s, face, c);
    int turn = ray_turn(ray, c[0], c[1]);
    if (!turn || ray_turn(ray, c[1], c[2]) != turn || ray_turn(ray, c[2], c[0]) != turn)
        return true;
    int below = exact_side(c[0], c[1], c[2], ray->p);
    if (!below && ray->toward)
        below = exact_side(c[0], c[1], c[2], *ray->toward);
    if (below == turn) /* the triangle lies ahead */
        ray->winding += turn;
    return true;
}

enum { RAYS_MOST = 8 }; /* for which a tree of the whole mesh is not worth its making */

static void meet_all(struct ray *ray)
{
    const struct solid *s = ray->s;
    double y = ray->p.y, z = ray->p.z;
    for (uint32_t t = 0; t < mesh_triangles(s->mesh); t++) {
        const uint32_t *v = s->triangle[t].v;
        const struct point *a = &s->point[v[0]], *b = &s->point[v[1]], *c = &s->point[v[2]];
        double ay = (double)a->y, by = (double)b->y, cy = (double)c->y;
        double az = (double)a->z, bz = (double)b->z, cz = (double)c->z;
        bool aside = (ay < y && by < y && cy < y) || (ay > y && by > y && cy > y) ||
                     (az < z && bz < z && cz < z) || (az > z && bz > z && cz > z);
        if (!aside)
            ray_meets(t, ray);
    }
}

int solid_winding(struct solid *s, struct vec p, const struct vec *toward)
{
    struct ray ray = {s, p, toward, 0};
    if (p.x > s->max.x || p.y < s->min.y || p.y > s->max.y || p.z < s->min.z || p.z > s->max.z)
        return 0;
    const struct tree *tree = mesh_derived(s->mesh, DERIVED_tree);
    if (!tree && s->rays++ >= RAYS_MOST)
        tree = mesh_tree(s->mesh, NULL); /* without memory for it, all triangles are asked */
    if (tree)
        tree_box(tree, p, vec(s->max.x, p.y, p.z), ray_meets, &ray);
    else
        meet_all(&ray);
    return ray.winding;
}

enum fate joint_vertex_fate(struct joint *j, int s, uint32_t vertex)
{
    uint8_t *fate = &j->side[s].vertex_fate[vertex];
    if (*fate == UNKNOWN) {
        int winding = solid_winding(&j->side[1 - s], solid_at(&j->side[s], vertex), NULL);
        *fate = winding > 0 ? INSIDE : OUTSIDE;
    }
    return (enum fate) * fate;
}

/* --- floods ----------------------------------------------------------------------------------- */

/* Faces that nothing touched are as their neighbours are, so one of each region that touched ones
 * bound tells of all. Those that do not reach into the other's box are outside it. */
struct flood {
    struct joint *j;
    int s;
    uint8_t *near; /* one a face: whether it reaches into the other's box */
    struct pile wait;
};

static enum status enter(struct flood *f, uint32_t face, enum fate fate)
{
    uint32_t *to = pile_next(&f->wait, sizeof *to);
    if (!to)
        return job_fail_memory(f->j->job, 2 * f->wait.count * sizeof *to);
    f->j->side[f->s].face_fate[face] = (uint8_t)fate;
    *to = face;
    f->wait.count++;
    return STATUS_OK;
}

static enum status spread(struct flood *f, enum fate fate)
{
    const struct solid *s = &f->j->side[f->s];
    enum status status = STATUS_OK;
    for (size_t steps = 0; f->wait.count && status == STATUS_OK; steps++) {
        uint32_t face = PILE(f->wait, uint32_t)[--f->wait.count];
        for (uint32_t k = 0; k < 3 && status == STATUS_OK; k++) {
            uint32_t next = s->topology->twin[3 * face + k] / 3;
            if (s->face_fate[next] == UNKNOWN && f->near[next])
                status = enter(f, next, fate);
        }
        if (steps % 65536 == 65535 && job_cancelled(f->j->job) && status == STATUS_OK)
            status = job_fail_cancelled(f->j->job);
    }
    return status;
}

/* From a face that no fate has reached: by a vertex, or by an edge between two nodes. */
static enum fate face_fate(struct flood *f, uint32_t face)
{
    const struct solid *own = &f->j->side[f->s];
    struct solid *other = &f->j->side[1 - f->s];
    const uint32_t *v = own->triangle[face].v;
    for (int k = 0; k < 3; k++)
        if (solid_node(own, v[k]) == NO_INDEX)
            return joint_vertex_fate(f->j, f->s, v[k]);
    struct vec toward = vec_scale(vec_add(solid_at(own, v[1]), solid_at(own, v[2])), 0.5);
    return solid_winding(other, solid_at(own, v[0]), &toward) > 0 ? INSIDE : OUTSIDE;
}

static enum status flood_all(struct flood *f)
{
    struct solid *s = &f->j->side[f->s];
    enum status status = STATUS_OK;
    for (size_t i = 0; i < s->near.count; i++)
        f->near[PILE(s->near, uint32_t)[i]] = 1;
    for (size_t i = 0; i < 3 * s->touched.count && status == STATUS_OK; i++) {
        uint32_t half = 3 * PILE(s->touched, uint32_t)[i / 3] + (uint32_t)(i % 3);
        uint32_t next = s->topology->twin[half] / 3;
        enum fate fate = (enum fate)s->vertex_fate[solid_from(s, half)];
        if (fate == UNKNOWN || fate == TOUCHED)
            fate = (enum fate)s->vertex_fate[solid_to(s, half)];
        if ((fate != INSIDE && fate != OUTSIDE) || s->face_fate[next] != UNKNOWN || !f->near[next])
            continue;
        status = enter(f, next, fate);
        if (status == STATUS_OK)
            status = spread(f, fate);
    }
    for (size_t i = 0; i < s->near.count && status == STATUS_OK; i++) {
        uint32_t face = PILE(s->near, uint32_t)[i];
        if (s->face_fate[face] != UNKNOWN)
            continue;
        enum fate fate = face_fate(f, face);
        status = enter(f, face, fate);
        if (status == STATUS_OK)
            status = spread(f, fate);
    }
    return status;
}

enum status joint_fates(struct joint *j)
{
    enum status status = STATUS_OK;
    for (int s = 0; s < 2 && status == STATUS_OK; s++) {
        size_t faces = mesh_triangles(j->side[s].mesh);
        struct flood f = {.j = j, .s = s, .near = scratch_zeros(faces, 1)};
        status = f.near ? flood_all(&f) : job_fail_memory(j->job, faces);
        scratch_free(f.near);
        pile_release(&f.wait);
    }
    return status;
}
