#include "solid/cutters.h"

#include "core/job.h"
#include "core/polygon.h"

static const double pi = 3.14159265358979323846;

enum { FEWEST = 24, MOST = 1 << 14 };

uint32_t cutter_facets(double radius)
{
    double n = pi / acos(radius / (radius + CUTTER_EXCESS / 2));
    return n < FEWEST ? FEWEST : n > MOST ? MOST : 4 * (uint32_t)ceil(n / 4);
}

/* --- the mesh in the making ---------------------------------------------------------------- */

struct maker {
    struct cutter_place place;
    struct vec side; /* with up and along right-handed */
    struct mesh *mesh;
    uint32_t vertices, triangles;
};

static enum status maker_init(struct maker *m, const struct cutter_place *place, size_t vertices,
                              size_t triangles, struct job *job)
{
    *m = (struct maker){*place, vec_cross(place->up, place->along), mesh_new(vertices, triangles),
                        0, 0};
    if (!m->mesh)
        return job_fail_memory(job, vertices * sizeof(struct point));
    for (int k = 0; k < 3; k++)
        m->mesh->origin[k] = place->origin[k];
    m->mesh->joined = true;
    return STATUS_OK;
}

/* A vertex at x, y across the axis, y up. */
static uint32_t add_vertex(struct maker *m, double x, double y, double depth)
{
    struct vec p = vec_along(m->place.at, x, m->side);
    p = vec_along(vec_along(p, y, m->place.up), depth, m->place.along);
    mesh_point_edit(m->mesh)[m->vertices] = vec_point(mesh_local(m->mesh, p));
    return m->vertices++;
}

static void add_triangle(struct maker *m, uint32_t a, uint32_t b, uint32_t c)
{
    mesh_triangle_edit(m->mesh)[m->triangles++] = (struct triangle){{a, b, c}};
}

/* The wall between two rings of `count` that run counter-clockwise seen against the axis. */
static void add_wall(struct maker *m, const uint32_t *ring, const uint32_t *deeper, uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        uint32_t j = (i + 1) % count;
        add_triangle(m, ring[i], ring[j], deeper[j]);
        add_triangle(m, ring[i], deeper[j], deeper[i]);
    }
}

/* Corner i of n around a circle whose facets touch it, the first facet at angle 0. */
static double corner_x(double radius, uint32_t i, uint32_t n)
{
    return radius / cos(pi / n) * cos(pi * (2 * i + 1) / n);
}
static double corner_y(double radius, uint32_t i, uint32_t n)
{
    return radius / cos(pi / n) * sin(pi * (2 * i + 1) / n);
}

/* --- bores --------------------------------------------------------------------------------- */

double bore_recess(const struct bore *bore)
{
    switch (bore->head) {
    case BORE_COUNTERSUNK:
        return (bore->mouth - bore->diameter) / 2;
    case BORE_COUNTERBORE:
        return bore->seat;
    case BORE_NONE:
        break;
    }
    return 0;
}

double bore_radius(const struct bore *bore, double depth)
{
    if (depth >= bore_recess(bore))
        return bore->diameter / 2;
    return bore->head == BORE_COUNTERSUNK ? bore->mouth / 2 - depth : bore->mouth / 2;
}

static enum status bore_judge(const struct bore *bore, struct job *job)
{
    if (bore->head != BORE_NONE && !(bore->mouth > bore->diameter))
        return job_fail(job, STATUS_REFUSED,
                        "the recess for the head, %.4g mm wide, is no wider than the hole of %.4g "
                        "mm; give a wider one or a smaller screw",
                        bore->mouth, bore->diameter);
    if (!(bore->depth > bore_recess(bore)))
        return job_fail(job, STATUS_REFUSED,
                        "a depth of %.4g mm leaves no hole under the recess for the head, which is "
                        "%.4g mm deep; go deeper",
                        bore->depth, bore_recess(bore));
    return STATUS_OK;
}

/* Radius and depth where the tool's outline bends; returns how many. */
static int bore_outline(const struct bore *bore, double bend[4][2])
{
    double r = bore->diameter / 2, wide = bore->head == BORE_NONE ? r : bore->mouth / 2;
    int n = 0;
    bend[n][0] = wide;
    bend[n++][1] = -bore->above;
    if (bore->head != BORE_NONE) {
        bend[n][0] = wide;
        bend[n++][1] = bore->head == BORE_COUNTERSUNK ? 0 : bore->seat;
        bend[n][0] = r;
        bend[n++][1] = bore_recess(bore);
    }
    bend[n][0] = r;
    bend[n++][1] = bore->depth;
    return n;
}

