/* The edges of touched faces, cut into pieces by the nodes on them, and which pieces bound what is
 * kept. */
#include <stdlib.h>

#include "core/exact.h"
#include "solid/boolean_parts.h"

/* --- nodes in order along their edges --------------------------------------------------------- */

struct order {
    const struct joint *j;
    int s;
};

static int stop_order(const void *x, const void *y, void *context)
{
    const struct stop *a = x, *b = y;
    const struct order *order = context;
    if (a->half != b->half)
        return a->half < b->half ? -1 : 1;
    if (a->node == b->node)
        return 0;
    const struct solid *s = &order->j->side[order->s];
    struct vec p[3], q[3];
    node_plane(order->j, order->s, a->half, joint_node(order->j, a->node), p);
    node_plane(order->j, order->s, b->half, joint_node(order->j, b->node), q);
    return exact_order(solid_at(s, solid_from(s, a->half)), solid_at(s, solid_to(s, a->half)), p,
                       q);
}

static int half_order(const void *x, const void *y)
{
    uint32_t a = ((const struct line *)x)->half, b = ((const struct line *)y)->half;
    return (a > b) - (a < b);
}

static enum status list_lines(struct joint *j, struct solid *s)
{
    size_t count = 3 * s->touched.count, lines = 0;
    struct line *line = scratch_new(count, sizeof *line);
    if (!line)
        return job_fail_memory(j->job, count * sizeof *line);
    s->line = (struct pile){line, 0, count};
    for (size_t i = 0; i < count; i++)
        line[i].half = solid_edge(s, 3 * PILE(s->touched, uint32_t)[i / 3] + (uint32_t)(i % 3));
    qsort(line, count, sizeof *line, half_order);
    const struct stop *stop = s->stop.data;
    size_t next = 0;
    for (size_t i = 0; i < count; i++) {
        if (lines && line[lines - 1].half == line[i].half)
            continue;
        size_t first = next;
        while (next < s->stop.count && stop[next].half == line[i].half)
            next++;
        line[lines++] = (struct line){line[i].half, first, next - first};
    }
    s->line.count = lines;
    return STATUS_OK;
}

static uint32_t line_vertex(const struct solid *s, const struct line *line, size_t i)
{
    return i == 0 ? solid_from(s, line->half) : solid_to(s, line->half);
}

/* The i-th place along the line: its node, or NO_INDEX for an end that is none. */
static uint32_t line_node(const struct solid *s, const struct line *line, size_t i)
{
    if (i == 0 || i > line->count)
        return solid_node(s, line_vertex(s, line, i));
    return PILE(s->stop, struct stop)[line->first + i - 1].node;
}

static struct overlap *line_overlap(const struct joint *j, int s, const struct line *line, size_t i)
{
    uint32_t p = line_node(&j->side[s], line, i), q = line_node(&j->side[s], line, i + 1);
    if (p == NO_INDEX || q == NO_INDEX)
        return NULL;
    uint32_t found = lookup_find(&j->overlap_at, p < q ? p : q, p < q ? q : p);
    return found == NO_INDEX ? NULL : &PILE(j->overlap, struct overlap)[found];
}

enum status joint_lines(struct joint *j)
{
    for (int s = 0; s < 2; s++) {
        struct solid *solid = &j->side[s];
        struct order order = {j, s};
        if (solid->stop.count)
            qsort_r(solid->stop.data, solid->stop.count, sizeof(struct stop), stop_order, &order);
        enum status status = list_lines(j, solid);
        if (status != STATUS_OK)
            return status;
        for (size_t l = 0; l < solid->line.count; l++) {
            const struct line *line = &PILE(solid->line, struct line)[l];
            for (size_t i = 0; i <= line->count; i++) {
                struct overlap *o = line_overlap(j, s, line, i);
                if (o)
                    o->way[s] = o->end[0] == line_node(solid, line, i) ? 1 : -1;
            }
        }
    }
    return STATUS_OK;
}

/* --- which pieces lie inside ------------------------------------------------------------------ */

/* From the face or the edge of the other solid that a node lies in, towards a place. */
static enum fate node_fate(const struct joint *j, int s, uint32_t number, struct vec toward)
{
    const struct solid *other = &j->side[1 - s];
    const struct simplex in = joint_node(j, number)->in[1 - s];
    if (in.kind == EDGE)
        return edge_fate(other, in.id, toward);
    if (in.kind == VERTEX)
        return UNKNOWN;
    struct vec corner[3];
    solid_face(other, in.id, corner);
    int below = exact_side(corner[0], corner[1], corner[2], toward);
    return below > 0 ? INSIDE : below < 0 ? OUTSIDE : UNKNOWN;
}

