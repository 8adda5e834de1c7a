/* Where two faces meet: nodes, seams, overlaps.
 *
 * What two faces not in one plane have in common is nothing, a point, or a segment, whose ends are
 * nodes and whose inside lies inside one simplex of each. Of faces in one plane, that holds for
 * what an edge of one has in common with the other face. */
#include "core/exact.h"
#include "solid/boolean_parts.h"

enum { NODES_MOST = 12 }; /* two triangles in a plane have six at most, each named once */

struct meeting {
    struct joint *j;
    uint32_t face[2];
    struct vec corner[2][3];
    int side[2][3]; /* of the corners, to the other's plane: 1 outside, -1 inside, 0 in it */
    int dropped[2], turn[2];
    uint32_t node[NODES_MOST];
    int nodes;
};

/* --- planes ----------------------------------------------------------------------------------- */

static struct vec shifted(struct vec p, int axis, double by)
{
    (&p.x)[axis] += by;
    return p;
}

void node_plane(const struct joint *j, int s, uint32_t half, const struct node *node,
                struct vec plane[3])
{
    const struct solid *own = &j->side[s], *other = &j->side[1 - s];
    struct simplex in = node->in[1 - s];
    struct vec u = solid_at(own, solid_from(own, half)), v = solid_at(own, solid_to(own, half));
    double off = j->grain * 0x1p23; /* any would do; this is of the solids' size */
    if (in.kind == FACE) {
        solid_face(other, in.id, plane);
        return;
    }
    if (in.kind == VERTEX) { /* square to an axis that the edge does not run square to */
        int axis = largest_part(vec_sub(v, u));
        plane[0] = solid_at(other, in.id);
        plane[1] = shifted(plane[0], (axis + 1) % 3, off);
        plane[2] = shifted(plane[0], (axis + 2) % 3, off);
        return;
    }
    plane[0] = solid_at(other, solid_from(other, in.id));
    plane[1] = solid_at(other, solid_to(other, in.id));
    int first = largest_part(vec_cross(vec_sub(v, u), vec_sub(plane[1], plane[0])));
    for (int k = 0; k < 3; k++) { /* through the other edge, out of the plane of both */
        plane[2] = shifted(plane[0], (first + k) % 3, off);
        if (exact_side(plane[0], plane[1], plane[2], u) *
                exact_side(plane[0], plane[1], plane[2], v) <
            0)
            break;
    }
}

/* --- nodes ------------------------------------------------------------------------------------ */

static enum status touch(struct joint *j, int s, uint32_t face)
{
    struct solid *solid = &j->side[s];
    if (solid->face_fate[face] == TOUCHED)
        return STATUS_OK;
    uint32_t *to = pile_next(&solid->touched, sizeof *to);
    if (!to)
        return job_fail_memory(j->job, 2 * solid->touched.count * sizeof *to);
    solid->face_fate[face] = TOUCHED;
    *to = face;
    solid->touched.count++;
    return STATUS_OK;
}

/* The faces that have the edge or are the face. */
static enum status touch_all(struct joint *j, int s, struct simplex in)
{
    if (in.kind == VERTEX)
        return STATUS_OK;
    if (in.kind == FACE)
        return touch(j, s, in.id);
    enum status status = touch(j, s, in.id / 3);
    return status == STATUS_OK ? touch(j, s, j->side[s].topology->twin[in.id] / 3) : status;
}

static struct vec node_place(const struct joint *j, const struct node *node)
{
    for (int s = 0; s < 2; s++)
        if (node->in[s].kind == VERTEX)
            return solid_at(&j->side[s], node->in[s].id);
    int s = node->in[0].kind == EDGE ? 0 : 1;
    const struct solid *own = &j->side[s];
    struct vec plane[3], u = solid_at(own, solid_from(own, node->in[s].id));
    struct vec v = solid_at(own, solid_to(own, node->in[s].id));
    node_plane(j, s, node->in[s].id, node, plane);
    double from = fabs(exact_volume(plane[0], plane[1], plane[2], u));
    double to = fabs(exact_volume(plane[0], plane[1], plane[2], v));
    return from < to ? vec_along(u, from / (from + to), vec_sub(v, u))
                     : vec_along(v, to / (from + to), vec_sub(u, v));
}

