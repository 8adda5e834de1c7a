/* Holes joined to their rims.
 *
 * From the leftmost point of a hole a ray goes left; the first contour it meets with its region
 * towards the hole is the rim, or a hole joined to it already; or it meets a bridge between such
 * first. The bridge goes to that edge's
 * nearer end that is not to the right of the hole, or to the point that comes before it as the ray
 * is turned towards that end (D. Eberly, "Triangulation by Ear Clipping", 2002, takes the same
 * point among those of the rim alone): nothing stands between, and no two bridges cross. */
#include <stdlib.h>
#include <string.h>

#include "core/contour_parts.h"
#include "core/planar.h"

struct nesting {
    struct chain *chain;
    struct nest *nest;
    struct planar edges, points; /* items are nodes of the chain's beginning */
    size_t nodes;                /* so many nodes were there in the beginning */
    uint32_t *follow;            /* of these: the chain's `next` before there were bridges; of the
                                    first node that a bridge added: the second */
    struct bridges bridges;
    uint32_t *corner; /* one a loop: its leftmost node */
    uint32_t *order;  /* loops from left to right */
};

static const double *at(const struct chain *chain, uint32_t node)
{
    return chain->at[chain->point[node]];
}

/* --- the nearest edge to the left ---------------------------------------------------------- */

/* The loop the ray starts from does not count, nor do edges that end at the same point: they bound
 * other corners of the region than the one the hole is in. */
struct ray {
    const struct nesting *nesting;
    uint32_t own, point;
    const double *from;
    uint32_t best, after; /* the nearest edge so far; only edges beyond this one count */
};

static bool is_bridge(const struct nesting *n, uint32_t edge)
{
    return edge >= n->nodes;
}

static bool downward(const struct nesting *n, uint32_t edge)
{
    return at(n->chain, edge)[1] > at(n->chain, n->follow[edge])[1];
}

static const double *lower(const struct nesting *n, uint32_t edge)
{
    return at(n->chain, downward(n, edge) ? n->follow[edge] : edge);
}

static const double *upper(const struct nesting *n, uint32_t edge)
{
    return at(n->chain, downward(n, edge) ? edge : n->follow[edge]);
}

static double crossing(const struct ray *ray, uint32_t edge)
{
    const double *l = lower(ray->nesting, edge), *u = upper(ray->nesting, edge);
    return l[0] + (ray->from[1] - l[1]) * ((u[0] - l[0]) / (u[1] - l[1]));
}

/* Whether the ray meets edge a before edge b. Of the two sides of a slit it meets that first whose
 * region it comes from. */
static bool meets_before(const struct ray *ray, uint32_t a, uint32_t b)
{
    const struct nesting *n = ray->nesting;
    const double *l = lower(n, a), *m = lower(n, b);
    double x = crossing(ray, a), y = crossing(ray, b);
    int turn = 0;
    if (l[0] == m[0] && l[1] == m[1])
        turn = exact_turn(l, upper(n, a), upper(n, b));
    else if (x != y)
        return x > y;
    if (turn != 0)
        return turn > 0;
    if (downward(n, a) != downward(n, b))
        return downward(n, a);
    return a < b;
}

static bool ray_reach(const struct planar_box *box, const void *context)
{
    const struct ray *ray = context;
    return box->low[1] <= ray->from[1] && box->high[1] >= ray->from[1] &&
           box->low[0] <= ray->from[0] &&
           (ray->best == NO_INDEX || box->high[0] >= crossing(ray, ray->best));
}

/* Whether the loop bounds the region of an outer one: loops to the left are all settled. */
static bool has_region(const struct nest *nest, uint32_t loop)
{
    return nest->root[loop] != NO_INDEX && nest->area2[nest->root[loop]] > 0;
}