static enum fate hard_fate(struct joint *j, int s, const struct line *line, size_t i)
{
    const struct solid *own = &j->side[s];
    struct solid *other = &j->side[1 - s];
    for (size_t end = 0; end < 2; end++) {
        uint32_t node = line_node(own, line, i + end);
        if (node == NO_INDEX)
            return joint_vertex_fate(j, s, line_vertex(own, line, i + end));
    }
    for (size_t end = 0; end < 2; end++) { /* both are vertices of the other */
        const struct node *node = joint_node(j, line_node(own, line, i + end));
        struct vec toward = solid_at(own, line_vertex(own, line, end ? 0 : 1));
        if (node->in[1 - s].kind == VERTEX)
            return solid_winding(other, solid_at(other, node->in[1 - s].id), &toward) > 0 ? INSIDE
                                                                                          : OUTSIDE;
    }
    return OUTSIDE;
}

static enum fate easy_fate(const struct joint *j, int s, const struct line *line, size_t i)
{
    const struct solid *own = &j->side[s];
    enum fate fate = UNKNOWN;
    for (size_t end = 0; end < 2 && fate == UNKNOWN; end++) {
        uint32_t node = line_node(own, line, i + end);
        if (node != NO_INDEX)
            fate = node_fate(j, s, node, solid_at(own, line_vertex(own, line, end ? 0 : 1)));
        else
            fate = (enum fate)own->vertex_fate[line_vertex(own, line, i + end)];
    }
    return fate;
}

/* Sets the fate of the line's pieces; with `hard`, of all. */
static void set_fates(struct joint *j, int s, const struct line *line, uint8_t *piece, bool hard)
{
    struct solid *own = &j->side[s];
    for (size_t i = 0; i <= line->count; i++) {
        if (piece[i] == UNKNOWN)
            piece[i] = line_overlap(j, s, line, i) ? TOUCHED : (uint8_t)easy_fate(j, s, line, i);
        if (piece[i] == UNKNOWN && hard)
            piece[i] = (uint8_t)hard_fate(j, s, line, i);
        for (size_t end = 0; end < 2; end++)
            if (line_node(own, line, i + end) == NO_INDEX)
                own->vertex_fate[line_vertex(own, line, i + end)] = piece[i];
    }
}

/* --- what bounds the kept --------------------------------------------------------------------- */

/* Whether what lies left (way 0) or right (1) of the piece is kept. */
static bool piece_kept(const struct joint *j, int s, const struct line *line, uint8_t fate,
                       size_t i, int way)
{
    if (fate != TOUCHED)
        return fate == j->side[s].wanted;
    const struct overlap *o = line_overlap(j, s, line, i);
    return o->sheet[s][o->way[s] > 0 ? way : 1 - way].kept;
}

static void use(struct joint *j, uint32_t node)
{
    if (node != NO_INDEX)
        joint_node(j, node)->used = true;
}

/* Nodes where what is kept changes along the line. */
static void use_changes(struct joint *j, int s, const struct line *line, const uint8_t *piece)
{
    for (size_t i = 0; i <= line->count; i++) {
        bool left = piece_kept(j, s, line, piece[i], i, 0);
        bool right = piece_kept(j, s, line, piece[i], i, 1);
        for (size_t end = 0; end < 2; end++) {
            uint32_t node = line_node(&j->side[s], line, i + end);
            if (node != NO_INDEX && (left || right))
                joint_node(j, node)->beside |= (uint8_t)(1 << s);
        }
        if (i > 0 && (piece_kept(j, s, line, piece[i - 1], i - 1, 0) != left ||
                      piece_kept(j, s, line, piece[i - 1], i - 1, 1) != right))
            use(j, line_node(&j->side[s], line, i));
    }
}

/* Whether an overlap in a face of side s bounds something there. */
static bool bounds_in_face(const struct overlap *o, int s)
{
    return o->in[s].kind == FACE && (o->sheet[s][0].kept != o->sheet[s][1].kept || o->crowded);
}

static void use_nodes(struct joint *j)
{
    for (size_t i = 0; i < j->seam.count; i++) {
        use(j, PILE(j->seam, struct seam)[i].from);
        use(j, PILE(j->seam, struct seam)[i].to);
    }
    for (size_t i = 0; i < j->overlap.count; i++) {
        const struct overlap *o = &PILE(j->overlap, struct overlap)[i];
        if (o->crowded || bounds_in_face(o, 0) || bounds_in_face(o, 1)) {
            use(j, o->end[0]);
            use(j, o->end[1]);
        }
    }
    for (size_t i = 0; i < j->node.count; i++) {
        struct node *node = joint_node(j, (uint32_t)i);
        node->used = node->used || node->beside == 3;
    }
}

