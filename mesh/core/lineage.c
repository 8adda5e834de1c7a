#include "core/lineage.h"

#include <string.h>

#include "core/blend.h"
#include "core/job.h"

enum { BLOCK = 16384 };

struct carrying {
    const struct lineage *lineage;
    const struct mesh *old[2]; /* the second: NULL where there is none */
    struct mesh *made;
    uint32_t *kin; /* one a made triangle: the old one its values come from, or NO_INDEX; NULL when
                      all have ancestors */
};

struct values { /* of one attribute */
    const struct attribute_row *row;
    const char *old[2];
    size_t first; /* elements of the first old mesh */
    char *made;
    unsigned char blank[BLEND_COMPONENTS_MOST * sizeof(float)];
};

static const char *old_value(const struct values *v, size_t i)
{
    bool later = i >= v->first;
    if (!v->old[later])
        return (const char *)v->blank;
    return v->old[later] + (later ? i - v->first : i) * v->row->stride;
}

static char *made_value(const struct values *v, size_t i)
{
    return v->made + i * v->row->stride;
}

/* Copies the element that comes from the old one from[begin] (NULL: from the one of its own number)
 * and at once those behind it that come from the old ones behind; returns how many. */
static size_t copy_run(const struct values *v, const uint32_t *from, size_t begin, size_t end)
{
    size_t old = from ? from[begin] : begin, run = 1;
    size_t most = old < v->first ? v->first - old : SIZE_MAX;
    most = !v->old[old >= v->first] ? 1 : most < end - begin ? most : end - begin;
    while (run < most && (!from || from[begin + run] == old + run))
        run++;
    memcpy(made_value(v, begin), old_value(v, old), run * v->row->stride);
    return run;
}

/* --- where a vertex comes from ---------------------------------------------------------------- */

static struct mix vertex_mix(const struct lineage *lineage, size_t v)
{
    if (v >= lineage->plain_vertices)
        return lineage->mix[v - lineage->plain_vertices];
    uint32_t from = lineage->vertex ? lineage->vertex[v] : (uint32_t)v;
    return (struct mix){{from, from, from}, {1, 0, 0}};
}

static void carry_vertices(const struct carrying *c, const struct values *values, size_t begin,
                           size_t end)
{
    const struct lineage *lineage = c->lineage;
    size_t v = begin, plain = lineage->plain_vertices < end ? lineage->plain_vertices : end;
    while (v < plain)
        v += copy_run(values, lineage->vertex, v, plain);
    for (; v < end; v++) {
        const struct mix mix = vertex_mix(lineage, v);
        struct blend_sum sum = {0};
        for (int i = 0; i < 3; i++)
            if (mix.weight[i] > 0)
                blend_add(&sum, values->row, old_value(values, mix.from[i]), (double)mix.weight[i]);
        blend_write(&sum, values->row, made_value(values, v));
    }
}

/* --- where a triangle comes from -------------------------------------------------------------- */

static uint32_t ancestor(const struct lineage *lineage, size_t t)
{
    if (t >= lineage->plain_triangles)
        return NO_INDEX;
    return lineage->triangle ? lineage->triangle[t] : (uint32_t)t;
}

static uint32_t kin(const struct carrying *c, size_t t)
{
    return c->kin ? c->kin[t] : ancestor(c->lineage, t);
}

/* Hands the kin known at a triangle's vertices to it and to its other vertices. */
static bool adopt(struct carrying *c, uint32_t *at, size_t t)
{
    if (c->kin[t] != NO_INDEX)
        return false;
    const uint32_t *v = mesh_triangle(c->made)[t].v;
    for (int k = 0; k < 3 && c->kin[t] == NO_INDEX; k++)
        c->kin[t] = at[v[k]];
    if (c->kin[t] == NO_INDEX)
        return false;
    for (int k = 0; k < 3; k++)
        if (at[v[k]] == NO_INDEX)
            at[v[k]] = c->kin[t];
    return true;
}

