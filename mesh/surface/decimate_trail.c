#include "surface/decimate_trail.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

/* A record, in words. The collapse merged b into a; `gone` are the triangles of the edge, a to b in
 * the first, with their third vertices. The first `split` of the `faces` that stay were a's. */
struct record {
    uint32_t a, b, gone[2], apex[2]; /* NO_INDEX at the rim */
    float at_a[3], at_b[3];          /* before */
    uint32_t faces, split;
};
enum { WORDS = sizeof(struct record) / sizeof(uint32_t) };
/* then: in a part, the faces; in the trail, pairs: triangle (first the two gone), the record that
 * touched it before */

void trail_part_release(struct trail_part *part)
{
    free(part->word);
    *part = (struct trail_part){0};
}

bool trail_part_reserve(struct trail_part *part, const struct star *s)
{
    size_t need = part->count + WORDS + (size_t)s->count;
    if (part->short_of_memory || need <= part->room)
        return !part->short_of_memory;
    size_t room = 2 * need + 1024;
    uint32_t *word = realloc(part->word, room * sizeof *word);
    if (!word) {
        part->short_of_memory = true;
        return false;
    }
    part->word = word;
    part->room = room;
    return true;
}

void trail_part_add(struct trail_part *part, const struct patch *p, const struct star *s)
{
    uint32_t h = s->half, twin = p->twin[h];
    struct record r = {.a = edge_from(p, h),
                       .b = edge_to(p, h),
                       .gone = {h >> 2, twin == NO_INDEX ? NO_INDEX : twin >> 2},
                       .apex = {edge_from(p, edge_before(h)), NO_INDEX},
                       .faces = (uint32_t)s->count,
                       .split = (uint32_t)s->split};
    if (twin != NO_INDEX)
        r.apex[1] = edge_from(p, edge_before(twin));
    memcpy(r.at_a, p->node[r.a].at, sizeof r.at_a);
    memcpy(r.at_b, p->node[r.b].at, sizeof r.at_b);
    memcpy(part->word + part->count, &r, sizeof r);
    memcpy(part->word + part->count + WORDS, s->face, (size_t)s->count * sizeof *s->face);
    part->count += WORDS + (size_t)s->count;
}

/* --- all of them ----------------------------------------------------------------------------- */

enum status trail_init(struct trail *trail, size_t triangles, struct job *job)
{
    *trail = (struct trail){.last = scratch_new(triangles, sizeof *trail->last)};
    if (!trail->last)
        return job_fail_memory(job, triangles * sizeof *trail->last);
    memset(trail->last, 255, triangles * sizeof *trail->last);
    return STATUS_OK;
}

void trail_release(struct trail *trail)
{
    free(trail->word);
    free(trail->start);
    scratch_free(trail->last);
    *trail = (struct trail){0};
}

static enum status grow(struct trail *trail, size_t words, size_t records, struct job *job)
{
    if (trail->words + words > trail->room) {
        size_t room = trail->words + words + trail->room / 2;
        uint32_t *word = realloc(trail->word, room * sizeof *word);
        if (!word)
            return job_fail_memory(job, room * sizeof *word);
        trail->word = word;
        trail->room = room;
    }
    if (trail->records + records > trail->records_room) {
        size_t room = trail->records + records + trail->records_room / 2;
        size_t *start = realloc(trail->start, room * sizeof *start);
        if (!start)
            return job_fail_memory(job, room * sizeof *start);
        trail->start = start;
        trail->records_room = room;
    }
    return STATUS_OK;
}

static void append_face(struct trail *trail, uint32_t triangle)
{
    trail->word[trail->words++] = triangle;
    trail->word[trail->words++] = triangle == NO_INDEX ? NO_INDEX : trail->last[triangle];
    if (triangle != NO_INDEX)
        trail->last[triangle] = (uint32_t)trail->records;
}

