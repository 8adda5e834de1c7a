/* The faces of either solid that reach into the other's box. A small cut into a large mesh needs a
 * tree of those alone. */
#include "solid/boolean_parts.h"

enum { BLOCK = 16384 };

/* Bits of the sides of the other's box beyond which the vertex lies: a face whose vertices share
 * one does not reach in. */
static uint8_t beyond(const struct point *p, const struct solid *other)
{
    double x = (double)p->x, y = (double)p->y, z = (double)p->z;
    const struct vec *low = &other->min, *high = &other->max;
    return (uint8_t)((x < low->x) | (x > high->x) << 1 | (y < low->y) << 2 | (y > high->y) << 3 |
                     (z < low->z) << 4 | (z > high->z) << 5);
}

/* One pass counts (list NULL), a second lists. */
static size_t look_block(const struct solid *s, const uint8_t *away, size_t block, uint32_t *list)
{
    size_t count = 0, faces = mesh_triangles(s->mesh);
    size_t end = (block + 1) * BLOCK < faces ? (block + 1) * BLOCK : faces;
    for (size_t t = block * BLOCK; t < end; t++) {
        const uint32_t *v = s->triangle[t].v;
        if (away[v[0]] & away[v[1]] & away[v[2]])
            continue;
        if (list)
            list[count] = (uint32_t)t;
        count++;
    }
    return count;
}

/* count: room for one a block and one more. */
static enum status list_faces(struct solid *s, const uint8_t *away, size_t *count, size_t blocks,
                              struct job *job)
{
    size_t sum = 0;
    int threads = blocks > 2 ? job_threads(job) : 1;
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t b = 0; b < blocks; b++)
        count[b] = look_block(s, away, b, NULL);
    for (size_t b = 0; b <= blocks; b++) {
        size_t here = b < blocks ? count[b] : 0;
        count[b] = sum;
        sum += here;
    }
    uint32_t *list = scratch_new(sum, sizeof *list);
    if (!list)
        return job_fail_memory(job, sum * sizeof *list);
    s->near = (struct pile){list, sum, sum};
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t b = 0; b < blocks; b++)
        if (count[b + 1] > count[b])
            look_block(s, away, b, list + count[b]);
    return STATUS_OK;
}

static enum status list_near(struct joint *j, int side)
{
    struct solid *s = &j->side[side];
    const struct solid *other = &j->side[1 - side];
    size_t vertices = mesh_vertices(s->mesh);
    size_t blocks = (mesh_triangles(s->mesh) + BLOCK - 1) / BLOCK;
    size_t *count = scratch_new(blocks + 1, sizeof *count);
    uint8_t *away = scratch_new(vertices, sizeof *away);
    enum status status = STATUS_OK;
    if (count && away) {
        int threads = blocks > 2 ? job_threads(j->job) : 1;
#pragma omp parallel for num_threads(threads) schedule(static)
        for (size_t v = 0; v < vertices; v++)
            away[v] = beyond(&s->point[v], other);
        status = list_faces(s, away, count, blocks, j->job);
    } else {
        status = job_fail_memory(j->job, blocks * sizeof *count + vertices);
    }
    scratch_free(count);
    scratch_free(away);
    return status;
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
