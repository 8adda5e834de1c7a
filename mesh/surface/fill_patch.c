#include "surface/fill_patch.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum { LOOK = 16384 }; /* edges between two looks at cancel */

bool list_grow(void *list, size_t *room, size_t count, size_t element)
{
    if (count <= *room)
        return true;
    size_t wider = count + count / 2 + 16;
    void *old, *grown;
    memcpy(&old, list, sizeof old);
    grown = realloc(old, wider * element);
    if (!grown)
        return false;
    memcpy(list, &grown, sizeof grown);
    *room = wider;
    return true;
}

void fill_patch_release(struct patch *patch)
{
    free(patch->old);
    free(patch->at);
    free(patch->size);
    free(patch->curve);
    free(patch->leave);
    free(patch->corner);
    free(patch->twin);
    free(patch->todo);
    pairs_release(&patch->own);
    *patch = (struct patch){0};
}

bool patch_reserve(struct patch *patch, size_t vertices, size_t triangles)
{
    size_t a = patch->vertex_room, b = a, c = a, d = a;
    size_t e = 3 * patch->triangle_room, f = e;
    bool ok = list_grow(&patch->at, &a, vertices, sizeof *patch->at) &&
              list_grow(&patch->size, &b, vertices, sizeof *patch->size) &&
              list_grow(&patch->curve, &c, vertices, sizeof *patch->curve) &&
              list_grow(&patch->leave, &d, vertices, sizeof *patch->leave) &&
              list_grow(&patch->corner, &e, 3 * triangles, sizeof *patch->corner) &&
              list_grow(&patch->twin, &f, 3 * triangles, sizeof *patch->twin);
    if (!ok)
        return false;
    patch->vertex_room = a;
    patch->triangle_room = e / 3;
    return true;
}

uint32_t patch_add(struct patch *patch, uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t h = (uint32_t)(3 * patch->triangles++);
    patch->corner[h] = a;
    patch->corner[h + 1] = b;
    patch->corner[h + 2] = c;
    patch->twin[h] = patch->twin[h + 1] = patch->twin[h + 2] = NO_INDEX;
    return h / 3;
}

struct vec patch_normal(const struct patch *patch, uint32_t triangle)
{
    const uint32_t *c = patch->corner + (size_t)3 * triangle;
    struct vec a = patch->at[c[0]];
    return vec_cross(vec_sub(patch->at[c[1]], a), vec_sub(patch->at[c[2]], a));
}

/* --- edges that are there ----------------------------------------------------------------- */

static bool both_old(const struct patch *patch, uint32_t a, uint32_t b)
{
    return a < patch->rim && b < patch->rim;
}

static bool old_joined(const struct patch *patch, uint32_t a, uint32_t b)
{
    return pairs_have(&patch->own, a, b) ||
           !rims_may_join(patch->rims, patch->hole, patch->old[a], patch->old[b]);
}

/* Whether there is an edge between the two, in the patch or outside. */
static bool joined(const struct patch *patch, uint32_t a, uint32_t b)
{
    if (both_old(patch, a, b))
        return old_joined(patch, a, b);
    if (a < patch->rim) { /* go round the new one: its triangles are all here */
        uint32_t swap = a;
        a = b;
        b = swap;
    }
    uint32_t h = patch->leave[a];
    do {
        if (patch_to(patch, h) == b)
            return true;
        h = patch->twin[half_prev(h)];
    } while (h != patch->leave[a]);
    return false;
}

/* --- changes ------------------------------------------------------------------------------ */

static void link_halves(struct patch *patch, uint32_t a, uint32_t b)
{
    patch->twin[a] = b;
    if (b != NO_INDEX)
        patch->twin[b] = a;
}

static void set_triangle(struct patch *patch, uint32_t t, uint32_t a, uint32_t b, uint32_t c)
{
    uint32_t h = 3 * t;
    patch->corner[h] = a;
    patch->corner[h + 1] = b;
    patch->corner[h + 2] = c;
    patch->leave[a] = h;
    patch->leave[b] = h + 1;
    patch->leave[c] = h + 2;
}

/* With the mean of the values of `count` vertices. */
static uint32_t add_vertex(struct patch *patch, struct vec at, const uint32_t *mean, int count)
{
    size_t v = patch->vertices++;
    patch->at[v] = at;
    patch->size[v] = patch->curve[v] = 0;
    for (int k = 0; k < count; k++) {
        patch->size[v] += patch->size[mean[k]] / count;
        patch->curve[v] += patch->curve[mean[k]] / count;
    }
    return (uint32_t)v;
}

static bool make_room(struct patch *patch, size_t triangles)
{
    size_t vertices = patch->vertices + 1;
    triangles += patch->triangles;
    return (vertices <= patch->vertex_room && triangles <= patch->triangle_room) ||
           patch_reserve(patch, vertices, triangles);
}