static void bore_build(struct maker *m, double bend[4][2], int bends, uint32_t n, uint32_t *ring)
{
    for (int b = 0; b < bends; b++) {
        for (uint32_t i = 0; i < n; i++)
            ring[(uint32_t)b * n + i] =
                add_vertex(m, corner_x(bend[b][0], i, n), corner_y(bend[b][0], i, n), bend[b][1]);
        if (b > 0)
            add_wall(m, ring + (uint32_t)(b - 1) * n, ring + (uint32_t)b * n, n);
    }
    const uint32_t *end = ring + (uint32_t)(bends - 1) * n;
    uint32_t first = add_vertex(m, 0, 0, bend[0][1]),
             last = add_vertex(m, 0, 0, bend[bends - 1][1]);
    for (uint32_t i = 0; i < n; i++) {
        add_triangle(m, first, ring[(i + 1) % n], ring[i]);
        add_triangle(m, last, end[i], end[(i + 1) % n]);
    }
}

enum status bore_cutter(const struct bore *bore, const struct cutter_place *place,
                        struct mesh **out, struct job *job)
{
    enum status status = bore_judge(bore, job);
    if (status != STATUS_OK)
        return status;
    double bend[4][2];
    int bends = bore_outline(bore, bend);
    uint32_t n = cutter_facets(bend[0][0]);
    uint32_t *ring = scratch_new((size_t)bends * n, sizeof *ring);
    if (!ring)
        return job_fail_memory(job, (size_t)bends * n * sizeof *ring);
    struct maker m;
    status = maker_init(&m, place, (size_t)bends * n + 2, 2 * (size_t)bends * n, job);
    if (status == STATUS_OK) {
        bore_build(&m, bend, bends, n, ring);
        *out = m.mesh;
    }
    scratch_free(ring);
    return status;
}

/* --- keyholes ------------------------------------------------------------------------------ */

/* The outlines across the axis, as corners of a plane. Both share the lower half of the entry,
 * `shared` corners; then `hole` goes round the entry and up the slot, `back` up beside it. */
struct outlines {
    uint32_t facets, shared, hole, back; /* hole and back: all corners, the shared ones first */
    struct vec *at;                      /* the hole's corners; then the back's own */
    uint32_t *vertex;   /* rings: hole at the mouth, at the lip; back at its floor */
    uint32_t (*cap)[3]; /* room for the triangles of one cap */
};

static void outlines_release(struct outlines *o)
{
    scratch_free(o->at);
    scratch_free(o->vertex);
    scratch_free(o->cap);
}

static void put(struct outlines *o, uint32_t *count, double x, double y)
{
    o->at[(*count)++] = vec(x, y, 0);
}

/* Where the slot's side meets the entry: the height at which the facets cross x = slot / 2. */
static double slot_foot(const struct keyhole *k, uint32_t n, uint32_t *last)
{
    double r = k->entry / 2, x = k->slot / 2;
    *last = 0;
    while (*last + 1 < n / 4 && corner_x(r, *last + 1, n) > x + 1e-6 * r)
        ++*last;
    double x0 = corner_x(r, *last, n), y0 = corner_y(r, *last, n);
    double x1 = corner_x(r, *last + 1, n), y1 = corner_y(r, *last + 1, n);
    return y0 + (x0 - x) / (x0 - x1) * (y1 - y0);
}

static void outline_hole(struct outlines *o, const struct keyhole *k)
{
    uint32_t n = o->facets, count = 0, last;
    double r = k->entry / 2, s = k->slot / 2, foot = slot_foot(k, n, &last);
    for (uint32_t i = n / 2 - 1; i <= n; i++)
        put(o, &count, corner_x(r, i, n), corner_y(r, i, n));
    o->shared = count;
    for (uint32_t i = 1; i <= last; i++)
        put(o, &count, corner_x(r, i, n), corner_y(r, i, n));
    put(o, &count, s, foot);
    for (uint32_t i = 0; i < n / 2; i++)
        put(o, &count, corner_x(s, i, n), k->travel + corner_y(s, i, n));
    put(o, &count, -s, foot);
    for (uint32_t i = last; i >= 1; i--)
        put(o, &count, corner_x(r, n / 2 - 1 - i, n), corner_y(r, n / 2 - 1 - i, n));
    o->hole = count;
    for (uint32_t i = 0; i < n / 2; i++)
        put(o, &count, corner_x(r, i, n), k->travel + corner_y(r, i, n));
    o->back = o->shared + n / 2;
}

static enum status outlines_init(struct outlines *o, const struct keyhole *k, struct job *job)
{
    uint32_t n = cutter_facets(k->entry / 2);
    size_t corners = 3 * (size_t)n; /* hole: at most n/2 + 2 + n/2 + n/2 + 2; back's own: n/2 */
    *o = (struct outlines){.facets = n,
                           .at = scratch_new(corners, sizeof *o->at),
                           .vertex = scratch_new(3 * corners, sizeof *o->vertex),
                           .cap = scratch_new(corners, sizeof *o->cap)};
    if (!o->at || !o->vertex || !o->cap) {
        outlines_release(o);
        return job_fail_memory(job, corners * (sizeof *o->at + 24));
    }
    outline_hole(o, k);
    return STATUS_OK;
}

