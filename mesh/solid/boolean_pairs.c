/* Which faces may meet. */
#include <stdlib.h>

#include "core/exact.h"
#include "solid/boolean_parts.h"

enum { BLOCK = 256 };

static void box_of(const struct solid *s, uint32_t face, struct vec *min, struct vec *max)
{
    struct vec c[3];
    solid_face(s, face, c);
    *min = vec(fmin(fmin(c[0].x, c[1].x), c[2].x), fmin(fmin(c[0].y, c[1].y), c[2].y),
               fmin(fmin(c[0].z, c[1].z), c[2].z));
    *max = vec(fmax(fmax(c[0].x, c[1].x), c[2].x), fmax(fmax(c[0].y, c[1].y), c[2].y),
               fmax(fmax(c[0].z, c[1].z), c[2].z));
}

struct looking { /* for one block of faces of the solid with fewer of them near */
    const struct joint *j;
    int few;
    uint32_t face;
    struct vec corner[3];
    struct pile pair; /* uint32_t[2] */
    bool lacking;
};

/* All corners strictly on one side of the plane. */
static bool beyond(const struct vec plane[3], const struct vec corner[3])
{
    int first = exact_side(plane[0], plane[1], plane[2], corner[0]);
    return first && exact_side(plane[0], plane[1], plane[2], corner[1]) == first &&
           exact_side(plane[0], plane[1], plane[2], corner[2]) == first;
}

static bool look(uint32_t item, void *context)
{
    struct looking *l = context;
    struct vec corner[3];
    uint32_t other = solid_near_face(&l->j->side[1 - l->few], item);
    solid_face(&l->j->side[1 - l->few], other, corner);
    if (beyond(l->corner, corner) || beyond(corner, l->corner))
        return true;
    uint32_t(*to)[2] = pile_next(&l->pair, sizeof *to);
    if (!to) {
        l->lacking = true;
        return false;
    }
    (*to)[l->few] = l->face;
    (*to)[1 - l->few] = other;
    l->pair.count++;
    return true;
}

static void look_block(struct looking *l, size_t block)
{
    const struct solid *few = &l->j->side[l->few], *many = &l->j->side[1 - l->few];
    size_t end = (block + 1) * BLOCK < few->near.count ? (block + 1) * BLOCK : few->near.count;
    for (size_t i = block * BLOCK; i < end && !l->lacking; i++) {
        struct vec min, max;
        l->face = PILE(few->near, uint32_t)[i];
        solid_face(few, l->face, l->corner);
        box_of(few, l->face, &min, &max);
        tree_box(many->near_tree, min, max, look, l);
    }
}

static int pair_order(const void *x, const void *y)
{
    const uint32_t *a = x, *b = y;
    int first = (a[0] > b[0]) - (a[0] < b[0]);
    return first ? first : (a[1] > b[1]) - (a[1] < b[1]);
}

/* In an order that does not depend on the tree they were found by. */
static enum status gather(struct joint *j, struct looking *l, size_t blocks)
{
    size_t count = 0;
    bool lacking = false;
    for (size_t b = 0; b < blocks; b++) {
        count += l[b].pair.count;
        lacking = lacking || l[b].lacking;
    }
    uint32_t(*to)[2] = lacking ? NULL : scratch_new(count, sizeof *to);
    if (!to)
        return job_fail_memory(j->job, count * sizeof *to);
    j->pair = (struct pile){to, count, count};
    for (size_t b = 0; b < blocks; to += l[b].pair.count, b++)
        if (l[b].pair.count)
            memcpy(to, l[b].pair.data, l[b].pair.count * sizeof *to);
    if (count)
        qsort(j->pair.data, count, sizeof *to, pair_order);
    return STATUS_OK;
}

enum status joint_pairs(struct joint *j)
{
    enum status status = joint_near(j);
    if (status != STATUS_OK || !j->side[0].near.count || !j->side[1].near.count)
        return status;
    int few = j->side[1].near.count <= j->side[0].near.count;
    size_t blocks = (j->side[few].near.count + BLOCK - 1) / BLOCK;
    struct looking *l = scratch_new(blocks, sizeof *l);
    if (!l)
        return job_fail_memory(j->job, blocks * sizeof *l);
    job_phase(j->job, "finding where the surfaces meet", 300, j->side[few].near.count);
    int threads = blocks > 1 ? job_threads(j->job) : 1;
    for (size_t b = 0; b < blocks; b++)
        l[b] = (struct looking){.j = j, .few = few};
#pragma omp parallel for num_threads(threads) schedule(dynamic)
    for (size_t b = 0; b < blocks; b++)
        if (job_step(j->job, BLOCK))
            look_block(&l[b], b);
    status = job_cancelled(j->job) ? job_fail_cancelled(j->job) : gather(j, l, blocks);
    for (size_t b = 0; b < blocks; b++)
        pile_release(&l[b].pair);
    scratch_free(l);
    return status;
}