bool patch_split(struct patch *patch, uint32_t t, struct vec at)
{
    if (!make_room(patch, 2))
        return false;
    uint32_t h = 3 * t, v = add_vertex(patch, at, patch->corner + h, 3);
    uint32_t a = patch->corner[h], b = patch->corner[h + 1], c = patch->corner[h + 2];
    uint32_t across[3] = {patch->twin[h], patch->twin[h + 1], patch->twin[h + 2]};
    uint32_t i = patch_add(patch, b, c, v), j = patch_add(patch, c, a, v);
    set_triangle(patch, t, a, b, v);
    set_triangle(patch, i, b, c, v);
    set_triangle(patch, j, c, a, v);
    link_halves(patch, 3 * t, across[0]);
    link_halves(patch, 3 * i, across[1]);
    link_halves(patch, 3 * j, across[2]);
    link_halves(patch, 3 * t + 1, 3 * i + 2);
    link_halves(patch, 3 * i + 1, 3 * j + 2);
    link_halves(patch, 3 * j + 1, 3 * t + 2);
    return patch_look_at(patch, 3 * t) && patch_look_at(patch, 3 * i) &&
           patch_look_at(patch, 3 * j);
}

/* Half-edge h becomes its first half, the one after it the new edge; likewise across. The sides
 * that these two took the places of are the middle ones of the two new triangles. */
bool patch_split_edge(struct patch *patch, uint32_t h)
{
    if (!make_room(patch, 2))
        return false;
    uint32_t g = patch->twin[h];
    uint32_t a = patch_from(patch, h), b = patch_to(patch, h);
    uint32_t c = patch_apex(patch, h), d = patch_apex(patch, g);
    uint32_t bc = patch->twin[half_next(h)], ad = patch->twin[half_next(g)];
    if (both_old(patch, a, b))
        pairs_remove(&patch->own, a, b);
    struct vec middle = vec_scale(vec_add(patch->at[a], patch->at[b]), 0.5);
    uint32_t v = add_vertex(patch, middle, (uint32_t[2]){a, b}, 2);
    uint32_t i = patch_add(patch, v, b, c), j = patch_add(patch, v, a, d);
    set_triangle(patch, i, v, b, c); /* v-b, b-c, c-v */
    set_triangle(patch, j, v, a, d); /* v-a, a-d, d-v */
    patch->corner[half_next(h)] = patch->corner[half_next(g)] = v;
    patch->leave[c] = half_prev(h);
    patch->leave[d] = half_prev(g);
    link_halves(patch, h, 3 * j);
    link_halves(patch, g, 3 * i);
    link_halves(patch, half_next(h), 3 * i + 2);
    link_halves(patch, half_next(g), 3 * j + 2);
    link_halves(patch, 3 * i + 1, bc);
    link_halves(patch, 3 * j + 1, ad);
    return patch_look_at(patch, half_prev(h)) && patch_look_at(patch, 3 * i + 1) &&
           patch_look_at(patch, half_prev(g)) && patch_look_at(patch, 3 * j + 1);
}

/* Replaces the edge by the one between the two vertices across from it. */
static bool flip(struct patch *patch, uint32_t h)
{
    uint32_t g = patch->twin[h], t = h / 3, u = g / 3;
    uint32_t a = patch_from(patch, h), b = patch_to(patch, h);
    uint32_t c = patch_apex(patch, h), d = patch_apex(patch, g);
    uint32_t bc = patch->twin[half_next(h)], ca = patch->twin[half_prev(h)];
    uint32_t ad = patch->twin[half_next(g)], db = patch->twin[half_prev(g)];
    if (both_old(patch, c, d) && !pairs_add(&patch->own, c, d))
        return false;
    if (both_old(patch, a, b))
        pairs_remove(&patch->own, a, b);
    set_triangle(patch, t, c, a, d); /* c-a, a-d, d-c */
    set_triangle(patch, u, d, b, c); /* d-b, b-c, c-d */
    link_halves(patch, 3 * t, ca);
    link_halves(patch, 3 * t + 1, ad);
    link_halves(patch, 3 * t + 2, 3 * u + 2);
    link_halves(patch, 3 * u, db);
    link_halves(patch, 3 * u + 1, bc);
    return patch_look_at(patch, 3 * t) && patch_look_at(patch, 3 * t + 1) &&
           patch_look_at(patch, 3 * u) && patch_look_at(patch, 3 * u + 1);
}

/* --- relaxing ----------------------------------------------------------------------------- */

bool patch_look_at(struct patch *patch, uint32_t half)
{
    if (patch->twin[half] == NO_INDEX)
        return true;
    if (!list_grow(&patch->todo, &patch->todo_room, patch->todos + 1, sizeof *patch->todo))
        return false;
    patch->todo[patch->todos++] = half;
    return true;
}

