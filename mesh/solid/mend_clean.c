/* Triangles without area and doubled ones. */
#include "solid/around.h"
#include "solid/mend_parts.h"

enum { BLOCK = 4096 };

/* --- without area ----------------------------------------------------------------------------- */

static bool has_area(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec p[3];
    int dropped;
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(mesh)[v[k]]);
    return v[0] != v[1] && v[1] != v[2] && v[2] != v[0] && flat_way(p, &dropped) != 0;
}

static enum status drop_degenerate(struct mending *m)
{
    size_t triangles = mesh_triangles(m->mesh), lost = 0;
    const struct mesh *mesh = m->mesh;
    uint8_t *keep = scratch_new(triangles, 1);
    if (!keep)
        return job_fail_memory(m->job, triangles);
#pragma omp parallel for num_threads(job_threads(m->job)) reduction(+ : lost) schedule(static)
    for (size_t b = 0; b < (triangles + BLOCK - 1) / BLOCK; b++)
        for (size_t t = b * BLOCK; t < triangles && t < (b + 1) * BLOCK; t++) {
            keep[t] = job_cancelled(m->job) || has_area(mesh, t);
            lost += !keep[t];
        }
    m->report->degenerate += lost;
    enum status status = job_cancelled(m->job) ? job_fail_cancelled(m->job) : STATUS_OK;
    if (status == STATUS_OK && lost)
        status = mending_keep(m, keep, NULL);
    scratch_free(keep);
    return status;
}

/* --- doubled ---------------------------------------------------------------------------------- */

struct copy {
    uint32_t v[3]; /* ascending */
    uint32_t triangle;
    int way; /* whether the triangle runs them in that order, 1, or not, -1 */
};

static struct copy copy_of(const struct mesh *mesh, uint32_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    int low = v[0] < v[1] ? (v[0] < v[2] ? 0 : 2) : (v[1] < v[2] ? 1 : 2);
    uint32_t a = v[low], b = v[(low + 1) % 3], c = v[(low + 2) % 3];
    return (struct copy){{a, b < c ? b : c, b < c ? c : b}, t, b < c ? 1 : -1};
}

static int copy_order(const void *x, const void *y)
{
    const struct copy *a = x, *b = y;
    for (int k = 0; k < 3; k++)
        if (a->v[k] != b->v[k])
            return a->v[k] < b->v[k] ? -1 : 1;
    return (a->triangle > b->triangle) - (a->triangle < b->triangle);
}

/* Where a triangle is doubled, each of its sides is shared by just its copies or by many. */
static bool may_be_double(const struct topology *topology, uint32_t t)
{
    uint32_t other = NO_INDEX;
    for (uint32_t h = 3 * t; h < 3 * t + 3; h++) {
        uint32_t twin = topology->twin[h];
        if (twin == TWIN_NONE)
            return false;
        if (twin == TWIN_MANY)
            continue;
        uint32_t across = (twin & ~TWIN_FLIPPED) / 3;
        if (other != NO_INDEX && other != across)
            return false;
        other = across;
    }
    return true;
}

struct doubles {
    struct mending *m;
    const struct topology *topology;
    struct pile copy;   /* struct copy, sorted */
    struct lookup edge; /* edges of many: to an index of `sides` */
    struct pile sides;  /* uint32_t: triangles on that edge */
    uint8_t *keep;
    size_t lost;
};

static bool list_copies(struct doubles *d)
{
    for (uint32_t t = 0; t < mesh_triangles(d->m->mesh); t++) {
        struct copy *to = may_be_double(d->topology, t) ? pile_next(&d->copy, sizeof *to) : NULL;
        if (to) {
            *to = copy_of(d->m->mesh, t);
            d->copy.count++;
        } else if (may_be_double(d->topology, t)) {
            return false;
        }
    }
    if (d->copy.count)
        qsort(d->copy.data, d->copy.count, sizeof(struct copy), copy_order);
    return true;
}

static bool count_sides(struct doubles *d)
{
    const struct triangle *triangle = mesh_triangle(d->m->mesh);
    for (uint32_t h = 0; h < 3 * mesh_triangles(d->m->mesh); h++) {
        if (d->topology->twin[h] != TWIN_MANY)
            continue;
        uint32_t a = half_from(triangle, h), b = half_to(triangle, h);
        uint32_t *slot = lookup_at(&d->edge, a < b ? a : b, a < b ? b : a);
        uint32_t *sides = pile_next(&d->sides, sizeof *sides);
        if (!slot || !sides)
            return false;
        if (*slot == NO_INDEX) {
            *slot = (uint32_t)d->sides.count++;
            *sides = 0;
        }
        PILE(d->sides, uint32_t)[*slot]++;
    }
    return true;
}

/* Whether the rest of the surface needs a triangle here to close: on most of its sides an odd
 * number of others ends. */
static bool is_needed(const struct doubles *d, const struct copy *c, size_t copies)
{
    int odd = 0;
    for (int k = 0; k < 3; k++) {
        uint32_t a = c->v[k], b = c->v[(k + 1) % 3];
        uint32_t slot = lookup_find(&d->edge, a < b ? a : b, a < b ? b : a);
        size_t sides = slot == NO_INDEX ? copies : PILE(d->sides, uint32_t)[slot];
        odd += (sides - copies) % 2 == 1;
    }
    return odd >= 2;
}

static void judge_copies(struct doubles *d, const struct copy *c, size_t count)
{
    int sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += c[i].way;
    int way = sum > 0 ? 1 : -1;
    bool any = sum != 0 || is_needed(d, c, count);
    for (size_t i = 0; i < count; i++) {
        bool stays = any && (sum == 0 || c[i].way == way);
        d->keep[c[i].triangle] = stays;
        d->lost += !stays;
        any = any && !stays;
    }
}

static enum status find_doubles(struct doubles *d)
{
    size_t triangles = mesh_triangles(d->m->mesh);
    d->keep = scratch_new(triangles, 1);
    if (!d->keep || !list_copies(d) || !count_sides(d))
        return job_fail_memory(d->m->job, triangles);
    memset(d->keep, 1, triangles);
    const struct copy *c = d->copy.data;
    for (size_t i = 0, end; i < d->copy.count; i = end) {
        for (end = i + 1; end < d->copy.count && memcmp(c[end].v, c[i].v, sizeof c->v) == 0;)
            end++;
        if (end - i > 1)
            judge_copies(d, c + i, end - i);
    }
    return job_cancelled(d->m->job) ? job_fail_cancelled(d->m->job) : STATUS_OK;
}

static enum status drop_doubled(struct mending *m)
{
    struct doubles d = {.m = m, .topology = mesh_topology(m->mesh, m->job)};
    if (!d.topology)
        return job_status(m->job);
    enum status status = find_doubles(&d);
    m->report->doubled += d.lost;
    if (status == STATUS_OK && d.lost)
        status = mending_keep(m, d.keep, NULL);
    pile_release(&d.copy);
    pile_release(&d.sides);
    lookup_release(&d.edge);
    scratch_free(d.keep);
    return status;
}

enum status mend_clean(struct mending *m)
{
    enum status status = drop_degenerate(m);
    return status == STATUS_OK ? drop_doubled(m) : status;
}
