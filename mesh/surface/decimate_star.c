#include "surface/decimate_star.h"

#include <string.h>

#include "surface/decimate_quadric.h"

static const double TURN = 0.2;     /* cosine: no face may turn more than this (78 degrees) */
static const double NEEDLE = 0.02;  /* slimness below which a triangle must not become slimmer */
static const double STRAY = 0.05;   /* of the edge: what is farther from a flat place has left it */
static const double NOTHING = 1e-5; /* slimness of a triangle that has no direction */

/* The number of triangles of v. Marks its neighbours, or, when `common` is not NULL, counts those
 * that are marked. */
static int walk_ring(struct patch *p, uint32_t v, int *common)
{
    uint32_t first = p->node[v].half, h = first, last, x;
    int count = 0, found = 0;
    do {
        x = edge_to(p, h);
        found += p->stamp[x] == p->stamps;
        if (!common)
            p->stamp[x] = p->stamps;
        count++;
        last = h;
        h = edge_around(p, h);
    } while (h != first && h != NO_INDEX);
    if (h == NO_INDEX) { /* the other neighbour along the rim */
        x = edge_from(p, edge_before(last));
        found += p->stamp[x] == p->stamps;
        if (!common)
            p->stamp[x] = p->stamps;
    }
    if (common)
        *common = found;
    return count;
}

bool link_allows(struct patch *p, uint32_t h)
{
    bool rim = p->twin[h] == NO_INDEX;
    int common;
    p->stamps++;
    int triangles = walk_ring(p, edge_from(p, h), NULL);
    triangles += walk_ring(p, edge_to(p, h), &common);
    if (triangles > STAR_MOST)
        return false;
    /* a lone triangle and a tetrahedron stay */
    return rim ? common == 1 && triangles > 2 : common == 2 && triangles > 6;
}

static struct vec area_vector(struct vec a, struct vec b, struct vec c)
{
    return vec_cross(vec_sub(b, a), vec_sub(c, a));
}

/* Adds the triangles of v except those of the edge (v, other). */
static void star_add(const struct patch *p, struct star *s, uint32_t v, uint32_t other)
{
    uint32_t first = p->node[v].half, h = first;
    struct vec a = node_at(p, v);
    do {
        uint32_t i = edge_to(p, h), j = edge_from(p, edge_before(h));
        if (i != other && j != other) {
            s->face[s->count] = h >> 2;
            struct vec b = node_at(p, i), c = node_at(p, j);
            s->p[s->count] = i;
            s->q[s->count] = j;
            s->old[s->count] = area_vector(a, b, c);
            s->new[s->count] = area_vector(s->x, b, c);
            s->old_length[s->count] = vec_length(s->old[s->count]);
            s->new_length[s->count] = vec_length(s->new[s->count]);
            s->count++;
        }
        h = edge_around(p, h);
    } while (h != first && h != NO_INDEX);
}

/* Height over length, about, of a triangle whose area vector is so long. */
static double slimness(struct vec a, struct vec b, struct vec c, double length)
{
    double l = vec_length2(vec_sub(b, a)), m = vec_length2(vec_sub(c, a));
    double n = vec_length2(vec_sub(c, b));
    m = m > n ? m : n;
    return length / (l > m ? l : m);
}

/* The slimmest of the triangles of the star as they are. */
static double slimmest(const struct patch *p, const struct star *s)
{
    double least = 1;
    for (int i = 0; i < s->count; i++) {
        struct vec own = i < s->split ? s->a : s->b;
        double slim = slimness(own, node_at(p, s->p[i]), node_at(p, s->q[i]), s->old_length[i]);
        least = slim < least ? slim : least;
    }
    return least;
}

void star_make(const struct patch *p, uint32_t h, struct vec x, struct star *s)
{
    uint32_t a = edge_from(p, h), b = edge_to(p, h);
    s->half = h;
    s->x = x;
    s->a = node_at(p, a);
    s->b = node_at(p, b);
    s->count = 0;
    star_add(p, s, a, b);
    s->split = s->count;
    star_add(p, s, b, a);
}

/* Adds the flat place of a triangle, if it is of one that is not there yet. */
static int add_flat(const struct patch *p, uint32_t h, uint16_t *flat, int count)
{
    uint16_t is = h == NO_INDEX ? 0 : edge_flat(p, h);
    for (int i = 0; i < count; i++)
        if (flat[i] == is)
            return count;
    if (is)
        flat[count++] = is;
    return count;
}

/* The flat places that the star is part of; how many. */
static int flats_of(const struct patch *p, const struct star *s, uint16_t flat[STAR_MOST + 2])
{
    int count = add_flat(p, s->half, flat, 0);
    count = add_flat(p, p->twin[s->half], flat, count);
    for (int i = 0; i < s->count && p->flat; i++)
        count = add_flat(p, 4 * s->face[i], flat, count);
    return count;
}

void star_flatten(const struct patch *p, struct star *s)
{
    uint16_t flat[STAR_MOST + 2];
    int count = flats_of(p, s, flat);
    double reach = STRAY * vec_length(vec_sub(s->b, s->a));
    struct vec x = flats_above(p->flats, flats_project(p->flats, flat, count, s->x, reach));
    if (vec_length2(vec_sub(x, s->x)) > 0)
        star_make(p, s->half, point_vec(vec_point(x)), s);
}

bool star_off_flat(const struct patch *p, const struct star *s)
{
    uint16_t flat[STAR_MOST + 2];
    int count = flats_of(p, s, flat);
    for (int i = 0; i < count; i++) {
        const struct flat *f = &p->flats->flat[flat[i] - 1];
        if (!(fabs(vec_dot(f->normal, s->x) - f->height) <= p->flats->rounding))
            return true;
    }
    return false;
}