static enum status new_node(struct joint *j, struct simplex a, struct simplex b, uint32_t *number)
{
    struct node *node = pile_next(&j->node, sizeof *node);
    struct point *place = pile_next(&j->place, sizeof *place);
    if (!node || !place)
        return job_fail_memory(j->job, 2 * j->node.count * sizeof *node);
    *number = (uint32_t)j->node.count++;
    *node = (struct node){.in = {a, b}};
    node->ref = a.kind == VERTEX ? a.id : joint_made_base(j) + *number;
    node->at = node_place(j, node);
    *place = vec_point(node->at);
    j->place.count++;
    enum status status = STATUS_OK;
    for (int s = 0; s < 2 && status == STATUS_OK; s++) {
        struct simplex in = s ? b : a;
        if (in.kind == VERTEX)
            j->side[s].node_after[in.id] = *number + 1;
        if (in.kind != EDGE)
            continue;
        struct stop *stop = pile_next(&j->side[s].stop, sizeof *stop);
        if (!stop)
            return job_fail_memory(j->job, 2 * j->side[s].stop.count * sizeof *stop);
        *stop = (struct stop){in.id, *number};
        j->side[s].stop.count++;
        status = touch_all(j, s, in);
    }
    return status;
}

static uint64_t word_of(struct simplex in)
{
    return (uint64_t)in.kind << 32 | in.id;
}

static enum status refuse(const struct meeting *m, const char *what, const char *mend)
{
    struct joint *j = m->j;
    struct vec at = mesh_world(j->side[0].mesh, m->corner[0][0]);
    return job_fail(j->job, STATUS_REFUSED, "%s where the two meet, near %.6g,%.6g,%.6g; %s", what,
                    at.x, at.y, at.z, mend);
}

static enum status add_node(struct meeting *m, struct simplex a, struct simplex b)
{
    struct joint *j = m->j;
    uint32_t *slot = lookup_at(&j->node_at, word_of(a), word_of(b));
    enum status status = STATUS_OK;
    if (!slot)
        return job_fail_memory(j->job, j->node_at.room * 60);
    if (*slot == NO_INDEX)
        status = new_node(j, a, b, slot);
    for (int i = 0; i < m->nodes; i++)
        if (m->node[i] == *slot)
            return status;
    if (status == STATUS_OK && m->nodes == NODES_MOST)
        return refuse(m, "a surface crosses itself", "\"mend\" it first");
    m->node[m->nodes++] = *slot;
    return status;
}

/* The simplex of a face from the edges that a point of it lies on (bit k: edge k). */
static struct simplex simplex_on(const struct solid *s, uint32_t face, unsigned edges)
{
    static const uint8_t corner[8] = {[1 | 2] = 1, [2 | 4] = 2, [4 | 1] = 0};
    if (!edges)
        return (struct simplex){FACE, face};
    if (edges & (edges - 1))
        return (struct simplex){VERTEX, s->triangle[face].v[corner[edges]]};
    return (struct simplex){EDGE, solid_edge(s, 3 * face + (uint32_t)__builtin_ctz(edges))};
}

/* Where in face s of the meeting a point lies that three signs tell of: of one sign or zero when
 * it lies in the face at all. */
static bool locate(const struct meeting *m, int s, const int sign[3], struct simplex *in)
{
    bool more = sign[0] > 0 || sign[1] > 0 || sign[2] > 0;
    bool less = sign[0] < 0 || sign[1] < 0 || sign[2] < 0;
    if (more == less)
        return false;
    unsigned edges = (unsigned)!sign[0] | (unsigned)!sign[1] << 1 | (unsigned)!sign[2] << 2;
    *in = simplex_on(&m->j->side[s], m->face[s], edges);
    return true;
}

