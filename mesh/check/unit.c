/* How large it is, and whether that is likely. Files of the trade name no unit, and a wrong guess
 * is off by 10, 25.4, 304.8 or 1000: so a size outside of what is scanned and printed is asked
 * about. */
#include <stdio.h>
#include <string.h>

#include "check/rows.h"
#include "core/job.h"
#include "core/topology.h"

const struct check check_unit;

/* What is scanned by hand and printed: common practice, no source. */
#define LEAST_MM 5.0
#define MOST_MM 5000.0

static const struct {
    double factor;
    const char *small, *large; /* what was taken for what when the part looks small, large */
} mistakes[] = {{10, "cm for mm", "mm for cm"},
                {25.4, "in for mm", "mm for in"},
                {304.8, "ft for mm", "mm for ft"},
                {1000, "m for mm", "mm for m"}};

static bool likely(double longest)
{
    return longest >= LEAST_MM && longest <= MOST_MM;
}

/* "30 mm (x10, cm for mm), 76.2 mm (x25.4, in for mm)": what would be likely. */
static void say_likely(double longest, char *text, size_t room)
{
    bool small = longest < LEAST_MM;
    size_t length = 0;
    text[0] = '\0';
    for (size_t i = 0; i < sizeof mistakes / sizeof *mistakes; i++) {
        double factor = mistakes[i].factor, other = small ? longest * factor : longest / factor;
        if (!likely(other) || length >= room)
            continue;
        int more =
            snprintf(text + length, room - length, "%s%.4g mm (%c%g, %s)",
                     length ? ", " : "; a wrong unit? Likely would be ", other, small ? 'x' : '/',
                     factor, small ? mistakes[i].small : mistakes[i].large);
        length += more > 0 ? (size_t)more : 0;
    }
}

static enum status run(struct inspection *inspection, struct job *job)
{
    const struct bounds *bounds = mesh_bounds(inspection->mesh, job);
    if (!bounds)
        return job_status(job);
    if (mesh_vertices(inspection->mesh) == 0)
        return STATUS_OK;
    inspection_vec(inspection, FIGURE_min, bounds->min);
    inspection_vec(inspection, FIGURE_max, bounds->max);
    inspection_vec(inspection, FIGURE_size, bounds->size);
    double longest = fmax(bounds->size.x, fmax(bounds->size.y, bounds->size.z));
    const char *source = inspection->input.unit_source;
    if (likely(longest) || (source && strcmp(source, "given") == 0))
        return STATUS_OK;
    char others[256];
    say_likely(longest, others, sizeof others);
    return inspection_find(inspection, &check_unit, SEVERITY_HINT, 1, NULL, 0, job,
                           "%.4g mm (%.4g in) long is %s for a scan%s", longest, longest / 25.4,
                           longest < LEAST_MM ? "small" : "large", others);
}

const struct check check_unit = {
    .name = "unit",
    .title = "Unit",
    .help =
        "STL, PLY, OBJ, OFF and point files do not say what their numbers mean; say it by --unit "
        "or \"scale\" the part.",
    .mend = "scale",
    .severity = SEVERITY_HINT,
    .run = run,
};
