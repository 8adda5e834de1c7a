#include "solid/hollow.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/join.h"
#include "core/mass.h"
#include "core/subset.h"
#include "core/topology.h"
#include "core/weld.h"
#include "solid/boolean.h"
#include "solid/drain.h"
#include "solid/judge.h"
#include "solid/shell.h"

static const double pi = 3.14159265358979323846;
static const double usual_drain = 4; /* mm: what is worth taking out where none is asked for */

enum fate { STAYS, SMALL, TIGHT };

struct room {      /* a cavity, or what floats in one */
    double volume; /* mm3 as its surface runs: of a cavity more than 0 */
    uint32_t in;   /* what floats: the cavity it floats in, or NO_INDEX; else itself */
    enum fate fate;
    bool in_body; /* its surface is part of the present body */
};

struct hollowing {
    const struct hollow_options *options;
    struct hollow_report *report;
    struct mesh *outside, *inner, *body;
    struct room *room;
    size_t rooms;
    struct drain drain[HOLLOW_HOLES_MOST];
    struct job *job;
};

/* --- cavities -------------------------------------------------------------------------------- */

/* Shoots from a vertex of what floats: the smallest cavity left an odd number of times holds it. */
static enum status find_holder(struct hollowing *h, const struct components *parts, size_t which)
{
    const struct tree *tree = mesh_tree(h->inner, h->job);
    uint32_t *left = calloc(h->rooms + 1, sizeof *left);
    if (!tree || !left) {
        free(left);
        return tree ? job_fail_memory(h->job, h->rooms * sizeof *left) : job_status(h->job);
    }
    size_t t = 0;
    while (parts->of[t] != which)
        t++;
    struct vec from = point_vec(mesh_point(h->inner)[mesh_triangle(h->inner)[t].v[0]]);
    struct vec along = vec_unit(vec(0.577, 0.211, 0.789)); /* square to nothing in particular */
    struct hit hit = tree_ray(tree, from, along, 0, INFINITY);
    while (hit.triangle != NO_INDEX) {
        left[parts->of[hit.triangle]]++;
        hit = tree_ray(tree, from, along, hit.t, INFINITY);
    }
    struct room *room = &h->room[which];
    room->in = NO_INDEX;
    for (uint32_t i = 0; i < h->rooms; i++)
        if (left[i] % 2 && h->room[i].volume > 0 &&
            (room->in == NO_INDEX || h->room[i].volume < h->room[room->in].volume))
            room->in = i;
    free(left);
    return STATUS_OK;
}

static enum status find_rooms(struct hollowing *h)
{
    const struct components *parts = mesh_components(h->inner, h->job);
    if (!parts)
        return job_status(h->job);
    h->rooms = parts->count;
    h->room = calloc(h->rooms + 1, sizeof *h->room);
    if (!h->room)
        return job_fail_memory(h->job, h->rooms * sizeof *h->room);
    for (size_t t = 0; t < mesh_triangles(h->inner); t++) {
        const uint32_t *v = mesh_triangle(h->inner)[t].v;
        const struct point *p = mesh_point(h->inner);
        struct vec cross = vec_cross(point_vec(p[v[1]]), point_vec(p[v[2]]));
        h->room[parts->of[t]].volume -= vec_dot(point_vec(p[v[0]]), cross) / 6;
    }
    enum status status = STATUS_OK;
    for (uint32_t i = 0; i < h->rooms && status == STATUS_OK; i++) {
        h->room[i].in = i;
        if (h->room[i].volume < 0)
            status = find_holder(h, parts, i);
    }
    return status;
}

static bool is_cavity(const struct hollowing *h, size_t i)
{
    return h->room[i].in == i;
}

static bool stays(const struct hollowing *h, size_t i)
{
    uint32_t in = h->room[i].in;
    return in != NO_INDEX && h->room[in].fate == STAYS;
}

/* Too small to be worth a hole. */
static void drop_small(struct hollowing *h)
{
    double drain = h->options->drain > 0 ? h->options->drain : usual_drain;
    double least = pi / 6 * 8 * drain * drain * drain;
    for (size_t i = 0; i < h->rooms; i++)
        if (is_cavity(h, i) && h->room[i].volume < least)
            h->room[i].fate = SMALL;
}

