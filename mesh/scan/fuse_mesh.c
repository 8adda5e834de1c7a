#include "scan/fuse_mesh.h"

#include <stdlib.h>
#include <string.h>

#include "core/crossings.h"
#include "core/fans.h"
#include "core/job.h"
#include "core/lineage.h"
#include "core/subset.h"
#include "core/topology.h"

enum { BLOCK = 4096, HALVINGS = 3, ROUNDS_MOST = 24, KEPT_MOST = 1 << 20 };

static const double far_off = 2; /* steps */

/* --- crossings ------------------------------------------------------------------------------- */

struct uncrossing {
    struct net *net;
    struct fair_shape *shape;
    struct mesh *mesh;
    uint8_t *back;  /* one a vertex: how often it was put halfway back */
    uint8_t *wrong; /* one a vertex: its triangles cross, or those beside it do */
    struct job *job;
};

static void mark(struct uncrossing *u, size_t t)
{
    for (int k = 0; k < 3; k++)
        u->wrong[mesh_triangle(u->mesh)[t].v[k]] = 1;
}

static bool is_flat(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    struct vec b = vec_sub(point_vec(mesh_point(mesh)[v[1]]), a);
    struct vec c = vec_sub(point_vec(mesh_point(mesh)[v[2]]), a);
    double l2 = fmax(vec_length2(b), vec_length2(c));
    return vec_length2(vec_cross(b, c)) <= 1e-14 * l2 * l2;
}

/* Marks the vertices of triangles that cross or have no area; *any: whether there are some. */
static enum status find_wrong(struct uncrossing *u, bool *any)
{
    struct crossing *pair;
    size_t kept;
    uint64_t count;
    enum status status = crossings_find(u->mesh, KEPT_MOST, &pair, &kept, &count, u->job);
    if (status != STATUS_OK)
        return status;
    memset(u->wrong, 0, u->net->vertices);
    *any = count > 0;
    for (size_t i = 0; i < kept; i++) {
        mark(u, pair[i].a);
        mark(u, pair[i].b);
    }
    free(pair);
    for (size_t t = 0; t < mesh_triangles(u->mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(u->job))
            return job_fail_cancelled(u->job);
        if (is_flat(u->mesh, t)) {
            mark(u, t);
            *any = true;
        }
    }
    return STATUS_OK;
}

/* Marks the neighbours of those marked; a later round reaches farther. */
static void widen(struct uncrossing *u, int rings)
{
    const struct net *net = u->net;
    for (uint8_t ring = 1; ring <= rings; ring++)
        for (size_t v = 0; v < net->vertices; v++)
            for (int k = 0; k < LINKS && u->wrong[v] == ring; k++)
                if (net->link[v][k] != NO_INDEX && u->wrong[net->link[v][k]] == 0)
                    u->wrong[net->link[v][k]] = (uint8_t)(ring + 1);
}

static void put_back(struct uncrossing *u, bool all)
{
    struct net *net = u->net;
    for (size_t v = 0; v < net->vertices; v++) {
        if (!all && !u->wrong[v])
            continue;
        struct vec middle = net_middle(net, v), at = point_vec(net->at[v]);
        bool home = all || ++u->back[v] > HALVINGS;
        u->back[v] = home ? HALVINGS : u->back[v];
        struct vec to = home ? middle : vec_scale(vec_add(at, middle), 0.5);
        net->at[v] = vec_point(to);
    }
}

/* The same triangles at the net's present places. */
static enum status take_places(struct uncrossing *u)
{
    struct mesh *moved = mesh_new_like(u->mesh);
    struct array *point = moved ? array_new(u->net->vertices, sizeof(struct point)) : NULL;
    if (!point) {
        mesh_free(moved);
        return job_fail_memory(u->job, u->net->vertices * sizeof(struct point));
    }
    array_free(moved->point);
    moved->point = point;
    net_places(u->net, moved);
    mesh_free(u->mesh);
    u->mesh = moved;
    return STATUS_OK;
}

/* Lets patches give way of which something is wrong that stands too far from its cell's middle to
 * be put back there without a spike. *any: whether one did. */
