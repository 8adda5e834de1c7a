/* Pieces that do not hang together: parts of some size, and floating bits, each of which has less
 * than a hundredth of the largest piece's area (common practice, no source). */
#include <stdlib.h>

#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_pieces;

#define BIT_SHARE 0.01

struct box {
    struct point min, max;
    uint32_t first; /* triangle */
};

struct piece {
    uint32_t component;
    double area;
};

static int largest_first(const void *x, const void *y)
{
    const struct piece *a = x, *b = y;
    if (a->area != b->area)
        return a->area > b->area ? -1 : 1;
    return a->component < b->component ? -1 : a->component > b->component;
}

static void box_add(struct box *box, struct point p)
{
    box->min =
        (struct point){fminf(box->min.x, p.x), fminf(box->min.y, p.y), fminf(box->min.z, p.z)};
    box->max =
        (struct point){fmaxf(box->max.x, p.x), fmaxf(box->max.y, p.y), fmaxf(box->max.z, p.z)};
}

static void find_boxes(const struct mesh *mesh, const struct components *components,
                       struct box *box)
{
    for (size_t i = 0; i < components->count; i++)
        box[i] = (struct box){
            {INFINITY, INFINITY, INFINITY}, {-INFINITY, -INFINITY, -INFINITY}, NO_INDEX};
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        struct box *b = box + components->of[t];
        b->first = b->first == NO_INDEX ? (uint32_t)t : b->first;
        for (int k = 0; k < 3; k++)
            box_add(b, mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]]);
    }
}

static struct place place_box(const struct box *box)
{
    struct vec low = point_vec(box->min), high = point_vec(box->max);
    return (struct place){box->first, vec_point(vec_scale(vec_add(low, high), 0.5)),
                          (float)(vec_length(vec_sub(high, low)) / 2)};
}

/* Pieces from..end of the sorted list, as one finding. */
static enum status find_some(struct inspection *inspection, const struct piece *piece,
                             const struct box *box, size_t from, size_t end, bool bits,
                             struct job *job)
{
    size_t kept = end - from < PLACES_MOST ? end - from : PLACES_MOST;
    struct place *places = malloc((kept + 1) * sizeof *places);
    if (!places)
        return job_fail_memory(job, kept * sizeof *places);
    double area = 0;
    for (size_t i = from; i < end; i++)
        area += piece[i].area;
    for (size_t i = 0; i < kept; i++)
        places[i] = place_box(box + piece[from + i].component);
    double share = 100 * area / inspection->figure[FIGURE_area].real;
    if (!bits)
        return inspection_find(inspection, &check_pieces, SEVERITY_WARNING, end - from, places,
                               kept, job, "%zu large pieces that do not hang together", end - from);
    return inspection_find(inspection, &check_pieces, SEVERITY_WARNING, end - from, places, kept,
                           job, "%zu floating bit%s, together %.2g %% of the surface", end - from,
                           plural(end - from), share);
}

static enum status find_pieces(struct inspection *inspection, const struct components *components,
                               struct piece *piece, struct box *box, struct job *job)
{
    size_t count = components->count, large = 0;
    for (size_t i = 0; i < count; i++)
        piece[i] = (struct piece){(uint32_t)i, components->area[i]};
    qsort(piece, count, sizeof *piece, largest_first);
    while (large < count && piece[large].area >= BIT_SHARE * piece[0].area)
        large++;
    find_boxes(inspection->mesh, components, box);
    enum status status = STATUS_OK;
    if (large > 1)
        status = find_some(inspection, piece, box, 0, large, false, job);
    if (large < count && status == STATUS_OK)
        status = find_some(inspection, piece, box, large, count, true, job);
    return status;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct components *components = mesh_components(inspection->mesh, job);
    if (!components)
        return job_status(job);
    size_t count = components->count;
    inspection_count(inspection, FIGURE_components, (int64_t)count);
    if (count < 2)
        return STATUS_OK;
    struct piece *piece = scratch_new(count, sizeof *piece);
    struct box *box = scratch_new(count, sizeof *box);
    enum status status = piece && box ? find_pieces(inspection, components, piece, box, job)
                                      : job_fail_memory(job, count * (sizeof *piece + sizeof *box));
    scratch_free(piece);
    scratch_free(box);
    return status;
}

const struct check check_pieces = {
    .name = "pieces",
    .title = "Pieces",
    .help = "Loose bits print as loose bits, or fail the print; \"dust\" drops the small ones.",
    .severity = SEVERITY_WARNING,
    .run = run,
};
