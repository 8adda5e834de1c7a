/* What rounding did at the plane, mended. A thin triangle that is cut leaves thinner ones, and
 * their new corners are rounded: what was thinner than that may fold. Corners are drawn together,
 * or moved by some steps of single precision, but never out of a plane square to an axis; what is
 * then still a needle is turned into its neighbour (graft.h). */
#include "solid/cut_parts.h"
#include "solid/graft.h"
#include "solid/needles.h"

static const struct triangle *triangle_at(const struct cutting *c, size_t i)
{
    return i < c->pieces ? &c->piece[i] : &c->cap[i - c->pieces];
}

/* --- the thin ones and what is around them ---------------------------------------------------- */

struct settling {
    struct cutting *c;
    struct graft graft;
    uint8_t *mark;   /* one a vertex, made ones last: it is a corner of a low triangle */
    uint32_t *taken; /* one a triangle of the graft: which piece or, counted on, cap it is */
};

/* The step of single precision at the largest coordinate beside the cut. */
static double step_of(const struct cutting *c)
{
    double most = 0;
    for (size_t i = 0; i < 3 * (c->pieces + c->caps); i++) {
        struct vec p = cut_position(c, triangle_at(c, i / 3)->v[i % 3]);
        most = fmax(most, fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z))));
    }
    return 0x1p-23 * most;
}

static bool is_low(const struct cutting *c, size_t i, double least)
{
    struct vec corner[3];
    for (int k = 0; k < 3; k++)
        corner[k] = cut_position(c, triangle_at(c, i)->v[k]);
    return needles_low(corner, least);
}

static bool is_marked(const struct settling *s, size_t i)
{
    const uint32_t *v = triangle_at(s->c, i)->v;
    return s->mark[v[0]] || s->mark[v[1]] || s->mark[v[2]];
}

/* Marks the corners of the low ones; returns how many triangles have one that is marked. */
static size_t mark_low(const struct settling *s, double least)
{
    const struct cutting *c = s->c;
    size_t all = c->pieces + c->caps, low = 0, count = 0;
    for (size_t i = 0; i < all; i++)
        if (is_low(c, i, least)) {
            low++;
            for (int k = 0; k < 3; k++)
                s->mark[triangle_at(c, i)->v[k]] = 1;
        }
    for (size_t i = 0; i < all && low; i++)
        count += is_marked(s, i);
    return count;
}

/* Of a marked vertex all triangles are in the graft; but of old ones only where they lie in the
 * plane, and these must not move. */
static bool take_graft(struct settling *s, size_t count)
{
    const struct cutting *c = s->c;
    struct graft *g = &s->graft;
    size_t n = 0, old = mesh_vertices(c->mesh);
    s->taken = scratch_new(count, sizeof *s->taken);
    if (!s->taken || !graft_new(g, count))
        return false;
    for (size_t i = 0; i < c->pieces + c->caps; i++) {
        const uint32_t *v = triangle_at(c, i)->v;
        if (!is_marked(s, i))
            continue;
        memcpy(&g->corner[3 * n], v, sizeof triangle_at(c, i)->v);
        s->taken[n++] = (uint32_t)i;
    }
    graft_number(g);
    for (size_t v = 0; v < g->vertices; v++) {
        uint32_t ref = g->ref[v];
        g->at[v] = cut_position(c, ref);
        g->whole[v] = s->mark[ref] && (ref >= old || (g->still && c->sign[ref] == 0));
    }
    return true;
}

/* The cap stays flat, and the pieces' rim in its plane. */
static bool are_alike(const void *context, uint32_t needle, uint32_t twin, struct vec now[2][3])
{
    const struct settling *s = context;
    (void)now;
    return (s->taken[needle] < s->c->pieces) == (s->taken[twin] < s->c->pieces);
}

/* --- back ------------------------------------------------------------------------------------- */

static struct triangle *triangle_edit(struct cutting *c, size_t i)
{
    return i < c->pieces ? &c->piece[i] : &c->cap[i - c->pieces];
}

