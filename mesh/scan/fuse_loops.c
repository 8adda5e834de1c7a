#include "scan/fuse_loops.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/sets.h"
#include "core/sort.h"

enum {
    BLOCK = 16384,
    TOGETHER = 64, /* loops of a patch at the most, in one search */
    LOOKS = 8,     /* vertices of a loop from which a shorter one is looked for, */
    PASSES = 4,    /* so many times */
    UP = 32,       /* how far two branches of a tree are followed to where they part */
    CLASS_BITS = 64
};

/* Links are numbered 3 times the vertex on their lower side, plus their axis. */
struct finder {
    const struct net *net;
    const uint8_t *open;
    uint32_t (*side)[2]; /* of each link: its two quads, NO_INDEX where there is none */
    uint64_t *mark;      /* of each link: the sum of the cycles of quads that cross it */
    uint32_t *set;       /* disjoint: of vertices, then of quads */
    uint8_t *tree;       /* of each link: enum tree */
    uint32_t *order;     /* quads in the order in which their tree grew; then a queue of vertices */
    uint32_t *up;        /* the link that each quad hangs on */

    uint32_t *from, *depth, *seen; /* of vertices: the tree that grows; seen: by which */
    uint64_t *sum;                 /* of marks along the tree */
    uint32_t stamp;
    uint8_t least;              /* of open[]: over which vertices trees grow */
    uint64_t basis[CLASS_BITS]; /* of the classes taken, by their highest bits */
    struct loops *out;
    size_t vertex_room, loop_room;
    struct job *job;
};

enum tree { TREE_NONE, TREE_LINKS, TREE_QUADS };

static bool is_time(size_t i, const struct job *job)
{
    return i % BLOCK == 0 && job_cancelled(job);
}

/* --- links ----------------------------------------------------------------------------------- */

static size_t link_of(const struct net *net, uint32_t a, uint32_t b)
{
    for (size_t f = 0; f < LINKS; f++)
        if (net->link[a][f] == b)
            return f & 1 ? 3 * (size_t)a + f / 2 : 3 * (size_t)b + f / 2;
    return SIZE_MAX;
}

static uint32_t link_end(const struct net *net, size_t link)
{
    return net->link[link / 3][2 * (link % 3) + 1];
}

static void find_sides(struct finder *f)
{
    memset(f->side, 255, 3 * f->net->vertices * sizeof *f->side);
    for (size_t q = 0; q < f->net->quads && !is_time(q, f->job); q++)
        for (int k = 0; k < 4; k++) {
            const uint32_t *v = f->net->quad[q];
            uint32_t *side = f->side[link_of(f->net, v[k], v[(k + 1) & 3])];
            side[side[0] == NO_INDEX ? 0 : 1] = (uint32_t)q;
        }
}

/* --- trees and cycles ------------------------------------------------------------------------ */

static bool joins(uint32_t *set, uint32_t a, uint32_t b)
{
    if (sets_find(set, a) == sets_find(set, b))
        return false;
    sets_unite(set, a, b);
    return true;
}

static void start_sets(struct finder *f, size_t count)
{
    for (size_t i = 0; i < count; i++)
        f->set[i] = (uint32_t)i;
}

/* A tree of links; of the other links a tree that joins quads across them. What is left crosses it
 * twice a handle. Returns how many links that are. */
static size_t grow_trees(struct finder *f)
{
    const struct net *net = f->net;
    size_t links = 3 * net->vertices, left = 0;
    start_sets(f, net->vertices);
    for (size_t l = 0; l < links && !is_time(l, f->job); l++) {
        uint32_t end = link_end(net, l);
        bool in = end != NO_INDEX && joins(f->set, (uint32_t)(l / 3), end);
        f->tree[l] = in ? TREE_LINKS : TREE_NONE;
    }
    start_sets(f, net->quads);
    for (size_t l = 0; l < links && !is_time(l, f->job); l++) {
        if (f->tree[l] != TREE_NONE || f->side[l][1] == NO_INDEX)
            continue;
        if (joins(f->set, f->side[l][0], f->side[l][1]))
            f->tree[l] = TREE_QUADS;
        else
            left++;
    }
    return left;
}

/* Steele, Lea & Flood 2014, "Fast Splittable Pseudorandom Number Generators". */
static uint64_t random_of(uint64_t i)
{
    uint64_t z = (i + 1) * 0x9E3779B97F4A7C15ull;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ z >> 27) * 0x94D049BB133111EBull;
    return z ^ z >> 31;
}