bool star_allows(const struct patch *p, const struct star *s)
{
    struct vec all = vec(0, 0, 0);
    for (int i = 0; i < s->count; i++)
        all = vec_add(all, s->old[i]);
    for (int i = 0; i < s->count; i++) {
        struct vec own = i < s->split ? s->a : s->b;
        struct vec c = node_at(p, s->p[i]), d = node_at(p, s->q[i]);
        double slim = slimness(s->x, c, d, s->new_length[i]);
        if (!(slim > NEEDLE) && !(slim > NOTHING && slim >= slimmest(p, s)))
            return false;
        double turned = vec_dot(s->old[i], s->new[i]);
        if (slimness(own, c, d, s->old_length[i]) > NOTHING
                ? !(turned > TURN * s->old_length[i] * s->new_length[i])
                : !(vec_dot(all, s->new[i]) > 0))
            return false;
    }
    return true;
}

/* Adds (weight 1) or takes away (-1) the rim edges of v in the quadrics of its neighbours along the
 * rim and of v. */
static void rim_edges(struct patch *p, uint32_t v, double weight)
{
    if (p->mobility[v] == MOVES)
        return;
    uint32_t h = p->node[v].half, last = h, ends[2];
    ends[0] = edge_to(p, h);
    while (h != NO_INDEX) {
        last = h;
        h = edge_around(p, h);
    }
    ends[1] = edge_from(p, edge_before(last));
    for (int i = 0; i < 2; i++) {
        struct vec d = vec_sub(node_at(p, ends[i]), node_at(p, v));
        quadric_add_line(p->node[ends[i]].plane, d, weight);
        quadric_add_line(p->node[v].plane, d, weight);
    }
}

/* Pairs the half-edges on both sides of a triangle that goes. */
static void glue(struct patch *p, uint32_t one, uint32_t other)
{
    if (one != NO_INDEX) {
        p->twin[one] = other;
        edge_set_cost(p, one, INFINITY);
    }
    if (other != NO_INDEX) {
        p->twin[other] = one;
        edge_set_cost(p, other, INFINITY);
    }
}

/* Takes the triangle of half-edge h (a to b) away; its apex keeps a half-edge of its own. */
static void drop_triangle(struct patch *p, uint32_t h)
{
    uint32_t next = edge_after(h), prev = edge_before(h), apex = edge_from(p, prev), t = h & ~3u;
    uint32_t inner = p->twin[next], outer = p->twin[prev];
    if (p->node[apex].half == prev)
        p->node[apex].half = inner;
    glue(p, inner, outer);
    for (uint32_t k = 0; k < 4; k++) {
        p->corner[t + k] = NO_INDEX;
        p->cost[t + k] = INFINITY;
    }
    p->left--;
}

/* A half-edge leaving b, or a, that outlives the collapse of h. */
static uint32_t survivor(const struct patch *p, uint32_t h)
{
    uint32_t outer = p->twin[edge_before(h)], inner = p->twin[edge_after(h)];
    return outer != NO_INDEX ? outer : edge_after(inner);
}

/* The quadrics around, as the star changes from its old triangles to its new ones. */
static void move_quadrics(struct patch *p, const struct star *s, uint32_t a)
{
    double *mine = p->node[a].plane;
    memset(mine, 0, sizeof p->node[a].plane);
    for (int i = 0; i < s->count; i++) {
        double change[6] = {0};
        double weight = edge_flat(p, 4 * s->face[i]) ? FLAT_WEIGHT : 1;
        quadric_add_plane(change, s->new[i], s->new_length[i], weight);
        for (int k = 0; k < 6; k++)
            mine[k] += change[k];
        quadric_add_plane(change, s->old[i], s->old_length[i], -weight);
        for (int k = 0; k < 6; k++) {
            p->node[s->p[i]].plane[k] += change[k];
            p->node[s->q[i]].plane[k] += change[k];
        }
    }
}

/* The apex of the triangle of h loses its plane. */
static void leave_quadric(struct patch *p, uint32_t h)
{
    uint32_t apex = edge_from(p, edge_before(h));
    struct vec n =
        area_vector(node_at(p, edge_from(p, h)), node_at(p, edge_to(p, h)), node_at(p, apex));
    double weight = edge_flat(p, h) ? FLAT_WEIGHT : 1;
    quadric_add_plane(p->node[apex].plane, n, vec_length(n), -weight);
}

/* Gives b's triangles to a and takes those of the edge h (a to b) away. */
static void merge(struct patch *p, uint32_t h)
{
    uint32_t a = edge_from(p, h), b = edge_to(p, h), other = p->twin[h];
    uint32_t half = p->node[b].half, g = half;
    do {
        uint32_t next = edge_around(p, g);
        p->corner[g] = a;
        g = next;
    } while (g != half && g != NO_INDEX);
    half = survivor(p, h);
    drop_triangle(p, h);
    if (other != NO_INDEX)
        drop_triangle(p, other);
    if (p->mobility[a] != MOVES)
        while (p->twin[half] != NO_INDEX)
            half = edge_after(p->twin[half]);
    p->node[a].half = half;
    p->node[b].half = a;
    p->mobility[b] = GONE;
}

void star_collapse(struct patch *p, const struct star *s)
{
    uint32_t h = s->half, a = edge_from(p, h), b = edge_to(p, h);
    struct point x = vec_point(s->x);
    rim_edges(p, a, -1);
    rim_edges(p, b, -1);
    leave_quadric(p, h);
    if (p->twin[h] != NO_INDEX)
        leave_quadric(p, p->twin[h]);
    merge(p, h);
    memcpy(p->node[a].at, &x, sizeof x);
    move_quadrics(p, s, a);
    rim_edges(p, a, 1);
}
