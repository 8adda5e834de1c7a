/* Bores and keyholes: nothing wrong, but what somebody who is to hang it wants to know. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "check/rows.h"
#include "check/screw_holes.h"
#include "core/job.h"
#include "core/tree.h"

const struct check check_screw_holes;

struct kind { /* all of one kind */
    uint64_t count;
    double least, most; /* width, mm */
};

static struct kind count_kind(const struct screw_holes *holes, enum screw_hole_kind kind)
{
    struct kind k = {0, INFINITY, 0};
    for (size_t i = 0; i < holes->count; i++) {
        if (holes->item[i].kind != kind)
            continue;
        k.count++;
        k.least = fmin(k.least, holes->item[i].width);
        k.most = fmax(k.most, holes->item[i].width);
    }
    return k;
}

/* "2 holes of 3.4 to 4.5 mm" */
static void write_kind(const struct kind *k, const char *one, char *text, size_t size)
{
    char range[32] = "";
    if (k->most > k->least + 0.05)
        snprintf(range, sizeof range, " to %.3g", k->most);
    if (k->count)
        snprintf(text, size, "%llu %s%s of %.3g%s mm", (unsigned long long)k->count, one,
                 plural(k->count), k->least, range);
    else
        text[0] = '\0';
}

/* Where the screen goes to: a little beside the axis, on the wall. */
static struct place place_of(const struct mesh *mesh, const struct tree *tree,
                             const struct screw_hole *hole)
{
    struct vec middle = vec_along(hole->at, hole->depth, hole->along);
    struct nearest near = tree_nearest(tree, middle, INFINITY);
    struct place place = place_triangle(mesh, near.triangle);
    place.at = vec_point(hole->at);
    place.reach = (float)fmax(hole->width, hole->entry);
    return place;
}

static struct place *places_of(const struct mesh *mesh, const struct screw_holes *holes,
                               size_t count, struct job *job)
{
    const struct tree *tree = mesh_tree(mesh, job);
    struct place *place = tree ? malloc(count * sizeof *place) : NULL;
    if (tree && !place)
        job_fail_memory(job, count * sizeof *place);
    for (size_t i = 0; place && i < count; i++)
        place[i] = place_of(mesh, tree, &holes->item[i]);
    return place;
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct screw_holes *holes = mesh_screw_holes(inspection->mesh, job);
    if (!holes)
        return job_status(job);
    if (holes->count == 0)
        return STATUS_OK;
    size_t kept = holes->count < PLACES_MOST ? holes->count : PLACES_MOST;
    struct place *places = places_of(inspection->mesh, holes, kept, job);
    if (!places)
        return job_status(job);
    struct kind bores = count_kind(holes, SCREW_HOLE_BORE),
                keyholes = count_kind(holes, SCREW_HOLE_KEYHOLE);
    char text[2][80];
    write_kind(&keyholes, "keyhole", text[0], sizeof text[0]);
    write_kind(&bores, "round hole", text[1], sizeof text[1]);
    return inspection_find(inspection, &check_screw_holes, SEVERITY_HINT, holes->count, places,
                           kept, job, "%s%s%s", text[0], keyholes.count && bores.count ? ", " : "",
                           text[1]);
}

const struct check check_screw_holes = {
    .name = "screw-holes",
    .title = "Round holes and keyholes",
    .help = "\"fixings\" tells their sizes and which screws they suit; \"balance\" how it hangs by "
            "them, \"template\" draws where to drill.",
    .mend = "fixings",
    .severity = SEVERITY_HINT,
    .run = run,
};
