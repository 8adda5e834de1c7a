#include "op/suits.h"

#include <math.h>

static const double exact = 0.06, recess_exact = 0.1; /* mm */
static const double right_angle = 2;                  /* degrees: a countersink's about 90 */
static const double passes = 0.05;                    /* mm: the hole is wider than the shank */
static const double spare = 1.35;                     /* times */

double suits_head(enum screw screw)
{
    double wood = screw_measure(screw, MEASURE_wood_head);
    return wood > 0 ? wood : screw_measure(screw, MEASURE_pan_head);
}

/* A wood screw's head of 82 degrees tapers down to the shank; low ones of its own height. */
static double height_of(enum screw screw)
{
    double pan = screw_measure(screw, MEASURE_pan_height);
    double cone = (suits_head(screw) - screw_shank(screw)) / 2 / tan(0.7155849933176751);
    return pan > 0 ? pan : cone;
}

/* --- bores ---------------------------------------------------------------------------------- */

/* How far the hole is from the measure; its facets and edges may lie on either side. */
static double off(const struct screw_hole *hole, double mm)
{
    return mm < hole->width ? hole->width - mm : mm > hole->corners ? mm - hole->corners : 0;
}

static void try_measure(const struct screw_hole *hole, enum measure measure, struct suits *best,
                        double *least)
{
    for (int s = 0; s < SCREW_COUNT; s++) {
        double mm = screw_measure((enum screw)s, measure);
        double by =
            measure == MEASURE_insert && hole->width > mm
                ? fmin(off(hole, mm), off(hole, screw_measure((enum screw)s, MEASURE_insert_most)))
                : off(hole, mm);
        if (!(mm > 0) || by > exact || !(by < *least - 1e-6))
            continue;
        *least = by;
        *best = (struct suits){true, (enum screw)s, measure_row(measure)};
    }
}

static struct suits loosest(const struct screw_hole *hole)
{
    struct suits best = {0};
    for (int s = 0; s < SCREW_COUNT; s++) {
        double shank = screw_shank((enum screw)s);
        if (shank + passes > hole->width || hole->width > spare * shank ||
            (best.any && shank <= screw_shank(best.screw)))
            continue;
        best = (struct suits){true, (enum screw)s, NULL};
    }
    return best;
}

static struct suits bore_suits(const struct screw_hole *hole)
{
    static const enum measure through[] = {MEASURE_medium, MEASURE_fine, MEASURE_coarse},
                              blind[] = {MEASURE_insert, MEASURE_medium, MEASURE_fine,
                                         MEASURE_coarse};
    struct suits best = {0};
    double least = INFINITY;
    for (int i = 0; i < (hole->through ? 3 : 4); i++)
        try_measure(hole, hole->through ? through[i] : blind[i], &best, &least);
    return best.any ? best : loosest(hole);
}

const struct measure_row *suits_recess(const struct screw_hole *hole, enum screw screw)
{
    static const enum measure sunk[] = {MEASURE_sink, MEASURE_sink_socket},
                              bored[] = {MEASURE_counterbore};
    bool cone = hole->recess == RECESS_SUNK;
    double wider = hole->mouth / hole->width * hole->corners; /* at the edges of its facets */
    if (hole->recess == RECESS_NONE || (cone && fabs(hole->angle - 90) > right_angle))
        return NULL;
    for (int i = 0; i < (cone ? 2 : 1); i++) {
        enum measure measure = cone ? sunk[i] : bored[i];
        double mm = screw_measure(screw, measure);
        if (mm > hole->mouth - recess_exact && mm < wider + recess_exact)
            return measure_row(measure);
    }
    return NULL;
}

/* --- keyholes ------------------------------------------------------------------------------- */

static bool holds(const struct screw_hole *hole, enum screw screw)
{
    double head = suits_head(screw), shank = screw_shank(screw);
    return shank < hole->width && head < fmin(hole->entry, hole->room) &&
           head - hole->width > 2 * KEYHOLE_LEAST_HOLD - exact && height_of(screw) < hole->pocket;
}

static struct suits keyhole_suits(const struct screw_hole *hole)
{
    struct suits best = {0};
    double least = INFINITY;
    for (int s = 0; s < SCREW_COUNT; s++) {
        enum screw screw = (enum screw)s;
        double by = fabs(hole->entry - suits_head(screw) - KEYHOLE_HEAD_PLAY) +
                    fabs(hole->width - screw_shank(screw) - KEYHOLE_SHANK_PLAY);
        if (!holds(hole, screw) || !(by < least))
            continue;
        least = by;
        best = (struct suits){true, screw, NULL};
    }
    return best;
}

struct suits suits_find(const struct screw_hole *hole)
{
    return hole->kind == SCREW_HOLE_KEYHOLE ? keyhole_suits(hole) : bore_suits(hole);
}
