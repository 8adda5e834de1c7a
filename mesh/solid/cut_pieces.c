/* What is kept of the triangles the plane touches. */
#include <string.h>

#include "core/exact.h"
#include "solid/cut_parts.h"

enum { LOOK = 4096 };

struct vec cut_position(const struct cutting *c, uint32_t vertex)
{
    size_t old = mesh_vertices(c->mesh);
    return point_vec(vertex < old ? mesh_point(c->mesh)[vertex] : c->made[vertex - old].at);
}

static bool in_plane(const struct cutting *c, uint32_t vertex)
{
    return vertex >= mesh_vertices(c->mesh) || c->sign[vertex] == 0;
}

/* --- made vertices ------------------------------------------------------------------------- */

enum status cut_make_vertex(struct cutting *c, const struct made_vertex *made, uint32_t *vertex)
{
    if (c->mades == c->made_room) {
        size_t room = 2 * c->made_room + 64;
        struct made_vertex *grown = scratch_new(room, sizeof *grown);
        if (!grown)
            return job_fail_memory(c->job, room * sizeof *grown);
        if (c->mades)
            memcpy(grown, c->made, c->mades * sizeof *grown);
        scratch_free(c->made);
        c->made = grown;
        c->made_room = room;
    }
    *vertex = (uint32_t)(mesh_vertices(c->mesh) + c->mades);
    c->made[c->mades++] = *made;
    return STATUS_OK;
}

struct edge_slot { /* a cut edge of the mesh and its vertex; lower end first */
    uint32_t low, high, vertex;
};

struct edge_table {
    struct edge_slot *slot;
    size_t capacity;
};

/* A cut edge belongs to two of the touched triangles at least when the mesh is closed, to one of
 * them in any case; a triangle has two. */
static bool edge_table_make(struct edge_table *table, size_t touched)
{
    table->capacity = 3 * touched + 16;
    table->slot = scratch_new(table->capacity, sizeof *table->slot);
    if (!table->slot)
        return false;
    memset(table->slot, 255, table->capacity * sizeof *table->slot);
    return true;
}

static struct edge_slot *edge_slot(const struct edge_table *table, uint32_t low, uint32_t high)
{
    uint64_t hash = ((uint64_t)low << 32 | high) * 0x9E3779B97F4A7C15u;
    size_t i = (size_t)((hash >> 32) * table->capacity >> 32);
    while (table->slot[i].vertex != NO_INDEX &&
           (table->slot[i].low != low || table->slot[i].high != high))
        i = i + 1 < table->capacity ? i + 1 : 0;
    return &table->slot[i];
}

static struct vec flattened(const struct cutting *c, struct vec a)
{
    return vec_along(a, -vec_dot(c->normal, a), c->normal);
}

/* Along the edge within the plane, away from its nearer end. */
static struct vec way_apart(const struct cutting *c, struct vec ab, double t)
{
    struct vec flat = vec_unit(flattened(c, t < 0.5 ? ab : vec_scale(ab, -1))), other;
    if (vec_length2(flat) == 0)
        vec_frame(c->normal, &flat, &other);
    return flat;
}

static struct made_vertex crossing(const struct cutting *c, uint32_t low, uint32_t high)
{
    struct vec a = cut_position(c, low), b = cut_position(c, high);
    double p = vec_dot(c->normal, a) - c->offset, q = vec_dot(c->normal, b) - c->offset;
    double t = p / (p - q);
    struct vec ab = vec_sub(b, a);
    return (struct made_vertex){.mix = {{low, high, low}, {(float)(1 - t), (float)t, 0}},
                                .at = vec_point(vec_along(a, t, ab)),
                                .apart = way_apart(c, ab, t)};
}

