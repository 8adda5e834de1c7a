/* The faces of either solid that reach into the other's box. A small cut into a large mesh needs a
 * tree of those alone. */
#include "solid/boolean_parts.h"

enum { BLOCK = 16384 };

static bool reaches(const struct solid *s, const struct triangle *t, const struct solid *other)
{
    const struct point *a = &s->point[t->v[0]], *b = &s->point[t->v[1]], *c = &s->point[t->v[2]];
    const double low[3] = {other->min.x, other->min.y, other->min.z};
    const double high[3] = {other->max.x, other->max.y, other->max.z};
    for (int k = 0; k < 3; k++) {
        double x = (double)(&a->x)[k], y = (double)(&b->x)[k], z = (double)(&c->x)[k];
        if ((x < low[k] && y < low[k] && z < low[k]) || (x > high[k] && y > high[k] && z > high[k]))
            return false;
    }
    return true;
}

/* One pass counts (list NULL), a second lists. */
static size_t look_block(const struct solid *s, const struct solid *other, size_t block,
                         uint32_t *list)
{
    size_t count = 0, faces = mesh_triangles(s->mesh);
    size_t end = (block + 1) * BLOCK < faces ? (block + 1) * BLOCK : faces;
    for (size_t t = block * BLOCK; t < end; t++) {
        if (!reaches(s, &s->triangle[t], other))
            continue;
        if (list)
            list[count] = (uint32_t)t;
        count++;
    }
    return count;
}

static enum status list_near(struct joint *j, int side)
{
    struct solid *s = &j->side[side];
    const struct solid *other = &j->side[1 - side];
    size_t blocks = (mesh_triangles(s->mesh) + BLOCK - 1) / BLOCK, sum = 0;
    size_t *count = scratch_new(blocks + 1, sizeof *count);
    if (!count)
        return job_fail_memory(j->job, blocks * sizeof *count);
    int threads = blocks > 2 ? job_threads(j->job) : 1;
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t b = 0; b < blocks; b++)
        count[b] = look_block(s, other, b, NULL);
    for (size_t b = 0; b <= blocks; b++) {
        size_t here = b < blocks ? count[b] : 0;
        count[b] = sum;
        sum += here;
    }
    uint32_t *list = scratch_new(sum, sizeof *list);
    s->near = (struct pile){list, list ? sum : 0, list ? sum : 0};
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t b = 0; b < (list ? blocks : 0); b++)
        if (count[b + 1] > count[b])
            look_block(s, other, b, list + count[b]);
    scratch_free(count);
    return list ? STATUS_OK : job_fail_memory(j->job, sum * sizeof *list);
}

/* The near faces as a mesh that shares the points. */
static struct mesh *part_of(const struct solid *s)
{
    struct mesh *part = mesh_new(0, s->near.count);
    if (!part)
        return NULL;
    array_free(part->point);
    part->point = array_share(s->mesh->point);
    for (size_t i = 0; i < s->near.count; i++)
        mesh_triangle_edit(part)[i] = s->triangle[PILE(s->near, uint32_t)[i]];
    return part;
}

enum status joint_near(struct joint *j)
{
    for (int side = 0; side < 2; side++) {
        struct solid *s = &j->side[side];
        enum status status = list_near(j, side);
        if (status != STATUS_OK)
            return status;
        bool few = 4 * s->near.count < mesh_triangles(s->mesh);
        if (few && s->near.count && !mesh_derived(s->mesh, DERIVED_tree)) {
            s->part = part_of(s);
            if (!s->part)
                return job_fail_memory(j->job, s->near.count * sizeof(struct triangle));
        }
        if (s->near.count)
            s->near_tree = mesh_tree(s->part ? s->part : s->mesh, j->job);
        if (s->near.count && !s->near_tree)
            return job_status(j->job);
    }
    return STATUS_OK;
}
