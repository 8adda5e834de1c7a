#include "scan/links.h"

#include <stdlib.h>

#include "core/job.h"

/* Bits that depend on all bits of i. */
static uint64_t mixed(uint64_t i)
{
    i = (i ^ i >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    i = (i ^ i >> 27) * UINT64_C(0x94D049BB133111EB);
    return i ^ i >> 31;
}

enum status links_make(const struct surfels *moving, size_t most, struct links *out,
                       struct job *job)
{
    size_t all = surfels_count(moving), count = all < most ? all : most;
    size_t bytes = sizeof *out->link + sizeof *out->room;
    *out = (struct links){.count = count, .link = scratch_new(count, bytes)};
    if (!out->link)
        return job_fail_memory(job, count * bytes);
    out->room = (float *)(void *)(out->link + count);
    for (size_t i = 0; i < count; i++) { /* one of each stretch of the list, anywhere in it */
        size_t from = i * all / count, end = (i + 1) * all / count;
        size_t pick = from + (size_t)(mixed(i + 1) % (end - from));
        out->link[i] = (struct link){(uint32_t)pick, NO_INDEX, 0, 0, LINK_NONE, 0};
    }
    return STATUS_OK;
}

void links_release(struct links *links)
{
    scratch_free(links->link);
    *links = (struct links){0};
}

/* --- finding --------------------------------------------------------------------------------- */

/* What the nearest point says: distances along the mean of the normals, and whether it is a rim's,
 * which the point passes by. */
static void set_link(struct link *link, const struct surfels *fixed, struct vec p, struct vec n)
{
    struct vec m = surfels_normal(fixed, link->to), d = vec_sub(p, surfels_at(fixed, link->to));
    double off = vec_dot(d, vec_add(n, m)) / 2, along = vec_dot(d, m);
    double aside2 = vec_length2(d) - along * along, most = 1.5 * fixed->spacing + 0.6 * fabs(along);
    link->distance = (float)off;
    link->alike = (float)vec_dot(n, m);
    link->kind = vec_dot(n, m) < LINKS_FACING ? LINK_OPPOSED
                 : aside2 > most * most       ? LINK_BESIDE
                                              : LINK_FACING;
}

static void find_link(struct link *link, const struct surfels *moving, const struct surfels *fixed,
                      const struct rigid *pose, double reach)
{
    struct vec p = rigid_apply(pose, surfels_at(moving, link->from));
    struct vec n = rigid_direction(pose, surfels_normal(moving, link->from));
    struct nearest nearest = tree_nearest_from(fixed->tree, p, reach, link->to);
    link->kind = LINK_NONE;
    link->to = nearest.triangle; /* a vertex: it is a cloud */
    if (link->to != NO_INDEX)
        set_link(link, fixed, p, n);
}

void links_find(struct links *links, const struct surfels *moving, const struct surfels *fixed,
                const struct rigid *pose, double reach, int threads)
{
#pragma omp parallel for num_threads(threads) schedule(static) if (threads > 1)
    for (size_t i = 0; i < links->count; i++)
        find_link(&links->link[i], moving, fixed, pose, reach);
}

/* The value that would be at the place `nth` if they were sorted (Hoare 1961). */
static float select_value(float *value, size_t count, size_t nth)
{
    size_t low = 0, high = count - 1;
    while (low < high) {
        float pivot = value[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (value[i] < pivot)
                i++;
            while (value[j] > pivot)
                j--;
            if (i >= j)
                break;
            float t = value[i];
            value[i++] = value[j];
            value[j--] = t;
        }
        if (nth <= j)
            high = j;
        else
            low = j + 1;
    }
    return value[nth];
}

double links_limit(const struct links *links)
{
    size_t count = 0;
    for (size_t i = 0; i < links->count; i++)
        if (links->link[i].kind == LINK_FACING)
            links->room[count++] = fabsf(links->link[i].distance);
    return count ? 2.5 * 1.4826 * (double)select_value(links->room, count, count / 2) : 0;
}

/* --- judging --------------------------------------------------------------------------------- */

static bool within(const struct link *link, double tolerance)
{
    return link->kind == LINK_FACING && fabs((double)link->distance) <= tolerance;
}

/* Whether a link that does not agree means that the surfaces differ: not where one end is beside an
 * edge, which smears normals, and over which only one scan may see. Thinned scans do not know. */
static bool differs(const struct link *link, const struct surfels *moving,
                    const struct surfels *fixed)
{
    if (moving->thinned || fixed->thinned)
        return true;
    return !surfels_at_edge(moving, link->from) && !surfels_at_edge(fixed, link->to);
}

/* Whether a link that agrees tells that surfaces are the same, as strictly as those that do not. */
static bool tells(const struct link *link, const struct surfels *moving,
                  const struct surfels *fixed)
{
    return moving->thinned || fixed->thinned ||
           (double)link->alike > fmin(moving->level, fixed->level);
}

static size_t count_links(const struct links *links, const struct surfels *moving,
                          const struct surfels *fixed, double tolerance, struct touch *out)
{
    size_t facing = 0, agree = 0, same = 0, differ = 0;
    double sum = 0;
    for (size_t i = 0; i < links->count; i++) {
        bool faces = links->link[i].kind == LINK_FACING;
        facing += faces;
        if (!within(&links->link[i], tolerance)) {
            differ += faces && differs(&links->link[i], moving, fixed);
            continue;
        }
        agree++;
        same += tells(&links->link[i], moving, fixed);
        sum += (double)links->link[i].distance * (double)links->link[i].distance;
    }
    out->facing = links->count ? (double)facing / (double)links->count : 0;
    out->overlap = links->count ? (double)agree / (double)links->count : 0;
    out->agreement = same ? (double)same / (double)(same + differ) : 0;
    out->rms = agree ? sqrt(sum / (double)agree) : 0;
    return agree;
}

/* How the distance answers: first to turns, then to shifts. */
static void answer(struct vec arm, struct vec normal, double out[6])
{
    struct vec turn = vec_cross(arm, normal);
    const double a[6] = {turn.x, turn.y, turn.z, normal.x, normal.y, normal.z};
    for (int k = 0; k < 6; k++)
        out[k] = a[k];
}

static void set_middle(const struct links *links, const struct surfels *fixed, double tolerance,
                       size_t agree, struct touch *out)
{
    for (size_t i = 0; i < links->count; i++)
        if (within(&links->link[i], tolerance))
            out->middle =
                vec_along(out->middle, 1 / (double)agree, surfels_at(fixed, links->link[i].to));
    double sum = 0;
    for (size_t i = 0; i < links->count; i++)
        if (within(&links->link[i], tolerance))
            sum += vec_length2(vec_sub(surfels_at(fixed, links->link[i].to), out->middle));
    out->radius = sqrt(sum / (double)agree);
}

/* How many of the overlap's links face as `n` does, and are not marked yet; marks them if told to.
 */
static size_t count_facing(struct links *links, const struct surfels *fixed, double tolerance,
                           struct vec n, bool mark)
{
    const double same = 0.9945; /* cosine of 6 degrees */
    size_t count = 0;
    for (size_t i = 0; i < links->count; i++) {
        struct link *link = &links->link[i];
        if (link->taken || !within(link, tolerance) ||
            vec_dot(surfels_normal(fixed, link->to), n) < same)
            continue;
        count++;
        link->taken = mark;
    }
    return count;
}

/* The share of the overlap that the three commonest directions take. */
static double facets_of(struct links *links, const struct surfels *fixed, double tolerance)
{
    enum { TRIED = 60, FACETS = 3 };
    size_t agree = 0, in_facets = 0;
    for (size_t i = 0; i < links->count; i++) {
        links->link[i].taken = 0;
        agree += within(&links->link[i], tolerance);
    }
    for (int facet = 0; facet < FACETS && agree; facet++) {
        size_t most = 0, step = links->count / TRIED + 1;
        struct vec best = vec(0, 0, 0);
        for (size_t i = 0; i < links->count; i += step) {
            if (!within(&links->link[i], tolerance) || links->link[i].taken)
                continue;
            struct vec n = surfels_normal(fixed, links->link[i].to);
            size_t count = count_facing(links, fixed, tolerance, n, false);
            best = count > most ? n : best;
            most = count > most ? count : most;
        }
        in_facets += count_facing(links, fixed, tolerance, best, true);
    }
    return agree ? (double)in_facets / (double)agree : 0;
}

void links_judge(struct links *links, const struct surfels *moving, const struct surfels *fixed,
                 const struct rigid *pose, double tolerance, struct touch *out)
{
    *out = (struct touch){0};
    size_t agree = count_links(links, moving, fixed, tolerance, out);
    if (!agree)
        return;
    out->facets = facets_of(links, fixed, tolerance);
    set_middle(links, fixed, tolerance, agree, out);
    double per = out->radius > 0 ? 1 / out->radius : 0;
    for (size_t i = 0; i < links->count; i++) {
        const struct link *link = &links->link[i];
        if (!within(link, tolerance))
            continue;
        struct vec n = rigid_direction(pose, surfels_normal(moving, link->from));
        struct vec arm = vec_scale(vec_sub(surfels_at(fixed, link->to), out->middle), per);
        double g[6], h[6];
        answer(arm, n, g);
        answer(arm, surfels_normal(fixed, link->to), h);
        for (int k = 0; k < 36; k++)
            out->stiffness[k] += (g[k / 6] * h[k % 6] + h[k / 6] * g[k % 6]) / (2 * (double)agree);
    }
}
