#include "scan/icp.h"

#include "core/job.h"

struct sums {
    double matrix[36], right[6];
    struct vec p, q; /* middles of the two sides */
    double radius2;  /* of the pairs about them, mean */
    size_t pairs;
};

static bool counts(const struct link *link, double limit)
{
    return link->kind == LINK_FACING && fabs((double)link->distance) <= limit;
}

/* --- one step -------------------------------------------------------------------------------- */

static void sum_middles(const struct links *links, const struct surfels *moving,
                        const struct surfels *fixed, const struct rigid *pose, double limit,
                        struct sums *sums)
{
    for (size_t i = 0; i < links->count; i++) {
        const struct link *link = &links->link[i];
        if (!counts(link, limit))
            continue;
        sums->p = vec_add(sums->p, surfels_at(moving, link->from));
        sums->q = vec_add(sums->q, surfels_at(fixed, link->to));
        sums->pairs++;
    }
    double per = 1 / fmax(1, (double)sums->pairs);
    sums->p = rigid_apply(pose, vec_scale(sums->p, per));
    sums->q = vec_scale(sums->q, per);
}

/* Adds one pair's equation: (p - q) n + ((p + q) x n) turn + n shift = 0, n the sum of normals. */
static void add_pair(struct sums *sums, struct vec p, struct vec q, struct vec n, double weight)
{
    struct vec turn = vec_cross(vec_add(p, q), n);
    const double row[6] = {turn.x, turn.y, turn.z, n.x, n.y, n.z};
    double off = -vec_dot(vec_sub(p, q), n);
    for (int i = 0; i < 6; i++) {
        for (int j = i; j < 6; j++)
            sums->matrix[6 * i + j] += weight * row[i] * row[j];
        sums->right[i] += weight * row[i] * off;
    }
    sums->radius2 += vec_length2(q);
}

static void sum_pairs(const struct links *links, const struct surfels *moving,
                      const struct surfels *fixed, const struct rigid *pose, double limit,
                      struct sums *sums)
{
    for (size_t i = 0; i < links->count; i++) {
        const struct link *link = &links->link[i];
        if (!counts(link, limit))
            continue;
        struct vec p = vec_sub(rigid_apply(pose, surfels_at(moving, link->from)), sums->p);
        struct vec q = vec_sub(surfels_at(fixed, link->to), sums->q);
        struct vec n = rigid_direction(pose, surfels_normal(moving, link->from));
        n = vec_add(n, surfels_normal(fixed, link->to));
        add_pair(sums, p, q, n, links_weight(link, moving, fixed));
    }
    for (int i = 0; i < 36; i++)
        if (i / 6 > i % 6)
            sums->matrix[i] = sums->matrix[6 * (i % 6) + i / 6];
    sums->radius2 /= fmax(1, (double)sums->pairs);
}

/* Cholesky in place, of the sums with a millionth of the mean of the like diagonals on top. */
bool icp_solve(const double matrix[36], const double right[6], double out[6])
{
    double a[36], like[2] = {0, 0};
    for (int i = 0; i < 6; i++)
        like[i / 3] += matrix[7 * i] / 3;
    for (int i = 0; i < 36; i++)
        a[i] = matrix[i] + (i % 7 == 0 ? 1e-6 * like[i / 21] : 0);
    for (int j = 0; j < 6; j++) {
        for (int k = 0; k < j; k++)
            a[7 * j] -= a[6 * j + k] * a[6 * j + k];
        if (!(a[7 * j] > 0))
            return false;
        a[7 * j] = sqrt(a[7 * j]);
        for (int i = j + 1; i < 6; i++) {
            for (int k = 0; k < j; k++)
                a[6 * i + j] -= a[6 * i + k] * a[6 * j + k];
            a[6 * i + j] /= a[7 * j];
        }
    }
    for (int i = 0; i < 6; i++) {
        out[i] = right[i];
        for (int k = 0; k < i; k++)
            out[i] -= a[6 * i + k] * out[k];
        out[i] /= a[7 * i];
    }
    for (int i = 5; i >= 0; i--) {
        for (int k = i + 1; k < 6; k++)
            out[i] -= a[6 * k + i] * out[k];
        out[i] /= a[7 * i];
    }
    return true;
}

/* The motion from the solution: half the turn before the shift, half after it. */
static struct rigid motion_of(const struct sums *sums, const double x[6], double *moved)
{
    struct vec a = vec(x[0], x[1], x[2]), t = vec(x[3], x[4], x[5]);
    double angle = atan(vec_length(a));
    struct rigid half = rigid_turn(vec_scale(vec_unit(a), angle)), to_zero = rigid_rest();
    struct rigid shift = rigid_rest(), from_zero = rigid_rest();
    to_zero.shift = vec_scale(sums->p, -1);
    shift.shift = vec_scale(t, cos(angle));
    from_zero.shift = sums->q;
    struct rigid step = rigid_then(&to_zero, &half);
    step = rigid_then(&step, &shift);
    step = rigid_then(&step, &half);
    step = rigid_then(&step, &from_zero);
    struct vec by = vec_sub(rigid_apply(&step, sums->p), sums->p);
    *moved = sqrt(vec_length2(by) + 4 * angle * angle * sums->radius2);
    return step;
}

/* False when there is too little to go by. */
static bool step(const struct links *links, const struct surfels *moving,
                 const struct surfels *fixed, double limit, struct rigid *pose, double *moved)
{
    struct sums sums = {.pairs = 0};
    double x[6];
    sum_middles(links, moving, fixed, pose, limit, &sums);
    if (sums.pairs < 6)
        return false;
    sum_pairs(links, moving, fixed, pose, limit, &sums);
    if (!icp_solve(sums.matrix, sums.right, x))
        return false;
    struct rigid by = motion_of(&sums, x, moved);
    *pose = rigid_then(pose, &by);
    *pose = rigid_tidy(pose);
    return true;
}

static enum status run(const struct surfels *moving, const struct surfels *fixed,
                       const struct icp_rule *rule, double within, struct links *links,
                       struct rigid *pose, struct job *job)
{
    double moved = INFINITY;
    for (int round = 0; round < rule->rounds && moved > rule->still; round++) {
        if (job_cancelled(job))
            break;
        links_find(links, moving, fixed, pose, rule->reach, rule->threads);
        double limit = fmax(links_limit(links), fmax(within, 1e-6 * rule->reach));
        if (!step(links, moving, fixed, limit, pose, &moved))
            break;
    }
    return job_cancelled(job) ? STATUS_CANCELLED : STATUS_OK;
}

enum status icp_run(const struct surfels *moving, const struct surfels *fixed,
                    const struct icp_rule *rule, struct links *links, struct rigid *pose,
                    struct job *job)
{
    enum status status = STATUS_OK;
    if (rule->within > 0)
        status = run(moving, fixed, rule, rule->within, links, pose, job);
    if (status == STATUS_OK)
        status = run(moving, fixed, rule, 0, links, pose, job);
    return status;
}
