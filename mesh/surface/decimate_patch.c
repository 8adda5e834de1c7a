#include "surface/decimate_patch.h"

#include <string.h>

enum { STAR_MOST = 40 }; /* triangles around a vertex that a collapse may make */

static const double PULL = 1e-6;   /* to the middle of the edge, where the planes leave it open */
static const double SHORT = 1e-8;  /* cost of length, so that short edges go first in flat places */
static const double TURN = 0.2;    /* cosine: no face may turn more than this (78 degrees) */
static const double NEEDLE = 0.02; /* slimness below which a triangle must not become slimmer */
static const double NOTHING = 1e-5; /* slimness of a triangle that has no direction */

static uint32_t after(uint32_t h)
{
    return (h & 3) == 2 ? h - 2 : h + 1;
}

static uint32_t before(uint32_t h)
{
    return (h & 3) == 0 ? h + 2 : h - 1;
}

static uint32_t from(const struct patch *p, uint32_t h)
{
    return p->corner[h];
}

static uint32_t to(const struct patch *p, uint32_t h)
{
    return p->corner[after(h)];
}

/* The next half-edge leaving the same vertex, or NO_INDEX at the end of a rim vertex's fan. */
static uint32_t around(const struct patch *p, uint32_t h)
{
    return p->twin[before(h)];
}

static uint32_t keeper(const struct patch *p, uint32_t h) /* the half-edge that keeps the cost */
{
    return h < p->twin[h] ? h : p->twin[h];
}

static struct vec at(const struct patch *p, uint32_t v)
{
    const float *a = p->node[v].at;
    return vec(a[0], a[1], a[2]);
}

/* --- building -------------------------------------------------------------------------------- */

struct fans { /* the half-edges leaving each vertex */
    uint32_t *start, *half;
    uint32_t *seen_to, *seen_from; /* one a vertex: which vertex saw it last */
    uint32_t *slot;                /* one a vertex: the half-edge from that vertex to it */
};

static void fans_release(struct fans *f)
{
    scratch_free(f->start);
    scratch_free(f->half);
    scratch_free(f->seen_to);
    scratch_free(f->seen_from);
    scratch_free(f->slot);
}

static bool is_folded(const uint32_t *corner) /* a triangle with a vertex twice */
{
    return corner[0] == corner[1] || corner[1] == corner[2] || corner[2] == corner[0];
}

static bool fans_make(struct fans *f, struct patch *p)
{
    size_t n = p->vertices;
    f->start = scratch_new(n + 2, sizeof *f->start);
    f->half = scratch_new(3 * p->triangles, sizeof *f->half);
    f->seen_to = scratch_new(n, sizeof *f->seen_to);
    f->seen_from = scratch_new(n, sizeof *f->seen_from);
    f->slot = scratch_new(n, sizeof *f->slot);
    if (!f->start || !f->half || !f->seen_to || !f->seen_from || !f->slot)
        return false;
    memset(f->start, 0, (n + 2) * sizeof *f->start);
    memset(f->seen_to, 255, n * sizeof *f->seen_to);
    memset(f->seen_from, 255, n * sizeof *f->seen_from);
    for (size_t t = 0; t < p->triangles; t++) {
        bool folded = is_folded(p->corner + 4 * t);
        for (size_t k = 0; k < 3; k++) {
            uint32_t v = p->corner[4 * t + k];
            if (folded)
                p->mobility[v] = LOCKED;
            else
                f->start[v + 2]++;
        }
    }
    for (size_t v = 2; v < n + 2; v++)
        f->start[v] += f->start[v - 1];
    for (size_t t = 0; t < p->triangles; t++)
        for (size_t k = 0; k < 3 && !is_folded(p->corner + 4 * t); k++)
            f->half[f->start[p->corner[4 * t + k] + 1]++] = (uint32_t)(4 * t + k);
    return true;
}

/* Finds the twins of the half-edges that come to v, and locks both ends of an edge that more than
 * one half-edge runs the same way. */
static void pair_at(struct patch *p, struct fans *f, uint32_t v)
{
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++) {
        uint32_t x = to(p, f->half[i]);
        if (f->seen_to[x] == v)
            p->mobility[x] = p->mobility[v] = LOCKED;
        f->seen_to[x] = v;
        f->slot[x] = f->half[i];
    }
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++) {
        uint32_t in = before(f->half[i]), x = from(p, in);
        if (f->seen_from[x] == v)
            p->mobility[x] = p->mobility[v] = LOCKED;
        f->seen_from[x] = v;
        p->twin[in] = f->seen_to[x] == v ? f->slot[x] : NO_INDEX;
    }
}

