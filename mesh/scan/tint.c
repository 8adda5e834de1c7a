#include "scan/tint.h"

#include <math.h>
#include <string.h>

#include "core/array.h"
#include "core/job.h"
#include "core/spread.h"
#include "core/topology.h"
#include "core/tree.h"
#include "scan/fuse_parts.h"
#include "scan/fuse_samples.h"

enum { ASK = 4096 };

/* --- what is beside what --------------------------------------------------------------------- */

struct around {
    size_t *first;
    uint32_t *beside;
};

static void around_release(struct around *around)
{
    scratch_free(around->first);
    scratch_free(around->beside);
}

/* Counts, or writes, those beside the vertices that are not known. */
static bool each_side(const struct mesh *mesh, const uint8_t *known, struct around *a, bool write,
                      const struct job *job)
{
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        if (t % ASK == 0 && job_cancelled(job))
            return false;
        for (int k = 0; k < 3; k++) {
            if (known[v[k]])
                continue;
            if (write)
                for (int j = 1; j < 3; j++)
                    a->beside[a->first[v[k]]++] = v[(k + j) % 3];
            else
                a->first[v[k] + 1] += 2;
        }
    }
    return true;
}

/* Lists of neighbours for the vertices that are not known; the others have none. */
static enum status around_make(const struct mesh *mesh, const uint8_t *known, struct around *out,
                               struct job *job)
{
    size_t n = mesh_vertices(mesh);
    *out = (struct around){scratch_zeros(n + 2, sizeof *out->first), NULL};
    if (!out->first)
        return job_fail_memory(job, n * sizeof *out->first);
    struct around late = {out->first + 1, NULL}; /* one behind, so that writing moves them up */
    bool on = each_side(mesh, known, &late, false, job);
    for (size_t v = 0; v < n; v++)
        out->first[v + 2] += out->first[v + 1];
    late.beside = out->beside = scratch_new(out->first[n + 1] + 1, sizeof *out->beside);
    if (!out->beside)
        return job_fail_memory(job, out->first[n + 1] * sizeof *out->beside);
    on = on && each_side(mesh, known, &late, true, job);
    return on ? STATUS_OK : job_fail_cancelled(job);
}

/* Those not known take their colours from those that are. */
static enum status spread(const struct mesh *mesh, uint8_t *known, uint8_t (*colour)[4],
                          struct tint_report *report, struct job *job)
{
    size_t n = mesh_vertices(mesh);
    struct around around;
    size_t before = 0, after = 0;
    for (size_t v = 0; v < n; v++)
        before += known[v];
    enum status status = around_make(mesh, known, &around, job);
    const struct spread_graph graph = {n, around.first, 0, around.beside};
    if (status == STATUS_OK)
        status = spread_colours(&graph, known, colour, job);
    around_release(&around);
    for (size_t v = 0; v < n; v++)
        after += known[v];
    report->spread = after - before;
    report->left = n - after;
    return status;
}

/* --- from scans ------------------------------------------------------------------------------ */

/* In units of the scans' spacing: how much farther than the nearest sample others may be and have
 * their say; how far off scans count unless that is given. */
static const double farther = 1.5, within_spacings = 6;

/* Cosine of the angle between normals from which on a sample counts at all. */
static const double turned_away = 0.3;

enum { NEAREST = 32, BLOCK = 256, LOOKS = 4000 };

struct painter {
    const struct mesh *mesh;
    const struct point *normal; /* of the surface, one a vertex */
    struct fuse_parts parts;
    struct fuse_samples samples;
    struct mesh *cloud;      /* the samples that have a colour, */
    uint32_t *number;        /* which they are, */
    const struct tree *tree; /* and their tree */
    int8_t *facing;          /* one a part: -1 where it faces the other way than the surface */
    double farther, within;
    uint8_t (*colour)[4];
    uint8_t *seen;
    struct job *job;
};

static enum status gather(struct painter *p, const struct mesh *const *scan, size_t scans,
                          double within)
{
    job_phase(p->job, "weighing the scans", 500, scans);
    enum status status = fuse_parts_make(scan, scans, &p->parts, p->job);
    if (status == STATUS_OK)
        status = fuse_samples_make(p->parts.part, p->parts.count, 0, &p->samples, p->job);
    fuse_parts_drop(&p->parts);
    if (status == STATUS_OK && !p->samples.colour)
        status = job_fail(p->job, STATUS_REFUSED, "none of the scans has a colour");
    double spacing = p->samples.scans > 0 ? p->samples.scans : p->samples.reach;
    p->farther = farther * spacing;
    p->within = within > 0 ? within : within_spacings * spacing;
    return status;
}

