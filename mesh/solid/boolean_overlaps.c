/* Around an edge: which faces of one solid lie inside the other, and what is kept.
 *
 * Directions around a line are compared by the signs of volumes of vertices alone. A face that runs
 * the line forward has its solid where one turns the negative way round the line, one that runs it
 * backward where one turns the positive way: the solid is what lies from the latter to the former.
 */
#include "solid/boolean_parts.h"

enum place { WITHIN, WITHOUT, ALONG_FORWARD, ALONG_BACKWARD };

/* Where p lies to a solid with such faces. */
static enum place place_of(const struct axis *a, struct vec forward, struct vec backward,
                           struct vec p)
{
    if (around_turned(a, forward, p) == SAME)
        return ALONG_FORWARD;
    if (around_turned(a, backward, p) == SAME)
        return ALONG_BACKWARD;
    return around_sooner(a, backward, p, forward) ? WITHIN : WITHOUT;
}

/* The corner opposite a half-edge. */
static uint32_t apex_of(const struct solid *s, uint32_t half)
{
    return solid_to(s, half_next(half));
}

enum fate edge_fate(const struct solid *of, uint32_t half, struct vec p)
{
    const struct axis a = {solid_at(of, solid_from(of, half)), solid_at(of, solid_to(of, half))};
    struct vec forward = solid_at(of, apex_of(of, half));
    struct vec backward = solid_at(of, apex_of(of, of->topology->twin[half]));
    enum place place = place_of(&a, forward, backward, p);
    return place == WITHIN ? INSIDE : place == WITHOUT ? OUTSIDE : UNKNOWN;
}

/* --- overlaps --------------------------------------------------------------------------------- */

static struct axis axis_of(const struct joint *j, const struct overlap *o)
{
    int s = o->in[0].kind == EDGE ? 0 : 1;
    struct vec u = solid_at(&j->side[s], solid_from(&j->side[s], o->in[s].id));
    struct vec v = solid_at(&j->side[s], solid_to(&j->side[s], o->in[s].id));
    return o->way[s] > 0 ? (struct axis){u, v} : (struct axis){v, u};
}

static void set_sheets(const struct joint *j, int s, const struct axis *a, struct overlap *o)
{
    const struct solid *solid = &j->side[s];
    struct sheet *sheet = o->sheet[s];
    uint32_t id = o->in[s].id;
    if (o->in[s].kind == EDGE) {
        uint32_t twin = solid->topology->twin[id];
        bool back = o->way[s] < 0;
        sheet[back] = (struct sheet){.face = id / 3, .apex = apex_of(solid, id)};
        sheet[!back] = (struct sheet){.face = twin / 3, .apex = apex_of(solid, twin)};
        return;
    }
    struct vec corner[3];
    int dropped;
    solid_face(solid, id, corner);
    int own = flat_way(corner, &dropped);
    for (int k = 0; k < 3; k++) {
        int turn = own * flat_turn(a->from, a->to, corner[k], dropped);
        if (turn)
            sheet[turn < 0] = (struct sheet){.face = id, .apex = solid->triangle[id].v[k]};
    }
}

/* Faces in one place are kept of side 0 only: where both solids lie on the same side of them, or,
 * to subtract, on different ones. */
static bool keeps(const struct joint *j, int s, int way, enum place place)
{
    if (place == WITHIN || place == WITHOUT)
        return j->side[s].wanted == (place == WITHIN ? INSIDE : OUTSIDE);
    bool alike = (place == ALONG_FORWARD) == (way == 0);
    return s == 0 && alike == (j->kind != BOOLEAN_SUBTRACT);
}

/* Each sheet that runs the line backward, as the result has it, bounds solid with the next one. */
static void set_mates(const struct joint *j, const struct axis *a, struct overlap *o)
{
    struct vec apex[4];
    for (int i = 0; i < 4; i++)
        apex[i] = solid_at(&j->side[i / 2], o->sheet[i / 2][i % 2].apex);
    for (int i = 0; i < 4; i++) {
        if ((i % 2 == 1) == joint_turns(j, i / 2))
            continue;
        int next = -1;
        for (int k = 0; k < 4; k++)
            if (k != i && (next < 0 || around_sooner(a, apex[i], apex[k], apex[next])))
                next = k;
        o->sheet[i / 2][i % 2].mate = (uint8_t)next;
        o->sheet[next / 2][next % 2].mate = (uint8_t)i;
    }
}

void joint_overlaps(struct joint *j)
{
    for (size_t i = 0; i < j->overlap.count; i++) {
        struct overlap *o = &PILE(j->overlap, struct overlap)[i];
        const struct axis a = axis_of(j, o);
        set_sheets(j, 0, &a, o);
        set_sheets(j, 1, &a, o);
        int kept = 0;
        for (int n = 0; n < 4; n++) {
            int s = n / 2, way = n % 2;
            const struct solid *other = &j->side[1 - s];
            const struct sheet *sheet = o->sheet[1 - s];
            enum place place =
                place_of(&a, solid_at(other, sheet[0].apex), solid_at(other, sheet[1].apex),
                         solid_at(&j->side[s], o->sheet[s][way].apex));
            o->sheet[s][way].kept = keeps(j, s, way, place);
            kept += o->sheet[s][way].kept;
        }
        o->crowded = kept == 4;
        if (o->crowded)
            set_mates(j, &a, o);
    }
}