/* Triangles without an ancestor get kin from their surroundings, in sweeps to and fro. */
static enum status find_kin(struct carrying *c, struct job *job)
{
    size_t triangles = mesh_triangles(c->made), plain = c->lineage->plain_triangles;
    c->kin = scratch_new(triangles, sizeof *c->kin);
    uint32_t *at = scratch_new(mesh_vertices(c->made), sizeof *at);
    if (!c->kin || !at) {
        scratch_free(at);
        return job_fail_memory(job, (triangles + mesh_vertices(c->made)) * sizeof *at);
    }
    memset(at, 255, mesh_vertices(c->made) * sizeof *at);
    for (size_t t = 0; t < triangles; t++) {
        c->kin[t] = ancestor(c->lineage, t);
        for (int k = 0; k < 3 && t < plain; k++)
            if (at[mesh_triangle(c->made)[t].v[k]] == NO_INDEX)
                at[mesh_triangle(c->made)[t].v[k]] = c->kin[t];
    }
    for (bool going = true; going && !job_cancelled(job);) {
        going = false;
        for (size_t t = plain; t < triangles; t++)
            going |= adopt(c, at, t);
        for (size_t t = triangles; t-- > plain;)
            going |= adopt(c, at, t);
    }
    scratch_free(at);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

static void carry_triangles(const struct carrying *c, const struct values *values, size_t begin,
                            size_t end)
{
    const uint32_t *from = c->kin ? c->kin : c->lineage->triangle;
    for (size_t t = begin; t < end;)
        if (from && from[t] == NO_INDEX) {
            memset(made_value(values, t), 0, values->row->stride);
            t++;
        } else {
            t += copy_run(values, from, t, end);
        }
}

/* --- where a corner comes from ---------------------------------------------------------------- */

static double edge_weight(struct vec a, struct vec b, struct vec at)
{
    struct vec ab = vec_sub(b, a);
    double t = vec_dot(vec_sub(at, a), ab), length2 = vec_length2(ab);
    return t <= 0 || length2 <= 0 ? 0 : t >= length2 ? 1 : t / length2;
}

/* Barycentric weights of the point of the triangle that is nearest to `at`. */
static void nearest_weights(const struct vec p[3], struct vec at, double weight[3])
{
    struct vec u = vec_sub(p[1], p[0]), v = vec_sub(p[2], p[0]), n = vec_cross(u, v);
    struct vec w = vec_sub(at, p[0]);
    double area2 = vec_length2(n);
    if (area2 > 0) {
        weight[1] = vec_dot(vec_cross(w, v), n) / area2;
        weight[2] = vec_dot(vec_cross(u, w), n) / area2;
        weight[0] = 1 - weight[1] - weight[2];
        if (weight[0] >= 0 && weight[1] >= 0 && weight[2] >= 0)
            return;
    }
    double best = INFINITY;
    for (int k = 0; k < 3; k++) { /* outside: the nearest point is on a side */
        int m = (k + 1) % 3;
        double t = edge_weight(p[k], p[m], at);
        struct vec on = vec_along(p[k], t, vec_sub(p[m], p[k]));
        double d = vec_length2(vec_sub(on, at));
        if (d >= best)
            continue;
        best = d;
        weight[k] = 1 - t;
        weight[m] = t;
        weight[3 - k - m] = 0;
    }
}

/* The weights of the ancestor's corners in a mix of its own vertices; false when it is not one. */
static bool own_weights(const struct triangle *old, const struct mix *mix, int preferred,
                        double weight[3])
{
    weight[0] = weight[1] = weight[2] = 0;
    for (int i = 0; i < 3; i++) {
        if (!(mix->weight[i] > 0))
            continue;
        int k = preferred; /* a corner of a degenerate triangle may share its vertex with another */
        for (int tries = 0; tries < 3 && old->v[k] != mix->from[i]; tries++)
            k = (k + 1) % 3;
        if (old->v[k] != mix->from[i])
            return false;
        weight[k] += (double)mix->weight[i];
    }
    return true;
}

static struct triangle old_triangle(const struct carrying *c, uint32_t t)
{
    size_t first = mesh_triangles(c->old[0]);
    if (t < first)
        return mesh_triangle(c->old[0])[t];
    struct triangle triangle = mesh_triangle(c->old[1])[t - first];
    for (int k = 0; k < 3; k++)
        triangle.v[k] += (uint32_t)mesh_vertices(c->old[0]);
    return triangle;
}

static struct vec old_place(const struct carrying *c, uint32_t v)
{
    size_t first = mesh_vertices(c->old[0]);
    return point_vec(v < first ? mesh_point(c->old[0])[v] : mesh_point(c->old[1])[v - first]);
}

static void corner_weights(const struct carrying *c, size_t t, int k, uint32_t old,
                           double weight[3])
{
    const struct triangle triangle = old_triangle(c, old);
    uint32_t v = mesh_triangle(c->made)[t].v[k];
    const struct mix mix = vertex_mix(c->lineage, v);
    if (own_weights(&triangle, &mix, k, weight))
        return;
    struct vec p[3];
    for (int i = 0; i < 3; i++)
        p[i] = old_place(c, triangle.v[i]);
    nearest_weights(p, point_vec(mesh_point(c->made)[v]), weight);
}

static void carry_corners(const struct carrying *c, const struct values *values, size_t begin,
                          size_t end)
{
    for (size_t t = begin; t < end; t++) {
        uint32_t old = kin(c, t);
        for (int k = 0; k < 3; k++) {
            struct blend_sum sum = {0};
            double weight[3] = {0};
            if (old != NO_INDEX)
                corner_weights(c, t, k, old, weight);
            for (size_t i = 0; i < 3 && old != NO_INDEX; i++)
                blend_add(&sum, values->row, old_value(values, 3 * (size_t)old + i), weight[i]);
            blend_write(&sum, values->row, made_value(values, 3 * t + (size_t)k));
        }
    }
}

/* --- all attributes --------------------------------------------------------------------------- */

static bool any_has(const struct carrying *c, enum attribute attribute)
{
    return c->old[0]->attribute[attribute] || (c->old[1] && c->old[1]->attribute[attribute]);
}

static enum status carry(const struct carrying *c, enum attribute attribute, struct job *job)
{
    const struct attribute_row *row = attribute_row(attribute);
    struct values values = {.row = row,
                            .first = mesh_domain(c->old[0], row->domain),
                            .made = mesh_attribute_new(c->made, attribute)};
    size_t count = row->domain == DOMAIN_VERTEX ? mesh_vertices(c->made) : mesh_triangles(c->made);
    if (!values.made)
        return job_fail_memory(job, mesh_domain(c->made, row->domain) * row->stride);
    memset(values.blank, attribute_blank(attribute), sizeof values.blank);
    for (int i = 0; i < 2 && c->old[i]; i++)
        values.old[i] = mesh_attribute(c->old[i], attribute);
#pragma omp parallel for num_threads(job_threads(job)) schedule(dynamic)
    for (size_t begin = 0; begin < count; begin += BLOCK) {
        size_t end = begin + BLOCK < count ? begin + BLOCK : count;
        if (job_cancelled(job))
            continue;
        if (row->domain == DOMAIN_VERTEX)
            carry_vertices(c, &values, begin, end);
        else if (row->domain == DOMAIN_TRIANGLE)
            carry_triangles(c, &values, begin, end);
        else
            carry_corners(c, &values, begin, end);
    }
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* What was measured, invented or made: new triangles say it for themselves. */
static enum status set_origin(const struct carrying *c, struct job *job)
{
    size_t plain = c->lineage->plain_triangles, triangles = mesh_triangles(c->made);
    if (plain >= triangles)
        return STATUS_OK;
    uint8_t *origin = c->made->attribute[ATTRIBUTE_origin]
                          ? c->made->attribute[ATTRIBUTE_origin]->data
                          : mesh_attribute_new(c->made, ATTRIBUTE_origin);
    if (!origin)
        return job_fail_memory(job, triangles);
    if (!any_has(c, ATTRIBUTE_origin))
        memset(origin, ORIGIN_MEASURED, plain);
    memset(origin + plain, (int)c->lineage->origin, triangles - plain);
    return STATUS_OK;
}

enum status lineage_carry(const struct lineage *lineage, const struct mesh *old, struct mesh *made,
                          struct job *job)
{
    struct carrying c = {lineage, {old, lineage->second}, made, NULL};
    memcpy(made->origin, old->origin, sizeof made->origin);
    bool surface = false;
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        surface |= any_has(&c, i) && attribute_row(i)->domain != DOMAIN_VERTEX;
    enum status status = STATUS_OK;
    if (surface && lineage->plain_triangles < mesh_triangles(made))
        status = find_kin(&c, job);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT && status == STATUS_OK; i++)
        if (any_has(&c, i))
            status = carry(&c, i, job);
    scratch_free(c.kin);
    return status == STATUS_OK ? set_origin(&c, job) : status;
}