/* Made vertices that no triangle has any more go; `number` has room for one a made vertex. */
static void drop_unused(struct cutting *c, uint32_t *number)
{
    uint32_t old = (uint32_t)mesh_vertices(c->mesh), kept = 0;
    memset(number, 0, c->mades * sizeof *number);
    for (size_t i = 0; i < 3 * (c->pieces + c->caps); i++) {
        uint32_t v = triangle_at(c, i / 3)->v[i % 3];
        if (v >= old)
            number[v - old] = 1;
    }
    for (size_t m = 0; m < c->mades; m++) {
        bool used = number[m];
        number[m] = kept;
        if (used)
            c->made[kept++] = c->made[m];
    }
    c->mades = kept;
    for (size_t i = 0; i < 3 * (c->pieces + c->caps); i++) {
        struct triangle *t = triangle_edit(c, i / 3);
        if (t->v[i % 3] >= old)
            t->v[i % 3] = old + number[t->v[i % 3] - old];
    }
}

/* Closes the gaps that dropped triangles leave. */
static void drop_gone(struct cutting *c)
{
    size_t pieces = 0, caps = 0;
    for (size_t i = 0; i < c->pieces; i++)
        if (c->piece[i].v[0] != NO_INDEX) {
            c->ancestor[pieces] = c->ancestor[i];
            c->piece[pieces++] = c->piece[i];
        }
    for (size_t i = 0; i < c->caps; i++)
        if (c->cap[i].v[0] != NO_INDEX)
            c->cap[caps++] = c->cap[i];
    c->pieces = pieces;
    c->caps = caps;
}

static bool write_back(struct settling *s)
{
    struct cutting *c = s->c;
    const struct graft *g = &s->graft;
    size_t old = mesh_vertices(c->mesh);
    uint32_t *ancestor = scratch_new(g->triangles, sizeof *ancestor);
    uint32_t *number = scratch_new(c->mades, sizeof *number);
    bool room = ancestor && number;
    for (size_t i = 0; room && i < g->triangles; i++)
        ancestor[i] = s->taken[i] < c->pieces ? c->ancestor[s->taken[i]] : NO_INDEX;
    for (size_t i = 0; room && i < g->triangles; i++) {
        struct triangle *to = triangle_edit(c, s->taken[i]);
        for (size_t k = 0; k < 3; k++) {
            uint32_t v = g->corner[3 * i + k];
            to->v[k] = v == NO_INDEX ? v : g->ref[v];
        }
        if (s->taken[i] < c->pieces)
            c->ancestor[s->taken[i]] = ancestor[g->from[i]];
    }
    for (size_t v = 0; room && v < g->vertices; v++)
        if (g->ref[v] >= old)
            c->made[g->ref[v] - old].at = vec_point(g->at[v]);
    if (room) {
        drop_gone(c);
        drop_unused(c, number);
    }
    scratch_free(ancestor);
    scratch_free(number);
    return room;
}

/* Whether single precision tells what lies in the plane: a foot that is cut flat stays so. */
static bool is_square(struct vec normal)
{
    return (normal.x != 0) + (normal.y != 0) + (normal.z != 0) == 1;
}

static enum status settle(struct settling *s, size_t count, double grain)
{
    const struct graft_rule rule = {NEEDLES * grain, false, are_alike, s};
    struct graft *g = &s->graft;
    uint64_t faults = 0;
    size_t flips;
    if (!take_graft(s, count))
        return job_fail_memory(s->c->job, count * sizeof *s->taken);
    enum status status = graft_settle(g, grain, &faults);
    if (status == STATUS_OK && !faults)
        status = graft_flip(g, &rule, &flips);
    if (status == STATUS_OK && !faults && !write_back(s))
        status = job_fail_memory(s->c->job, (g->triangles + s->c->mades) * sizeof(uint32_t));
    return status;
}

enum status cut_settle(struct cutting *c)
{
    size_t old = mesh_vertices(c->mesh);
    double grain = step_of(c);
    struct settling s = {.c = c, .mark = scratch_zeros(old + c->mades, 1)};
    s.graft = (struct graft){.job = c->job, .made = (uint32_t)old, .still = is_square(c->normal)};
    if (!s.mark)
        return job_fail_memory(c->job, old + c->mades);
    size_t count = mark_low(&s, NEEDLES * grain);
    enum status status = count ? settle(&s, count, grain) : STATUS_OK;
    graft_release(&s.graft);
    scratch_free(s.taken);
    scratch_free(s.mark);
    return status;
}