/* --- the body -------------------------------------------------------------------------------- */

static struct mesh *kept_inner(struct hollowing *h)
{
    const struct components *parts = mesh_components(h->inner, h->job);
    uint8_t *keep = parts ? scratch_new(mesh_triangles(h->inner), 1) : NULL;
    struct mesh *kept = NULL;
    if (parts && !keep)
        job_fail_memory(h->job, mesh_triangles(h->inner));
    for (size_t i = 0; keep && i < h->rooms; i++)
        h->room[i].in_body = stays(h, i);
    if (keep) {
        for (size_t t = 0; t < mesh_triangles(h->inner); t++)
            keep[t] = h->room[parts->of[t]].in_body;
        kept = mesh_subset(h->inner, keep, h->job);
    }
    scratch_free(keep);
    return kept;
}

/* Outside and cavities together, the latter marked as made. */
static enum status make_body(struct hollowing *h)
{
    mesh_free(h->body);
    h->body = NULL;
    struct mesh *inner = kept_inner(h);
    struct mesh *made = inner ? mesh_new_like(inner) : NULL;
    if (inner && !made)
        job_fail_memory(h->job, sizeof *made);
    if (made && shell_mark_made(made, h->job) == STATUS_OK) {
        const struct mesh *const both[2] = {h->outside, made};
        h->body = mesh_join(both, 2, h->job);
    }
    if (h->body) {
        h->body->joined = true;
        h->report->inner = mesh_triangles(made);
    }
    mesh_free(made);
    mesh_free(inner);
    return h->body ? STATUS_OK : job_status(h->job);
}

/* --- drains ---------------------------------------------------------------------------------- */

static void add_hole(struct hollowing *h, const struct drain *drain, enum hollow_end end)
{
    struct hollow_report *r = h->report;
    h->drain[r->holes] = *drain;
    r->hole[r->holes++] = (struct hollow_hole){.end = end,
                                               .at = drain->footing.place.at,
                                               .along = drain->footing.place.along,
                                               .width = drain->bore.diameter,
                                               .depth = drain->bore.depth};
}

/* Whether a hole would run into another. */
static bool is_apart(const struct hollowing *h, const struct drain *drain)
{
    for (size_t i = 0; i < h->report->holes; i++) {
        struct vec way = vec_sub(h->report->hole[i].at, drain->footing.place.at);
        if (vec_length(way) < 1.5 * drain->bore.diameter + h->options->wall)
            return false;
    }
    return true;
}

/* The vertices of the body's surface that belong to a cavity or what floats in it. */
static enum status list_vertices(const struct hollowing *h, size_t which, uint32_t **out,
                                 size_t *count)
{
    const struct components *parts = mesh_components(h->inner, h->job);
    if (!parts)
        return job_status(h->job);
    size_t vertices = mesh_vertices(h->body), first = mesh_vertices(h->outside);
    size_t t = mesh_triangles(h->outside);
    uint8_t *is = scratch_new(vertices, 1);
    *out = scratch_new(vertices - first, sizeof **out);
    *count = 0;
    if (is && *out) {
        memset(is, 0, vertices);
        for (size_t i = 0; i < mesh_triangles(h->inner); i++) {
            if (!h->room[parts->of[i]].in_body)
                continue;
            for (int k = 0; k < 3 && parts->of[i] == which; k++)
                is[mesh_triangle(h->body)[t].v[k]] = 1;
            t++;
        }
        for (size_t v = first; v < vertices; v++)
            if (is[v])
                (*out)[(*count)++] = (uint32_t)v;
    }
    scratch_free(is);
    return *out ? STATUS_OK : job_fail_memory(h->job, vertices * 5);
}