static enum status make_cloud(struct painter *p)
{
    const struct fuse_samples *s = &p->samples;
    size_t count = 0;
    for (size_t i = 0; i < s->count; i++)
        count += s->colour[i].weight > 0;
    p->cloud = mesh_new(count, 0);
    p->number = scratch_new(count + 1, sizeof *p->number);
    if (!p->cloud || !p->number)
        return job_fail_memory(p->job, count * 16);
    memcpy(p->cloud->origin, s->origin, sizeof s->origin);
    for (size_t i = 0, n = 0; i < s->count; i++)
        if (s->colour[i].weight > 0) {
            const float *at = s->sample[i].at;
            mesh_point_edit(p->cloud)[n] = (struct point){at[0], at[1], at[2]};
            p->number[n++] = (uint32_t)i;
        }
    p->tree = mesh_tree(p->cloud, p->job);
    return p->tree ? STATUS_OK : job_status(p->job);
}

static struct vec sample_normal(const struct painter *p, uint32_t sample)
{
    const float *n = p->samples.sample[sample].normal;
    return vec((double)n[0], (double)n[1], (double)n[2]);
}

/* A vertex of the surface among the samples. */
static struct vec among(const struct painter *p, size_t v)
{
    struct vec at = point_vec(mesh_point(p->mesh)[v]);
    return mesh_local(p->cloud, mesh_world(p->mesh, at));
}

/* Which parts face the other way than the surface with most of what lies on it. */
static enum status find_facing(struct painter *p)
{
    size_t n = mesh_vertices(p->mesh), every = n / LOOKS + 1;
    int64_t *votes = scratch_zeros(p->parts.count + 1, sizeof *votes);
    if (!votes)
        return job_fail_memory(p->job, p->parts.count * sizeof *votes);
    for (size_t v = 0; v < n && !job_cancelled(p->job); v += every) {
        struct neighbour near[NEAREST];
        size_t count = tree_neighbours(p->tree, among(p, v), p->farther, NEAREST, near);
        for (size_t i = 0; i < count; i++) {
            uint32_t sample = p->number[near[i].vertex];
            double cosine = vec_dot(sample_normal(p, sample), point_vec(p->normal[v]));
            votes[p->samples.piece[sample]] += cosine > 0.5 ? 1 : cosine < -0.5 ? -1 : 0;
        }
    }
    for (size_t i = 0; i < p->parts.count; i++)
        p->facing[i] = votes[i] < 0 ? -1 : 1;
    scratch_free(votes);
    return job_cancelled(p->job) ? job_fail_cancelled(p->job) : STATUS_OK;
}

/* How much a sample's direction says about a vertex's: 1 where they face the same way, or the
 * surface faces nowhere. */
static double same_way(const struct painter *p, size_t v, uint32_t sample)
{
    struct vec normal = point_vec(p->normal[v]);
    if (vec_length2(normal) == 0)
        return 1;
    double cosine =
        vec_dot(sample_normal(p, sample), normal) * (double)p->facing[p->samples.piece[sample]];
    double share = (cosine - turned_away) / (1 - turned_away);
    return share > 0 ? share * share : 0;
}

/* The mean of the samples that face as the vertex does, by how little farther each is than the
 * nearest of them; false when there is none within reach. */
static bool mix(const struct painter *p, size_t v, double reach, uint8_t out[4])
{
    struct neighbour near[NEAREST];
    size_t count = tree_neighbours(p->tree, among(p, v), reach, NEAREST, near);
    double sum[4] = {0}, total = 0, nearest2 = -1;
    for (size_t i = 0; i < count; i++) {
        uint32_t sample = p->number[near[i].vertex];
        const struct fuse_colour *c = &p->samples.colour[sample];
        double same = same_way(p, v, sample);
        if (same == 0)
            continue;
        if (nearest2 < 0)
            nearest2 = near[i].distance2;
        double close = 1 - (near[i].distance2 - nearest2) / (p->farther * p->farther);
        double weight = close > 0 ? close * close * same * (double)c->weight : 0;
        for (int k = 0; k < 4; k++)
            sum[k] += weight * c->rgba[k];
        total += weight;
    }
    for (int k = 0; k < 4 && total > 0; k++)
        out[k] = (uint8_t)(sum[k] / total + 0.5);
    return total > 0;
}

static enum status paint(struct painter *p)
{
    size_t n = mesh_vertices(p->mesh);
    job_phase(p->job, "taking their colours", 400, n);
#pragma omp parallel for num_threads(job_threads(p->job)) schedule(dynamic)
    for (size_t b = 0; b < n; b += BLOCK) {
        size_t end = b + BLOCK < n ? b + BLOCK : n;
        if (!job_step(p->job, end - b))
            continue;
        for (size_t v = b; v < end; v++)
            p->seen[v] = mix(p, v, fmin(p->farther, p->within), p->colour[v]) ||
                         (p->within > p->farther && mix(p, v, p->within, p->colour[v]));
    }
    return job_cancelled(p->job) ? job_fail_cancelled(p->job) : STATUS_OK;
}

/* What was not seen. */
static enum status finish(struct painter *p, struct tint_report *report)
{
    size_t n = mesh_vertices(p->mesh);
    bool had = mesh_attribute(p->mesh, ATTRIBUTE_colour) != NULL;
    for (size_t v = 0; v < n; v++)
        report->seen += p->seen[v];
    if (report->seen == 0)
        return job_fail(p->job, STATUS_REFUSED,
                        "no scan that has colours lies within %.3g mm of it, facing as it does; "
                        "bring them together first (\"align\", \"fit\"), or give within=",
                        p->within);
    report->left = n - report->seen;
    return had || report->left == 0 ? STATUS_OK
                                    : spread(p->mesh, p->seen, p->colour, report, p->job);
}