/* Whether the angles across from edge a-b, at c and at d, add up to more than half a turn. */
static bool too_wide(struct vec a, struct vec b, struct vec c, struct vec d)
{
    struct vec u = vec_sub(a, c), v = vec_sub(b, c), p = vec_sub(a, d), q = vec_sub(b, d);
    double cos_c = vec_dot(u, v), cos_d = vec_dot(p, q);
    if (cos_c >= 0 && cos_d >= 0)
        return false;
    if (cos_c < 0 && cos_d < 0)
        return true;
    double sin_c = vec_length(vec_cross(u, v)), sin_d = vec_length(vec_cross(p, q));
    double size = (fabs(cos_c) + sin_c) * (fabs(cos_d) + sin_d);
    return cos_c * sin_d + sin_c * cos_d < -1e-9 * size;
}

/* Whether triangles c-a-d and d-b-c lie as the pair a-b-c and b-a-d does, neither folded over nor
 * bent more sharply. */
static bool lies_well(const struct patch *patch, struct vec a, struct vec b, struct vec c,
                      struct vec d)
{
    struct vec ab = vec_sub(b, a), dc = vec_sub(c, d);
    struct vec n1 = vec_cross(ab, vec_sub(c, a)), n2 = vec_cross(vec_sub(d, a), ab);
    struct vec m1 = vec_cross(vec_sub(a, c), vec_sub(d, c)), m2 = vec_cross(vec_sub(b, d), dc);
    double bend = vec_dot(vec_unit(n1), vec_unit(n2));
    double bent = vec_dot(vec_unit(m1), vec_unit(m2));
    if (bend < 0) /* folded already: better if it opens */
        return patch->flat < 0 && bent > bend;
    struct vec n = vec_add(n1, n2);
    if (!(vec_dot(m1, n) > 0 && vec_dot(m2, n) > 0))
        return false;
    return patch->flat < 0 ? bent > fmin(bend, 0.5) : bend >= patch->flat;
}

static bool should_flip(const struct patch *patch, uint32_t h)
{
    uint32_t c = patch_apex(patch, h), d = patch_apex(patch, patch->twin[h]);
    struct vec a = patch->at[patch_from(patch, h)], b = patch->at[patch_to(patch, h)];
    return c != d && too_wide(a, b, patch->at[c], patch->at[d]) &&
           lies_well(patch, a, b, patch->at[c], patch->at[d]) && !joined(patch, c, d);
}

bool patch_relax(struct patch *patch, const struct job *job)
{
    /* In space, unlike the plane, changes need not come to an end: there is a limit. */
    size_t most = 16 * patch->triangles + 1000, looks = 0;
    while (patch->todos > 0 && most > 0) {
        uint32_t h = patch->todo[--patch->todos];
        if (++looks % LOOK == 0 && job_cancelled(job))
            return false;
        if (patch->twin[h] == NO_INDEX || !should_flip(patch, h))
            continue;
        most--;
        if (!flip(patch, h))
            return false;
    }
    patch->todos = 0;
    return true;
}

/* --- settling ----------------------------------------------------------------------------- */

bool patch_fits(const struct patch *patch)
{
    for (uint32_t h = 0; h < 3 * patch->triangles; h++)
        if (patch->twin[h] != NO_INDEX &&
            !rims_may_join(patch->rims, patch->hole, patch->old[patch_from(patch, h)],
                           patch->old[patch_to(patch, h)]))
            return false;
    return true;
}

/* Marks one half-edge of every inner edge that must not be, and enters the others. */
static bool enter_edges(struct patch *patch, uint8_t *bad, size_t *count)
{
    for (uint32_t h = 0; h < 3 * patch->triangles; h++) {
        uint32_t a = patch_from(patch, h), b = patch_to(patch, h);
        patch->leave[a] = h;
        if (patch->twin[h] == NO_INDEX || patch->twin[h] < h || !both_old(patch, a, b))
            continue;
        bad[h] = old_joined(patch, a, b);
        *count += bad[h];
        if (!bad[h] && !pairs_add(&patch->own, a, b))
            return false;
    }
    return true;
}

/* Splits the marked edge; a side of its triangles that moves takes its mark along. */
static bool split_bad(struct patch *patch, uint8_t *bad, uint32_t h)
{
    uint32_t a = patch_from(patch, h), b = patch_to(patch, h);
    uint32_t next[2] = {half_next(h), half_next(patch->twin[h])};
    bool had = pairs_have(&patch->own, a, b); /* another one, which stays */
    size_t made = patch->triangles;
    if (!patch_split_edge(patch, h) || (had && !pairs_add(&patch->own, a, b)))
        return false;
    for (int k = 0; k < 2; k++) {
        bad[3 * (made + (size_t)k) + 1] = bad[next[k]];
        bad[next[k]] = 0;
    }
    bad[h] = 0;
    return true;
}

bool patch_settle(struct patch *patch)
{
    size_t inner = 3 * patch->triangles, count = 0;
    uint8_t *bad = calloc(inner * 4 + 1, 1); /* an edge of two half-edges gives two triangles */
    bool ok = bad && enter_edges(patch, bad, &count);
    for (uint32_t h = 0; h < 3 * patch->triangles && ok && count > 0; h++)
        if (bad[h])
            ok = split_bad(patch, bad, h);
    free(bad);
    return ok;
}
