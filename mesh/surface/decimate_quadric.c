#include "surface/decimate_quadric.h"

#include <string.h>

static const double PULL = 1e-6;  /* to the middle of the edge, where the planes leave it open */
static const double SHORT = 1e-8; /* cost of length, so that short edges go first in flat places */

void quadric_add_plane(double plane[6], struct vec n, double length, double weight)
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

void quadric_add_line(double plane[6], struct vec d, double weight)
{
    double l = vec_length2(d);
    plane[0] += weight * (l - d.x * d.x);
    plane[1] -= weight * d.x * d.y;
    plane[2] -= weight * d.x * d.z;
    plane[3] += weight * (l - d.y * d.y);
    plane[4] -= weight * d.y * d.z;
    plane[5] += weight * (l - d.z * d.z);
}

void quadric_sum(struct patch *p)
{
    for (size_t v = 0; v < p->vertices; v++)
        memset(p->node[v].plane, 0, sizeof p->node[v].plane);
    for (size_t t = 0; t < p->triangles; t++) {
        const uint32_t *v = p->corner + 4 * t;
        struct vec a = node_at(p, v[0]);
        struct vec n = vec_cross(vec_sub(node_at(p, v[1]), a), vec_sub(node_at(p, v[2]), a));
        double length = vec_length(n), weight = edge_flat(p, (uint32_t)(4 * t)) ? FLAT_WEIGHT : 1;
        for (size_t k = 0; k < 3; k++) {
            quadric_add_plane(p->node[v[k]].plane, n, length, weight);
            if (p->twin[4 * t + k] != NO_INDEX)
                continue;
            struct vec d = vec_sub(node_at(p, v[(k + 1) % 3]), node_at(p, v[k]));
            quadric_add_line(p->node[v[k]].plane, d, 1);
            quadric_add_line(p->node[v[(k + 1) % 3]].plane, d, 1);
        }
    }
}

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

struct solution quadric_solve(const struct patch *p, uint32_t a, uint32_t b)
{
    const double *A = p->node[a].plane, *B = p->node[b].plane;
    struct vec e = vec_sub(node_at(p, b), node_at(p, a)), r = times(B, e);
    double c = vec_dot(r, e), H[6];
    for (int i = 0; i < 6; i++)
        H[i] = A[i] + B[i];
    double trace = H[0] + H[3] + H[5];
    bool solve = p->mobility[a] == p->mobility[b];
    struct solution s = {c, vec(0, 0, 0)};
    if (p->mobility[b] > p->mobility[a])
        s = (struct solution){vec_dot(times(A, e), e), e};
    if (p->tint && solve)
        tint_add_quadric(p, a, b, p->contrast, H, &r, &c);
    if (solve)
        s = lowest(H, r, c, vec_scale(e, 0.5), PULL * trace + 1e-300);
    if (p->tint && !solve) {
        float colour[3];
        s.cost += p->contrast * tint_cost(p, a, b, s.at, colour);
    }
    s.cost = (s.cost > 0 ? s.cost : 0) + SHORT * trace * vec_length2(e);
    s.cost *= p->unit;
    return s;
}
