/* Pairs of points for registration: put by turns on the piece that moves and on the one that stays. */
#include <stdio.h>

#include "tui/app.h"
#include "tui/tools.h"

static bool takes_pairs(const struct op *op)
{
    for (const struct param *p = op->params; p && p->name; p++)
        if (p->kind == PARAM_PAIRS)
            return true;
    return false;
}

bool pairs_line(const struct app *app, const struct op *op, char *line, size_t size)
{
    const struct points *points = &app->points;
    if (!takes_pairs(op) || points->count < 2)
        return false;
    size_t n = (size_t)snprintf(line, size, "%s", op->name), piece = 0;
    for (const struct param *p = op->params; p->name && n < size; p++)
        if (p->kind == PARAM_PIECE && piece < 2)
            n += (size_t)snprintf(line + n, size - n, " %s=%zu", p->name,
                                  points->put[piece++].piece + 1);
        else if (p->kind == PARAM_PAIRS)
            for (size_t i = 0; i + 1 < points->count && n < size; i += 2)
                n += (size_t)snprintf(line + n, size - n, "%s%s%s@%zu:@%zu", i ? ";" : " ",
                                      i ? "" : p->name, i ? "" : "=", i + 1, i + 2);
    return n < size;
}
