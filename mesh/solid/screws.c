#include "solid/screws.h"

const char screw_names[] =
#define SCREW(symbol, name, thread) " " name
#include "solid/screws.def"
#undef SCREW
    ;

static const struct measure_row rows[] = {
#define MEASURE(symbol, standard, source, help, ...) {standard, source, help, {__VA_ARGS__}},
#include "solid/screws.def"
#undef MEASURE
};

const struct measure_row *measure_row(enum measure measure)
{
    return &rows[measure];
}

const char *screw_name(enum screw screw)
{
    static const char *const name[] = {
#define SCREW(symbol, name, thread) name,
#include "solid/screws.def"
#undef SCREW
    };
    return name[screw];
}

double screw_shank(enum screw screw)
{
    static const double shank[] = {
#define SCREW(symbol, name, thread) thread,
#include "solid/screws.def"
#undef SCREW
    };
    return shank[screw];
}
