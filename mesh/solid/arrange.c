#include "solid/arrange.h"

#include "core/closest.h"
#include "core/lineage.h"
#include "core/sets.h"
#include "solid/arrange_parts.h"

enum { LOOK = 256 };

/* --- what is touched -------------------------------------------------------------------------- */

static bool touch(struct arranging *a, uint32_t triangle)
{
    if (a->touched_of[triangle] != NO_INDEX)
        return true;
    struct touched *t = pile_next(&a->touched, sizeof *t);
    if (!t)
        return false;
    const uint32_t *v = mesh_triangle(a->mesh)[triangle].v;
    *t = (struct touched){.triangle = triangle};
    for (int k = 0; k < 3; k++) {
        spots_grid(a->spots, mesh_point(a->mesh)[v[k]], t->p[k]);
        if (!spots_vertex(a->spots, t->p[k], false, &t->spot[k]))
            return false;
    }
    t->plane = plane_through(t->p[0], t->p[1], t->p[2]);
    for (int k = 1; k < 3; k++) {
        wide best = t->plane.normal[t->dropped], now = t->plane.normal[k];
        if ((now < 0 ? -now : now) > (best < 0 ? -best : best))
            t->dropped = k;
    }
    t->turn = (t->plane.normal[t->dropped] > 0) - (t->plane.normal[t->dropped] < 0);
    a->touched_of[triangle] = (uint32_t)a->touched.count++;
    return true;
}

static enum status touch_all(struct arranging *a, const struct crossing *pair, size_t pairs)
{
    size_t triangles = mesh_triangles(a->mesh);
    a->touched_of = scratch_new(triangles, sizeof *a->touched_of);
    bool ok = a->touched_of != NULL;
    if (ok)
        memset(a->touched_of, 255, triangles * sizeof *a->touched_of);
    for (size_t i = 0; i < pairs && ok; i++) {
        ok = touch(a, pair[i].a) && touch(a, pair[i].b);
        if (i % LOOK == LOOK - 1 && job_cancelled(a->job))
            return job_fail_cancelled(a->job);
    }
    a->set = ok ? scratch_new(a->touched.count, sizeof *a->set) : NULL;
    for (uint32_t i = 0; a->set && i < a->touched.count; i++)
        a->set[i] = i;
    return a->set ? STATUS_OK : job_fail_memory(a->job, triangles * sizeof *a->touched_of);
}

static bool add_sides(struct arranging *a)
{
    for (uint32_t i = 0; i < 3 * a->touched.count; i++) {
        const struct touched *t = touched_at(a, i / 3);
        struct stretch *s = pile_next(&a->stretch, sizeof *s);
        if (!s)
            return false;
        *s = (struct stretch){i / 3, {t->spot[i % 3], t->spot[(i + 1) % 3]}, NO_INDEX, i % 3};
        a->stretch.count += t->turn != 0;
    }
    return true;
}

static enum status meet_all(struct arranging *a, const struct crossing *pair, size_t pairs)
{
    enum status status = STATUS_OK;
    job_phase(a->job, "finding where the surface meets itself", 200, pairs);
    for (size_t i = 0; i < pairs && status == STATUS_OK; i++) {
        status = arrange_meet(a, a->touched_of[pair[i].a], a->touched_of[pair[i].b]);
        if (i % LOOK == LOOK - 1 && !job_step(a->job, LOOK) && status == STATUS_OK)
            status = job_fail_cancelled(a->job);
    }
    for (uint32_t i = 0; i < a->touched.count; i++)
        touched_at(a, i)->cluster = sets_find(a->set, i);
    if (status == STATUS_OK && job_cancelled(a->job))
        return job_fail_cancelled(a->job);
    if (status == STATUS_OK && !add_sides(a))
        status = job_fail_memory(a->job, a->stretch.count * sizeof(struct stretch));
    return status;
}

/* --- cut, cluster by cluster ------------------------------------------------------------------ */

struct sorted { /* a touched triangle or a stretch, by its cluster */
    uint32_t cluster, item;
};

static int sorted_order(const void *x, const void *y)
{
    const struct sorted *a = x, *b = y;
    if (a->cluster != b->cluster)
        return a->cluster < b->cluster ? -1 : 1;
    return (a->item > b->item) - (a->item < b->item);
}

struct clusters {
    struct sorted *member, *cut;
    uint32_t *list;       /* members in order */
    struct stretch *part; /* stretches in order */
};