static enum status add_bound(struct joint *j, int s, uint32_t face, uint32_t from, uint32_t to)
{
    struct solid *own = &j->side[s];
    if (own->face_fate[face] != TOUCHED)
        return STATUS_OK;
    struct bound *bound = pile_next(&own->bound, sizeof *bound);
    if (!bound)
        return job_fail_memory(j->job, 2 * own->bound.count * sizeof *bound);
    *bound = (struct bound){face, from, to};
    own->bound.count++;
    return STATUS_OK;
}

static uint32_t line_ref(const struct joint *j, int s, const struct line *line, size_t i)
{
    uint32_t node = line_node(&j->side[s], line, i);
    return node == NO_INDEX ? j->side[s].base + line_vertex(&j->side[s], line, i)
                            : joint_node(j, node)->ref;
}

static enum status bound_line(struct joint *j, int s, const struct line *line, const uint8_t *piece)
{
    enum status status = STATUS_OK;
    uint32_t from = line_ref(j, s, line, 0), across = j->side[s].topology->twin[line->half];
    for (size_t i = 0; i <= line->count && status == STATUS_OK; i++) {
        if (i < line->count && !joint_node(j, line_node(&j->side[s], line, i + 1))->used)
            continue;
        uint32_t to = line_ref(j, s, line, i + 1);
        if (piece_kept(j, s, line, piece[i], i, 0))
            status = add_bound(j, s, line->half / 3, from, to);
        if (status == STATUS_OK && piece_kept(j, s, line, piece[i], i, 1))
            status = add_bound(j, s, across / 3, to, from);
        from = to;
    }
    return status;
}

/* Going along a seam, the inside of the other solid is to the left in side 0, to the right in 1. */
static enum status bound_seams(struct joint *j)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < 2 * j->seam.count && status == STATUS_OK; i++) {
        int s = i % 2;
        const struct seam *seam = &PILE(j->seam, struct seam)[i / 2];
        bool along = (j->side[s].wanted == INSIDE) == (s == 0);
        uint32_t from = joint_node(j, seam->from)->ref, to = joint_node(j, seam->to)->ref;
        status = add_bound(j, s, seam->face[s], along ? from : to, along ? to : from);
    }
    return status;
}

static enum status bound_overlaps(struct joint *j)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < 2 * j->overlap.count && status == STATUS_OK; i++) {
        int s = i % 2;
        const struct overlap *o = &PILE(j->overlap, struct overlap)[i / 2];
        if (!bounds_in_face(o, s))
            continue;
        uint32_t from = joint_node(j, o->end[0])->ref, to = joint_node(j, o->end[1])->ref;
        if (o->sheet[s][0].kept)
            status = add_bound(j, s, o->in[s].id, from, to);
        if (o->sheet[s][1].kept && status == STATUS_OK)
            status = add_bound(j, s, o->in[s].id, to, from);
    }
    return status;
}

static enum status bound_all(struct joint *j, uint8_t *piece[2])
{
    enum status status = STATUS_OK;
    for (int pass = 0; pass < 4; pass++) { /* fates: easy, then all; use; bounds */
        for (int s = 0; s < 2; s++)
            for (size_t l = 0; l < j->side[s].line.count && status == STATUS_OK; l++) {
                const struct line *line = &PILE(j->side[s].line, struct line)[l];
                uint8_t *first = piece[s] + line->first + l;
                if (pass < 2)
                    set_fates(j, s, line, first, pass == 1);
                else if (pass == 2)
                    use_changes(j, s, line, first);
                else
                    status = bound_line(j, s, line, first);
                if (l % 1024 == 0 && job_cancelled(j->job) && status == STATUS_OK)
                    status = job_fail_cancelled(j->job);
            }
        if (pass == 2)
            use_nodes(j);
    }
    if (status == STATUS_OK)
        status = bound_seams(j);
    return status == STATUS_OK ? bound_overlaps(j) : status;
}

enum status joint_bounds(struct joint *j)
{
    uint8_t *piece[2] = {NULL, NULL};
    enum status status = STATUS_OK;
    for (int s = 0; s < 2 && status == STATUS_OK; s++) {
        size_t pieces = j->side[s].line.count + j->side[s].stop.count;
        piece[s] = scratch_new(pieces, 1);
        if (piece[s])
            memset(piece[s], UNKNOWN, pieces);
        else
            status = job_fail_memory(j->job, pieces);
    }
    if (status == STATUS_OK)
        status = bound_all(j, piece);
    scratch_free(piece[0]);
    scratch_free(piece[1]);
    return status;
}