static enum status let_retreat(struct uncrossing *u, bool *any)
{
    const struct fair_shape *s = u->shape;
    uint8_t *gives_way = scratch_new(s->patches, 1);
    double far = far_off * (double)u->net->grid->frame.step;
    if (!gives_way)
        return job_fail_memory(u->job, s->patches);
    memset(gives_way, 0, s->patches);
    for (size_t i = 0; i < s->count; i++) {
        uint32_t v = s->vertex[i];
        struct vec off = vec_sub(point_vec(u->net->at[v]), net_middle(u->net, v));
        if (u->wrong[v] && vec_length2(off) > far * far)
            gives_way[s->of[i]] = 1;
    }
    enum status status = fair_retreat(u->net, u->shape, gives_way, any, u->job);
    scratch_free(gives_way);
    return status;
}

static enum status uncross(struct uncrossing *u)
{
    bool any = true, retreats = true;
    for (int round = 0;;) {
        enum status status = find_wrong(u, &any);
        if (status != STATUS_OK || !any || round > ROUNDS_MOST)
            return status;
        if (retreats)
            status = let_retreat(u, &retreats);
        if (status == STATUS_OK && !retreats) {
            widen(u, round / 2);
            put_back(u, round++ == ROUNDS_MOST);
        }
        if (status == STATUS_OK)
            status = take_places(u);
        if (status != STATUS_OK)
            return status;
    }
}

enum status mesh_uncross(struct net *net, struct fair_shape *shape, struct mesh **mesh,
                         size_t *reverted, struct job *job)
{
    struct uncrossing u = {.net = net, .shape = shape, .mesh = *mesh, .job = job};
    u.back = scratch_new(net->vertices, 1);
    u.wrong = scratch_new(net->vertices, 1);
    enum status status = STATUS_OK;
    if (u.back && u.wrong) {
        memset(u.back, 0, net->vertices);
        status = uncross(&u);
        *reverted = 0;
        for (size_t v = 0; v < net->vertices; v++)
            *reverted += u.back[v] > 0;
    } else {
        status = job_fail_memory(job, 2 * net->vertices);
    }
    scratch_free(u.back);
    scratch_free(u.wrong);
    *mesh = u.mesh;
    return status;
}

/* --- attributes ------------------------------------------------------------------------------ */

enum status mesh_attributes(const struct net *net, struct mesh *mesh, struct job *job)
{
    uint8_t *origin = mesh_attribute_new(mesh, ATTRIBUTE_origin);
    void *colour = net->colour ? mesh_attribute_new(mesh, ATTRIBUTE_colour) : NULL;
    if (!origin || (net->colour && !colour))
        return job_fail_memory(job, mesh_triangles(mesh) + 4 * net->vertices);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (t % BLOCK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        origin[t] = ORIGIN_MEASURED;
        for (int k = 0; k < 3; k++)
            if (net->trust[mesh_triangle(mesh)[t].v[k]] == TRUST_NONE)
                origin[t] = ORIGIN_INVENTED;
    }
    if (colour)
        memcpy(colour, net->colour, 4 * net->vertices);
    return STATUS_OK;
}

/* --- the measured part ----------------------------------------------------------------------- */

/* Takes the triangles at pinched vertices out of keep[]; *count: of such vertices. */
static enum status drop_pinched(const struct mesh *mesh, uint8_t *keep, size_t *count,
                                struct job *job)
{
    const struct topology *topology = mesh_topology(mesh, job);
    uint32_t *vertex = NULL;
    if (!topology)
        return job_status(job);
    enum status status = fans_pinched(mesh, topology, &vertex, count, job);
    if (status != STATUS_OK || *count == 0)
        return status;
    uint8_t *pinched = scratch_new(mesh_vertices(mesh), 1);
    if (pinched) {
        memset(pinched, 0, mesh_vertices(mesh));
        for (size_t i = 0; i < *count; i++)
            pinched[vertex[i]] = 1;
        for (size_t t = 0; t < mesh_triangles(mesh); t++) {
            const uint32_t *v = mesh_triangle(mesh)[t].v;
            keep[t] = !(pinched[v[0]] | pinched[v[1]] | pinched[v[2]]);
        }
    }
    scratch_free(pinched);
    scratch_free(vertex);
    return pinched ? STATUS_OK : job_fail_memory(job, mesh_vertices(mesh));
}