/* The vertex where the plane cuts edge a b: the same whichever triangle asks. */
static enum status cut_edge(struct cutting *c, struct edge_table *table, uint32_t a, uint32_t b,
                            uint32_t *vertex)
{
    uint32_t low = a < b ? a : b, high = a < b ? b : a;
    struct edge_slot *slot = edge_slot(table, low, high);
    if (slot->vertex == NO_INDEX) {
        struct made_vertex made = crossing(c, low, high);
        enum status status = cut_make_vertex(c, &made, vertex);
        if (status != STATUS_OK)
            return status;
        *slot = (struct edge_slot){low, high, *vertex};
    }
    *vertex = slot->vertex;
    return STATUS_OK;
}

/* --- triangles ----------------------------------------------------------------------------- */

static void keep_piece(struct cutting *c, uint32_t t, uint32_t p, uint32_t q, uint32_t r)
{
    c->ancestor[c->pieces] = t;
    c->piece[c->pieces] = (struct triangle){{p, q, r}};
    for (int k = 0; k < 3; k++) {
        uint32_t from = c->piece[c->pieces].v[k], to = c->piece[c->pieces].v[(k + 1) % 3];
        if (in_plane(c, from) && in_plane(c, to))
            c->rim[c->rims++] = (struct rim_edge){from, to, (uint32_t)c->pieces};
    }
    c->pieces++;
}

/* The part of triangle t above the plane: a triangle, or a quadrilateral cut at its shorter way
 * across. */
static enum status clip(struct cutting *c, struct edge_table *table, uint32_t t)
{
    const uint32_t *v = mesh_triangle(c->mesh)[t].v;
    uint32_t corner[4];
    int n = 0;
    for (int k = 0; k < 3; k++) {
        uint32_t a = v[k], b = v[(k + 1) % 3];
        if (c->sign[a] >= 0)
            corner[n++] = a;
        if (c->sign[a] * c->sign[b] < 0) {
            enum status status = cut_edge(c, table, a, b, &corner[n++]);
            if (status != STATUS_OK)
                return status;
        }
    }
    c->report.split += c->sign[v[0]] < 0 || c->sign[v[1]] < 0 || c->sign[v[2]] < 0;
    if (n == 3) {
        keep_piece(c, t, corner[0], corner[1], corner[2]);
        return STATUS_OK;
    }
    double first = vec_length2(vec_sub(cut_position(c, corner[2]), cut_position(c, corner[0])));
    double other = vec_length2(vec_sub(cut_position(c, corner[3]), cut_position(c, corner[1])));
    int s = other < first;
    keep_piece(c, t, corner[s], corner[s + 1], corner[s + 2]);
    keep_piece(c, t, corner[s], corner[s + 2], corner[(s + 3) % 4]);
    return STATUS_OK;
}

/* Whether a triangle in the plane looks away from the side that is kept. */
static bool faces_down(const struct cutting *c, const struct triangle *t)
{
    const double n[3] = {fabs(c->normal.x), fabs(c->normal.y), fabs(c->normal.z)};
    int axis = n[0] > n[1] ? (n[0] > n[2] ? 0 : 2) : (n[1] > n[2] ? 1 : 2);
    double flat[3][2];
    for (int k = 0; k < 3; k++) {
        struct vec p = cut_position(c, t->v[k]);
        const double at[3] = {p.x, p.y, p.z};
        flat[k][0] = at[(axis + 1) % 3];
        flat[k][1] = at[(axis + 2) % 3];
    }
    double along = axis == 0 ? c->normal.x : axis == 1 ? c->normal.y : c->normal.z;
    return exact_turn(flat[0], flat[1], flat[2]) * along < 0;
}