static bool ray_visit(uint32_t edge, void *context)
{
    struct ray *ray = context;
    const struct nesting *n = ray->nesting;
    const struct chain *chain = n->chain;
    uint32_t loop = chain->loop[edge];
    if (loop == NO_INDEX || loop == ray->own || !has_region(n->nest, loop) ||
        chain->point[edge] == ray->point || chain->point[n->follow[edge]] == ray->point)
        return true;
    const double *l = lower(n, edge), *u = upper(n, edge);
    if (!(l[1] <= ray->from[1] && ray->from[1] < u[1]))
        return true;
    int turn = exact_turn(l, u, ray->from);
    if (turn > 0 || (turn == 0 && !is_bridge(n, edge) && !downward(n, edge)))
        return true;
    if (ray->after != NO_INDEX && !meets_before(ray, ray->after, edge))
        return true;
    if (ray->best == NO_INDEX || meets_before(ray, edge, ray->best))
        ray->best = edge;
    return true;
}

/* The edge whose region reaches to the left of the loop's leftmost node: the rim around it, a hole
 * beside it, or a bridge. Regions that begin and end on the way are passed over. NO_INDEX: none. */
static uint32_t rim_edge(const struct nesting *n, uint32_t loop)
{
    uint32_t corner = n->corner[loop];
    struct ray ray = {n, loop, n->chain->point[corner], at(n->chain, corner), NO_INDEX, NO_INDEX};
    for (long passed = 0;;) {
        planar_walk(&n->edges, ray_reach, ray_visit, &ray);
        bridges_walk(&n->bridges, ray_reach, ray_visit, &ray);
        bool bridge = ray.best != NO_INDEX && is_bridge(n, ray.best);
        if (ray.best == NO_INDEX || (passed == 0 && (bridge || downward(n, ray.best))))
            return ray.best;
        passed += bridge ? 0 : downward(n, ray.best) ? -1 : 1;
        ray.after = ray.best;
        ray.best = NO_INDEX;
    }
}

/* --- the point a bridge goes to ------------------------------------------------------------ */

struct view {
    const struct nesting *nesting;
    uint32_t root;  /* the region */
    uint32_t point; /* the ray's start, and where that is: */
    const double *from, *l, *u, *end;
    struct planar_box box;
    uint32_t best;
    const double *best_at;
};

static bool view_reach(const struct planar_box *box, const void *context)
{
    const struct view *view = context;
    return box->low[0] <= view->box.high[0] && box->high[0] >= view->box.low[0] &&
           box->low[1] <= view->box.high[1] && box->high[1] >= view->box.low[1];
}

/* Whether p lies between the ray, the edge and the line from the ray's start to the edge's end. */
static bool view_holds(const struct view *view, const double p[2])
{
    if (p[0] > view->from[0] || p[1] < view->box.low[1] || p[1] > view->box.high[1])
        return false;
    int side = exact_turn(view->from, view->end, p);
    bool within = view->end[1] > view->from[1]   ? side >= 0
                  : view->end[1] < view->from[1] ? side <= 0
                                                 : side == 0;
    return within && exact_turn(view->l, view->u, p) <= 0;
}

static double nearness(const struct view *view, const double p[2])
{
    return fabs(p[0] - view->from[0]) + fabs(p[1] - view->from[1]);
}

static bool view_visit(uint32_t node, void *context)
{
    struct view *view = context;
    const struct chain *chain = view->nesting->chain;
    uint32_t loop = chain->loop[node];
    if (loop == NO_INDEX || view->nesting->nest->root[loop] != view->root ||
        chain->point[node] == view->point)
        return true;
    const double *p = at(chain, node);
    if (!view_holds(view, p))
        return true;
    int turn = exact_turn(view->from, p, view->best_at); /* zero also where p is the ray's start */
    bool before = view->end[1] > view->from[1] ? turn < 0 : turn > 0;
    if (turn == 0)
        before = nearness(view, p) < nearness(view, view->best_at);
    if (before) {
        view->best = node;
        view->best_at = p;
    }
    return true;
}

/* The nearer one of the edge's ends, but none to the right of the ray's start: of what lies there
 * not all is joined yet, and a bridge might run through it. */
static uint32_t near_end(const struct view *view, uint32_t a, uint32_t b)
{
    const double *p = at(view->nesting->chain, a), *q = at(view->nesting->chain, b);
    if (p[0] > view->from[0] || q[0] > view->from[0])
        return p[0] < q[0] ? a : b;
    return nearness(view, q) < nearness(view, p) ? b : a;
}