/* Where the fan of v starts; what kind of vertex it is. */
static void classify(struct patch *p, const struct fans *f, uint32_t v, bool keep_rim)
{
    uint32_t degree = f->start[v + 1] - f->start[v], count = 0;
    p->node[v].half = NO_INDEX;
    if (!degree)
        p->mobility[v] = LOCKED;
    if (p->mobility[v] == LOCKED)
        return;
    uint32_t first = f->half[f->start[v]];
    for (uint32_t i = f->start[v]; i < f->start[v + 1]; i++)
        if (p->twin[f->half[i]] == NO_INDEX) {
            first = f->half[i];
            p->mobility[v] = keep_rim ? PINNED : RIM;
        }
    p->node[v].half = first;
    uint32_t h = first;
    do {
        count++;
        h = around(p, h);
    } while (h != first && h != NO_INDEX && count <= degree);
    if (count != degree) /* more than one fan */
        p->mobility[v] = LOCKED;
}

/* --- quadrics -------------------------------------------------------------------------------- */

/* plane += weight * n n^T / |n|: the triangle whose area vector (twice the area long) is n. */
static void add_plane(double plane[6], struct vec n, double length, double weight)
{
    if (!(length > 0))
        return;
    double w = weight / length;
    struct vec m = vec_scale(n, w);
    plane[0] += m.x * n.x;
    plane[1] += m.x * n.y;
    plane[2] += m.x * n.z;
    plane[3] += m.y * n.y;
    plane[4] += m.y * n.z;
    plane[5] += m.z * n.z;
}

/* The squared distance from the line along d, times its squared length. */
static void add_line(double plane[6], struct vec d, double weight)
{
    double l = vec_length2(d);
    plane[0] += weight * (l - d.x * d.x);
    plane[1] -= weight * d.x * d.y;
    plane[2] -= weight * d.x * d.z;
    plane[3] += weight * (l - d.y * d.y);
    plane[4] -= weight * d.y * d.z;
    plane[5] += weight * (l - d.z * d.z);
}

static void sum_quadrics(struct patch *p)
{
    for (size_t v = 0; v < p->vertices; v++)
        memset(p->node[v].plane, 0, sizeof p->node[v].plane);
    for (size_t t = 0; t < p->triangles; t++) {
        const uint32_t *v = p->corner + 4 * t;
        struct vec a = at(p, v[0]);
        struct vec n = vec_cross(vec_sub(at(p, v[1]), a), vec_sub(at(p, v[2]), a));
        double length = vec_length(n);
        for (size_t k = 0; k < 3; k++) {
            add_plane(p->node[v[k]].plane, n, length, 1);
            if (p->twin[4 * t + k] != NO_INDEX)
                continue;
            struct vec d = vec_sub(at(p, v[(k + 1) % 3]), at(p, v[k]));
            add_line(p->node[v[k]].plane, d, 1);
            add_line(p->node[v[(k + 1) % 3]].plane, d, 1);
        }
    }
}

struct solution {
    double cost;
    struct vec at; /* beside the first vertex */
};

/* The least of q(x) = x H x - 2 r x + c, drawn to `middle` by `pull`. */
static struct solution lowest(const double H[6], struct vec r, double c, struct vec middle,
                              double pull)
{
    double d0 = H[0] + pull, l10 = H[1] / d0, l20 = H[2] / d0;
    double d1 = H[3] + pull - l10 * H[1], e = H[4] - l20 * H[1], l21 = e / d1;
    double d2 = H[5] + pull - l20 * H[2] - l21 * e;
    struct vec s = vec_along(r, pull, middle), x;
    double y1 = s.y - l10 * s.x, y2 = s.z - l20 * s.x - l21 * y1;
    x.z = y2 / d2;
    x.y = y1 / d1 - l21 * x.z;
    x.x = s.x / d0 - l10 * x.y - l20 * x.z;
    /* H x = r + pull (middle - x) */
    return (struct solution){c - vec_dot(r, x) + pull * vec_dot(x, vec_sub(middle, x)), x};
}

static struct vec times(const double H[6], struct vec x)
{
    return vec(H[0] * x.x + H[1] * x.y + H[2] * x.z, H[1] * x.x + H[3] * x.y + H[4] * x.z,
               H[2] * x.x + H[4] * x.y + H[5] * x.z);
}