/* The quads of each tree in the order in which it grows from its first, and what each hangs on. */
static void order_quads(struct finder *f)
{
    size_t count = 0;
    memset(f->set, 0, f->net->quads * sizeof *f->set); /* 1: in the order */
    for (size_t root = 0; root < f->net->quads && !is_time(root, f->job); root++) {
        if (f->set[root])
            continue;
        size_t next = count;
        f->set[root] = 1;
        f->up[root] = NO_INDEX;
        f->order[count++] = (uint32_t)root;
        for (; next < count && !is_time(next + 1, f->job); next++)
            for (int k = 0; k < 4; k++) {
                const uint32_t *v = f->net->quad[f->order[next]];
                size_t link = link_of(f->net, v[k], v[(k + 1) & 3]);
                const uint32_t *side = f->side[link];
                uint32_t other = side[side[0] == f->order[next]];
                if (f->tree[link] != TREE_QUADS || f->set[other])
                    continue;
                f->set[other] = 1;
                f->up[other] = (uint32_t)link;
                f->order[count++] = other;
            }
    }
}

/* Each link that is left closes a cycle through the tree of quads; a link of that tree is crossed
 * by the cycles that end on one side of it. */
static enum status mark_links(struct finder *f)
{
    const struct net *net = f->net;
    uint64_t *below = scratch_new(net->quads, sizeof *below);
    if (!below)
        return job_fail_memory(f->job, net->quads * sizeof *below);
    memset(below, 0, net->quads * sizeof *below);
    memset(f->mark, 0, 3 * net->vertices * sizeof *f->mark);
    order_quads(f);
    size_t quads = job_cancelled(f->job) ? 0 : net->quads; /* in the order */
    for (size_t l = 0; l < 3 * net->vertices && !is_time(l, f->job); l++)
        if (f->tree[l] == TREE_NONE && f->side[l][1] != NO_INDEX) {
            f->mark[l] = random_of(l);
            below[f->side[l][0]] ^= f->mark[l];
            below[f->side[l][1]] ^= f->mark[l];
        }
    for (size_t i = quads; i-- > 0 && !is_time(i, f->job);) {
        uint32_t q = f->order[i], link = f->up[q];
        if (link == NO_INDEX)
            continue;
        f->mark[link] = below[q];
        below[f->side[link][f->side[link][0] == q]] ^= below[q];
    }
    scratch_free(below);
    return job_cancelled(f->job) ? job_fail_cancelled(f->job) : STATUS_OK;
}

/* --- loops ----------------------------------------------------------------------------------- */

/* Grows a tree over open vertices from a root, as deep as `most`; lists them in order[]. */
static size_t grow_from(struct finder *f, uint32_t root, uint32_t most)
{
    size_t count = 0;
    f->stamp++;
    f->seen[root] = f->stamp;
    f->from[root] = root;
    f->depth[root] = 0;
    f->sum[root] = 0;
    f->order[count++] = root;
    for (size_t next = 0; next < count && !is_time(next + 1, f->job); next++) {
        uint32_t v = f->order[next];
        for (int k = 0; k < LINKS && f->depth[v] < most; k++) {
            uint32_t w = f->net->link[v][k];
            if (w == NO_INDEX || f->open[w] < f->least || f->seen[w] == f->stamp)
                continue;
            f->seen[w] = f->stamp;
            f->from[w] = v;
            f->depth[w] = f->depth[v] + 1;
            f->sum[w] = f->sum[v] ^ f->mark[link_of(f->net, v, w)];
            f->order[count++] = w;
        }
    }
    return count;
}

struct closing { /* a link that closes a loop through the tree */
    uint32_t a, b, length;
    uint64_t class;
};

/* How long the loop is, about: less the way to the root that both branches share, if they part
 * near by. */
static uint32_t length_of(const struct finder *f, uint32_t a, uint32_t b)
{
    uint32_t length = f->depth[a] + f->depth[b] + 1;
    for (int i = 0; i < 2 * UP && a != b; i++)
        if (f->depth[a] >= f->depth[b])
            a = f->from[a];
        else
            b = f->from[b];
    return a == b ? length - 2 * f->depth[a] : length;
}

static bool closes(const struct finder *f, uint32_t v, int k, struct closing *out)
{
    uint32_t w = f->net->link[v][k];
    if (w == NO_INDEX || w > v || f->seen[w] != f->stamp || f->from[v] == w || f->from[w] == v)
        return false;
    uint64_t class = f->sum[v] ^ f->sum[w] ^ f->mark[link_of(f->net, v, w)];
    if (class == 0)
        return false;
    *out = (struct closing){v, w, length_of(f, v, w), class};
    return true;
}