static enum status add_located(struct meeting *m, int s, struct simplex of_s, const int sign[3])
{
    struct simplex in;
    if (!locate(m, 1 - s, sign, &in))
        return STATUS_OK;
    return s == 0 ? add_node(m, of_s, in) : add_node(m, in, of_s);
}

/* Corner k of side s lies in the other's plane. */
static enum status add_corner(struct meeting *m, int s, int k)
{
    int sign[3];
    const struct vec *t = m->corner[1 - s];
    for (int i = 0; i < 3; i++)
        sign[i] = flat_turn(t[i], t[(i + 1) % 3], m->corner[s][k], m->dropped[1 - s]);
    struct simplex vertex = {VERTEX, m->j->side[s].triangle[m->face[s]].v[k]};
    return add_located(m, s, vertex, sign);
}

/* Edge k of side s goes through the other's plane. */
static enum status add_edge(struct meeting *m, int s, int k)
{
    int sign[3];
    const struct vec *t = m->corner[1 - s];
    for (int i = 0; i < 3; i++)
        sign[i] = exact_side(m->corner[s][k], m->corner[s][(k + 1) % 3], t[i], t[(i + 1) % 3]);
    struct simplex edge = {EDGE, solid_edge(&m->j->side[s], 3 * m->face[s] + (uint32_t)k)};
    return add_located(m, s, edge, sign);
}

/* Edge k of side 0 and edge l of side 1, all in one plane, cross inside both. */
static bool edges_cross(const struct meeting *m, int k, int l)
{
    struct vec a = m->corner[0][k], b = m->corner[0][(k + 1) % 3];
    struct vec c = m->corner[1][l], d = m->corner[1][(l + 1) % 3];
    int way = m->dropped[0];
    return flat_turn(a, b, c, way) * flat_turn(a, b, d, way) < 0 &&
           flat_turn(c, d, a, way) * flat_turn(c, d, b, way) < 0;
}

static enum status find_nodes(struct meeting *m, bool flat)
{
    enum status status = STATUS_OK;
    for (int i = 0; i < 6 && status == STATUS_OK; i++) {
        int s = i / 3, k = i % 3;
        if (!m->side[s][k])
            status = add_corner(m, s, k);
        if (m->side[s][k] * m->side[s][(k + 1) % 3] < 0 && status == STATUS_OK)
            status = add_edge(m, s, k);
    }
    for (int i = 0; flat && i < 9 && status == STATUS_OK; i++)
        if (edges_cross(m, i / 3, i % 3))
            status = add_node(m,
                              (struct simplex){EDGE, solid_edge(&m->j->side[0],
                                                                3 * m->face[0] + (uint32_t)i / 3)},
                              (struct simplex){EDGE, solid_edge(&m->j->side[1],
                                                                3 * m->face[1] + (uint32_t)i % 3)});
    return status;
}

/* --- segments --------------------------------------------------------------------------------- */

/* The edges of the face on which the simplex lies, whole: bit k for edge k. */
static unsigned edges_with(const struct solid *s, uint32_t face, struct simplex in)
{
    unsigned edges = 0;
    for (uint32_t k = 0; k < 3; k++) {
        if (in.kind == VERTEX && s->triangle[face].v[k] == in.id)
            edges |= 1u << k | 1u << (k + 2) % 3;
        if (in.kind == EDGE && solid_edge(s, 3 * face + k) == in.id)
            edges |= 1u << k;
    }
    return edges;
}

/* Whether the node is where the cross product of the normals, side 0's first, leads into the faces
 * (else out of them). Going through a face that way, what lies below the other's plane is to the
 * left for side 0, to the right for side 1. */
static bool leads_in(const struct meeting *m, uint32_t node)
{
    for (int s = 0; s < 2; s++) {
        struct simplex in = joint_node(m->j, node)->in[s];
        const int *side = m->side[s];
        for (int k = 0; k < 3; k++) {
            uint32_t half = 3 * m->face[s] + (uint32_t)k;
            int before = side[k], after = side[(k + 1) % 3];
            if (in.kind == VERTEX && m->j->side[s].triangle[m->face[s]].v[k] == in.id)
                before = side[(k + 2) % 3];
            else if (in.kind != EDGE || solid_edge(&m->j->side[s], half) != in.id)
                continue;
            if (before * after < 0)
                return (before < after) == (s == 0);
        }
    }
    return true;
}

