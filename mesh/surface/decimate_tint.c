#include "surface/decimate_tint.h"

#include <string.h>

#include "surface/decimate_patch.h"
#include "surface/decimate_star.h"

static const double NEEDLE = 0.02; /* height over length: slimmer ones tell nothing about colour */

struct slopes { /* of one triangle */
    double weight;
    struct vec gradient[3];
};

static struct slopes slopes_of(const struct vec at[3], const float *const colour[3])
{
    struct slopes s = {0};
    struct vec e = vec_sub(at[1], at[0]), f = vec_sub(at[2], at[0]), n = vec_cross(e, f);
    double area2 = vec_length2(n), length = fmax(vec_length2(e), vec_length2(f));
    if (!(area2 > NEEDLE * NEEDLE * length * length))
        return s;
    struct vec u = vec_scale(vec_cross(f, n), 1 / area2), v = vec_scale(vec_cross(n, e), 1 / area2);
    s.weight = sqrt(area2);
    for (int c = 0; c < 3; c++)
        s.gradient[c] = vec_along(vec_scale(u, (double)(colour[1][c] - colour[0][c])),
                                  (double)(colour[2][c] - colour[0][c]), v);
    return s;
}

static void add(struct tint *tint, const struct slopes *s, double sign)
{
    double w = sign * s->weight;
    tint->weight += (float)w;
    for (int c = 0; c < 3; c++) {
        struct vec g = s->gradient[c], m = vec_scale(g, w);
        const double square[6] = {m.x * g.x, m.x * g.y, m.x * g.z, m.y * g.y, m.y * g.z, m.z * g.z};
        tint->slope[c][0] += (float)m.x;
        tint->slope[c][1] += (float)m.y;
        tint->slope[c][2] += (float)m.z;
        for (int i = 0; i < 6; i++)
            tint->square[i] += (float)square[i];
    }
}

static void clear(struct tint *tint)
{
    tint->weight = 0;
    memset(tint->slope, 0, sizeof tint->slope);
    memset(tint->square, 0, sizeof tint->square);
}

void tint_sum(struct patch *p)
{
    for (size_t v = 0; v < p->vertices; v++)
        clear(&p->tint[v]);
    for (size_t t = 0; t < p->triangles; t++) {
        const uint32_t *v = p->corner + 4 * t;
        const struct vec at[3] = {node_at(p, v[0]), node_at(p, v[1]), node_at(p, v[2])};
        const float *const colour[3] = {p->tint[v[0]].colour, p->tint[v[1]].colour,
                                        p->tint[v[2]].colour};
        struct slopes s = slopes_of(at, colour);
        for (int k = 0; k < 3; k++)
            add(&p->tint[v[k]], &s, 1);
    }
}

static double foretold(const struct tint *t, int channel, struct vec d)
{
    const float *s = t->slope[channel];
    return (double)s[0] * d.x + (double)s[1] * d.y + (double)s[2] * d.z;
}

static double squares(const struct tint *t, struct vec d)
{
    const float *q = t->square;
    return d.x * ((double)q[0] * d.x + 2 * ((double)q[1] * d.y + (double)q[2] * d.z)) +
           d.y * ((double)q[3] * d.y + 2 * (double)q[4] * d.z) + d.z * (double)q[5] * d.z;
}

double tint_cost(const struct patch *p, uint32_t a, uint32_t b, struct vec at, float colour[3])
{
    const struct tint *end[2] = {&p->tint[a], &p->tint[b]};
    const struct vec d[2] = {at, vec_sub(at, vec_sub(node_at(p, b), node_at(p, a)))};
    double weight = (double)end[0]->weight + (double)end[1]->weight;
    double cost = squares(end[0], d[0]) + squares(end[1], d[1]);
    for (int c = 0; c < 3; c++) {
        double sum = 0, best = ((double)end[0]->colour[c] + (double)end[1]->colour[c]) / 2;
        for (int i = 0; i < 2; i++)
            sum += (double)end[i]->weight * (double)end[i]->colour[c] + foretold(end[i], c, d[i]);
        if (weight > 0)
            best = fmin(fmax(sum / weight, 0), 1);
        for (int i = 0; i < 2; i++) {
            double off = (double)end[i]->colour[c] - best;
            cost += off * ((double)end[i]->weight * off + 2 * foretold(end[i], c, d[i]));
        }
        colour[c] = (float)best;
    }
    return fmax(cost, 0);
}

