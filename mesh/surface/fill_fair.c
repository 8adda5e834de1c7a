#include "surface/fill_fair.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_curve.h"
#include "surface/fill_laplace.h"
#include "surface/fill_solve.h"

/* How far from the middle of the rim's box the surface may go, in diagonals of the box. */
static const double reach_most = 2;

struct fairing { /* one equation a vertex of the patch, old or new: what its Laplacian is */
    struct patch *patch;
    double slope;
    struct laplace laplace;
    struct vec *asked; /* one a vertex: its integral; NULL: zero */
    uint32_t *start, *unknown;
    double *factor, *strength, *right, *x;
};

/* What does not move goes to the right. */
static void write_row(struct fairing *f, uint32_t v, uint32_t *terms)
{
    const struct laplace *l = &f->laplace;
    size_t rim = f->patch->rim;
    struct vec right = f->asked ? f->asked[v] : vec(0, 0, 0);
    double sum = 0;
    f->start[v] = *terms;
    f->strength[v] = 1;
    if (v < rim && !(f->slope > 0)) /* an equation without unknowns */
        return;
    for (uint32_t i = l->start[v]; i < l->start[v] + l->count[v]; i++) {
        uint32_t n = l->near[i];
        sum += l->weight[i];
        if (laplace_is_new(l, n)) {
            f->unknown[*terms] = (uint32_t)(n - rim);
            f->factor[(*terms)++] = l->weight[i];
        } else {
            right = vec_along(right, -l->weight[i], laplace_place(l, n));
        }
    }
    if (v >= rim) {
        f->unknown[*terms] = (uint32_t)(v - rim);
        f->factor[(*terms)++] = -sum;
    } else {
        right = vec_along(right, sum, f->patch->at[v]);
    }
    memcpy(f->right + (size_t)3 * v, (double[3]){right.x, right.y, right.z}, 3 * sizeof(double));
    f->strength[v] = (v < rim ? f->slope : 1) / (l->area[v] > 0 ? l->area[v] : 1);
}

static bool write_rows(struct fairing *f, struct squares *squares)
{
    size_t rim = f->patch->rim, vertices = f->patch->vertices;
    size_t most = f->laplace.start[vertices] + vertices + 1;
    f->start = malloc((vertices + 1) * sizeof *f->start);
    f->unknown = malloc(most * sizeof *f->unknown);
    f->factor = malloc(most * sizeof *f->factor);
    f->strength = malloc((vertices + 1) * sizeof *f->strength);
    f->right = malloc((3 * vertices + 1) * sizeof *f->right);
    f->x = malloc((3 * (vertices - rim) + 1) * sizeof *f->x);
    if (!f->start || !f->unknown || !f->factor || !f->strength || !f->right || !f->x)
        return false;
    uint32_t terms = 0;
    for (uint32_t v = 0; v < vertices; v++)
        write_row(f, v, &terms);
    f->start[vertices] = terms;
    *squares = (struct squares){.unknowns = vertices - rim,
                                .rows = vertices,
                                .columns = 3,
                                .start = f->start,
                                .unknown = f->unknown,
                                .factor = f->factor,
                                .weight = f->strength,
                                .right = f->right,
                                .place = f->patch->at + rim};
    return true;
}

/* A surface that goes far beyond its rim is no filling: the rim has no shape that could be
 * continued (it doubles back, or its triangles lie any way). */
static bool stays_near(const struct fairing *f)
{
    const struct patch *p = f->patch;
    struct vec low = p->at[0], high = low;
    for (size_t v = 1; v < p->rim; v++) {
        struct vec a = p->at[v];
        low = vec(fmin(low.x, a.x), fmin(low.y, a.y), fmin(low.z, a.z));
        high = vec(fmax(high.x, a.x), fmax(high.y, a.y), fmax(high.z, a.z));
    }
    struct vec middle = vec_scale(vec_add(low, high), 0.5);
    double reach2 = reach_most * reach_most * vec_length2(vec_sub(high, low));
    for (size_t v = 0; v < p->vertices - p->rim; v++) {
        const double *x = f->x + 3 * v;
        if (!(vec_length2(vec_sub(vec(x[0], x[1], x[2]), middle)) <= reach2))
            return false;
    }
    return true;
}

static enum status solve(struct fairing *f, bool curved, const struct job *job)
{
    struct squares squares;
    if (curved) {
        f->asked = malloc((f->patch->vertices + 1) * sizeof *f->asked);
        if (!f->asked)
            return STATUS_MEMORY;
        curve_ask(&f->laplace, f->asked);
    }
    if (!write_rows(f, &squares))
        return STATUS_MEMORY;
    enum status status = squares_solve(&squares, f->x, job);
    return status == STATUS_OK && !stays_near(f) ? STATUS_REFUSED : status;
}

enum status fair_patch(struct patch *patch, const struct around *around, double slope, bool curved,
                       const struct job *job)
{
    struct fairing f = {.patch = patch, .slope = slope};
    if (!laplace_make(patch, around, &f.laplace))
        return STATUS_MEMORY;
    enum status status = solve(&f, curved, job);
    for (size_t v = patch->rim; v < patch->vertices && status == STATUS_OK; v++) {
        const double *x = f.x + 3 * (v - patch->rim);
        patch->at[v] = vec(x[0], x[1], x[2]);
    }
    laplace_release(&f.laplace);
    free(f.asked);
    free(f.start);
    free(f.unknown);
    free(f.factor);
    free(f.strength);
    free(f.right);
    free(f.x);
    return status;
}
