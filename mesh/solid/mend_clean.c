/* Triangles without area and doubled ones. */
#include "core/sets.h"
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

/* --- doubled ----------------------------------------------------------------------------------
 *
 * Two bodies may have triangles in common: then as many run each edge there one way as the other,
 * and the copies stay, for the winding number needs both. Only where that does not hold around a
 * region of doubled triangles is one of them one too many. */

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

struct group { /* the copies copy[first] ... copy[end - 1] */
    size_t first, end;
    bool uneven; /* some edge (of a region's first: of the region) is run one way more often */
};

struct edge { /* that many triangles have */
    uint32_t count;
    int32_t sum;    /* those that run it from low to high, less the others */
    uint32_t group; /* the first that has it, or NO_INDEX */
};

struct doubles {
    struct mending *m;
    const struct topology *topology;
    struct pile copy;  /* struct copy, sorted */
    struct pile group; /* struct group, of two copies or more */
    struct lookup at;  /* edges: to an index of */
    struct pile edge;  /* struct edge */
    uint32_t *region;  /* one a group: regions of groups that share edges, as disjoint sets */
    uint8_t *keep;
    size_t lost;
};

static bool list_copies(struct doubles *d)
{
    for (uint32_t t = 0; t < mesh_triangles(d->m->mesh); t++) {
        if (!may_be_double(d->topology, t))
            continue;
        struct copy *to = pile_next(&d->copy, sizeof *to);
        if (!to)
            return false;
        *to = copy_of(d->m->mesh, t);
        d->copy.count++;
    }
    if (d->copy.count)
        qsort(d->copy.data, d->copy.count, sizeof(struct copy), copy_order);
    const struct copy *c = d->copy.data;
    for (size_t i = 0, end; i < d->copy.count; i = end) {
        for (end = i + 1; end < d->copy.count && memcmp(c[end].v, c[i].v, sizeof c->v) == 0;)
            end++;
        struct group *to = pile_next(&d->group, sizeof *to);
        if (!to)
            return false;
        *to = (struct group){i, end, false};
        d->group.count += end - i > 1;
    }
    return true;
}

static struct edge *edge_of(const struct doubles *d, uint32_t a, uint32_t b)
{
    uint32_t at = lookup_find(&d->at, a < b ? a : b, a < b ? b : a);
    return at == NO_INDEX ? NULL : PILE(d->edge, struct edge) + at;
}

static bool count_edges(struct doubles *d)
{
    const struct triangle *triangle = mesh_triangle(d->m->mesh);
    for (uint32_t h = 0; h < 3 * mesh_triangles(d->m->mesh); h++) {
        if (d->topology->twin[h] != TWIN_MANY)
            continue;
        uint32_t a = half_from(triangle, h), b = half_to(triangle, h);
        uint32_t *slot = lookup_at(&d->at, a < b ? a : b, a < b ? b : a);
        struct edge *edge = pile_next(&d->edge, sizeof *edge);
        if (!slot || !edge)
            return false;
        if (*slot == NO_INDEX) {
            *slot = (uint32_t)d->edge.count++;
            *edge = (struct edge){0, 0, NO_INDEX};
        }
        edge = PILE(d->edge, struct edge) + *slot;
        edge->count++;
        edge->sum += a < b ? 1 : -1;
    }
    return true;
}

/* Whether an edge of the group's is run one way more often than the other; joins regions. */
static bool look_at_edges(struct doubles *d, uint32_t number)
{
    const struct group *g = PILE(d->group, struct group) + number;
    const struct copy *c = PILE(d->copy, struct copy) + g->first;
    bool uneven = false;
    for (int k = 0; k < 3; k++) {
        struct edge *edge = edge_of(d, c->v[k], c->v[(k + 1) % 3]);
        if (!edge) { /* the two copies alone have it */
            uneven = uneven || c[0].way == c[1].way;
            continue;
        }
        uneven = uneven || edge->sum != 0;
        if (edge->group == NO_INDEX)
            edge->group = number;
        else
            sets_unite(d->region, edge->group, number);
    }
    return uneven;
}

/* Whether the rest of the surface needs a triangle here to close: on most of its sides an odd
 * number of others ends. */
static bool is_needed(const struct doubles *d, const struct copy *c, size_t copies)
{
    int odd = 0;
    for (int k = 0; k < 3; k++) {
        const struct edge *edge = edge_of(d, c->v[k], c->v[(k + 1) % 3]);
        odd += edge && (edge->count - copies) % 2 == 1;
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
    if (!d->keep || !list_copies(d) || !count_edges(d))
        return job_fail_memory(d->m->job, triangles);
    memset(d->keep, 1, triangles);
    d->region = scratch_new(d->group.count, sizeof *d->region);
    if (!d->region)
        return job_fail_memory(d->m->job, d->group.count * sizeof *d->region);
    struct group *group = d->group.data;
    for (uint32_t i = 0; i < d->group.count; i++)
        d->region[i] = i;
    for (uint32_t i = 0; i < d->group.count; i++)
        group[i].uneven = look_at_edges(d, i);
    for (uint32_t i = 0; i < d->group.count; i++)
        if (group[i].uneven)
            group[sets_find(d->region, i)].uneven = true;
    for (uint32_t i = 0; i < d->group.count; i++)
        if (group[sets_find(d->region, i)].uneven)
            judge_copies(d, PILE(d->copy, struct copy) + group[i].first,
                         group[i].end - group[i].first);
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
    pile_release(&d.group);
    pile_release(&d.edge);
    lookup_release(&d.at);
    scratch_free(d.region);
    scratch_free(d.keep);
    return status;
}

enum status mend_clean(struct mending *m)
{
    enum status status = drop_degenerate(m);
    return status == STATUS_OK ? drop_doubled(m) : status;
}