/* Appends the record at `word` and returns where the next one begins. */
static const uint32_t *append_record(struct trail *trail, const uint32_t *word,
                                     const uint32_t *vertex, const uint32_t *triangle)
{
    struct record r;
    memcpy(&r, word, sizeof r);
    r.a = vertex[r.a];
    r.b = vertex[r.b];
    for (int i = 0; i < 2; i++) {
        r.gone[i] = r.gone[i] == NO_INDEX ? NO_INDEX : triangle[r.gone[i]];
        r.apex[i] = r.apex[i] == NO_INDEX ? NO_INDEX : vertex[r.apex[i]];
    }
    trail->start[trail->records] = trail->words;
    memcpy(trail->word + trail->words, &r, sizeof r);
    trail->words += WORDS;
    append_face(trail, r.gone[0]);
    append_face(trail, r.gone[1]);
    for (uint32_t i = 0; i < r.faces; i++)
        append_face(trail, triangle[word[WORDS + i]]);
    trail->records++;
    return word + WORDS + r.faces;
}

enum status trail_append(struct trail *trail, const struct trail_part *part, const uint32_t *vertex,
                         const uint32_t *triangle, struct job *job)
{
    size_t words = 0, records = 0;
    const uint32_t *end = part->word + part->count;
    for (const uint32_t *word = part->word; word < end;) {
        struct record r;
        memcpy(&r, word, sizeof r);
        words += WORDS + 2 * (2 + (size_t)r.faces);
        records++;
        word += WORDS + r.faces;
    }
    enum status status = grow(trail, words, records, job);
    for (const uint32_t *word = part->word; status == STATUS_OK && word < end;)
        word = append_record(trail, word, vertex, triangle);
    return status;
}

/* --- undoing --------------------------------------------------------------------------------- */

static void undo_record(struct unfolding *u, uint32_t index)
{
    struct trail *trail = u->trail;
    const uint32_t *face = trail->word + trail->start[index] + WORDS;
    struct record r;
    memcpy(&r, trail->word + trail->start[index], sizeof r);
    for (uint32_t i = 0; i < 2 + r.faces; i++)
        if (face[2 * i] != NO_INDEX) {
            trail->last[face[2 * i]] = face[2 * i + 1];
            if (i >= 2)
                u->touch(face[2 * i], u->context);
        }
    for (uint32_t i = r.split; i < r.faces; i++) {
        uint32_t *v = u->triangle[face[2 * (2 + i)]].v;
        for (int k = 0; k < 3; k++)
            v[k] = v[k] == r.a ? r.b : v[k];
    }
    u->triangle[r.gone[0]] = (struct triangle){{r.a, r.b, r.apex[0]}};
    if (r.gone[1] != NO_INDEX)
        u->triangle[r.gone[1]] = (struct triangle){{r.b, r.a, r.apex[1]}};
    u->parent[r.b] = NO_INDEX;
    memcpy(&u->point[r.a], r.at_a, sizeof r.at_a);
    memcpy(&u->point[r.b], r.at_b, sizeof r.at_b);
    for (int i = 0; i < 2; i++)
        if (r.gone[i] != NO_INDEX)
            u->touch(r.gone[i], u->context);
}

/* A later record that must be undone before this one, or NO_INDEX. */
static uint32_t later(const struct unfolding *u, uint32_t index)
{
    const struct trail *trail = u->trail;
    const uint32_t *word = trail->word + trail->start[index];
    struct record r;
    memcpy(&r, word, sizeof r);
    for (uint32_t i = 0; i < 2 + r.faces; i++) {
        uint32_t triangle = word[WORDS + 2 * i];
        if (triangle != NO_INDEX && trail->last[triangle] != index)
            return trail->last[triangle];
    }
    return NO_INDEX;
}

static bool push(struct unfolding *u, size_t *depth, uint32_t record)
{
    if (*depth == u->room) {
        size_t room = 2 * u->room + 64;
        uint32_t *stack = realloc(u->stack, room * sizeof *stack);
        if (!stack)
            return false;
        u->stack = stack;
        u->room = room;
    }
    u->stack[(*depth)++] = record;
    return true;
}

enum status trail_undo(struct unfolding *u, uint32_t triangle, struct job *job)
{
    size_t depth = 0;
    uint32_t record = u->trail->last[triangle];
    bool room = record == NO_INDEX || push(u, &depth, record);
    while (room && depth) {
        record = u->stack[depth - 1];
        uint32_t before = later(u, record);
        if (before != NO_INDEX) {
            room = push(u, &depth, before);
            continue;
        }
        undo_record(u, record);
        u->trail->undone++;
        depth--;
    }
    return room ? STATUS_OK : job_fail_memory(job, 2 * u->room * sizeof *u->stack);
}