static bool sort_all(const struct arranging *a, struct clusters *c)
{
    size_t members = a->touched.count, cuts = a->stretch.count;
    c->member = scratch_new(members, sizeof *c->member);
    c->cut = scratch_new(cuts, sizeof *c->cut);
    c->list = scratch_new(members, sizeof *c->list);
    c->part = scratch_new(cuts, sizeof *c->part);
    if (!c->member || !c->cut || !c->list || !c->part)
        return false;
    const struct stretch *stretch = a->stretch.data;
    for (uint32_t i = 0; i < members; i++)
        c->member[i] = (struct sorted){touched_at(a, i)->cluster, i};
    for (uint32_t i = 0; i < cuts; i++)
        c->cut[i] = (struct sorted){touched_at(a, stretch[i].in)->cluster, i};
    if (members)
        qsort(c->member, members, sizeof *c->member, sorted_order);
    if (cuts)
        qsort(c->cut, cuts, sizeof *c->cut, sorted_order);
    for (size_t i = 0; i < members; i++)
        c->list[i] = c->member[i].item;
    for (size_t i = 0; i < cuts; i++)
        c->part[i] = stretch[c->cut[i].item];
    return true;
}

static enum status cut_all(struct arranging *a)
{
    struct clusters c = {0};
    enum status status =
        sort_all(a, &c) ? STATUS_OK : job_fail_memory(a->job, a->stretch.count * 32);
    size_t members = a->touched.count, cuts = a->stretch.count;
    job_phase(a->job, "cutting triangles", 400, members);
    for (size_t m = 0, s = 0, end, last; m < members && status == STATUS_OK; m = end, s = last) {
        for (end = m; end < members && c.member[end].cluster == c.member[m].cluster;)
            end++;
        for (last = s; last < cuts && c.cut[last].cluster == c.member[m].cluster;)
            last++;
        if (touched_at(a, c.list[m])->turn)
            status = arrange_cut(a, c.list + m, end - m, c.part + s, last - s);
        if (!job_step(a->job, end - m) && status == STATUS_OK)
            status = job_fail_cancelled(a->job);
    }
    scratch_free(c.member);
    scratch_free(c.cut);
    scratch_free(c.list);
    scratch_free(c.part);
    return status;
}

/* --- the new mesh ----------------------------------------------------------------------------- */

struct building {
    const struct arranging *a;
    struct arrangement *out;
    uint32_t *vertex_of; /* one a spot */
    uint32_t *first;     /* one a new vertex: the first facet that has it */
    uint32_t *same;      /* one a vertex, when some are one on the grid: which it is now; or NULL */
    size_t vertices, made;
};

/* Vertices that are one spot become the first of them. False when there is no memory. */
static bool join_same(struct building *b)
{
    const struct arranging *a = b->a;
    for (uint32_t i = 0; i < 3 * a->touched.count; i++) {
        const struct touched *t = touched_at(a, i / 3);
        uint32_t v = mesh_triangle(a->mesh)[t->triangle].v[i % 3];
        uint32_t first = b->vertex_of[t->spot[i % 3]];
        if (first == v)
            continue;
        if (!b->same) {
            b->same = scratch_new(b->vertices, sizeof *b->same);
            for (uint32_t w = 0; b->same && w < b->vertices; w++)
                b->same[w] = w;
        }
        if (!b->same)
            return false;
        b->same[v] = first;
    }
    return true;
}

/* Spots that are vertices are those; the others get numbers by first use. */
static void number_spots(struct building *b)
{
    const struct arranging *a = b->a;
    const struct facet *facet = a->facet.data;
    memset(b->vertex_of, 255, a->spots->spot.count * sizeof *b->vertex_of);
    for (uint32_t i = 0; i < 3 * a->touched.count; i++) {
        const struct touched *t = touched_at(a, i / 3);
        uint32_t v = mesh_triangle(a->mesh)[t->triangle].v[i % 3];
        if (b->vertex_of[t->spot[i % 3]] > v)
            b->vertex_of[t->spot[i % 3]] = v;
    }
    for (uint32_t i = 0; i < 3 * a->facet.count; i++) {
        uint32_t spot = facet[i / 3].spot[i % 3];
        if (b->vertex_of[spot] != NO_INDEX)
            continue;
        b->out->spot[b->made] = spot;
        b->first[b->made] = i / 3;
        b->vertex_of[spot] = (uint32_t)(b->vertices + b->made++);
    }
}