/* Where the edge from a to b would collapse to, beside a, and what it costs. */
static struct solution evaluate(const struct patch *p, uint32_t a, uint32_t b)
{
    const double *A = p->node[a].plane, *B = p->node[b].plane;
    struct vec e = vec_sub(at(p, b), at(p, a)), r = times(B, e);
    double c = vec_dot(r, e), H[6];
    for (int i = 0; i < 6; i++)
        H[i] = A[i] + B[i];
    double trace = H[0] + H[3] + H[5];
    struct solution s = {c, vec(0, 0, 0)};
    if (p->mobility[b] > p->mobility[a])
        s = (struct solution){vec_dot(times(A, e), e), e};
    else if (p->mobility[a] == p->mobility[b])
        s = lowest(H, r, c, vec_scale(e, 0.5), PULL * trace + 1e-300);
    s.cost = (s.cost > 0 ? s.cost : 0) + SHORT * trace * vec_length2(e);
    s.cost *= p->unit;
    return s;
}

/* Sets the cost of the edge that h keeps, and the least of its triangle's. */
static void set_cost(struct patch *p, uint32_t h, float cost)
{
    float *c = p->cost + (h & ~3u);
    c[h & 3] = cost;
    float least = c[0] < c[1] ? c[0] : c[1];
    c[3] = c[2] < least ? c[2] : least;
}

static void cost_edge(struct patch *p, uint32_t h)
{
    uint32_t a = from(p, h), b = to(p, h);
    uint8_t ma = p->mobility[a], mb = p->mobility[b];
    bool rim = p->twin[h] == NO_INDEX;
    float cost = INFINITY;
    if (ma < LOCKED && mb < LOCKED && (ma == MOVES || mb == MOVES || (rim && ma + mb < 2 * PINNED)))
        cost = (float)evaluate(p, a, b).cost;
    set_cost(p, keeper(p, h), cost < INFINITY ? cost : INFINITY); /* not a number: none */
}

bool patch_build(struct patch *p, bool keep_rim)
{
    struct fans fans = {0};
    size_t halves = 4 * p->triangles;
    p->left = p->triangles;
    p->twin = scratch_new(halves, sizeof *p->twin);
    p->cost = scratch_new(halves, sizeof *p->cost);
    p->stamp = scratch_new(p->vertices, sizeof *p->stamp);
    bool ok = p->twin && p->cost && p->stamp && fans_make(&fans, p);
    if (ok) {
        memset(p->stamp, 0, p->vertices * sizeof *p->stamp);
        memset(p->twin, 255, halves * sizeof *p->twin);
        for (size_t v = 0; v < p->vertices; v++)
            pair_at(p, &fans, (uint32_t)v);
        for (size_t v = 0; v < p->vertices; v++)
            classify(p, &fans, (uint32_t)v, keep_rim);
        sum_quadrics(p);
        for (size_t h = 0; h < halves; h++)
            p->cost[h] = INFINITY;
        for (size_t h = 0; h < halves; h++)
            if ((h & 3) != 3 && keeper(p, (uint32_t)h) == h)
                cost_edge(p, (uint32_t)h);
    }
    fans_release(&fans);
    return ok;
}

void patch_release(struct patch *p)
{
    scratch_free(p->corner);
    scratch_free(p->twin);
    scratch_free(p->cost);
    scratch_free(p->node);
    scratch_free(p->mobility);
    scratch_free(p->vertex_id);
    scratch_free(p->stamp);
    *p = (struct patch){0};
}

/* --- collapsing ------------------------------------------------------------------------------ */

/* The triangles around the edge that stay: each keeps its side p q and gets the new vertex. */
struct star {
    int count;
    uint32_t p[STAR_MOST], q[STAR_MOST];
    struct vec old[STAR_MOST], new[STAR_MOST]; /* area vectors, twice the area long */
    double old_length[STAR_MOST], new_length[STAR_MOST];
};

/* The number of triangles of v. Marks its neighbours, or, when `common` is not NULL, counts those
 * that are marked. */