/* The class less those in the basis that it holds; 0: it is their sum. */
static uint64_t reduced(const struct finder *f, uint64_t class)
{
    while (class) {
        uint64_t in = f->basis[63 - __builtin_clzll(class)];
        if (!in)
            break;
        class ^= in;
    }
    return class;
}

/* Writes the loop through the tree and a link behind out->vertex[first]. False: no memory. */
static bool trace(struct finder *f, const struct closing *c, size_t first, size_t *end)
{
    uint32_t a = c->a, b = c->b;
    size_t room = first + f->depth[a] + f->depth[b] + 1;
    if (room > f->vertex_room) {
        uint32_t *grown = realloc(f->out->vertex, 2 * room * sizeof *grown);
        if (!grown)
            return false;
        f->out->vertex = grown;
        f->vertex_room = 2 * room;
    }
    size_t low = first, high = room;
    while (a != b) /* what goes up from a is written forward, from b backward */
        if (f->depth[a] >= f->depth[b]) {
            f->out->vertex[low++] = a;
            a = f->from[a];
        } else {
            f->out->vertex[--high] = b;
            b = f->from[b];
        }
    f->out->vertex[low++] = a;
    memmove(f->out->vertex + low, f->out->vertex + high, (room - high) * sizeof *f->out->vertex);
    *end = low + (room - high);
    return true;
}

static bool keep(struct finder *f, const struct closing *c)
{
    struct loops *out = f->out;
    if (out->count == f->loop_room) {
        size_t room = f->loop_room ? 2 * f->loop_room : 16;
        struct loop *grown = realloc(out->loop, room * sizeof *grown);
        if (!grown)
            return false;
        out->loop = grown;
        f->loop_room = room;
    }
    struct loop *loop = &out->loop[out->count];
    loop->first = out->vertices;
    if (!trace(f, c, loop->first, &loop->end))
        return false;
    out->vertices = loop->end;
    out->count++;
    return true;
}

static int by_length(const void *x, const void *y)
{
    const struct closing *a = x, *b = y;
    if (a->length != b->length)
        return a->length < b->length ? -1 : 1;
    return a->a != b->a ? (a->a < b->a ? -1 : 1) : (a->b > b->b) - (a->b < b->b);
}

/* The links that close loops in the tree that grew last, the shortest loops first; NULL where there
 * are none. */
static enum status list_closing(const struct finder *f, size_t grown, uint32_t most,
                                struct closing **out, size_t *count)
{
    struct closing c, *list = NULL;
    *out = NULL;
    for (int pass = 0; pass < 2; pass++) {
        *count = 0;
        for (size_t n = 0; n < grown && !is_time(n, f->job); n++)
            for (int k = 0; k < LINKS; k++)
                if (closes(f, f->order[n], k, &c) && c.length <= most) {
                    if (list)
                        list[*count] = c;
                    ++*count;
                }
        if (*count == 0 || job_cancelled(f->job))
            break;
        if (pass == 0 && !(list = *out = scratch_new(*count, sizeof *list)))
            return job_fail_memory(f->job, *count * sizeof *list);
    }
    if (job_cancelled(f->job))
        return job_fail_cancelled(f->job);
    return sort_items(list, *count, sizeof *list, by_length, f->job);
}

/* Whether the class is none that those taken make together; it is taken then. */
static bool is_new(struct finder *f, uint64_t class)
{
    uint64_t rest = reduced(f, class);
    if (rest)
        f->basis[63 - __builtin_clzll(rest)] = rest;
    return rest != 0;
}

/* The loops of the patch that the root is in, the shortest through its tree, no longer than `most`.
 */
static enum status search_patch(struct finder *f, uint32_t root, uint32_t most)
{
    size_t grown = grow_from(f, root, NO_INDEX), count, taken = 0;
    struct closing *list;
    enum status status = list_closing(f, grown, most, &list, &count);
    for (size_t n = 0; n < grown; n++)
        f->set[f->order[n]] = 1;
    for (size_t i = 0; i < count && status == STATUS_OK && taken < TOGETHER; i++) {
        if (is_time(i, f->job))
            status = job_fail_cancelled(f->job);
        else if (is_new(f, list[i].class)) {
            taken++;
            if (!keep(f, &list[i]))
                status = job_fail_memory(f->job, f->vertex_room * sizeof *f->out->vertex);
        }
    }
    scratch_free(list);
    return status;
}

/* --- shorter ones ---------------------------------------------------------------------------- */