static enum status begin(struct painter *p, struct mesh *out)
{
    size_t n = mesh_vertices(p->mesh);
    const uint8_t *had = mesh_attribute(p->mesh, ATTRIBUTE_colour);
    const struct normals *normals = mesh_normals(p->mesh, p->job);
    p->normal = normals ? normals->vertex : NULL;
    p->colour = mesh_attribute_new(out, ATTRIBUTE_colour);
    p->seen = scratch_new(n + 1, 1);
    p->facing = scratch_new(p->parts.count + 1, 1);
    if (!p->normal)
        return job_status(p->job);
    if (!p->colour || !p->seen || !p->facing)
        return job_fail_memory(p->job, n * 5);
    if (had)
        memcpy(p->colour, had, 4 * n);
    else
        memset(p->colour, attribute_blank(ATTRIBUTE_colour), 4 * n);
    return STATUS_OK;
}

static void painter_release(struct painter *p)
{
    fuse_parts_release(&p->parts);
    fuse_samples_release(&p->samples);
    mesh_free(p->cloud);
    scratch_free(p->number);
    scratch_free(p->facing);
    scratch_free(p->seen);
}

enum status tint_from(const struct mesh *mesh, const struct mesh *const *scan, size_t scans,
                      double within, struct mesh **out, struct tint_report *report, struct job *job)
{
    struct painter p = {.mesh = mesh, .job = job};
    struct mesh *made = mesh_new_like(mesh);
    *out = NULL;
    *report = (struct tint_report){0};
    enum status status = made ? STATUS_OK : job_fail_memory(job, sizeof *made);
    if (status == STATUS_OK)
        status = gather(&p, scan, scans, within);
    if (status == STATUS_OK)
        status = make_cloud(&p);
    if (status == STATUS_OK)
        status = begin(&p, made);
    if (status == STATUS_OK)
        status = find_facing(&p);
    if (status == STATUS_OK)
        status = paint(&p);
    if (status == STATUS_OK)
        status = finish(&p, report);
    report->within = p.within;
    painter_release(&p);
    if (status == STATUS_OK)
        *out = made;
    else
        mesh_free(made);
    return status;
}

/* --- what is missing ------------------------------------------------------------------------- */

/* Known is what a measured triangle has, and can be seen. */
static enum status find_known(const struct mesh *mesh, uint8_t *known, struct job *job)
{
    const uint8_t *origin = mesh_triangles(mesh) ? mesh_attribute(mesh, ATTRIBUTE_origin) : NULL;
    const uint8_t *colour = mesh_attribute(mesh, ATTRIBUTE_colour);
    memset(known, origin ? 0 : 1, mesh_vertices(mesh));
    for (size_t t = 0; origin && t < mesh_triangles(mesh); t++) {
        if (t % ASK == 0 && job_cancelled(job))
            return job_fail_cancelled(job);
        for (int k = 0; k < 3 && origin[t] == ORIGIN_MEASURED; k++)
            known[mesh_triangle(mesh)[t].v[k]] = 1;
    }
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        known[v] = known[v] && colour[4 * v + 3] > 0;
    return STATUS_OK;
}

static enum status spread_missing(const struct mesh *mesh, uint8_t *known, struct mesh *made,
                                  struct tint_report *report, struct job *job)
{
    size_t n = mesh_vertices(mesh);
    uint8_t(*colour)[4] = mesh_attribute_new(made, ATTRIBUTE_colour);
    if (!colour)
        return job_fail_memory(job, 4 * n);
    memcpy(colour, mesh_attribute(mesh, ATTRIBUTE_colour), 4 * n);
    return spread(mesh, known, colour, report, job);
}

enum status tint_missing(const struct mesh *mesh, struct mesh **out, struct tint_report *report,
                         struct job *job)
{
    size_t n = mesh_vertices(mesh), missing = 0;
    *out = NULL;
    *report = (struct tint_report){0};
    if (!mesh_attribute(mesh, ATTRIBUTE_colour))
        return job_fail(job, STATUS_REFUSED,
                        "it has no colours to take from; \"tint from=pieces\" takes those of scans "
                        "that lie on it");
    uint8_t *known = scratch_new(n + 1, 1);
    struct mesh *made = mesh_new_like(mesh);
    enum status status = known && made ? STATUS_OK : job_fail_memory(job, n);
    job_phase(job, "giving colours on", 1000, 0);
    if (status == STATUS_OK)
        status = find_known(mesh, known, job);
    for (size_t v = 0; v < n && status == STATUS_OK; v++)
        missing += !known[v];
    if (status == STATUS_OK && missing > 0)
        status = spread_missing(mesh, known, made, report, job);
    report->seen = n - missing;
    scratch_free(known);
    if (status == STATUS_OK)
        *out = made;
    else
        mesh_free(made);
    return status;
}
