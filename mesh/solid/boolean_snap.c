/* Vertices of the second mesh that nearly coincide with some of the first. */
#include "solid/boolean_parts.h"

static double apart2(const struct joint *j, uint32_t a, uint32_t b)
{
    return vec_length2(vec_sub(solid_at(&j->side[0], a), solid_at(&j->side[1], b)));
}

/* Which vertex of side 1 comes nearest to each of side 0, among those nearer than `reach`. */
static enum status match(const struct joint *j, double reach, struct lookup *nearest)
{
    for (size_t i = 0; i < 9 * j->pair.count; i++) {
        const uint32_t *face = PILE(j->pair, uint32_t) + 2 * (i / 9);
        uint32_t a = j->side[0].triangle[face[0]].v[i / 3 % 3];
        uint32_t b = j->side[1].triangle[face[1]].v[i % 3];
        double now = apart2(j, a, b);
        if (now > reach * reach)
            continue;
        uint32_t *slot = lookup_at(nearest, a, 0);
        if (!slot)
            return job_fail_memory(j->job, nearest->room * 60);
        if (*slot == NO_INDEX || now < apart2(j, a, *slot) ||
            (now == apart2(j, a, *slot) && b < *slot))
            *slot = b;
    }
    return STATUS_OK;
}

static bool moves(const struct joint *j, uint32_t a, uint32_t b)
{
    return apart2(j, a, b) > 0;
}

enum status joint_snap(const struct joint *j, struct mesh **snapped)
{
    struct lookup nearest = {0};
    enum status status = match(j, 2 * j->grain, &nearest);
    bool any = false;
    *snapped = NULL;
    for (size_t i = 0; i < nearest.room && !any; i++)
        any =
            nearest.value[i] != NO_INDEX && moves(j, (uint32_t)nearest.key[i][0], nearest.value[i]);
    if (status == STATUS_OK && any) {
        const struct mesh *mesh = j->side[1].mesh;
        struct mesh *moved = mesh_new_like(mesh);
        struct array *point = moved ? array_new(mesh_vertices(mesh), sizeof(struct point)) : NULL;
        if (point) {
            array_free(moved->point);
            moved->point = point;
            memcpy(point->data, mesh_point(mesh), array_bytes(point));
            for (size_t i = 0; i < nearest.room; i++)
                if (nearest.value[i] != NO_INDEX)
                    mesh_point_edit(moved)[nearest.value[i]] = j->side[0].point[nearest.key[i][0]];
            *snapped = moved;
        } else {
            mesh_free(moved);
            status = job_fail_memory(j->job, mesh_vertices(mesh) * sizeof(struct point));
        }
    }
    lookup_release(&nearest);
    return status;
}
