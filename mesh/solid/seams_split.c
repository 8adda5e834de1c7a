/* Where two pairs of triangles still share both ends of an edge, all but one get a vertex of their
 * own in its middle. */
#include "solid/seams_parts.h"

struct twofold { /* two triangles that go together (or one alone) on an edge others have too */
    uint32_t low, high;
    uint32_t triangle[2]; /* the second NO_INDEX: alone */
};

static int twofold_order(const void *x, const void *y)
{
    const struct twofold *a = x, *b = y;
    if (a->low != b->low)
        return a->low < b->low ? -1 : 1;
    if (a->high != b->high)
        return a->high < b->high ? -1 : 1;
    if ((a->triangle[1] == NO_INDEX) != (b->triangle[1] == NO_INDEX))
        return a->triangle[1] == NO_INDEX ? 1 : -1; /* the pair keeps the edge */
    return (a->triangle[0] > b->triangle[0]) - (a->triangle[0] < b->triangle[0]);
}

static enum status list_twofold(const struct seams *s, struct pile *list)
{
    for (size_t i = 0; i < s->many.count; i++) {
        uint32_t half = PILE(s->many, struct seams_many)[i].half, mate = s->mate[half];
        if (mate < half)
            continue;
        const uint32_t *v = s->made[half / 3].v;
        uint32_t a = v[half % 3], b = v[(half % 3 + 1) % 3];
        struct twofold *to = pile_next(list, sizeof *to);
        if (!to)
            return job_fail_memory(s->job, 2 * list->count * sizeof *to);
        *to = (struct twofold){
            a < b ? a : b, a < b ? b : a, {half / 3, mate == NO_INDEX ? NO_INDEX : mate / 3}};
        list->count++;
    }
    if (list->count)
        qsort(list->data, list->count, sizeof(struct twofold), twofold_order);
    return STATUS_OK;
}

static int side_of(const struct triangle *t, uint32_t low, uint32_t high)
{
    for (int k = 0; k < 3; k++) {
        uint32_t from = t->v[k], to = t->v[(k + 1) % 3];
        if ((from == low && to == high) || (from == high && to == low))
            return k;
    }
    return -1;
}

/* Splits the triangle, or what was split off it since, that has the edge. */
static bool split_triangle(struct seams *s, uint32_t triangle, uint32_t low, uint32_t high,
                           uint32_t middle)
{
    struct seams_half *half = pile_next(&s->extra, sizeof *half);
    if (!half)
        return false;
    struct triangle *t = &s->made[triangle];
    int k = side_of(t, low, high);
    for (size_t i = 0; k < 0 && i < s->extra.count; i++) {
        struct seams_half *other = PILE(s->extra, struct seams_half) + i;
        if (other->from == triangle) {
            t = &other->triangle;
            k = side_of(t, low, high);
        }
    }
    if (k < 0)
        return true;
    *half = (struct seams_half){*t, triangle};
    half->triangle.v[k] = middle;
    t->v[(k + 1) % 3] = middle;
    s->extra.count++;
    return true;
}

static struct vec place_of(const struct seams *s, uint32_t v)
{
    size_t old = mesh_vertices(s->mesh);
    return v < old ? seams_at(s, v) : point_vec(PILE(s->point, struct point)[v - old]);
}

static uint32_t old_of(const struct seams *s, uint32_t v)
{
    size_t old = mesh_vertices(s->mesh);
    return v < old ? v : PILE(s->mix, struct mix)[v - old].from[0];
}

static enum status split(struct seams *s, const struct twofold *d)
{
    struct vec a = place_of(s, d->low), b = place_of(s, d->high), way = {0};
    struct vec middle = vec_scale(vec_add(a, b), 0.5);
    uint32_t from = old_of(s, d->low), to = old_of(s, d->high), vertex;
    for (int i = 0; i < 6; i++) {
        if (d->triangle[i / 3] == NO_INDEX)
            continue;
        uint32_t v = s->made[d->triangle[i / 3]].v[i % 3];
        if (v != d->low && v != d->high)
            way = vec_add(way, vec_unit(vec_sub(place_of(s, v), middle)));
    }
    const struct mix mix = {{from, to, from}, {0.5f, 0.5f, 0}};
    bool ok = seams_add(s, vec_along(middle, s->apart, vec_unit(way)), mix, &vertex);
    for (int i = 0; i < 2 && ok; i++)
        if (d->triangle[i] != NO_INDEX)
            ok = split_triangle(s, d->triangle[i], d->low, d->high, vertex);
    return ok ? STATUS_OK : job_fail_memory(s->job, s->extra.count * sizeof(struct seams_half));
}

enum status seams_split(struct seams *s)
{
    struct pile list = {0};
    enum status status = list_twofold(s, &list);
    const struct twofold *d = list.data;
    for (size_t i = 1; i < list.count && status == STATUS_OK; i++)
        if (d[i].low == d[i - 1].low && d[i].high == d[i - 1].high)
            status = split(s, &d[i]);
    pile_release(&list);
    return status;
}
