#include "surface/fill_spread.h"

#include <stdlib.h>
#include <string.h>

#include "core/blend.h"
#include "core/job.h"
#include "surface/fill_solve.h"

struct spreading {
    const struct patch *patch;
    const struct mesh *old;
    uint32_t *start, *unknown; /* rows, one an inner edge: its ends' values are equal */
    double *factor, *weight, *right, *x;
    uint32_t *end; /* 2 an inner edge: its vertices */
    size_t rows;
};

/* The least weight an edge has beside an evenly shaped one; without it a value could leave the
 * range of its neighbours' (negative cotangents) or hang loose. */
static const double weight_least = 0.05;

static double edge_weight(const struct patch *patch, uint32_t half)
{
    struct vec a = patch->at[patch_from(patch, half)], b = patch->at[patch_to(patch, half)];
    double sum = 0;
    for (int k = 0; k < 2; k++, half = patch->twin[half]) {
        struct vec c = patch->at[patch_apex(patch, half)];
        struct vec u = vec_sub(a, c), v = vec_sub(b, c);
        double sine = vec_length(vec_cross(u, v));
        sum += sine > 0 ? vec_dot(u, v) / sine : 0;
    }
    return sum > weight_least ? fmin(sum, 1 / weight_least) : weight_least;
}

static bool write_edges(struct spreading *s)
{
    const struct patch *p = s->patch;
    size_t halves = 3 * p->triangles;
    s->start = malloc((halves / 2 + 2) * sizeof *s->start);
    s->unknown = malloc((halves + 1) * sizeof *s->unknown);
    s->factor = malloc((halves + 1) * sizeof *s->factor);
    s->weight = malloc((halves / 2 + 1) * sizeof *s->weight);
    s->end = malloc((halves + 1) * sizeof *s->end);
    if (!s->start || !s->unknown || !s->factor || !s->weight || !s->end)
        return false;
    uint32_t terms = 0;
    for (uint32_t h = 0; h < halves; h++) {
        uint32_t v[2] = {patch_from(p, h), patch_to(p, h)};
        if (p->twin[h] == NO_INDEX || p->twin[h] < h || (v[0] < p->rim && v[1] < p->rim))
            continue;
        s->start[s->rows] = terms;
        for (int k = 0; k < 2; k++) {
            s->end[2 * s->rows + (size_t)k] = v[k];
            if (v[k] < p->rim)
                continue;
            s->unknown[terms] = (uint32_t)(v[k] - p->rim);
            s->factor[terms++] = k == 0 ? 1 : -1;
        }
        s->weight[s->rows++] = edge_weight(p, h);
    }
    s->start[s->rows] = terms;
    return true;
}

static const char *element(const struct mesh *mesh, const struct attribute_row *row,
                           enum attribute attribute, uint32_t v)
{
    return (const char *)mesh_attribute(mesh, attribute) + v * row->stride;
}

/* The value of an old vertex of the patch. */
static void read_value(const struct spreading *s, const struct attribute_row *row,
                       enum attribute attribute, uint32_t v, double *value)
{
    struct blend_sum sum = {0};
    blend_add(&sum, row, element(s->old, row, attribute, s->patch->old[v]), 1);
    memcpy(value, sum.value, row->components * sizeof *value);
}

static enum status spread_one(struct spreading *s, enum attribute attribute, struct mesh *made,
                              uint32_t first, const struct job *job)
{
    const struct attribute_row *row = attribute_row(attribute);
    const struct patch *p = s->patch;
    size_t columns = row->components, unknowns = p->vertices - p->rim;
    for (size_t r = 0; r < s->rows; r++)
        for (int k = 0; k < 2; k++) {
            double *right = s->right + r * columns, sign = k == 0 ? -1 : 1;
            double value[BLEND_COMPONENTS_MOST] = {0};
            if (s->end[2 * r + (size_t)k] < p->rim)
                read_value(s, row, attribute, s->end[2 * r + (size_t)k], value);
            for (size_t c = 0; c < columns; c++)
                right[c] = (k == 0 ? 0 : right[c]) + sign * value[c];
        }
    const struct squares squares = {.unknowns = unknowns,
                                    .rows = s->rows,
                                    .columns = columns,
                                    .start = s->start,
                                    .unknown = s->unknown,
                                    .factor = s->factor,
                                    .weight = s->weight,
                                    .right = s->right,
                                    .place = p->at + p->rim};
    enum status status = squares_solve(&squares, s->x, job);
    char *to = (char *)made->attribute[attribute]->data + first * row->stride;
    for (size_t v = 0; v < unknowns && status == STATUS_OK; v++) {
        struct blend_sum sum = {.weight = 1, .greatest = 1};
        memcpy(sum.value, s->x + v * columns, columns * sizeof *sum.value);
        blend_write(&sum, row, to + v * row->stride);
    }
    return status == STATUS_REFUSED ? STATUS_OK : status; /* the seeds' values stay */
}

enum status spread_values(const struct patch *patch, const struct mesh *old, struct mesh *made,
                          uint32_t first, const struct job *job)
{
    struct spreading s = {.patch = patch, .old = old};
    enum status status = STATUS_OK;
    for (int i = 0; i < ATTRIBUTE_COUNT && status == STATUS_OK; i++) {
        const struct attribute_row *row = attribute_row((enum attribute)i);
        if (!old->attribute[i] || row->domain != DOMAIN_VERTEX || row->blend == BLEND_FIRST ||
            patch->vertices == patch->rim)
            continue;
        if (!s.start) {
            bool ok = write_edges(&s);
            s.right = malloc((s.rows * SQUARES_COLUMNS_MOST + 1) * sizeof *s.right);
            s.x = malloc((patch->vertices * SQUARES_COLUMNS_MOST + 1) * sizeof *s.x);
            if (!ok || !s.right || !s.x)
                status = STATUS_MEMORY;
        }
        if (status == STATUS_OK)
            status = spread_one(&s, (enum attribute)i, made, first, job);
    }
    free(s.start);
    free(s.unknown);
    free(s.factor);
    free(s.weight);
    free(s.end);
    free(s.right);
    free(s.x);
    return status;
}

void spread_seeds(const struct patch *patch, uint32_t *seed)
{
    for (uint32_t v = 0; v < patch->vertices; v++)
        seed[v] = v < patch->rim ? v : NO_INDEX;
    for (bool going = true; going;) {
        going = false;
        for (size_t i = 0; i < 3 * patch->triangles; i++) {
            uint32_t from = patch->corner[i], to = patch->corner[i % 3 == 2 ? i - 2 : i + 1];
            uint32_t a = seed[from], b = seed[to];
            if ((a == NO_INDEX) == (b == NO_INDEX))
                continue;
            seed[from] = seed[to] = a == NO_INDEX ? b : a;
            going = true;
        }
    }
}