/* The shortest loop through a vertex, if it is shorter than `most`. */
static bool shortest_at(struct finder *f, uint32_t root, size_t most, struct closing *out)
{
    struct closing c;
    size_t grown = grow_from(f, root, (uint32_t)(most / 2));
    out->length = (uint32_t)most;
    for (size_t n = 0; n < grown; n++)
        for (int k = 0; k < LINKS; k++)
            if (closes(f, f->order[n], k, &c) && c.length < out->length)
                *out = c;
    return out->length < most;
}

/* Looks from places on the loop for a shorter one through them, and from places on that. */
static bool shorten(struct finder *f, struct loop *loop)
{
    for (int pass = 0; pass < PASSES; pass++) {
        size_t length = loop->end - loop->first;
        bool found = false;
        for (size_t i = 0; i < LOOKS && i < length && !found; i++) {
            struct closing c = {.length = 0};
            uint32_t root = f->out->vertex[loop->first + i * length / LOOKS];
            if (length < 2 || !(found = shortest_at(f, root, length, &c)))
                continue;
            loop->first = f->out->vertices;
            if (!trace(f, &c, loop->first, &loop->end))
                return false;
            f->out->vertices = loop->end;
        }
        if (!found)
            break;
    }
    return true;
}

/* --- all ------------------------------------------------------------------------------------- */

static enum status allocate(struct finder *f)
{
    size_t n = f->net->vertices, q = f->net->quads, most = n > q ? n : q;
    f->side = scratch_new(3 * n, sizeof *f->side);
    f->mark = scratch_new(3 * n, sizeof *f->mark);
    f->tree = scratch_new(3 * n, 1);
    f->set = scratch_new(most, sizeof *f->set);
    f->order = scratch_new(most, sizeof *f->order);
    f->up = scratch_new(q, sizeof *f->up);
    f->from = scratch_new(n, sizeof *f->from);
    f->depth = scratch_new(n, sizeof *f->depth);
    f->seen = scratch_new(n, sizeof *f->seen);
    f->sum = scratch_new(n, sizeof *f->sum);
    if (f->side && f->mark && f->tree && f->set && f->order && f->up && f->from && f->depth &&
        f->seen && f->sum)
        return STATUS_OK;
    return job_fail_memory(f->job, 90 * n);
}

static void release(struct finder *f)
{
    void *part[] = {f->side, f->mark, f->tree,  f->set,  f->order,
                    f->up,   f->from, f->depth, f->seen, f->sum};
    for (size_t i = 0; i < sizeof part / sizeof *part; i++)
        scratch_free(part[i]);
}

/* Over the patches of vertices that are open so far; makes the loops found shorter, and keeps those
 * that are short enough then. */
static enum status search(struct finder *f, uint8_t least, uint32_t most)
{
    size_t n = f->net->vertices, before = f->out->count;
    enum status status = STATUS_OK;
    memset(f->set, 0, n * sizeof *f->set); /* 1: of a patch that was searched */
    f->least = least;
    for (uint32_t v = 0; v < n && status == STATUS_OK && !is_time(v, f->job); v++)
        if (f->open[v] >= least && !f->set[v])
            status = search_patch(f, v, most);
    size_t found = f->out->count;
    f->out->count = before;
    for (size_t i = before; i < found && status == STATUS_OK && !job_cancelled(f->job); i++) {
        struct loop loop = f->out->loop[i];
        if (!shorten(f, &loop))
            status = job_fail_memory(f->job, f->vertex_room * sizeof *f->out->vertex);
        if (loop.end - loop.first <= most / 2)
            f->out->loop[f->out->count++] = loop;
    }
    return status;
}

static enum status search_all(struct finder *f)
{
    enum status status = mark_links(f);
    memset(f->seen, 0, f->net->vertices * sizeof *f->seen);
    if (status == STATUS_OK)
        status = search(f, OPEN_WEAK, NO_INDEX);
    return status == STATUS_OK ? search(f, OPEN_MEASURED, 2 * LOOP_LONG) : status;
}

enum status loops_find(const struct net *net, const uint8_t *open, struct loops *out,
                       struct job *job)
{
    struct finder f = {.net = net, .open = open, .out = out, .job = job};
    *out = (struct loops){0};
    enum status status = allocate(&f);
    if (status == STATUS_OK) {
        find_sides(&f);
        if (grow_trees(&f))
            status = search_all(&f);
    }
    if (status == STATUS_OK && job_cancelled(job))
        status = job_fail_cancelled(job);
    release(&f);
    if (status != STATUS_OK)
        loops_release(out);
    return status;
}

void loops_release(struct loops *loops)
{
    free(loops->vertex);
    free(loops->loop);
    *loops = (struct loops){0};
}