static int walk_ring(struct patch *p, uint32_t v, int *common)
{
    uint32_t first = p->node[v].half, h = first, last, x;
    int count = 0, found = 0;
    do {
        x = to(p, h);
        found += p->stamp[x] == p->stamps;
        if (!common)
            p->stamp[x] = p->stamps;
        count++;
        last = h;
        h = around(p, h);
    } while (h != first && h != NO_INDEX);
    if (h == NO_INDEX) { /* the other neighbour along the rim */
        x = from(p, before(last));
        found += p->stamp[x] == p->stamps;
        if (!common)
            p->stamp[x] = p->stamps;
    }
    if (common)
        *common = found;
    return count;
}

/* The link condition (Dey, Edelsbrunner, Guha & Nekhayev 1999, "Topology preserving edge
 * contraction"): the collapse changes no topology. */
static bool link_allows(struct patch *p, uint32_t h)
{
    bool rim = p->twin[h] == NO_INDEX;
    int common;
    p->stamps++;
    int triangles = walk_ring(p, from(p, h), NULL);
    triangles += walk_ring(p, to(p, h), &common);
    if (triangles > STAR_MOST)
        return false;
    /* a lone triangle and a tetrahedron stay */
    return rim ? common == 1 && triangles > 2 : common == 2 && triangles > 6;
}

static struct vec area_vector(struct vec a, struct vec b, struct vec c)
{
    return vec_cross(vec_sub(b, a), vec_sub(c, a));
}