static enum status drain_room(struct hollowing *h, size_t which)
{
    struct cavity cavity = {.body = h->body, .outside = h->outside};
    const struct hollow_options *o = h->options;
    uint32_t *vertex = NULL;
    struct drain low, high;
    bool has_low = false, has_high = false;
    enum status status = list_vertices(h, which, &vertex, &cavity.vertices);
    cavity.vertex = vertex;
    if (status == STATUS_OK)
        status = drain_choose(&cavity, false, o->wall, o->drain, &low, &has_low, h->job);
    if (status == STATUS_OK && has_low) {
        add_hole(h, &low, HOLLOW_LOWEST);
        status = drain_choose(&cavity, true, o->wall, o->drain, &high, &has_high, h->job);
        if (status == STATUS_OK && has_high && is_apart(h, &high))
            add_hole(h, &high, HOLLOW_HIGHEST);
    } else if (status == STATUS_OK) {
        h->room[which].fate = TIGHT;
    }
    scratch_free(vertex);
    return status;
}

/* Cavities without a place for a hole stay solid. */
static enum status drain_rooms(struct hollowing *h)
{
    enum status status = STATUS_OK;
    bool again = false;
    for (size_t i = 0; i < h->rooms && status == STATUS_OK; i++)
        if (is_cavity(h, i) && stays(h, i)) {
            if (h->report->holes + 2 > HOLLOW_HOLES_MOST)
                return job_fail(h->job, STATUS_REFUSED,
                                "there are more than %d cavities to drain; take a larger drain= or "
                                "wall=, or say where with at=",
                                HOLLOW_HOLES_MOST / 2);
            status = drain_room(h, i);
            again = again || !stays(h, i);
        }
    return status == STATUS_OK && again ? make_body(h) : status;
}

static enum status drain_places(struct hollowing *h)
{
    const struct hollow_options *o = h->options;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < o->places && status == STATUS_OK; i++) {
        struct drain drain;
        status = drain_at(h->body, h->outside, o->at[i], o->wall, o->drain, &drain, h->job);
        if (status == STATUS_OK && !is_apart(h, &drain))
            status =
                job_fail(h->job, STATUS_REFUSED,
                         "two of the places for drains are next to each other; give them room");
        if (status == STATUS_OK)
            add_hole(h, &drain, HOLLOW_PICKED);
    }
    return status;
}

static struct mesh *all_tools(struct hollowing *h)
{
    struct mesh *tool[HOLLOW_HOLES_MOST], *all = NULL;
    size_t made = 0;
    enum status status = STATUS_OK;
    for (; made < h->report->holes && status == STATUS_OK; made += status == STATUS_OK)
        status =
            bore_cutter(&h->drain[made].bore, &h->drain[made].footing.place, &tool[made], h->job);
    if (status == STATUS_OK)
        all = mesh_join((const struct mesh *const *)tool, made, h->job);
    for (size_t i = 0; i < made; i++)
        mesh_free(tool[i]);
    return all;
}

static enum status cut_holes(struct hollowing *h)
{
    struct mesh *tool = all_tools(h), *cut = NULL;
    struct boolean_report report = {0};
    if (!tool)
        return job_status(h->job);
    enum status status = boolean_mesh(h->body, tool, BOOLEAN_SUBTRACT, &cut, &report, h->job);
    mesh_free(tool);
    if (status != STATUS_OK)
        return status;
    mesh_free(h->body);
    h->body = cut;
    h->report->crossings = report.crossings;
    const struct tree *tree = mesh_tree(cut, h->job);
    for (size_t i = 0; i < h->report->holes && tree; i++) {
        const struct drain *d = &h->drain[i];
        h->report->hole[i].back =
            footing_width(tree, &d->footing, d->middle, cutter_facets(d->bore.diameter / 2));
    }
    return tree ? STATUS_OK : job_status(h->job);
}

/* --- what is told ---------------------------------------------------------------------------- */

static void count_rooms(struct hollowing *h)
{
    struct hollow_report *r = h->report;
    for (size_t i = 0; i < h->rooms; i++) {
        const struct room *room = &h->room[i];
        r->loose += !is_cavity(h, i) && stays(h, i);
        if (!is_cavity(h, i))
            continue;
        r->cavities += room->fate == STAYS;
        r->small += room->fate == SMALL;
        r->tight += room->fate == TIGHT;
        r->solid += room->fate == STAYS ? 0 : room->volume;
    }
}

