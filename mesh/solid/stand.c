#include "solid/stand.h"

#include <stdlib.h>
#include <string.h>

#include "core/hull.h"
#include "core/job.h"
#include "core/tree.h"
#include "solid/foot.h"

static const double alike = 1e-6;  /* of the size: heights that count as equal */
static const double as_firm = 0.9; /* of the lowest side's tilt: the nearest is as good then */
static const double around = 0.02; /* of the size: how far about a picked point one looks */

enum { SEEN = 1 /* in the search going on */, TRIED = 2 };
enum { BLOCK = 4096 }; /* faces or points between two looks at cancel */
#define NO_FACE SIZE_MAX

const double stand_level = 1e-4;

double stand_tilt(double margin, double height)
{
    return atan2(margin, height) * 180 / 3.14159265358979323846;
}

struct standing {
    const struct mesh *const *mesh;
    size_t count;
    struct vec reference; /* world; all else is beside it */
    struct vec *point;
    size_t points;
    struct hull hull;
    struct vec centre, middle; /* of mass; of the box */
    double reach;              /* diagonal of the box */
    uint8_t *seen;             /* one a face of the hull: enum below */
    uint32_t *list;
    double (*foot)[2]; /* corners on the floor */
    enum stand_by by;
    double lean;
    struct job *job;
};

/* --- points -------------------------------------------------------------------------------- */

static struct vec shift_of(const struct standing *s, const struct mesh *mesh)
{
    return vec_sub(vec(mesh->origin[0], mesh->origin[1], mesh->origin[2]), s->reference);
}