static uint32_t bridge_end(const struct nesting *n, uint32_t loop, uint32_t edge)
{
    const struct chain *chain = n->chain;
    struct view view = {.nesting = n, .root = n->nest->root[chain->loop[edge]]};
    view.point = chain->point[n->corner[loop]];
    view.from = at(chain, n->corner[loop]);
    view.l = lower(n, edge);
    view.u = upper(n, edge);
    view.best = near_end(&view, edge, n->follow[edge]);
    view.best_at = view.end = at(chain, view.best);
    view.box.low[0] = fmin(view.l[0], view.u[0]);
    view.box.high[0] = view.from[0];
    view.box.low[1] = fmin(view.from[1], view.end[1]);
    view.box.high[1] = fmax(view.from[1], view.end[1]);
    planar_walk(&n->points, view_reach, view_visit, &view);
    return view.best;
}

/* --- building it --------------------------------------------------------------------------- */

/* Of the nodes at the same point and of the same region: the one into whose corner `to` lies. */
static uint32_t facing(const struct nesting *n, uint32_t node, const double to[2])
{
    const struct chain *chain = n->chain;
    uint32_t root = n->nest->root[chain->loop[node]], s = node;
    do {
        if (n->nest->root[chain->loop[s]] == root && chain_corner_holds(chain, s, to))
            return s;
        s = chain->sibling[s];
    } while (s != node);
    return node;
}

static uint32_t second(struct chain *chain, uint32_t node)
{
    uint32_t copy = (uint32_t)chain->nodes++;
    chain->point[copy] = chain->point[node];
    chain->loop[copy] = chain->loop[node];
    chain->partner[copy] = chain->partner[node];
    chain->sibling[copy] = chain->sibling[node];
    chain->sibling[node] = copy;
    return copy;
}

static void link(struct chain *chain, uint32_t a, uint32_t b)
{
    chain->next[a] = b;
    chain->prev[b] = a;
}

/* rim - hole ... around the hole ... hole' - rim'. False when out of memory. */
static bool build_bridge(struct nesting *n, uint32_t rim, uint32_t hole)
{
    struct chain *chain = n->chain;
    uint32_t rim2 = second(chain, rim), hole2 = second(chain, hole);
    link(chain, rim2, chain->next[rim]);
    link(chain, chain->prev[hole], hole2);
    link(chain, rim, hole);
    link(chain, hole2, rim2);
    if (chain->partner[rim2] != NO_INDEX)
        chain->partner[chain->partner[rim2]] = rim2; /* the other side of an earlier bridge */
    chain->partner[rim] = hole2;
    chain->partner[hole2] = rim;
    n->follow[rim2] = hole2;
    return bridges_add(&n->bridges, rim2, at(chain, rim2), at(chain, hole2));
}

static bool join_hole(struct nesting *n, uint32_t loop)
{
    struct chain *chain = n->chain;
    uint32_t edge = rim_edge(n, loop);
    if (edge == NO_INDEX) {
        uint32_t first = n->corner[loop];
        bool pair = chain->next[chain->next[first]] == first;
        n->nest->root[loop] = pair ? NO_INDEX : loop;
        return true;
    }
    uint32_t root = n->nest->root[chain->loop[edge]], end = bridge_end(n, loop, edge);
    n->nest->root[loop] = loop; /* while its own nodes are told apart */
    uint32_t rim = facing(n, end, at(chain, n->corner[loop]));
    uint32_t hole = facing(n, n->corner[loop], at(chain, end));
    n->nest->root[loop] = root;
    return build_bridge(n, rim, hole);
}

/* --- all of them --------------------------------------------------------------------------- */