static struct vec slope(const struct tint *t, int channel)
{
    const float *s = t->slope[channel];
    return vec(s[0], s[1], s[2]);
}

/* With the best colour (K + S x) / W put in, what is left is
 * sum of squares - (K + S x)^2 / W, channel by channel. */
void tint_add_quadric(const struct patch *p, uint32_t a, uint32_t b, double contrast, double H[6],
                      struct vec *r, double *c)
{
    const struct tint *A = &p->tint[a], *B = &p->tint[b];
    struct vec e = vec_sub(node_at(p, b), node_at(p, a)), right = vec(0, 0, 0);
    double W = (double)A->weight + (double)B->weight, rest = squares(B, e);
    if (!(W > 0))
        return;
    double square[6];
    for (int i = 0; i < 6; i++)
        square[i] = (double)A->square[i] + (double)B->square[i];
    const float *q = B->square;
    right = vec((double)q[0] * e.x + (double)q[1] * e.y + (double)q[2] * e.z,
                (double)q[1] * e.x + (double)q[3] * e.y + (double)q[4] * e.z,
                (double)q[2] * e.x + (double)q[4] * e.y + (double)q[5] * e.z);
    for (int k = 0; k < 3; k++) {
        double ca = (double)A->colour[k], cb = (double)B->colour[k];
        struct vec sa = slope(A, k), sb = slope(B, k), S = vec_add(sa, sb);
        double K = (double)A->weight * ca + (double)B->weight * cb - vec_dot(sb, e);
        right = vec_along(vec_along(right, -ca, sa), -cb, sb);
        right = vec_along(right, K / W, S);
        rest += (double)A->weight * ca * ca + cb * ((double)B->weight * cb - 2 * vec_dot(sb, e)) -
                K * K / W;
        const double outer[6] = {S.x * S.x, S.x * S.y, S.x * S.z, S.y * S.y, S.y * S.z, S.z * S.z};
        for (int i = 0; i < 6; i++)
            square[i] -= outer[i] / W;
    }
    for (int i = 0; i < 6; i++)
        H[i] += contrast * square[i];
    *r = vec_along(*r, contrast, right);
    *c += contrast * rest;
}

/* The triangle of half-edge h goes: its third vertex loses it. */
static void leave(struct patch *p, uint32_t h)
{
    uint32_t v[3] = {edge_from(p, h), edge_to(p, h), edge_from(p, edge_before(h))};
    const struct vec at[3] = {node_at(p, v[0]), node_at(p, v[1]), node_at(p, v[2])};
    const float *const colour[3] = {p->tint[v[0]].colour, p->tint[v[1]].colour,
                                    p->tint[v[2]].colour};
    struct slopes s = slopes_of(at, colour);
    add(&p->tint[v[2]], &s, -1);
}

void tint_collapse(struct patch *p, const struct star *s)
{
    uint32_t h = s->half, a = edge_from(p, h), b = edge_to(p, h);
    struct tint mine;
    tint_cost(p, a, b, vec_sub(s->x, s->a), mine.colour);
    clear(&mine);
    leave(p, h);
    if (p->twin[h] != NO_INDEX)
        leave(p, p->twin[h]);
    for (int i = 0; i < s->count; i++) {
        struct tint *one = &p->tint[s->p[i]], *two = &p->tint[s->q[i]];
        struct vec at[3] = {i < s->split ? s->a : s->b, node_at(p, s->p[i]), node_at(p, s->q[i])};
        const float *colour[3] = {p->tint[i < s->split ? a : b].colour, one->colour, two->colour};
        struct slopes slopes = slopes_of(at, colour);
        add(one, &slopes, -1);
        add(two, &slopes, -1);
        at[0] = s->x;
        colour[0] = mine.colour;
        slopes = slopes_of(at, colour);
        add(one, &slopes, 1);
        add(two, &slopes, 1);
        add(&mine, &slopes, 1);
    }
    p->tint[a] = mine;
}