/* Adds the triangles of v, which becomes x, except those of the edge (v, other). */
static void star_add(const struct patch *p, struct star *s, uint32_t v, uint32_t other,
                     struct vec x)
{
    uint32_t first = p->node[v].half, h = first;
    struct vec a = at(p, v);
    do {
        uint32_t i = to(p, h), j = from(p, before(h));
        if (i != other && j != other) {
            struct vec b = at(p, i), c = at(p, j);
            s->p[s->count] = i;
            s->q[s->count] = j;
            s->old[s->count] = area_vector(a, b, c);
            s->new[s->count] = area_vector(x, b, c);
            s->old_length[s->count] = vec_length(s->old[s->count]);
            s->new_length[s->count] = vec_length(s->new[s->count]);
            s->count++;
        }
        h = around(p, h);
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

/* The slimmest of the triangles of the star as they are, of which the first `split` are a's. */
static double slimmest(const struct patch *p, const struct star *s, int split, struct vec a,
                       struct vec b)
{
    double least = 1;
    for (int i = 0; i < s->count; i++)
        least = fmin(least,
                     slimness(i < split ? a : b, at(p, s->p[i]), at(p, s->q[i]), s->old_length[i]));
    return least;
}

/* No face turns over, none becomes a needle (but where there were needles, they may stay). A face
 * too slim to have a direction of its own must look the way the whole star does. */
static bool star_allows(const struct patch *p, const struct star *s, int split, struct vec a,
                        struct vec b, struct vec x)
{
    struct vec all = vec(0, 0, 0);
    for (int i = 0; i < s->count; i++)
        all = vec_add(all, s->old[i]);
    for (int i = 0; i < s->count; i++) {
        struct vec c = at(p, s->p[i]), d = at(p, s->q[i]);
        double slim = slimness(x, c, d, s->new_length[i]);
        if (!(slim > NEEDLE) && !(slim > NOTHING && slim >= slimmest(p, s, split, a, b)))
            return false;
        double turned = vec_dot(s->old[i], s->new[i]);
        if (slimness(i < split ? a : b, c, d, s->old_length[i]) > NOTHING
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
    ends[0] = to(p, h);
    while (h != NO_INDEX) {
        last = h;
        h = around(p, h);
    }
    ends[1] = from(p, before(last));
    for (int i = 0; i < 2; i++) {
        struct vec d = vec_sub(at(p, ends[i]), at(p, v));
        add_line(p->node[ends[i]].plane, d, weight);
        add_line(p->node[v].plane, d, weight);
    }
}

/* Pairs the half-edges on both sides of a triangle that goes. */
static void glue(struct patch *p, uint32_t one, uint32_t other)
{
    if (one != NO_INDEX) {
        p->twin[one] = other;
        set_cost(p, one, INFINITY);
    }
    if (other != NO_INDEX) {
        p->twin[other] = one;
        set_cost(p, other, INFINITY);
    }
}

/* Takes the triangle of half-edge h (a to b) away; its apex keeps a half-edge of its own. */
static void drop_triangle(struct patch *p, uint32_t h)
{
    uint32_t next = after(h), prev = before(h), apex = from(p, prev), t = h & ~3u;
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
    uint32_t outer = p->twin[before(h)], inner = p->twin[after(h)];
    return outer != NO_INDEX ? outer : after(inner);
}

/* The quadrics around, as the star changes from its old triangles to its new ones. */
static void move_quadrics(struct patch *p, const struct star *s, uint32_t a)
{
    double *mine = p->node[a].plane;
    memset(mine, 0, sizeof p->node[a].plane);
    for (int i = 0; i < s->count; i++) {
        double change[6] = {0};
        add_plane(change, s->new[i], s->new_length[i], 1);
        for (int k = 0; k < 6; k++)
            mine[k] += change[k];
        add_plane(change, s->old[i], s->old_length[i], -1);
        for (int k = 0; k < 6; k++) {
            p->node[s->p[i]].plane[k] += change[k];
            p->node[s->q[i]].plane[k] += change[k];
        }
    }
}

/* The apex of the triangle of h loses its plane. */
static void leave_quadric(struct patch *p, uint32_t h)
{
    uint32_t apex = from(p, before(h));
    struct vec n = area_vector(at(p, from(p, h)), at(p, to(p, h)), at(p, apex));
    add_plane(p->node[apex].plane, n, vec_length(n), -1);
}

/* Gives b's triangles to a and takes those of the edge h (a to b) away. */
static void merge(struct patch *p, uint32_t h)
{
    uint32_t a = from(p, h), b = to(p, h), other = p->twin[h];
    uint32_t half = p->node[b].half, g = half;
    do {
        uint32_t next = around(p, g);
        p->corner[g] = a;
        g = next;
    } while (g != half && g != NO_INDEX);
    half = survivor(p, h);
    drop_triangle(p, h);
    if (other != NO_INDEX)
        drop_triangle(p, other);
    if (p->mobility[a] != MOVES)
        while (p->twin[half] != NO_INDEX)
            half = after(p->twin[half]);
    p->node[a].half = half;
    p->node[b].half = a;
    p->mobility[b] = GONE;
}

static void cost_fan(struct patch *p, uint32_t v)
{
    uint32_t first = p->node[v].half, h = first, last;
    do {
        cost_edge(p, h);
        last = h;
        h = around(p, h);
    } while (h != first && h != NO_INDEX);
    if (h == NO_INDEX)
        cost_edge(p, before(last));
}

/* Collapses the edge of h if it still costs less than `below` and may go. */
static void try_edge(struct patch *p, uint32_t h, float below)
{
    uint32_t keep = h;
    if (p->mobility[to(p, h)] > p->mobility[from(p, h)])
        h = p->twin[h];
    uint32_t a = from(p, h), b = to(p, h);
    struct solution solution = evaluate(p, a, b);
    set_cost(p, keep, (float)solution.cost);
    if (!((float)solution.cost < below))
        return;
    set_cost(p, keep, INFINITY); /* until something around it changes */
    if (!link_allows(p, h))
        return;
    struct vec was = at(p, a);
    struct point x = vec_point(vec_add(was, solution.at));
    struct star star = {.count = 0};
    star_add(p, &star, a, b, point_vec(x));
    int split = star.count;
    star_add(p, &star, b, a, point_vec(x));
    if (!star_allows(p, &star, split, was, at(p, b), point_vec(x)))
        return;
    rim_edges(p, a, -1);
    rim_edges(p, b, -1);
    leave_quadric(p, h);
    if (p->twin[h] != NO_INDEX)
        leave_quadric(p, p->twin[h]);
    merge(p, h);
    memcpy(p->node[a].at, &x, sizeof x);
    move_quadrics(p, &star, a);
    rim_edges(p, a, 1);
    cost_fan(p, a);
}

size_t patch_sweep(struct patch *p, float below, size_t most)
{
    size_t left = p->left;
    for (size_t t = 0; t < p->triangles && left - p->left + 1 < most; t++)
        for (size_t k = 0; p->cost[4 * t + 3] < below && k < 3; k++)
            if (p->cost[4 * t + k] < below)
                try_edge(p, (uint32_t)(4 * t + k), below);
    return left - p->left;
}

void patch_histogram(const struct patch *p, uint32_t *slots)
{
    for (size_t t = 0; t < p->triangles; t++)
        if (p->cost[4 * t + 3] < INFINITY)
            slots[cost_slot(p->cost[4 * t + 3])]++;
}

size_t patch_count(const struct patch *p, float below)
{
    size_t count = 0;
    for (size_t t = 0; t < p->triangles; t++)
        count += p->cost[4 * t + 3] < below;
    return count;
}