static enum status add_seam(struct meeting *m, uint32_t p, uint32_t q)
{
    struct joint *j = m->j;
    struct seam *seam = pile_next(&j->seam, sizeof *seam);
    if (!seam)
        return job_fail_memory(j->job, 2 * j->seam.count * sizeof *seam);
    bool in = leads_in(m, p);
    *seam = (struct seam){in ? p : q, in ? q : p, {m->face[0], m->face[1]}};
    j->seam.count++;
    enum status status = touch(j, 0, m->face[0]);
    return status == STATUS_OK ? touch(j, 1, m->face[1]) : status;
}

static enum status add_overlap(struct joint *j, uint32_t p, uint32_t q, const struct simplex in[2])
{
    uint32_t low = p < q ? p : q, high = p < q ? q : p;
    uint32_t *slot = lookup_at(&j->overlap_at, low, high);
    if (!slot)
        return job_fail_memory(j->job, j->overlap_at.room * 60);
    if (*slot != NO_INDEX)
        return STATUS_OK;
    struct overlap *overlap = pile_next(&j->overlap, sizeof *overlap);
    if (!overlap)
        return job_fail_memory(j->job, 2 * j->overlap.count * sizeof *overlap);
    *slot = (uint32_t)j->overlap.count++;
    *overlap = (struct overlap){.end = {low, high}, .in = {in[0], in[1]}};
    enum status status = touch_all(j, 0, in[0]);
    return status == STATUS_OK ? touch_all(j, 1, in[1]) : status;
}

/* What lies between two nodes of the meeting. */
static enum status add_between(struct meeting *m, uint32_t p, uint32_t q, bool flat)
{
    struct simplex in[2];
    bool across = true;
    for (int s = 0; s < 2; s++) {
        const struct solid *solid = &m->j->side[s];
        unsigned edges = edges_with(solid, m->face[s], joint_node(m->j, p)->in[s]) &
                         edges_with(solid, m->face[s], joint_node(m->j, q)->in[s]);
        in[s] = simplex_on(solid, m->face[s], edges & -edges);
        across = across && !edges;
    }
    if (!across)
        return add_overlap(m->j, p, q, in);
    return flat ? STATUS_OK : add_seam(m, p, q);
}

static enum status meet(struct meeting *m)
{
    for (int s = 0; s < 2; s++) {
        solid_face(&m->j->side[s], m->face[s], m->corner[s]);
        m->turn[s] = flat_way(m->corner[s], &m->dropped[s]);
        if (!m->turn[s])
            return refuse(m, "there is a triangle without area", "\"mend\" takes it away");
    }
    bool flat = true;
    for (int i = 0; i < 6; i++) {
        const struct vec *t = m->corner[1 - i / 3];
        m->side[i / 3][i % 3] = -exact_side(t[0], t[1], t[2], m->corner[i / 3][i % 3]);
        flat = flat && !m->side[i / 3][i % 3];
    }
    enum status status = find_nodes(m, flat);
    if (status == STATUS_OK && !flat && m->nodes > 2)
        return refuse(m, "a surface crosses itself", "\"mend\" it first");
    for (int i = 0; i < m->nodes; i++)
        for (int k = i + 1; k < m->nodes && status == STATUS_OK; k++)
            status = add_between(m, m->node[i], m->node[k], flat);
    return status;
}

enum status joint_nodes(struct joint *j)
{
    job_phase(j->job, "finding where the surfaces meet", 100, j->pair.count);
    for (size_t i = 0; i < j->pair.count; i++) {
        const uint32_t *face = PILE(j->pair, uint32_t) + 2 * i;
        struct meeting m = {.j = j, .face = {face[0], face[1]}};
        enum status status = meet(&m);
        if (status == STATUS_OK && i % 1024 == 0 && !job_step(j->job, 1024))
            status = job_fail_cancelled(j->job);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}
