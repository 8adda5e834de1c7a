/* The pairs of points, and what would be left between them after the best motion. */
#include <math.h>
#include <stdio.h>

#include "tui/app.h"
#include "tui/panel.h"
#include "tui/text.h"

static bool solve_without(const struct pairs_tool *tool, size_t pairs, size_t but,
                          struct horn *horn)
{
    struct vec from[PAIRS_MOST], to[PAIRS_MOST];
    size_t n = 0;
    for (size_t i = 0; i < pairs; i++)
        if (i != but) {
            from[n] = tool->side[tool->moves].at[i];
            to[n++] = tool->side[!tool->moves].at[i];
        }
    return horn_solve(from, to, NULL, n, horn);
}

/* Which pair the others fit best without: where one is wrong the least squares spread its error
 * over all, so that the largest rest need not be the wrong one's. */
static void find_worst(const struct pairs_tool *tool, struct pairs_solution *out)
{
    struct horn horn;
    out->without = -1;
    for (size_t i = 0; i < out->pairs && out->pairs > 3; i++)
        if (solve_without(tool, out->pairs, i, &horn) &&
            (out->without < 0 || horn.rms < out->without)) {
            out->without = horn.rms;
            out->worst = i;
        }
}

struct pairs_solution pairs_tool_solve(const struct pairs_tool *tool)
{
    const struct pairs_side *from = &tool->side[tool->moves], *to = &tool->side[!tool->moves];
    struct pairs_solution out = {.pairs = from->count < to->count ? from->count : to->count};
    out.solved = solve_without(tool, out.pairs, PAIRS_MOST, &out.horn);
    for (size_t i = 0; i < out.pairs && out.solved; i++)
        out.left[i] = vec_length(vec_sub(rigid_apply(&out.horn.motion, from->at[i]), to->at[i]));
    find_worst(tool, &out);
    return out;
}

static void draw_fit(struct area *area, const struct pairs_solution *solution)
{
    char text[TEXT_SIZE], name[32];
    if (solution->pairs < 3) {
        area_text(area, TONE_QUIET, "three or more show how they fit");
        return;
    }
    if (!solution->solved) {
        area_text(area, TONE_WARN, "on one line: put a pair off that line");
        return;
    }
    text_length(solution->horn.rms, text);
    area_pair(area, TONE_PLAIN, "RMS", text);
    if (solution->without < 0 || solution->without > 0.5 * solution->horn.rms)
        return;
    snprintf(name, sizeof name, "without %c", pairs_tool_label(solution->worst));
    text_length(solution->without, text);
    area_pair(area, TONE_WARN, name, text);
}

static void draw_pair(const struct pairs_tool *tool, const struct pairs_solution *solution,
                      size_t i, struct area *area)
{
    char name[16], text[TEXT_SIZE] = "";
    bool chosen = i == tool->chosen;
    snprintf(name, sizeof name, "%s %c", chosen ? ">" : " ", pairs_tool_label(i));
    if (i >= solution->pairs)
        snprintf(text, sizeof text, i < tool->side[0].count ? "left only" : "right only");
    else if (solution->solved)
        text_length(solution->left[i], text);
    else
        snprintf(text, sizeof text, "both");
    area_pair(area, chosen ? TONE_MARK : TONE_PLAIN, name, text);
}

/* What there is no room for in the line of hints, at the foot; returns how many lines it takes. */
static int draw_keys(const struct area *area)
{
    static const char *const lines[] = {"Tab   other side", "n d   choose, drop",
                                        "m     see both alike", "e o   which pieces",
                                        "Space wider pictures"};
    enum { COUNT = sizeof lines / sizeof *lines };
    struct area foot = *area;
    foot.row = area->row + area->rows - COUNT;
    foot.rows = area->rows < 3 * COUNT ? 0 : COUNT; /* the list goes before */
    foot.at = 0;
    for (int i = 0; i < COUNT && foot.rows; i++)
        area_line(&foot, TONE_QUIET, "%s", lines[i]);
    return foot.rows;
}

void pairs_tool_panel(struct app *app, struct area *area)
{
    const struct pairs_tool *tool = &app->pairs;
    struct pairs_solution solution = pairs_tool_solve(tool);
    size_t a = tool->side[0].count, b = tool->side[1].count, count = a > b ? a : b;
    area_line(area, TONE_HEAD, "PAIRS");
    draw_fit(area, &solution);
    area->rows -= draw_keys(area);
    size_t room = area->rows > area->at ? (size_t)(area->rows - area->at) : 0;
    size_t from = tool->chosen >= room ? tool->chosen + 1 - room : 0; /* the chosen one in sight */
    for (size_t i = from; i < count; i++)
        draw_pair(tool, &solution, i, area);
}