static struct mix mix_at(const struct arranging *a, uint32_t triangle, struct vec place)
{
    const uint32_t *v = mesh_triangle(a->mesh)[triangle].v;
    struct vec corner[3];
    double weight[3];
    for (int k = 0; k < 3; k++)
        corner[k] = point_vec(mesh_point(a->mesh)[v[k]]);
    closest_of_triangle(place, corner, weight);
    return (struct mix){{v[0], v[1], v[2]}, {(float)weight[0], (float)weight[1], (float)weight[2]}};
}

static enum status write_mesh(struct building *b, struct mix *mix)
{
    const struct arranging *a = b->a;
    const struct facet *facet = a->facet.data;
    struct mesh *made = b->out->mesh;
    struct triangle *to = mesh_triangle_edit(made);
    uint32_t *from = b->out->from;
    memcpy(mesh_point_edit(made), mesh_point(a->mesh), array_bytes(a->mesh->point));
    for (size_t i = 0; i < b->made; i++) {
        if (i % LOOK == 0 && job_cancelled(a->job))
            return job_fail_cancelled(a->job);
        struct vec place = spots_place(a->spots, b->out->spot[i]);
        mesh_point_edit(made)[b->vertices + i] = vec_point(place);
        mix[i] = mix_at(a, facet[b->first[i]].from, place);
    }
    for (uint32_t t = 0; t < mesh_triangles(a->mesh); t++) {
        if (t % LOOK == 0 && job_cancelled(a->job))
            return job_fail_cancelled(a->job);
        if (a->touched_of[t] != NO_INDEX)
            continue;
        *to = mesh_triangle(a->mesh)[t];
        for (int k = 0; k < 3 && b->same; k++)
            to->v[k] = b->same[to->v[k]];
        to++;
        *from++ = t;
    }
    for (size_t i = 0; i < a->facet.count; i++, to++) {
        *from++ = facet[i].from;
        for (int k = 0; k < 3; k++)
            to->v[k] = b->vertex_of[facet[i].spot[k]];
    }
    const struct lineage lineage = {.plain_vertices = b->vertices,
                                    .mix = mix,
                                    .plain_triangles = mesh_triangles(made),
                                    .triangle = b->out->from};
    return lineage_carry(&lineage, a->mesh, made, a->job);
}

static enum status build(struct arranging *a, struct arrangement *out)
{
    size_t spots = a->spots->spot.count;
    size_t whole = mesh_triangles(a->mesh) - a->touched.count;
    struct building b = {.a = a, .out = out, .vertices = mesh_vertices(a->mesh)};
    struct mix *mix = NULL;
    b.vertex_of = scratch_new(spots, sizeof *b.vertex_of);
    b.first = scratch_new(spots, sizeof *b.first);
    out->spot = scratch_new(spots, sizeof *out->spot);
    out->from = scratch_new(whole + a->facet.count, sizeof *out->from);
    out->old = b.vertices;
    out->whole = whole;
    bool ok = b.vertex_of && b.first && out->spot && out->from;
    if (ok) {
        number_spots(&b);
        ok = !job_cancelled(a->job) && join_same(&b);
        mix = scratch_new(b.made, sizeof *mix);
        out->mesh = mesh_new(b.vertices + b.made, whole + a->facet.count);
    }
    ok = ok && mix && out->mesh;
    enum status status = ok                      ? write_mesh(&b, mix)
                         : job_cancelled(a->job) ? job_fail_cancelled(a->job)
                                                 : job_fail_memory(a->job, spots * 32);
    scratch_free(b.vertex_of);
    scratch_free(b.first);
    scratch_free(b.same);
    scratch_free(mix);
    return status;
}

enum status arrange(const struct mesh *mesh, const struct crossing *pair, size_t pairs,
                    struct arrangement *out, struct job *job)
{
    *out = (struct arrangement){0};
    spots_init(&out->spots, mesh);
    struct arranging a = {.mesh = mesh, .spots = &out->spots, .job = job};
    enum status status = touch_all(&a, pair, pairs);
    if (status == STATUS_OK)
        status = meet_all(&a, pair, pairs);
    if (status == STATUS_OK)
        status = cut_all(&a);
    if (status == STATUS_OK)
        status = build(&a, out);
    pile_release(&a.touched);
    pile_release(&a.stretch);
    pile_release(&a.facet);
    scratch_free(a.touched_of);
    scratch_free(a.set);
    return status;
}

void arrangement_release(struct arrangement *arrangement)
{
    mesh_free(arrangement->mesh);
    spots_release(&arrangement->spots);
    scratch_free(arrangement->spot);
    scratch_free(arrangement->from);
}
