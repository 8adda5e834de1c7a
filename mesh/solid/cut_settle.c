/* What rounding did at the plane, mended. A thin triangle that is cut leaves thinner ones, and
 * their new corners are rounded: what was thinner than that may fold. Corners are drawn together,
 * or moved by some steps of single precision, but never out of a plane square to an axis; what is
 * then still a needle is turned into its neighbour (graft.h). */
#include <float.h>

#include "core/topology.h"
#include "solid/cut_parts.h"
#include "solid/graft.h"
#include "solid/needles.h"

/* Of a mesh's coordinates the greatest, beside its origin. */
static double reach_of(const struct mesh *mesh)
{
    const struct bounds *box = mesh_bounds(mesh, NULL);
    double most = 0;
    for (int k = 0; box && k < 3; k++) {
        double low = (&box->min.x)[k] - mesh->origin[k], high = low + (&box->size.x)[k];
        most = fmax(most, fmax(fabs(low), fabs(high)));
    }
    return most;
}

static const struct triangle *triangle_at(const struct cutting *c, size_t i)
{
    return i < c->pieces ? &c->piece[i] : &c->cap[i - c->pieces];
}

static bool any_low(const struct cutting *c, double least)
{
    for (size_t i = 0; i < c->pieces + c->caps; i++) {
        struct vec p[3];
        double longest2 = 0;
        for (int k = 0; k < 3; k++)
            p[k] = cut_position(c, triangle_at(c, i)->v[k]);
        for (int k = 0; k < 3; k++)
            longest2 = fmax(longest2, vec_length2(vec_sub(p[(k + 1) % 3], p[k])));
        double area2 = vec_length2(vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0])));
        if (area2 < least * least * longest2)
            return true;
    }
    return false;
}

/* All triangles around a made vertex are among the pieces and caps, and around one that lies in the
 * plane, which must not move. */
static bool take_graft(const struct cutting *c, struct graft *g)
{
    size_t old = mesh_vertices(c->mesh);
    if (!graft_new(g, c->pieces + c->caps))
        return false;
    for (size_t i = 0; i < g->triangles; i++)
        memcpy(&g->corner[3 * i], triangle_at(c, i)->v, sizeof triangle_at(c, i)->v);
    graft_number(g);
    for (size_t v = 0; v < g->vertices; v++) {
        g->at[v] = cut_position(c, g->ref[v]);
        g->whole[v] = g->ref[v] >= old || (g->still && c->sign[g->ref[v]] == 0);
    }
    return true;
}

/* The cap stays flat, and the pieces' rim in its plane. */
static bool are_alike(const void *context, uint32_t needle, uint32_t twin, struct vec now[2][3])
{
    const struct cutting *c = context;
    (void)now;
    return (needle < c->pieces) == (twin < c->pieces);
}

/* --- back ------------------------------------------------------------------------------------- */

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
        struct triangle *t = i < 3 * c->pieces ? c->piece + i / 3 : c->cap + (i / 3 - c->pieces);
        if (t->v[i % 3] >= old)
            t->v[i % 3] = old + number[t->v[i % 3] - old];
    }
}

static bool write_back(struct cutting *c, const struct graft *g)
{
    size_t pieces = 0, caps = 0;
    uint32_t *ancestor = scratch_new(c->pieces, sizeof *ancestor);
    uint32_t *number = scratch_new(c->mades, sizeof *number);
    if (ancestor && number) {
        if (c->pieces)
            memcpy(ancestor, c->ancestor, c->pieces * sizeof *ancestor);
        for (size_t i = 0; i < g->triangles; i++) {
            if (g->corner[3 * i] == NO_INDEX)
                continue;
            struct triangle *to = i < c->pieces ? &c->piece[pieces] : &c->cap[caps];
            for (int k = 0; k < 3; k++)
                to->v[k] = g->ref[g->corner[3 * i + (size_t)k]];
            if (i < c->pieces)
                c->ancestor[pieces++] = ancestor[g->from[i]];
            else
                caps++;
        }
        c->pieces = pieces;
        c->caps = caps;
        for (size_t v = 0, old = mesh_vertices(c->mesh); v < g->vertices; v++)
            if (g->ref[v] >= old)
                c->made[g->ref[v] - old].at = vec_point(g->at[v]);
        drop_unused(c, number);
    }
    bool done = ancestor && number;
    scratch_free(ancestor);
    scratch_free(number);
    return done;
}

/* Whether single precision tells what lies in the plane: a foot that is cut flat stays so. */
static bool is_square(struct vec normal)
{
    return (normal.x != 0) + (normal.y != 0) + (normal.z != 0) == 1;
}

enum status cut_settle(struct cutting *c)
{
    double grain = (double)FLT_EPSILON * reach_of(c->mesh), least = NEEDLES * grain;
    if (!any_low(c, least))
        return STATUS_OK;
    struct graft g = {
        .job = c->job, .made = (uint32_t)mesh_vertices(c->mesh), .still = is_square(c->normal)};
    const struct graft_rule rule = {least, false, are_alike, c};
    uint64_t faults = 0;
    size_t flips;
    enum status status = take_graft(c, &g) ? graft_settle(&g, grain, &faults) : STATUS_MEMORY;
    if (status == STATUS_OK && !faults)
        status = graft_flip(&g, &rule, &flips);
    if (status == STATUS_OK && !faults && !write_back(c, &g))
        status = job_fail_memory(c->job, (c->pieces + c->mades) * sizeof(uint32_t));
    graft_release(&g);
    return status;
}