/* The same without vertices that no triangle uses. */
static struct mesh *used_only(const struct mesh *mesh, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), used = 0;
    uint32_t *number = scratch_new(vertices, sizeof *number), *old = NULL;
    struct mesh *made = NULL;
    old = scratch_new(vertices, sizeof *old);
    if (number && old) {
        memset(number, 0, vertices * sizeof *number);
        for (size_t t = 0; t < mesh_triangles(mesh); t++)
            for (int k = 0; k < 3; k++)
                number[mesh_triangle(mesh)[t].v[k]] = 1;
        for (uint32_t v = 0; v < vertices; v++)
            if (number[v]) {
                number[v] = (uint32_t)used;
                old[used++] = v;
            }
        made = mesh_new(used, mesh_triangles(mesh));
    }
    for (size_t v = 0; v < used && made; v++)
        mesh_point_edit(made)[v] = mesh_point(mesh)[old[v]];
    for (size_t t = 0; t < mesh_triangles(mesh) && made; t++)
        for (int k = 0; k < 3; k++)
            mesh_triangle_edit(made)[t].v[k] = number[mesh_triangle(mesh)[t].v[k]];
    const struct lineage lineage = {
        .plain_vertices = used, .vertex = old, .plain_triangles = mesh_triangles(mesh)};
    if (!made)
        job_fail_memory(job, vertices * 8);
    if (made && lineage_carry(&lineage, mesh, made, job) != STATUS_OK) {
        mesh_free(made);
        made = NULL;
    }
    if (made)
        made->joined = true;
    scratch_free(number);
    scratch_free(old);
    return made;
}

struct mesh *mesh_measured(const struct mesh *mesh, struct job *job)
{
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    uint8_t *keep = scratch_new(mesh_triangles(mesh), 1);
    if (!keep) {
        job_fail_memory(job, mesh_triangles(mesh));
        return NULL;
    }
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        keep[t] = origin[t] == ORIGIN_MEASURED;
    struct mesh *all = used_only(mesh, job), *part = all ? mesh_subset(all, keep, job) : NULL;
    mesh_free(all);
    for (size_t pinched = 1; part && pinched;) {
        memset(keep, 1, mesh_triangles(part));
        enum status status = drop_pinched(part, keep, &pinched, job);
        struct mesh *rest = status == STATUS_OK && pinched ? mesh_subset(part, keep, job) : NULL;
        if (status == STATUS_OK && !pinched)
            break;
        mesh_free(part);
        part = rest;
    }
    scratch_free(keep);
    if (part && mesh_triangles(part) == 0) {
        job_fail(job, STATUS_REFUSED,
                 "no part of the surface was measured closely enough; choose a larger spacing=");
        mesh_free(part);
        part = NULL;
    }
    return part;
}

/* --- bits ------------------------------------------------------------------------------------ */

enum { BIT_MOST = 48 };              /* triangles measured */
static const double bit_share = 0.2; /* of a bit's triangles measured */

/* Whether each piece of surface is one of those to keep. */
static void choose_pieces(const struct components *components, const size_t *measured,
                          uint8_t *stays)
{
    size_t greatest = 0;
    for (size_t i = 1; i < components->count; i++)
        if (measured[i] > measured[greatest])
            greatest = i;
    for (size_t i = 0; i < components->count; i++)
        stays[i] = i == greatest || (measured[i] > BIT_MOST &&
                                     (double)measured[i] > bit_share * components->triangles[i]);
}

struct mesh *mesh_without_bits(const struct mesh *mesh, size_t *dropped, struct job *job)
{
    const struct components *components = mesh_components(mesh, job);
    const uint8_t *origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    *dropped = 0;
    if (!components)
        return NULL;
    size_t *measured = calloc(components->count + 1, sizeof *measured);
    uint8_t *stays = calloc(components->count + 1, 1);
    uint8_t *keep = scratch_new(mesh_triangles(mesh), 1);
    struct mesh *rest = NULL;
    if (measured && stays && keep) {
        for (size_t t = 0; t < mesh_triangles(mesh); t++)
            measured[components->of[t]] += origin[t] == ORIGIN_MEASURED;
        choose_pieces(components, measured, stays);
        for (size_t t = 0; t < mesh_triangles(mesh); t++)
            keep[t] = stays[components->of[t]];
        for (size_t i = 0; i < components->count; i++)
            *dropped += !stays[i];
        rest = mesh_subset(mesh, keep, job);
    } else {
        job_fail_memory(job, mesh_triangles(mesh));
    }
    free(measured);
    free(stays);
    scratch_free(keep);
    return rest;
}