static void measure_loops(struct nesting *n)
{
    const struct chain *chain = n->chain;
    for (size_t l = 0; l < chain->loops; l++) {
        uint32_t first = chain->first[l], corner = first, node = first;
        const double *o = at(chain, first);
        double area2 = 0;
        do {
            const double *p = at(chain, node), *q = at(chain, chain->next[node]);
            const double *c = at(chain, corner);
            area2 += (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
            if (p[0] < c[0] || (p[0] == c[0] && p[1] < c[1]))
                corner = node;
            node = chain->next[node];
        } while (node != first);
        n->nest->area2[l] = area2;
        n->nest->root[l] = NO_INDEX;
        n->corner[l] = corner;
        n->order[l] = (uint32_t)l;
    }
}

static int left_order(const void *x, const void *y, void *context)
{
    const struct nesting *n = context;
    uint32_t a = *(const uint32_t *)x, b = *(const uint32_t *)y;
    const double *p = at(n->chain, n->corner[a]), *q = at(n->chain, n->corner[b]);
    for (int k = 0; k < 2; k++)
        if (p[k] != q[k])
            return p[k] < q[k] ? -1 : 1;
    return a < b ? -1 : a > b;
}

static bool plant_trees(struct nesting *n)
{
    const struct chain *chain = n->chain;
    size_t nodes = chain->nodes;
    double(*low)[2] = scratch_new(nodes, sizeof *low);
    double(*high)[2] = scratch_new(nodes, sizeof *high);
    double(*points)[2] = scratch_new(nodes, sizeof *points);
    bool ok = low && high && points && bridges_make(&n->bridges, chain->loops);
    for (uint32_t i = 0; i < nodes && ok; i++) {
        const double *p = at(chain, i),
                     *q = chain->loop[i] == NO_INDEX ? p : at(chain, chain->next[i]);
        memcpy(points[i], p, sizeof *points);
        for (int k = 0; k < 2; k++) {
            low[i][k] = fmin(p[k], q[k]);
            high[i][k] = fmax(p[k], q[k]);
        }
    }
    ok = ok && planar_make(&n->edges, (const double(*)[2])low, (const double(*)[2])high, nodes) &&
         planar_make(&n->points, (const double(*)[2])points, (const double(*)[2])points, nodes);
    scratch_free(low);
    scratch_free(high);
    scratch_free(points);
    return ok;
}

static enum status join_holes(struct nesting *n, struct job *job)
{
    bool planted = false;
    qsort_r(n->order, n->chain->loops, sizeof *n->order, left_order, n);
    for (size_t i = 0; i < n->chain->loops; i++) {
        uint32_t loop = n->order[i];
        if (n->nest->area2[loop] > 0) {
            n->nest->root[loop] = loop;
            continue;
        }
        if ((!planted && !(planted = plant_trees(n))) || !join_hole(n, loop))
            return job_fail_memory(job, n->chain->nodes * 2 * sizeof(struct planar_box));
        if (job_cancelled(job))
            return job_fail_cancelled(job);
    }
    return STATUS_OK;
}

void nest_release(struct nest *nest)
{
    scratch_free(nest->root);
    scratch_free(nest->area2);
    *nest = (struct nest){0};
}

enum status nest_make(struct chain *chain, struct nest *out, struct job *job)
{
    out->root = scratch_new(chain->loops, sizeof *out->root);
    out->area2 = scratch_new(chain->loops, sizeof *out->area2);
    struct nesting n = {.chain = chain, .nest = out, .nodes = chain->nodes};
    n.follow = scratch_new(chain->room, sizeof *n.follow);
    n.corner = scratch_new(chain->loops, sizeof *n.corner);
    n.order = scratch_new(chain->loops, sizeof *n.order);
    enum status status;
    if (out->root && out->area2 && n.follow && n.corner && n.order) {
        memcpy(n.follow, chain->next, chain->nodes * sizeof *n.follow);
        measure_loops(&n);
        status = join_holes(&n, job);
    } else {
        status = job_fail_memory(job, chain->loops * 24);
    }
    planar_release(&n.edges);
    planar_release(&n.points);
    bridges_release(&n.bridges);
    scratch_free(n.follow);
    scratch_free(n.corner);
    scratch_free(n.order);
    if (status != STATUS_OK)
        nest_release(out);
    return status;
}