/* Triangles over the polygon of the outline's corners `which`, whose vertices are `vertex`. */
static enum status add_cap(struct maker *m, const struct outlines *o, const uint32_t *which,
                           const uint32_t *vertex, uint32_t count, bool turned, struct job *job)
{
    struct vec *corner = scratch_new(count, sizeof *corner);
    if (!corner)
        return job_fail_memory(job, count * sizeof *corner);
    for (uint32_t i = 0; i < count; i++)
        corner[i] = o->at[which[i]];
    enum status status = polygon_triangulate(corner, count, o->cap, job);
    for (uint32_t t = 0; t + 2 < count && status == STATUS_OK; t++) {
        const uint32_t *c = o->cap[t];
        add_triangle(m, vertex[c[0]], vertex[c[turned ? 2 : 1]], vertex[c[turned ? 1 : 2]]);
    }
    scratch_free(corner);
    return status;
}

/* The ledge behind the lip: up the back's side, over, down, and back along the hole. Its corners
 * and their vertices, in turn. */
static uint32_t ledge(const struct outlines *o, const uint32_t *lip, const uint32_t *back,
                      uint32_t *which, uint32_t *vertex)
{
    uint32_t count = 0;
    for (uint32_t i = o->shared; i < o->back; i++, count++) {
        which[count] = o->hole + i - o->shared;
        vertex[count] = back[i];
    }
    which[count] = 0;
    vertex[count++] = lip[0];
    for (uint32_t i = o->hole - 1; i >= o->shared - 1; i--, count++) {
        which[count] = i;
        vertex[count] = lip[i];
    }
    return count;
}

static enum status keyhole_build(struct maker *m, const struct outlines *o, const struct keyhole *k,
                                 uint32_t *which, struct job *job)
{
    uint32_t *mouth = o->vertex, *lip = mouth + o->hole, *back = lip + o->hole;
    uint32_t *floor = back + o->back, *vertex = which + 3 * (size_t)o->facets;
    for (uint32_t i = 0; i < o->hole; i++)
        mouth[i] = add_vertex(m, o->at[i].x, o->at[i].y, -k->above);
    for (uint32_t i = 0; i < o->hole; i++)
        lip[i] = add_vertex(m, o->at[i].x, o->at[i].y, k->lip);
    for (int deep = 0; deep < 2; deep++)
        for (uint32_t i = 0; i < o->back; i++) {
            struct vec at = o->at[i < o->shared ? i : o->hole + i - o->shared];
            (deep ? floor : back)[i] =
                !deep && i < o->shared
                    ? lip[i]
                    : add_vertex(m, at.x, at.y, deep ? k->lip + k->pocket : k->lip);
        }
    add_wall(m, mouth, lip, o->hole);
    add_wall(m, back, floor, o->back);
    for (uint32_t i = 0; i < o->hole; i++)
        which[i] = i;
    enum status status = add_cap(m, o, which, mouth, o->hole, true, job);
    if (status == STATUS_OK) {
        uint32_t count = ledge(o, lip, back, which, vertex);
        status = add_cap(m, o, which, vertex, count, true, job);
    }
    for (uint32_t i = 0; i < o->back; i++) { /* from the top: no three corners in a row there */
        uint32_t from = (o->shared + o->facets / 4 + i) % o->back;
        which[i] = from < o->shared ? from : o->hole + from - o->shared;
        vertex[i] = floor[from];
    }
    return status == STATUS_OK ? add_cap(m, o, which, vertex, o->back, false, job) : status;
}

static enum status keyhole_judge(const struct keyhole *k, struct job *job)
{
    if (!(k->slot > 0 && k->entry > k->slot))
        return job_fail(job, STATUS_REFUSED,
                        "a slot of %.4g mm is no narrower than the entry of %.4g mm; nothing would "
                        "hold the head",
                        k->slot, k->entry);
    if (!(k->travel >= k->entry / 2 + k->slot / 2))
        return job_fail(job, STATUS_REFUSED,
                        "a travel of %.4g mm does not leave the entry of %.4g mm; give %.4g mm or "
                        "more",
                        k->travel, k->entry, k->entry);
    if (!(k->lip > 0 && k->pocket > 0 && k->above > 0))
        return job_fail(job, STATUS_REFUSED, "a keyhole needs a lip and a pocket behind it");
    return STATUS_OK;
}

enum status keyhole_cutter(const struct keyhole *keyhole, const struct cutter_place *place,
                           struct mesh **out, struct job *job)
{
    struct outlines o;
    enum status status = keyhole_judge(keyhole, job);
    if (status == STATUS_OK)
        status = outlines_init(&o, keyhole, job);
    if (status != STATUS_OK)
        return status;
    uint32_t *which = scratch_new(6 * (size_t)o.facets, sizeof *which);
    size_t vertices = 2 * (size_t)o.hole + o.facets / 2 + o.back;
    struct maker m = {0};
    status = which ? maker_init(&m, place, vertices, 2 * vertices - 4, job)
                   : job_fail_memory(job, 24 * (size_t)o.facets);
    if (status == STATUS_OK)
        status = keyhole_build(&m, &o, keyhole, which, job);
    if (status == STATUS_OK)
        *out = m.mesh;
    else
        mesh_free(m.mesh);
    scratch_free(which);
    outlines_release(&o);
    return status;
}
