#include "scan/align.h"

#include <stdio.h>
#include <stdlib.h>

#include "core/job.h"
#include "scan/align_parts.h"
#include "scan/odd.h"

enum { ODD_MOST = 3 }; /* pieces left out that are asked why */

/* --- odd ones -------------------------------------------------------------------------------- */

static void say_odd(char *why, const struct odd *odd)
{
    if (odd->mirrored)
        snprintf(why, ALIGN_WHY, "it is mirrored: its mirror image would fit");
    else if (odd->scale > 0)
        snprintf(why, ALIGN_WHY, "it is of another scale: it would fit when scaled by %.6g",
                 odd->scale);
}

/* Asks of a few of the pieces left out whether they are mirrored or of another scale. */
static enum status ask_odd_ones(struct state *s, size_t group)
{
    struct merged model;
    double radius[SCALES];
    size_t asked = 0;
    job_phase(s->job, "asking why pieces do not fit", 100, ODD_MOST);
    if (!align_usable(s, group) || !align_outside(s))
        return STATUS_OK;
    for (int i = 0; i < SCALES; i++)
        radius[i] = scan_radius[i] * s->size;
    enum status status = align_merge(s, group, scan_radius, &model);
    for (size_t i = 0; i < s->count && asked < ODD_MOST && status == STATUS_OK; i++) {
        struct odd odd;
        if (!align_usable(s, i) || s->group[i] == group || s->fits[i])
            continue;
        status = job_step(s->job, 1)
                     ? odd_find(&s->all[i], &model.scan, s->size, radius, &odd, s->job)
                     : job_fail_cancelled(s->job);
        if (status == STATUS_OK)
            say_odd(s->out->piece[i].why, &odd);
        asked++;
    }
    align_merged_release(&model);
    return status;
}

/* --- all of it ------------------------------------------------------------------------------- */

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static enum status make_surfels(struct state *s, const struct mesh *const *mesh)
{
    double *size = malloc(s->count * sizeof *size);
    size_t n = 0;
    enum status status = size ? STATUS_OK : job_fail_memory(s->job, s->count * sizeof *size);
    job_phase(s->job, "reading the surfaces", 150, s->count);
    for (size_t i = 0; i < s->count && status == STATUS_OK; i++) {
        status = job_step(s->job, 1) ? surfels_make(mesh[i], &s->all[i], s->job)
                                     : job_fail_cancelled(s->job);
        s->group[i] = i;
        s->pose[i] = rigid_rest();
        if (status == STATUS_OK && align_usable(s, i))
            size[n++] = s->all[i].size;
        else if (status == STATUS_OK)
            snprintf(s->out->piece[i].why, ALIGN_WHY, "it has too little surface (%zu points)",
                     surfels_count(&s->all[i]));
    }
    if (status == STATUS_OK && n) {
        qsort(size, n, sizeof *size, ascending);
        s->size = size[n / 2];
    }
    free(size);
    return status;
}

static void set_results(struct state *s, size_t group)
{
    struct alignment *out = s->out;
    out->anchor = group;
    for (size_t i = 0; i < s->count; i++) {
        struct aligned *piece = &out->piece[i];
        piece->placed = s->group[i] == group && align_members(s, group) > 1;
        piece->motion = rigid_rest();
        out->placed += piece->placed;
        if (!piece->placed && !piece->why[0])
            snprintf(piece->why, ALIGN_WHY, "nothing in common with the others was found");
        if (!piece->placed)
            continue;
        piece->why[0] = '\0';
        if (!align_stays(s, group, i))
            piece->motion = rigid_in_world(&s->pose[i], s->all[i].middle, s->all[group].middle);
    }
}

/* The locked pieces are one group from the beginning, as they lie. */
static void join_locked(struct state *s)
{
    size_t first = align_first_locked(s);
    for (size_t i = first + 1; i < s->locked; i++)
        if (align_usable(s, i)) {
            s->group[i] = first;
            s->pose[i].shift = vec_sub(s->all[i].middle, s->all[first].middle);
        }
}

static enum status find_all(struct state *s, const struct mesh *const *mesh)
{
    enum status status = make_surfels(s, mesh);
    if (status == STATUS_OK) {
        join_locked(s);
        status = align_make_scans(s);
    }
    if (status == STATUS_OK)
        status = align_try_pairs(s);
    if (status == STATUS_OK)
        status = align_try_groups(s);
    if (status == STATUS_OK)
        status = align_try_turned(s);
    bool cut = true;
    while (status == STATUS_OK && cut) {
        status = align_settle(s, align_main(s));
        if (status == STATUS_OK)
            status = align_rivals(s, align_main(s), &cut);
    }
    if (status == STATUS_OK)
        status = ask_odd_ones(s, align_main(s));
    if (status == STATUS_OK)
        set_results(s, align_main(s));
    return status;
}

static void state_release(struct state *s)
{
    for (size_t i = 0; i < s->count && s->all; i++) {
        if (s->scan)
            scan_release(&s->scan[i]);
        surfels_release(&s->all[i]);
    }
    free(s->all);
    free(s->scan);
    free(s->pose);
    free(s->group);
    free(s->fits);
    free(s->twists);
    free(s->part);
    free(s->room);
}

enum status align_find(const struct mesh *const *mesh, const char *const *name, size_t count,
                       size_t locked, struct alignment *out, struct job *job)
{
    struct state s = {.name = name, .count = count, .locked = locked, .out = out, .job = job};
    *out = (struct alignment){.pieces = count};
    s.all = calloc(count + 1, sizeof *s.all);
    s.scan = calloc(count + 1, sizeof *s.scan);
    s.pose = calloc(count + 1, sizeof *s.pose);
    s.group = calloc(count + 1, sizeof *s.group);
    s.fits = calloc(count + 1, sizeof *s.fits);
    s.twists = calloc(count + 1, sizeof *s.twists);
    s.part = calloc(count + 1, sizeof *s.part);
    s.room = calloc(count + 1, sizeof *s.room);
    out->piece = calloc(count + 1, sizeof *out->piece);
    out->pair = calloc(count * count + 1, sizeof *out->pair);
    bool room = s.all && s.scan && s.pose && s.group && s.fits && s.twists && s.part && s.room &&
                out->piece && out->pair;
    enum status status = room ? STATUS_OK : job_fail_memory(job, count * sizeof *s.scan);
    if (status == STATUS_OK && count > 0)
        status = find_all(&s, mesh);
    state_release(&s);
    return status;
}

void align_release(struct alignment *alignment)
{
    free(alignment->piece);
    free(alignment->pair);
    *alignment = (struct alignment){0};
}
