/* Needles turned into their neighbours: a triangle so low that rounding may turn it over, as when
 * the mesh is moved, folds the surface then; one that lies folded on its neighbours does not cross
 * them, until it is moved. Its longest edge gives way to the one across the two triangles that meet
 * there; the surface stays where it was but for the triangle's height. */
#include "solid/graft.h"

enum { PASSES = 2000 }; /* a fan of needles on one line goes one by one */

/* The height of a triangle above its longest edge, which begins at corner *at. */
static double height_of(const struct vec c[3], uint32_t *at)
{
    double longest = 0;
    for (uint32_t k = 0; k < 3; k++) {
        double length = vec_length(vec_sub(c[(k + 1) % 3], c[k]));
        if (length > longest) {
            longest = length;
            *at = k;
        }
    }
    double area2 = vec_length(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
    return longest > 0 ? area2 / longest : 0;
}

static void corners(const struct graft *p, const uint32_t v[3], struct vec c[3])
{
    for (int k = 0; k < 3; k++)
        c[k] = p->at[v[k]];
}

/* The corner (3 * triangle + corner) from which an edge runs from v to w; NO_INDEX: none does, or
 * more than one. */
static uint32_t edge_from(const struct graft *p, uint32_t v, uint32_t w)
{
    uint32_t found = NO_INDEX, count = 0;
    for (uint32_t i = p->start[v]; i < p->start[v + 1]; i++)
        if (beside(p, p->star[i], 1) == w) {
            found = p->star[i];
            count++;
        }
    return count == 1 ? found : NO_INDEX;
}

static bool any_edge(const struct graft *p, uint32_t v, uint32_t w)
{
    for (uint32_t i = p->start[v]; i < p->start[v + 1]; i++)
        if (beside(p, p->star[i], 1) == w || beside(p, p->star[i], 2) == w)
            return true;
    return false;
}

static struct vec normal_of(const struct vec c[3])
{
    return vec_unit(vec_cross(vec_sub(c[1], c[0]), vec_sub(c[2], c[0])));
}

/* The normal of the triangle across the edge from v to w; zero where there is none. */
static struct vec normal_across(const struct graft *p, uint32_t v, uint32_t w)
{
    uint32_t at = edge_from(p, w, v);
    struct vec c[3];
    if (at == NO_INDEX)
        return vec(0, 0, 0);
    corners(p, &p->corner[at / 3 * 3], c);
    return normal_of(c);
}

struct flip {
    uint32_t needle, twin; /* triangles */
    uint32_t now[2][3];    /* what they become: the new edge is the second of the first one's */
    uint32_t v[4];         /* all their vertices */
    struct vec c[2][3];    /* the new corners */
    struct vec twins;      /* the twin's normal */
    double height, beside; /* of the needle, of the twin */
    double shortened;      /* by how much the new edge is shorter than the old */
    bool folded;
};

/* Whether a triangle, whose longest edge begins at corner `at`, lies flat on the neighbour there,
 * or on the other two. */
static bool is_folded(const struct graft *p, uint32_t t, uint32_t at, const struct vec c[3])
{
    struct vec n = normal_of(c);
    uint32_t first = 3 * t + at, b = beside(p, first, 1), o = beside(p, first, 2);
    uint32_t a = p->corner[first];
    return vec_dot(n, normal_across(p, a, b)) < GRAFT_FLAT ||
           (vec_dot(n, normal_across(p, b, o)) < GRAFT_FOLDED &&
            vec_dot(n, normal_across(p, o, a)) < GRAFT_FOLDED);
}

/* The flip of the longest edge of a triangle that is to go; false: it is not, or that edge is no
 * edge of two triangles of the graft. */
static bool plan(const struct graft *p, uint32_t t, const struct graft_rule *rule, struct flip *f)
{
    struct vec c[3];
    uint32_t at = 0;
    corners(p, &p->corner[3 * t], c);
    f->height = height_of(c, &at);
    f->folded = !(f->height < rule->least) && rule->folded && is_folded(p, t, at, c);
    if (!(f->height < rule->least) && !f->folded)
        return false;
    uint32_t a = p->corner[3 * t + at], b = beside(p, 3 * t + at, 1), o = beside(p, 3 * t + at, 2);
    uint32_t back = edge_from(p, b, a);
    if (back == NO_INDEX || edge_from(p, a, b) != 3 * t + at)
        return false;
    uint32_t d = beside(p, back, 2);
    const uint32_t now[2][3] = {{a, d, o}, {d, b, o}}, v[4] = {a, b, o, d};
    memcpy(f->now, now, sizeof now);
    memcpy(f->v, v, sizeof v);
    f->needle = t;
    f->twin = back / 3;
    corners(p, &p->corner[3 * f->twin], c);
    f->beside = height_of(c, &at);
    f->twins = normal_of(c);
    for (int i = 0; i < 2; i++)
        corners(p, now[i], f->c[i]);
    f->shortened =
        vec_length(vec_sub(p->at[b], p->at[a])) - vec_length(vec_sub(p->at[d], p->at[o]));
    return o != d;
}

/* Whether neither new triangle is folded back on the other or on a neighbour. */
static bool unfolds(const struct graft *p, const struct flip *f)
{
    struct vec n[2] = {normal_of(f->c[0]), normal_of(f->c[1])};
    uint32_t a = f->v[0], b = f->v[1], o = f->v[2], d = f->v[3];
    return vec_dot(n[0], n[1]) > 0 && vec_dot(n[0], normal_across(p, a, d)) > GRAFT_FOLDED &&
           vec_dot(n[0], normal_across(p, o, a)) > GRAFT_FOLDED &&
           vec_dot(n[1], normal_across(p, d, b)) > GRAFT_FOLDED &&
           vec_dot(n[1], normal_across(p, b, o)) > GRAFT_FOLDED;
}

/* Whether the surface is the better for it. Of a needle: both new triangles are higher and face the
 * twin's way; or all lie on one line, and the longest edge there is shorter: needles face no way at
 * all. */
static bool helps(const struct graft *p, const struct flip *f, double least)
{
    uint32_t at;
    double height[2] = {height_of(f->c[0], &at), height_of(f->c[1], &at)};
    if (f->folded)
        return f->beside >= least && fmin(height[0], height[1]) >= least && unfolds(p, f);
    if (f->beside < least)
        return f->shortened > 0 && fmax(height[0], height[1]) < least;
    return fmin(height[0], height[1]) > 2 * f->height &&
           vec_dot(normal_of(f->c[0]), f->twins) >= 0 && vec_dot(normal_of(f->c[1]), f->twins) >= 0;
}

static bool is_free(const struct graft *p, const struct flip *f)
{
    for (int k = 0; k < 4; k++)
        if (p->locked[f->v[k]])
            return false;
    return (p->whole[f->v[2]] || p->whole[f->v[3]]) && !any_edge(p, f->v[2], f->v[3]) &&
           !any_edge(p, f->v[3], f->v[2]);
}

static void carry_out(struct graft *p, const struct flip *f)
{
    memcpy(&p->corner[3 * f->needle], f->now[0], sizeof f->now[0]);
    memcpy(&p->corner[3 * f->twin], f->now[1], sizeof f->now[1]);
    p->from[f->needle] = p->from[f->twin];
    for (int k = 0; k < 4; k++)
        p->locked[f->v[k]] = 1;
}

static enum status flip_all(struct graft *p, const struct graft_rule *rule, size_t *flips)
{
    struct flip f;
    bool any = true;
    for (int pass = 0; pass < PASSES && any; pass++) {
        if (job_cancelled(p->job))
            return job_fail_cancelled(p->job);
        any = false;
        graft_stars(p);
        memset(p->locked, 0, p->vertices);
        for (uint32_t t = 0; t < p->triangles; t++) {
            if (p->corner[3 * t] == NO_INDEX || !plan(p, t, rule, &f) || !is_free(p, &f) ||
                !helps(p, &f, rule->least) ||
                (rule->may && !rule->may(rule->context, t, f.twin, f.c)))
                continue;
            carry_out(p, &f);
            any = true;
            ++*flips;
        }
    }
    graft_stars(p);
    return STATUS_OK;
}

enum status graft_flip(struct graft *p, const struct graft_rule *rule, size_t *flips)
{
    size_t corners = 3 * p->triangles;
    uint32_t *was = scratch_new(corners + p->triangles, sizeof *was);
    uint64_t crossings = 0;
    *flips = 0;
    if (!was)
        return job_fail_memory(p->job, (corners + p->triangles) * sizeof *was);
    memcpy(was, p->corner, corners * sizeof *was);
    memcpy(was + corners, p->from, p->triangles * sizeof *was);
    enum status status = flip_all(p, rule, flips);
    if (status == STATUS_OK && *flips)
        status = graft_crossings(p, &crossings);
    if (crossings) {
        memcpy(p->corner, was, corners * sizeof *was);
        memcpy(p->from, was + corners, p->triangles * sizeof *was);
        graft_stars(p);
        *flips = 0;
    }
    scratch_free(was);
    return status;
}
