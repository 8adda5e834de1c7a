#include <string.h>
#include <strings.h>

#include "format/format.h"

static const struct {
    const char *name;
    double millimetres;
} units[] = {
#define UNIT(symbol, name, millimetres, title) {name, millimetres},
#include "format/units.def"
#undef UNIT
};

double unit_millimetres(enum unit unit)
{
    return (unsigned)unit < UNIT_COUNT ? units[unit].millimetres : 1.0;
}

const char *unit_name(enum unit unit)
{
    return (unsigned)unit < UNIT_COUNT ? units[unit].name : "none";
}

enum unit unit_named(const char *name, size_t length)
{
    for (unsigned i = 0; i < UNIT_COUNT; i++)
        if (strlen(units[i].name) == length && strncasecmp(units[i].name, name, length) == 0)
            return (enum unit)i;
    return UNIT_NONE;
}
