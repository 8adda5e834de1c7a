#include "core/contours.h"

#include <string.h>

#include "core/contour_parts.h"

struct filling {
    struct contours contours;
    double (*mirror)[2]; /* the points seen from behind, or NULL */
    struct chain chain;
    struct nest nest;
    uint32_t *polygon; /* the loops that are outer ones */
    size_t polygons;
    size_t *nodes; /* one a polygon, with its holes and bridges */
    size_t *base;  /* polygons + 1: where its triangles begin */
    size_t *made;  /* one a polygon: triangles really made */
    struct triangle *triangle;
};

/* --- one polygon --------------------------------------------------------------------------- */

static void ring_release(struct ring *ring)
{
    scratch_free(ring->at);
    scratch_free(ring->point);
    scratch_free(ring->partner);
    edge_set_release(&ring->edges);
    scratch_free(ring->corner);
    scratch_free(ring->twin);
}

static bool ring_new(struct ring *ring, size_t nodes)
{
    *ring = (struct ring){.count = (uint32_t)nodes};
    ring->at = scratch_new(nodes, sizeof *ring->at);
    ring->point = scratch_new(nodes, sizeof *ring->point);
    ring->partner = scratch_new(nodes, sizeof *ring->partner);
    ring->corner = scratch_new(nodes, sizeof *ring->corner);
    ring->twin = scratch_new(3 * nodes, sizeof *ring->twin);
    return edge_set_make(&ring->edges, nodes) && ring->at && ring->point && ring->partner &&
           ring->corner && ring->twin;
}

/* Numbers the polygon's nodes in `number` (shared by all polygons: each writes its own nodes) and
 * copies them. A polygon that runs clockwise is seen in a mirror. */
static void ring_fill(const struct filling *f, uint32_t loop, uint32_t *number, struct ring *ring)
{
    const struct chain *chain = &f->chain;
    uint32_t first = chain->first[loop], node = first, i = 0;
    bool mirror = f->nest.area2[loop] < 0;
    do {
        number[node] = i++;
        node = chain->next[node];
    } while (node != first);
    do {
        const double *p = chain->at[chain->point[node]];
        i = number[node];
        ring->at[i][0] = p[mirror];
        ring->at[i][1] = p[!mirror];
        ring->point[i] = chain->point[node];
        uint32_t partner = chain->partner[node];
        ring->partner[i] = partner == NO_INDEX ? NO_INDEX : number[partner];
        edge_set_add(&ring->edges, chain->point[node], chain->point[chain->next[node]]);
        node = chain->next[node];
    } while (node != first);
}

static enum status fill_polygon(struct filling *f, size_t i, uint32_t *number,
                                const struct job *job)
{
    struct ring ring;
    enum status status = STATUS_OK;
    if (ring_new(&ring, f->nodes[i])) {
        ring.grain = f->contours.grain;
        ring_fill(f, f->polygon[i], number, &ring);
        status = ears_cut(&ring, job);
        if (status == STATUS_OK)
            status = flips_make(&ring, job);
    } else {
        status = STATUS_MEMORY;
    }
    f->made[i] = status == STATUS_OK ? ring.triangles : 0;
    struct triangle *out = f->triangle + f->base[i];
    for (size_t t = 0; t < f->made[i]; t++)
        for (int k = 0; k < 3; k++)
            out[t].v[k] = ring.point[ring.corner[t][k]];
    ring_release(&ring);
    return status;
}

/* --- all of them --------------------------------------------------------------------------- */

static size_t ring_length(const struct chain *chain, uint32_t first)
{
    size_t count = 0;
    uint32_t node = first;
    do {
        count++;
        node = chain->next[node];
    } while (node != first);
    return count;
}

static bool list_polygons(struct filling *f)
{
    size_t loops = f->chain.loops;
    f->polygon = scratch_new(loops, sizeof *f->polygon);
    f->nodes = scratch_new(loops, sizeof *f->nodes);
    f->base = scratch_new(loops + 1, sizeof *f->base);
    f->made = scratch_new(loops, sizeof *f->made);
    if (!f->polygon || !f->nodes || !f->base || !f->made)
        return false;
    f->base[0] = 0;
    for (uint32_t l = 0; l < loops; l++) {
        if (f->nest.root[l] != l)
            continue;
        size_t n = ring_length(&f->chain, f->chain.first[l]), i = f->polygons++;
        f->polygon[i] = l;
        f->nodes[i] = n;
        f->base[i + 1] = f->base[i] + (n > 2 ? n - 2 : 0);
    }
    f->triangle = scratch_new(f->base[f->polygons], sizeof *f->triangle);
    return f->triangle != NULL;
}

