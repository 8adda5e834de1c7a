#include "surface/decimate_judge.h"

static uint32_t original(const struct judge *judge, const struct patch *p, uint32_t v)
{
    return judge->vertex_of ? judge->vertex_of[p->vertex_id[v]] : p->vertex_id[v];
}

/* The corner across from a half-edge; `none` where there is no triangle. */
static struct vec wing_of(const struct patch *p, uint32_t h, struct vec none)
{
    return h == NO_INDEX ? none : node_at(p, edge_from(p, edge_before(h)));
}

bool judge_allows(const struct judge *judge, const struct patch *p, struct star *s)
{
    struct vec side[STAR_MOST][2];
    if (star_off_flat(p, s))
        return false;
    for (int i = 0; i < s->count; i++) {
        side[i][0] = node_at(p, s->p[i]);
        side[i][1] = node_at(p, s->q[i]);
    }
    struct decimate_collapse collapse = {
        .stays = original(judge, p, edge_from(p, s->half)),
        .goes = original(judge, p, edge_to(p, s->half)),
        .from = {s->a, s->b},
        .wing = {wing_of(p, s->half, s->b), wing_of(p, p->twin[s->half], s->a)},
        .at = s->x,
        .count = (size_t)s->count,
        .split = (size_t)s->split,
        .side = side};
    if (!judge->options->may(judge->options->context, &collapse))
        return false;
    if (vec_length2(vec_sub(collapse.at, s->x)) == 0)
        return true;
    star_make(p, s->half, collapse.at, s);
    return star_allows(p, s) && !star_off_flat(p, s);
}
