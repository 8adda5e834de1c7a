/* The standards' tables of screws and their holes, mm. The rows, their standards and where each was
 * read are in screws.def. */
#ifndef FETTLE_SOLID_SCREWS_H
#define FETTLE_SOLID_SCREWS_H

enum screw {
#define SCREW(symbol, name, thread) SCREW_##symbol,
#include "solid/screws.def"
#undef SCREW
    SCREW_COUNT
};

enum measure {
#define MEASURE(symbol, ...) MEASURE_##symbol,
#include "solid/screws.def"
#undef MEASURE
    MEASURE_COUNT
};

struct measure_row {
    const char *standard; /* "ISO 273 medium" */
    const char *source;   /* where its values were read */
    const char *help;
    double mm[SCREW_COUNT]; /* 0: there is none for that screw */
};

const struct measure_row *measure_row(enum measure measure);

/* The measure of that screw, mm; 0: the standard has none. */
static inline double screw_measure(enum screw screw, enum measure measure)
{
    return measure_row(measure)->mm[screw];
}

const char *screw_name(enum screw screw); /* "M4", "no8" */
double screw_shank(enum screw screw);     /* diameter of the thread, mm; of wood screws the shank */

/* All names, the choices of a parameter in the order of enum screw. */
#define SCREW_NAMES (&screw_names[1])
extern const char screw_names[];

#endif
