/* Lids are checked as they will be in the mesh, rounded to floats; those at fault take the next
 * manner, and all is checked again. Of two lids that cross each other the longer gives way, until
 * it has no manner left: small ones can do without less. A lid that no manner frees goes back to
 * the one that crosses least. */
#include <stdlib.h>

#include "core/job.h"
#include "surface/fill_cross.h"
#include "surface/fill_level.h"
#include "surface/fill_parts.h"

struct retreat {
    struct filling *f;
    struct lids lids;
    bool *whole, *open; /* one a lid */
    size_t *faults;     /* one a lid: pairs for which it is to give way */
    unsigned left;      /* permille of the job, for further rounds */
    struct fill_report *report;
};

static void look_at_lids(struct retreat *r, const struct mesh *made)
{
#pragma omp parallel for num_threads(job_threads(r->f->job)) schedule(dynamic)
    for (size_t i = 0; i < r->lids.count; i++) {
        if (job_cancelled(r->f->job))
            continue;
        r->whole[i] = !fill_is_level(made, r->lids.start[i], &r->f->lid[i].patch);
        r->open[i] = !r->f->lid[i].settled;
        r->faults[i] = 0;
    }
}

/* Which of two lids that cross is to give way. */
static size_t at_fault(const struct retreat *r, size_t a, size_t b)
{
    const struct lid *lid = r->f->lid;
    if (lid[a].settled || lid[b].settled)
        return lid[a].settled ? b : a;
    size_t x = lid_edges(&r->f->rims, (uint32_t)a), y = lid_edges(&r->f->rims, (uint32_t)b);
    return x > y || (x == y && a < b) ? a : b;
}

static void count_faults(struct retreat *r, const struct crossing *pair, size_t pairs)
{
    for (size_t i = 0; i < pairs; i++) {
        size_t a = lid_of(&r->lids, pair[i].a), b = lid_of(&r->lids, pair[i].b);
        r->faults[b == r->lids.count || a == b ? a : at_fault(r, a, b)]++;
    }
}

/* The lid takes another manner, or its best one for good. */
static void give_way(struct lid *lid, size_t crosses, unsigned manners)
{
    if (lid->manner == 0 || crosses < lid->best_crosses) {
        lid->best = lid->manner;
        lid->best_crosses = crosses;
    }
    lid->settled = lid->manner + 1 == manners;
    lid->reshape = !lid->settled || lid->best != lid->manner;
    lid->manner = lid->settled ? lid->best : lid->manner + 1;
}

/* Whether there is to be another round: a lid is to be made anew, or stays as it is, so that those it
 * crosses must give way. */
static bool judge(struct retreat *r)
{
    unsigned manners = 0;
    bool again = false;
    lid_manners(r->f->shape, &manners);
    for (size_t i = 0; i < r->lids.count; i++) {
        if (r->f->lid[i].settled || r->faults[i] == 0)
            continue;
        give_way(r->f->lid + i, r->faults[i], manners);
        again = true;
    }
    return again;
}

static enum status check(struct retreat *r, const struct mesh *made)
{
    struct crossing *pair;
    size_t pairs;
    look_at_lids(r, made);
    enum status status = fill_crossings(made, &r->lids, r->open, &pair, &pairs, r->f->job);
    if (status == STATUS_OK)
        count_faults(r, pair, pairs);
    free(pair);
    return status;
}

/* Nobody knows how many rounds there will be: each takes a part of what is left of the bar. */
static void begin(struct retreat *r, const char *title, uint64_t steps)
{
    unsigned share = r->left / 4;
    job_phase(r->f->job, title, share, steps);
    r->left -= share;
}

static enum status make_again(struct retreat *r, struct mesh **made, size_t *start)
{
    struct filling *f = r->f;
    size_t edges = 0;
    for (uint32_t i = 0; i < r->lids.count; i++)
        edges += f->lid[i].reshape ? lid_edges(&f->rims, i) : 0;
    begin(r, "keeping fillings clear of the surface", LID_STEPS * edges);
    f->tree = mesh_tree(f->mesh, f->job);
    if (!f->tree)
        return job_status(f->job);
    enum status status = lids_make(f);
    if (status != STATUS_OK)
        return status;
    mesh_free(*made);
    *made = lids_mesh(f, start);
    begin(r, "checking the new surface", 0);
    return *made ? STATUS_OK : job_status(f->job);
}

/* Counts what still crosses, and tells where. */
static enum status find_crossing(struct retreat *r, const struct mesh *made)
{
    struct crossing *pair;
    size_t pairs;
    for (size_t i = 0; i < r->lids.count; i++)
        r->f->lid[i].settled = false;
    begin(r, "checking the new surface", 0);
    look_at_lids(r, made);
    enum status status = fill_crossings(made, &r->lids, r->open, &pair, &pairs, r->f->job);
    r->report->crossings = pairs;
    for (size_t i = 0; i < pairs; i++) {
        size_t of = lid_of(&r->lids, pair[i].a);
        if (r->faults[of]++ == 0 && r->report->crossing++ == 0)
            r->report->crossing_at =
                mesh_world(made, point_vec(mesh_point(made)[mesh_triangle(made)[pair[i].a].v[0]]));
    }
    free(pair);
    return status;
}

enum status lids_retreat(struct filling *f, struct mesh **made, size_t *start,
                         struct fill_report *report)
{
    size_t count = f->rims.holes;
    struct retreat r = {.f = f, .left = 400, .report = report};
    r.whole = calloc(count + 1, sizeof *r.whole);
    r.open = calloc(count + 1, sizeof *r.open);
    r.faults = calloc(count + 1, sizeof *r.faults);
    r.lids = (struct lids){count, start, r.whole};
    enum status status = r.whole && r.open && r.faults
                             ? STATUS_OK
                             : job_fail_memory(f->job, count * sizeof *r.faults);
    job_phase(f->job, "checking the new surface", 50, 0);
    while (status == STATUS_OK) {
        status = check(&r, *made);
        if (status != STATUS_OK || !judge(&r))
            break;
        status = make_again(&r, made, start);
    }
    bool any = false;
    for (size_t i = 0; i < count; i++)
        any |= f->lid[i].settled;
    if (status == STATUS_OK && any)
        status = find_crossing(&r, *made);
    for (size_t i = 0; i < count; i++)
        report->retreated += f->lid[i].manner > 0;
    free(r.whole);
    free(r.open);
    free(r.faults);
    return status;
}
