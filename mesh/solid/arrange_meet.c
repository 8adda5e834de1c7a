/* What two triangles have in common: by which sides of either go through the other, all in whole
 * numbers. */
#include "core/sets.h"
#include "solid/arrange_parts.h"

struct meeting {
    struct arranging *a;
    uint32_t touched[2];
    const struct touched *t[2];
    int side[2][3]; /* of the corners, to the other's plane */
    uint32_t end[2];
    int ends;
};

static void add_end(struct meeting *m, uint32_t spot)
{
    for (int i = 0; i < m->ends; i++)
        if (m->end[i] == spot)
            return;
    if (m->ends < 2)
        m->end[m->ends++] = spot;
}

static int sign_of(wide x)
{
    return (x > 0) - (x < 0);
}

/* Of three signs that tell on which side of a triangle's sides something is: none against. */
static bool agree(const int sign[3])
{
    bool more = sign[0] > 0 || sign[1] > 0 || sign[2] > 0;
    bool less = sign[0] < 0 || sign[1] < 0 || sign[2] < 0;
    return !(more && less);
}

static int flat_turn(const int64_t a[3], const int64_t b[3], const int64_t c[3], int dropped)
{
    int u = axis_u(dropped), v = axis_v(dropped);
    return sign_of((wide)(b[u] - a[u]) * (c[v] - a[v]) - (wide)(b[v] - a[v]) * (c[u] - a[u]));
}

/* Corner k of s lies in the other's plane. */
static void add_corner(struct meeting *m, int s, int k)
{
    const struct touched *of = m->t[s], *in = m->t[1 - s];
    int sign[3];
    for (int i = 0; i < 3; i++)
        sign[i] = flat_turn(in->p[i], in->p[(i + 1) % 3], of->p[k], in->dropped);
    if (agree(sign))
        add_end(m, of->spot[k]);
}

/* Side k of s goes through the other's plane. */
static bool add_side(struct meeting *m, int s, int k)
{
    const struct touched *of = m->t[s], *in = m->t[1 - s];
    const int64_t *u = of->p[k], *v = of->p[(k + 1) % 3];
    int sign[3];
    uint32_t spot;
    for (int i = 0; i < 3; i++) {
        struct plane plane = plane_through(u, in->p[i], in->p[(i + 1) % 3]);
        sign[i] = plane_side(&plane, v);
    }
    if (!agree(sign))
        return true;
    /* The same side belongs to a neighbour, too: one way for both. */
    bool back = memcmp(u, v, 3 * sizeof *u) > 0;
    if (!spots_line(m->a->spots, back ? v : u, back ? u : v, &in->plane, &spot))
        return false;
    add_end(m, spot);
    return true;
}

static bool add_stretch(struct meeting *m, int s)
{
    struct stretch *to = pile_next(&m->a->stretch, sizeof *to);
    if (!to)
        return false;
    *to = (struct stretch){m->touched[s], {m->end[0], m->end[m->ends - 1]}, m->touched[1 - s], 0};
    m->a->stretch.count++;
    return true;
}

enum status arrange_meet(struct arranging *a, uint32_t x, uint32_t y)
{
    struct meeting m = {.a = a, .touched = {x, y}, .t = {touched_at(a, x), touched_at(a, y)}};
    bool flat = true, ok = true;
    if (!m.t[0]->turn || !m.t[1]->turn)
        return STATUS_OK;
    for (int i = 0; i < 6; i++) {
        m.side[i / 3][i % 3] = plane_side(&m.t[1 - i / 3]->plane, m.t[i / 3]->p[i % 3]);
        flat = flat && !m.side[i / 3][i % 3];
    }
    if (flat) { /* their sides are met when they are cut together */
        sets_unite(a->set, x, y);
        return STATUS_OK;
    }
    for (int i = 0; i < 6 && ok; i++) {
        int s = i / 3, k = i % 3;
        if (!m.side[s][k])
            add_corner(&m, s, k);
        if (m.side[s][k] * m.side[s][(k + 1) % 3] < 0)
            ok = add_side(&m, s, k);
    }
    for (int s = 0; s < 2 && m.ends && ok; s++)
        ok = add_stretch(&m, s);
    return ok ? STATUS_OK : job_fail_memory(a->job, a->stretch.count * sizeof(struct stretch));
}

struct plane stretch_plane(const struct arranging *a, const struct stretch *s)
{
    if (s->other != NO_INDEX)
        return touched_at(a, s->other)->plane;
    const struct touched *t = touched_at(a, s->in);
    return plane_upright(t->p[s->side], t->p[(s->side + 1) % 3], t->dropped);
}