static enum status gather_points(struct standing *s)
{
    for (size_t i = 0; i < s->count; i++)
        s->points += mesh_vertices(s->mesh[i]);
    s->point = scratch_new(s->points, sizeof *s->point);
    if (!s->point)
        return job_fail_memory(s->job, s->points * sizeof *s->point);
    size_t n = 0;
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t i = 0; i < s->count; i++)
        for (size_t v = 0; v < mesh_vertices(s->mesh[i]); v++) {
            struct vec p = vec_add(shift_of(s, s->mesh[i]), point_vec(mesh_point(s->mesh[i])[v]));
            low = vec(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
            high = vec(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
            s->point[n++] = p;
        }
    s->middle = vec_scale(vec_add(low, high), 0.5);
    s->reach = n ? vec_length(vec_sub(high, low)) : 0;
    return STATUS_OK;
}

/* --- faces --------------------------------------------------------------------------------- */

static struct vec corner(const struct standing *s, size_t face, int k)
{
    return s->point[s->hull.triangle[face].v[k]];
}

/* Outward; its length is twice the face's area. */
static struct vec face_normal(const struct standing *s, size_t face)
{
    struct vec a = corner(s, face, 0);
    return vec_cross(vec_sub(corner(s, face, 1), a), vec_sub(corner(s, face, 2), a));
}

/* How far the centre of mass lies inside of the face. */
static double face_height(const struct standing *s, size_t face, struct vec normal)
{
    return vec_dot(normal, vec_sub(corner(s, face, 0), s->centre));
}

static bool on_floor(const struct standing *s, size_t face, struct vec normal, struct vec floor)
{
    for (int k = 0; k < 3; k++)
        if (vec_dot(normal, vec_sub(floor, corner(s, face, k))) > stand_level * s->reach)
            return false;
    return true;
}

struct flat {     /* faces of the hull that bear the part together */
    size_t faces; /* the first so many of the list */
    double area;
    double inside; /* least distance of the centre of mass' foot from the edge of what they bear */
};

/* Goes over the faces that touch the floor when `first` does. */
static struct flat find_flat(const struct standing *s, size_t first, struct vec normal)
{
    struct flat flat = {1, 0, 0};
    struct vec floor = corner(s, first, 0), u, v;
    vec_frame(normal, &u, &v);
    s->list[0] = (uint32_t)first;
    s->seen[first] |= SEEN;
    for (size_t i = 0; i < flat.faces; i++) {
        size_t f = s->list[i];
        flat.area += fmax(0, vec_dot(normal, face_normal(s, f))) / 2;
        for (int k = 0; k < 3; k++) {
            struct vec foot = vec_sub(corner(s, f, k), s->centre);
            s->foot[3 * i + (size_t)k][0] = vec_dot(foot, u);
            s->foot[3 * i + (size_t)k][1] = vec_dot(foot, v);
            uint32_t g = s->hull.across[f][k];
            if (s->seen[g] & SEEN || !on_floor(s, g, normal, floor))
                continue;
            s->seen[g] |= SEEN;
            s->list[flat.faces++] = g;
        }
    }
    for (size_t i = 0; i < flat.faces; i++)
        s->seen[s->list[i]] &= (uint8_t)~SEEN;
    double(*corner)[2] = s->foot + 3 * flat.faces;
    size_t corners = foot_outline(s->foot, 3 * flat.faces, corner);
    flat.inside = foot_margin((const double(*)[2])corner, corners, 0, 0);
    return flat;
}

/* The face with the lowest centre of mass, which then is above it; see stand_find for equal ones.
 * Faces that bear the part together are tried once. */
static enum status lowest_face(const struct standing *s, size_t *best)
{
    double least = INFINITY, best_area = 0, best_down = 0;
    for (size_t f = 0; f < s->hull.triangles; f++) {
        double height = face_height(s, f, vec_unit(face_normal(s, f)));
        if (height < least) {
            least = height;
            *best = f;
        }
    }
    size_t lowest = *best;
    for (size_t f = 0; f < s->hull.triangles; f++) {
        struct vec normal = vec_unit(face_normal(s, f));
        if (s->seen[f] & TRIED || face_height(s, f, normal) > least + alike * s->reach)
            continue;
        struct flat flat = find_flat(s, f, normal);
        if (f != lowest && flat.inside <= 0)
            continue;
        for (size_t i = 0; i < flat.faces; i++)
            s->seen[s->list[i]] |= TRIED;
        bool same = fabs(flat.area - best_area) <= 1e-3 * best_area;
        if (same ? -normal.z > best_down : flat.area > best_area) {
            *best = f;
            best_area = flat.area;
            best_down = -normal.z;
        }
        if (job_cancelled(s->job))
            return job_fail_cancelled(s->job);
    }
    return STATUS_OK;
}

/* --- the sides that it can rest on ------------------------------------------------------------ */

struct side {
    size_t face;
    double area;
    bool rests;
    struct support support;
};

/* The better one first: those it can rest on, then the larger ones. */
static bool is_better(const struct side *a, const struct side *b)
{
    return a->rests != b->rests ? a->rests : a->area > b->area;
}

/* The best so many sides, in order; returns how many. Of no use when cancelled. */
static size_t best_sides(const struct standing *s, struct side *side, size_t most)
{
    size_t count = 0;
    for (size_t f = 0; f < s->hull.triangles; f++) {
        if (f % BLOCK == 0 && job_cancelled(s->job))
            break; /* whoever asked looks, too */
        if (s->seen[f] & TRIED)
            continue;
        struct flat flat = find_flat(s, f, vec_unit(face_normal(s, f)));
        for (size_t i = 0; i < flat.faces; i++)
            s->seen[s->list[i]] |= TRIED;
        const struct side new = {.face = f, .area = flat.area, .rests = flat.inside > 0};
        size_t at = count;
        while (at > 0 && is_better(&new, &side[at - 1]))
            at--;
        if (at == most)
            continue;
        count += count < most;
        memmove(side + at + 1, side + at, (count - at - 1) * sizeof *side);
        side[at] = new;
    }
    return count;
}

/* What it needs with the world direction `down` downwards; the floor goes through its lowest
 * point. */
static bool support_of(const struct standing *s, struct vec down, struct support *out)
{
    double floor = -INFINITY;
    *out = (struct support){0};
    for (size_t p = 0; p < s->points; p++) {
        if (p % BLOCK == 0 && job_cancelled(s->job))
            return false;
        floor = fmax(floor, vec_dot(s->point[p], down));
    }
    floor += vec_dot(s->reference, down);
    bool ok = true;
    for (size_t i = 0; i < s->count && ok; i++)
        ok = support_add(s->mesh[i], down, floor, s->lean, stand_level * s->reach, out, s->job);
    return ok;
}

static enum status least_support(const struct standing *s, struct stand_report *report,
                                 size_t *face)
{
    struct side side[STAND_SIDES];
    long count = (long)best_sides(s, side, STAND_SIDES);
    job_phase(s->job, "weighing what each side would need", 600, (uint64_t)count);
#pragma omp parallel for schedule(dynamic, 1) num_threads(job_threads(s->job))
    for (long i = 0; i < count; i++)
        if (support_of(s, vec_unit(face_normal(s, side[i].face)), &side[i].support))
            job_step(s->job, 1);
    if (job_cancelled(s->job) || !support_of(s, vec(0, 0, -1), &report->before))
        return job_fail_cancelled(s->job);
    const struct side *best = side;
    for (long i = 1; i < count; i++)
        if (side[i].rests == best->rests &&
            side[i].support.volume < best->support.volume * (1 - 1e-6) - 1e-9)
            best = &side[i];
    report->support = best->support;
    report->tried = (size_t)count;
    *face = best->face;
    return STATUS_OK;
}

static double turn_of(struct vec normal)
{
    return acos(fmin(fmax(-normal.z, -1), 1)) * 180 / 3.14159265358979323846;
}

static struct stand_side side_of(const struct standing *s, size_t face, const struct flat *flat)
{
    struct vec normal = vec_unit(face_normal(s, face));
    return (struct stand_side){turn_of(normal),
                               stand_tilt(flat->inside, face_height(s, face, normal))};
}

/* The nearest side that it stands firmly on, of sides as near the first; NO_FACE: there is none. */
static size_t nearest_face(const struct standing *s, struct stand_side *out)
{
    size_t best = NO_FACE;
    *out = (struct stand_side){INFINITY, 0};
    for (size_t f = 0; f < s->hull.triangles; f++)
        s->seen[f] &= (uint8_t)~TRIED;
    for (size_t f = 0; f < s->hull.triangles && !job_cancelled(s->job); f++) {
        struct vec normal = vec_unit(face_normal(s, f));
        if (s->seen[f] & TRIED || turn_of(normal) >= out->turn)
            continue;
        struct flat flat = find_flat(s, f, normal);
        for (size_t i = 0; i < flat.faces; i++)
            s->seen[s->list[i]] |= TRIED;
        struct stand_side side = side_of(s, f, &flat);
        if (side.tilt < STAND_FIRM)
            continue;
        best = f;
        *out = side;
    }
    return best;
}

static enum status lowest_or_nearest(const struct standing *s, struct stand_report *report,
                                     size_t *face)
{
    enum status status = lowest_face(s, face);
    if (status != STATUS_OK)
        return status;
    struct flat flat = find_flat(s, *face, vec_unit(face_normal(s, *face)));
    report->lowest = side_of(s, *face, &flat);
    size_t nearest = nearest_face(s, &report->nearest);
    bool as_good =
        report->nearest.turn <= STAND_NEAR && report->nearest.tilt >= as_firm * report->lowest.tilt;
    report->is_nearest =
        nearest != NO_FACE && (s->by == STAND_NEAREST || (s->by == STAND_AUTO && as_good));
    if (report->is_nearest)
        *face = nearest;
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

static enum status choose_face(const struct standing *s, struct stand_report *report, size_t *face)
{
    struct side side;
    switch (s->by) {
    case STAND_LOWEST:
    case STAND_NEAREST:
    case STAND_AUTO:
        return lowest_or_nearest(s, report, face);
    case STAND_SUPPORT:
        return least_support(s, report, face);
    case STAND_LARGEST:
        break;
    }
    if (best_sides(s, &side, 1) == 0)
        return job_fail_cancelled(s->job);
    *face = side.face;
    return job_cancelled(s->job) ? job_fail_cancelled(s->job) : STATUS_OK;
}

static size_t facing_face(const struct standing *s, struct vec way)
{
    size_t best = 0;
    double most = -INFINITY;
    for (size_t f = 0; f < s->hull.triangles; f++) {
        double d = vec_dot(vec_unit(face_normal(s, f)), way);
        if (d > most) {
            most = d;
            best = f;
        }
    }
    return best;
}

/* --- the side that is meant ---------------------------------------------------------------- */

struct patch {
    const struct mesh *mesh;
    struct vec middle, facing, sum;
    double reach;
};

static bool patch_visit(uint32_t t, void *context)
{
    struct patch *p = context;
    const uint32_t *v = mesh_triangle(p->mesh)[t].v;
    struct vec a = point_vec(mesh_point(p->mesh)[v[0]]), b = point_vec(mesh_point(p->mesh)[v[1]]);
    struct vec c = point_vec(mesh_point(p->mesh)[v[2]]);
    struct vec n = vec_cross(vec_sub(b, a), vec_sub(c, a));
    struct vec at = vec_scale(vec_add(a, vec_add(b, c)), 1.0 / 3);
    if (vec_length(vec_sub(at, p->middle)) < p->reach && vec_dot(vec_unit(n), p->facing) > 0.5)
        p->sum = vec_add(p->sum, n);
    return true;
}

/* Which way the surface faces around the nearest point to `on`, over an area: one triangle of a
 * scan says little. */
static enum status way_at(const struct standing *s, struct vec on, struct vec *way)
{
    struct nearest nearest = {.triangle = NO_INDEX, .distance = INFINITY};
    const struct mesh *mesh = NULL;
    const struct tree *tree = NULL;
    for (size_t i = 0; i < s->count; i++) {
        const struct tree *other =
            mesh_triangles(s->mesh[i]) ? mesh_tree(s->mesh[i], s->job) : NULL;
        if (!other && mesh_triangles(s->mesh[i]))
            return job_status(s->job);
        struct nearest n = {.triangle = NO_INDEX};
        if (other)
            n = tree_nearest(other, mesh_local(s->mesh[i], on), nearest.distance);
        if (n.triangle != NO_INDEX && n.distance < nearest.distance) {
            nearest = n;
            mesh = s->mesh[i];
            tree = other;
        }
    }
    *way = vec_unit(vec_sub(vec_sub(on, s->reference), s->middle));
    if (!mesh || nearest.distance > s->reach / 2)
        return STATUS_OK;
    struct patch p = {.mesh = mesh, .middle = nearest.point, .reach = around * s->reach};
    p.facing = tree_normal(tree, &nearest);
    struct vec r = vec(p.reach, p.reach, p.reach);
    tree_box(tree, vec_sub(p.middle, r), vec_add(p.middle, r), patch_visit, &p);
    if (vec_length(p.sum) == 0)
        p.sum = p.facing;
    if (vec_length(p.sum) > 0)
        *way = vec_unit(p.sum);
    return STATUS_OK;
}

/* --- putting it there ---------------------------------------------------------------------- */

/* The rotation that turns the unit vector `from` straight down the shortest way. */
static struct motion turn_down(struct vec from)
{
    struct vec axis = vec_cross(from, vec(0, 0, -1));
    double s = vec_length(axis), c = -from.z;
    if (s < 1e-12)
        return motion_turn(vec(1, 0, 0), c > 0 ? 0 : 3.14159265358979323846, vec(0, 0, 0));
    return motion_turn(vec_scale(axis, 1 / s), atan2(s, c), vec(0, 0, 0));
}

static void put_down(const struct standing *s, struct vec normal, struct motion *motion)
{
    *motion = turn_down(normal);
    struct vec low = vec(INFINITY, INFINITY, INFINITY), high = vec_scale(low, -1);
    for (size_t p = 0; p < s->points; p++) {
        struct vec q = motion_direction(motion, s->point[p]);
        low = vec(fmin(low.x, q.x), fmin(low.y, q.y), fmin(low.z, q.z));
        high = vec(fmax(high.x, q.x), fmax(high.y, q.y), fmax(high.z, q.z));
    }
    struct vec middle = vec_scale(vec_add(low, high), 0.5);
    motion->shift =
        vec_sub(vec(-middle.x, -middle.y, -low.z), motion_direction(motion, s->reference));
}

/* Of all that bears it, the first `faces` of the list: one narrow face says little. Of a thin sheet
 * its other side is among them. */
static struct vec flat_normal(const struct standing *s, size_t faces)
{
    struct vec sum = {0}, first = face_normal(s, s->list[0]);
    for (size_t i = 0; i < faces; i++) {
        struct vec normal = face_normal(s, s->list[i]);
        if (vec_dot(normal, first) > 0)
            sum = vec_add(sum, normal);
    }
    return vec_unit(sum);
}

static enum status stand_on_face(struct standing *s, const struct vec *on, struct motion *motion,
                                 struct stand_report *report)
{
    size_t faces = s->hull.triangles;
    s->seen = scratch_new(faces, sizeof *s->seen);
    s->list = scratch_new(faces, sizeof *s->list);
    s->foot = scratch_new(9 * faces, sizeof *s->foot);
    if (!s->seen || !s->list || !s->foot)
        return job_fail_memory(s->job, faces * 149);
    memset(s->seen, 0, faces * sizeof *s->seen);
    struct vec way = {0};
    size_t face = 0;
    enum status status = on ? way_at(s, *on, &way) : choose_face(s, report, &face);
    if (status != STATUS_OK)
        return status;
    if (on)
        face = facing_face(s, way);
    struct vec normal = vec_unit(face_normal(s, face));
    struct flat flat = find_flat(s, face, normal);
    report->area = flat.area;
    report->height = face_height(s, face, normal);
    report->margin = flat.inside;
    report->tilt = stand_tilt(report->margin, report->height);
    put_down(s, flat_normal(s, flat.faces), motion);
    return STATUS_OK;
}

/* All points lie in a plane: one of its two sides goes down. */
static enum status stand_flat(const struct standing *s, const struct vec *on, struct motion *motion)
{
    struct vec normal = {0}, a = s->point[0], b = a;
    for (size_t p = 1; p < s->points; p++)
        if (vec_length2(vec_sub(s->point[p], a)) > vec_length2(vec_sub(b, a)))
            b = s->point[p];
    for (size_t p = 1; p < s->points; p++) {
        struct vec n = vec_cross(vec_sub(b, a), vec_sub(s->point[p], a));
        if (vec_length2(n) > vec_length2(normal))
            normal = n;
    }
    struct vec way = vec(0, 0, -1);
    enum status status = on ? way_at(s, *on, &way) : STATUS_OK;
    normal = vec_unit(normal);
    put_down(s, vec_dot(normal, way) < 0 ? vec_scale(normal, -1) : normal, motion);
    return status;
}

static enum status stand(struct standing *s, const struct vec *on, struct motion *motion,
                         struct stand_report *report)
{
    enum status status = gather_points(s);
    job_phase(s->job, "weighing", 100, 0);
    struct mass mass = {0};
    if (status == STATUS_OK)
        status = mass_find(s->mesh, s->count, &mass, s->job);
    s->centre = vec_sub(mass.centre, s->reference);
    job_phase(s->job, "finding the sides it can stand on", 300, 0);
    if (status == STATUS_OK)
        status = hull_make(s->point, s->points, &s->hull, s->job);
    if (status != STATUS_OK)
        return status;
    report->of = mass.kind;
    if (s->hull.dimension == 3)
        return stand_on_face(s, on, motion, report);
    if (s->hull.dimension == 2)
        return stand_flat(s, on, motion);
    return job_fail(s->job, STATUS_REFUSED,
                    "it has no side to stand on: all its points lie on one line");
}

static enum status find(struct standing *s, const struct vec *on, struct motion *motion,
                        struct stand_report *report)
{
    *report = (struct stand_report){0};
    if (s->count)
        s->reference = vec(s->mesh[0]->origin[0], s->mesh[0]->origin[1], s->mesh[0]->origin[2]);
    enum status status = stand(s, on, motion, report);
    scratch_free(s->point);
    scratch_free(s->seen);
    scratch_free(s->list);
    scratch_free(s->foot);
    hull_release(&s->hull);
    return status;
}

enum status stand_find(const struct mesh *const *mesh, size_t count, const struct vec *on,
                       struct motion *motion, struct stand_report *report, struct job *job)
{
    struct standing s = {.mesh = mesh, .count = count, .job = job, .hull = {.dimension = -1}};
    return find(&s, on, motion, report);
}

enum status stand_find_by(const struct mesh *const *mesh, size_t count, enum stand_by by,
                          double lean, struct motion *motion, struct stand_report *report,
                          struct job *job)
{
    struct standing s = {.mesh = mesh,
                         .count = count,
                         .by = by,
                         .lean = lean,
                         .job = job,
                         .hull = {.dimension = -1}};
    return find(&s, NULL, motion, report);
}