static enum status fill_polygons(struct filling *f, uint32_t *number, struct job *job)
{
    bool lacking = false;
    int threads = f->polygons > 1 ? job_threads(job) : 1;
#pragma omp parallel for num_threads(threads) schedule(dynamic) reduction(|| : lacking)
    for (size_t i = 0; i < f->polygons; i++)
        if (job_step(job, f->nodes[i]))
            lacking = fill_polygon(f, i, number, job) == STATUS_MEMORY || lacking;
    if (job_cancelled(job))
        return job_fail_cancelled(job);
    return lacking ? job_fail_memory(job, f->chain.nodes * 128) : STATUS_OK;
}

static void close_ranks(struct filling *f, struct contours_fill *out)
{
    for (size_t i = 0; i < f->polygons; i++) {
        memmove(f->triangle + out->triangles, f->triangle + f->base[i],
                f->made[i] * sizeof *f->triangle);
        out->triangles += f->made[i];
    }
    out->triangle = f->triangle;
    f->triangle = NULL;
}

static bool list_open(const struct filling *f, struct contours_fill *out)
{
    out->open = scratch_new(f->contours.edges, sizeof *out->open);
    if (!out->open)
        return false;
    for (size_t e = 0; e < f->contours.edges; e++) {
        uint32_t loop = f->chain.loop[e];
        if (loop == NO_INDEX || f->nest.root[loop] == NO_INDEX)
            out->open[out->opens++] = (uint32_t)e;
    }
    for (size_t l = 0; l < f->chain.loops; l++)
        out->loops += f->nest.root[l] != NO_INDEX;
    return true;
}

static void filling_release(struct filling *f)
{
    chain_release(&f->chain);
    nest_release(&f->nest);
    scratch_free(f->polygon);
    scratch_free(f->nodes);
    scratch_free(f->base);
    scratch_free(f->made);
    scratch_free(f->triangle);
    scratch_free(f->mirror);
}

/* Twice the area that the closed contours go round. */
static double whole_area(const struct chain *chain)
{
    double area2 = 0;
    for (size_t e = 0; e < chain->nodes; e++) {
        if (chain->loop[e] == NO_INDEX)
            continue;
        const double *o = chain->at[chain->point[0]], *p = chain->at[chain->point[e]];
        const double *q = chain->at[chain->point[chain->next[e]]];
        area2 += (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    }
    return area2;
}

static bool mirror(struct filling *f)
{
    f->mirror = scratch_new(f->contours.points, sizeof *f->mirror);
    if (!f->mirror)
        return false;
    for (size_t i = 0; i < f->contours.points; i++) {
        f->mirror[i][0] = f->contours.at[i][1];
        f->mirror[i][1] = f->contours.at[i][0];
    }
    f->contours.at = (const double(*)[2])f->mirror;
    return true;
}

static enum status link_contours(struct filling *f, struct job *job)
{
    enum status status = chain_make(&f->contours, &f->chain, job);
    if (status != STATUS_OK || whole_area(&f->chain) >= 0)
        return status;
    chain_release(&f->chain); /* seen from behind, rims are the ones that go left */
    if (!mirror(f))
        return job_fail_memory(job, f->contours.points * sizeof *f->mirror);
    return chain_make(&f->contours, &f->chain, job);
}

static enum status fill(struct filling *f, struct contours_fill *out, struct job *job)
{
    enum status status = link_contours(f, job);
    if (status == STATUS_OK)
        status = nest_make(&f->chain, &f->nest, job);
    if (status != STATUS_OK)
        return status;
    uint32_t *number = scratch_new(f->chain.nodes, sizeof *number);
    if (number && list_polygons(f))
        status = fill_polygons(f, number, job);
    else
        status = job_fail_memory(job, f->chain.nodes * 16);
    scratch_free(number);
    if (status != STATUS_OK)
        return status;
    close_ranks(f, out);
    return list_open(f, out) ? STATUS_OK : job_fail_memory(job, f->contours.edges * 4);
}

enum status contours_fill(const struct contours *contours, struct contours_fill *out,
                          struct job *job)
{
    *out = (struct contours_fill){0};
    struct filling f = {.contours = *contours};
    enum status status = fill(&f, out, job);
    filling_release(&f);
    if (status != STATUS_OK)
        contours_release(out);
    return status;
}

void contours_release(struct contours_fill *fill)
{
    scratch_free(fill->triangle);
    scratch_free(fill->open);
    *fill = (struct contours_fill){0};
}