static enum status keep_touched(struct cutting *c, struct edge_table *table)
{
    for (size_t i = 0; i < c->touched_count; i++) {
        uint32_t t = c->touched[i];
        const struct triangle *triangle = &mesh_triangle(c->mesh)[t];
        const uint32_t *v = triangle->v;
        enum status status = STATUS_OK;
        if (c->sign[v[0]] != 0 || c->sign[v[1]] != 0 || c->sign[v[2]] != 0)
            status = clip(c, table, t);
        else if (faces_down(c, triangle))
            keep_piece(c, t, v[0], v[1], v[2]);
        else
            c->report.removed++;
        if (i % LOOK == 0 && !job_step(c->job, LOOK) && status == STATUS_OK)
            status = job_fail_cancelled(c->job);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

/* --- no two vertices in one place ---------------------------------------------------------- */

struct places {
    const struct cutting *c;
    uint32_t *slot;
    size_t capacity;
};

struct point cut_nudge(const struct cutting *c, struct vec p, struct vec apart, double steps)
{
    struct vec flat = flattened(c, apart);
    struct vec way = vec_length2(flat) > 1e-6 * vec_length2(apart) ? flat : apart;
    double most = fmax(fabs(p.x), fmax(fabs(p.y), fabs(p.z)));
    return vec_point(vec_along(p, steps * 0x1p-23 * most, vec_unit(way)));
}

/* The slot of a vertex at this place, or the free one where it belongs. */
static uint32_t *place_slot(const struct places *places, struct point at)
{
    float bits[3] = {at.x + 0.0f, at.y + 0.0f, at.z + 0.0f}; /* -0 becomes 0 */
    uint32_t word[3];
    memcpy(word, bits, sizeof word);
    uint64_t hash = (word[0] * 0x9E3779B97F4A7C15u) ^ (word[1] * 0xC2B2AE3D27D4EB4Fu) ^
                    (word[2] * 0x165667B19E3779F9u);
    hash = (hash ^ hash >> 29) * 0xBF58476D1CE4E5B9u;
    size_t i = (size_t)((hash >> 32) * places->capacity >> 32);
    for (; places->slot[i] != NO_INDEX; i = i + 1 < places->capacity ? i + 1 : 0) {
        struct vec p = cut_position(places->c, places->slot[i]);
        if (p.x == (double)at.x && p.y == (double)at.y && p.z == (double)at.z)
            break;
    }
    return &places->slot[i];
}

/* Two edges may be cut in points that round to the same one: the later vertex gives way. */
static enum status keep_apart(struct cutting *c)
{
    size_t old = mesh_vertices(c->mesh);
    struct places places = {c, NULL, 2 * (3 * c->pieces + c->mades) + 1};
    places.slot = scratch_new(places.capacity, sizeof *places.slot);
    if (!places.slot)
        return job_fail_memory(c->job, places.capacity * sizeof *places.slot);
    memset(places.slot, 255, places.capacity * sizeof *places.slot);
    for (size_t i = 0; i < 3 * c->pieces; i++) {
        uint32_t v = c->piece[i / 3].v[i % 3];
        if (v < old && c->sign[v] == 0)
            *place_slot(&places, mesh_point(c->mesh)[v]) = v;
        if (i % LOOK == 0 && job_cancelled(c->job))
            break;
    }
    for (uint32_t i = 0; i < c->mades; i++) {
        struct made_vertex *made = &c->made[i];
        struct vec first = point_vec(made->at);
        uint32_t *slot = place_slot(&places, made->at);
        for (double steps = 1; *slot != NO_INDEX && steps < 64; steps++) {
            made->at = cut_nudge(c, first, made->apart, steps);
            slot = place_slot(&places, made->at);
        }
        *slot = (uint32_t)(old + i);
    }
    scratch_free(places.slot);
    return job_cancelled(c->job) ? job_fail_cancelled(c->job) : STATUS_OK;
}

enum status cut_pieces(struct cutting *c)
{
    struct edge_table table = {0};
    c->piece = scratch_new(2 * c->touched_count, sizeof *c->piece);
    c->ancestor = scratch_new(2 * c->touched_count, sizeof *c->ancestor);
    c->rim = scratch_new(3 * c->touched_count, sizeof *c->rim);
    if (!edge_table_make(&table, c->touched_count) || !c->piece || !c->ancestor || !c->rim) {
        scratch_free(table.slot);
        return job_fail_memory(c->job, c->touched_count * 96);
    }
    enum status status = keep_touched(c, &table);
    scratch_free(table.slot);
    return status == STATUS_OK && c->mades ? keep_apart(c) : status;
}