static enum status nothing_left(struct hollowing *h)
{
    double depth = 0;
    struct vec at;
    enum status status = offset_deepest(h->outside, &depth, &at, h->job);
    if (status != STATUS_OK)
        return status;
    if (depth <= h->options->wall)
        return job_fail(h->job, STATUS_REFUSED,
                        "a wall of %.4g mm leaves nothing to take out: the part is %.4g mm thick "
                        "at most, so the wall must be thinner than %.4g mm",
                        h->options->wall, 2 * depth, depth);
    return job_fail(h->job, STATUS_REFUSED,
                    "a wall of %.4g mm leaves no cavity large enough to drain through %.4g mm; the "
                    "part is %.4g mm thick at most; take a thinner wall= or smaller drain=",
                    h->options->wall, h->options->drain, 2 * depth);
}

/* A drain through the bottom of the greatest pool would empty it: where that could go. */
static enum status find_more(struct hollowing *h, const struct trapped *trapped)
{
    const struct cavity pool = {h->body, h->outside, trapped->vertex, trapped->vertices};
    struct drain more;
    bool found = false;
    enum status status = STATUS_OK;
    if (trapped->volume >= HOLLOW_NOTHING && h->report->holes < HOLLOW_HOLES_MOST)
        status =
            drain_choose(&pool, false, h->options->wall, h->options->drain, &more, &found, h->job);
    if (found && is_apart(h, &more)) {
        h->report->drainable = true;
        h->report->more = more.footing.place.at;
    }
    return status;
}

static enum status tell(struct hollowing *h)
{
    struct trapped trapped = {0};
    enum status status = solid_volume(h->outside, &h->report->before, h->job);
    if (status == STATUS_OK)
        status = solid_volume(h->body, &h->report->after, h->job);
    if (status == STATUS_OK && h->report->holes)
        status = trapped_find(h->body, h->outside, h->options->wall, &trapped, h->job);
    if (status == STATUS_OK && trapped.vertices)
        status = find_more(h, &trapped);
    scratch_free(trapped.vertex);
    h->report->trapped = trapped.volume;
    h->report->largest = trapped.largest;
    h->report->pools = trapped.pools;
    h->report->pool = trapped.at;
    return status;
}

/* --- all ------------------------------------------------------------------------------------- */

static enum status take_out(struct hollowing *h)
{
    const struct offset_options inward = {h->options->wall, true, h->options->spacing, true};
    enum status status = solid_judge(h->outside, h->job);
    struct job_part whole = job_stage(h->job, 500);
    if (status == STATUS_OK)
        status = offset_surface(h->outside, &inward, &h->inner, &h->report->offset, h->job);
    job_part_end(h->job, whole);
    if (status == STATUS_OK)
        status = find_rooms(h);
    if (status != STATUS_OK)
        return status;
    drop_small(h);
    job_phase(h->job, "draining", 100, 0);
    status = make_body(h);
    if (status == STATUS_OK && h->options->drain > 0)
        status = h->options->places ? drain_places(h) : drain_rooms(h);
    if (status != STATUS_OK)
        return status;
    count_rooms(h);
    if (h->report->cavities == 0)
        return nothing_left(h);
    whole = job_stage(h->job, 150);
    status = h->report->holes ? cut_holes(h) : STATUS_OK;
    job_part_end(h->job, whole);
    job_phase(h->job, "looking for what stays inside", 150, 0);
    return status == STATUS_OK ? tell(h) : status;
}

enum status hollow_mesh(const struct mesh *mesh, const struct hollow_options *options,
                        struct mesh **out, struct hollow_report *report, struct job *job)
{
    struct hollowing h = {.options = options, .report = report, .job = job};
    *report = (struct hollow_report){0};
    h.outside = mesh->joined ? mesh_share(mesh) : weld_exact(mesh, job);
    enum status status = h.outside ? take_out(&h) : job_status(job);
    if (status == STATUS_OK) {
        *out = h.body;
        h.body = NULL;
    }
    mesh_free(h.outside);
    mesh_free(h.inner);
    mesh_free(h.body);
    free(h.room);
    return status;
}
