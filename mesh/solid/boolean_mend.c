/* What rounding did at the cut, mended: the triangles there as a graft (graft.h) and back. */
#include "solid/boolean_parts.h"
#include "solid/graft.h"
#include "solid/needles.h"

/* --- the graft ---------------------------------------------------------------------------------
 */

/* Around every vertex of a new triangle, and of one that may touch the other surface, all others
 * are needed too. */
static enum status take_all(struct joint *j)
{
    enum status status = STATUS_OK;
    uint32_t b = j->side[1].base, made = joint_made_base(j);
    size_t count = j->made.count;
    for (size_t i = 0; i < 6 * j->pair.count && status == STATUS_OK; i++) {
        int s = i / 3 % 2;
        uint32_t face = PILE(j->pair, uint32_t)[i / 3];
        status = joint_take_around(j, s, j->side[s].triangle[face].v[i % 3]);
    }
    for (size_t i = 0; i < 3 * count && status == STATUS_OK; i++) {
        struct made_triangle t = PILE(j->made, struct made_triangle)[i / 3];
        if (!t.whole && t.v[i % 3] < made)
            status = t.v[i % 3] < b ? joint_take_around(j, 0, t.v[i % 3])
                                    : joint_take_around(j, 1, t.v[i % 3] - b);
    }
    return status;
}

static void mark_whole(struct graft *p, uint32_t ref)
{
    uint32_t v = graft_vertex(p, ref);
    if (v != NO_INDEX)
        p->whole[v] = 1;
}

static void set_whole(struct graft *p, const struct joint *j)
{
    const struct made_triangle *made = j->made.data;
    memset(p->whole, 0, p->vertices);
    for (size_t i = 0; i < 3 * p->triangles; i++)
        if (!made[i / 3].whole)
            p->whole[p->corner[i]] = 1;
    for (size_t i = 0; i < j->node.count; i++)
        mark_whole(p, joint_node(j, (uint32_t)i)->ref);
    for (size_t i = 0; i < j->copy.count; i++)
        mark_whole(p, joint_made_base(j) + (uint32_t)(j->node.count + i));
    for (size_t i = 0; i < 6 * j->pair.count; i++) {
        int s = i / 3 % 2;
        uint32_t face = PILE(j->pair, uint32_t)[i / 3];
        mark_whole(p, joint_ref(j, s, j->side[s].triangle[face].v[i % 3]));
    }
}

static enum status take_graft(struct graft *p, struct joint *j)
{
    enum status status = take_all(j);
    if (status != STATUS_OK)
        return status;
    const struct made_triangle *made = j->made.data;
    if (!graft_new(p, j->made.count))
        return STATUS_MEMORY;
    for (size_t i = 0; i < 3 * p->triangles; i++)
        p->corner[i] = made[i / 3].v[i % 3];
    graft_number(p);
    for (size_t v = 0; v < p->vertices; v++)
        p->at[v] = point_vec(joint_point(j, p->ref[v]));
    set_whole(p, j);
    return STATUS_OK;
}

/* --- back into the joint -----------------------------------------------------------------------
 */

static enum status write_vertices(struct graft *p, struct joint *j)
{
    enum status status = STATUS_OK;
    for (size_t v = 0; v < p->vertices && status == STATUS_OK; v++)
        if (p->start[v + 1] > p->start[v] &&
            !same_place(p->at[v], point_vec(joint_point(j, p->ref[v]))))
            status = joint_copy(j, p->ref[v], vec_point(p->at[v]), &p->ref[v]);
    return status;
}

/* Faces taken along that stayed as they are go back to the untouched. */
static enum status write_triangles(const struct graft *p, struct joint *j)
{
    struct made_triangle *made = j->made.data, *was = scratch_new(p->triangles, sizeof *was);
    size_t kept = 0;
    if (!was)
        return job_fail_memory(j->job, p->triangles * sizeof *was);
    if (p->triangles)
        memcpy(was, made, p->triangles * sizeof *was);
    for (size_t t = 0; t < p->triangles; t++) {
        struct made_triangle now = was[p->from[t]];
        bool same = now.whole && p->from[t] == t;
        if (p->corner[3 * t] == NO_INDEX)
            continue;
        const uint32_t *v = j->side[now.side].triangle[now.face].v;
        for (uint32_t k = 0; k < 3; k++) {
            now.v[k] = p->ref[p->corner[3 * t + k]];
            uint32_t old = joint_turns(j, now.side) && k ? 3 - k : k;
            same = same && now.v[k] == joint_ref(j, now.side, v[old]);
        }
        if (same)
            j->side[now.side].face_fate[now.face] = (uint8_t)j->side[now.side].wanted;
        else
            made[kept++] = now;
    }
    j->made.count = kept;
    scratch_free(was);
    return STATUS_OK;
}

/* Faces that the other surface does not meet stay. */
static bool are_cut(const void *context, uint32_t needle, uint32_t twin, struct vec now[2][3])
{
    const struct made_triangle *made = context;
    (void)now;
    return !made[needle].whole && !made[twin].whole;
}

/* Needles that are whole would turn over when the result is moved about. */
static enum status turn_needles(struct graft *p, const struct joint *j)
{
    const struct graft_rule rule = {NEEDLES * j->grain, false, are_cut, j->made.data};
    size_t flips;
    return graft_flip(p, &rule, &flips);
}

enum status joint_mend(struct joint *j)
{
    struct graft p = {.job = j->job, .made = joint_made_base(j)};
    enum status status = take_graft(&p, j);
    if (status == STATUS_OK)
        status = graft_settle(&p, j->grain, &j->report.crossings);
    if (status == STATUS_OK && !j->report.crossings)
        status = turn_needles(&p, j);
    if (status == STATUS_OK)
        status = write_vertices(&p, j);
    if (status == STATUS_OK)
        status = write_triangles(&p, j);
    graft_release(&p);
    return status;
}
