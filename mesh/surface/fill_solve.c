/* The normal equations are factored by a multifrontal Cholesky method (Duff & Reid 1983, "The
 * Multifrontal Solution of Indefinite Sparse Symmetric Linear Equations") in an order found by
 * nested dissection (George 1973, "Nested Dissection of a Regular Finite Element Mesh"): halve the
 * unknowns by where they lie, put those that keep the halves apart last, go on inside the halves.
 * On a surface of n unknowns that takes about n^1.5 steps and n log n numbers. Rows are added where
 * the first of their unknowns is eliminated, so the normal equations are never written down. */
#include "surface/fill_solve.h"

#include <float.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "surface/fill_front.h"

enum { LEAF = 40 }; /* so many unknowns are eliminated at once without looking for a dissection */

struct node {                   /* unknowns eliminated together */
    uint32_t first, own;        /* by rank */
    uint32_t children;          /* nodes just before it in post-order that hand on to it */
    uint32_t edge_start, edges; /* ranks that the elimination leaves coupled, ascending */
    size_t panel;               /* where its part of the factor begins */
};

struct solving {
    const struct squares *s;
    const struct job *job;
    uint32_t *order;     /* rank -> unknown */
    uint32_t *rank;      /* unknown -> rank */
    uint32_t *met_start; /* unknown -> rows it occurs in */
    uint32_t *met;
    uint8_t *side; /* during dissection */
    struct node *node;
    size_t nodes, room_nodes;
    uint32_t *row_start; /* rank -> rows whose first unknown has that rank */
    uint32_t *row;
    uint32_t *edge; /* of all nodes */
    size_t edges, room_edges;
    uint32_t *where; /* rank -> its row in the present front */
    uint32_t *stamp;
    double *panel; /* the factor: node after node, (own + edges) x own, row by row */
    double *front, *stack;
    size_t front_room, stack_room;
    double *y; /* by rank: right-hand sides, then the solution */
};

/* --- order -------------------------------------------------------------------------------- */

static bool count_meetings(struct solving *v)
{
    const struct squares *s = v->s;
    v->met_start = calloc(s->unknowns + 2, sizeof *v->met_start);
    v->met = malloc((s->start[s->rows] + 1) * sizeof *v->met);
    if (!v->met_start || !v->met)
        return false;
    for (size_t i = 0; i < s->start[s->rows]; i++)
        v->met_start[s->unknown[i] + 2]++;
    for (size_t i = 2; i <= s->unknowns; i++)
        v->met_start[i] += v->met_start[i - 1];
    for (size_t r = 0; r < s->rows; r++)
        for (size_t i = s->start[r]; i < s->start[r + 1]; i++)
            v->met[v->met_start[s->unknown[i] + 1]++] = (uint32_t)r;
    return true;
}

static double along(const struct squares *s, uint32_t unknown, int axis)
{
    const struct vec *p = s->place + unknown;
    return axis == 0 ? p->x : axis == 1 ? p->y : p->z;
}

static int longest_axis(const struct squares *s, const uint32_t *order, size_t count)
{
    struct vec low = s->place[order[0]], high = low;
    for (size_t i = 1; i < count; i++) {
        struct vec p = s->place[order[i]];
        low = vec(fmin(low.x, p.x), fmin(low.y, p.y), fmin(low.z, p.z));
        high = vec(fmax(high.x, p.x), fmax(high.y, p.y), fmax(high.z, p.z));
    }
    struct vec d = vec_sub(high, low);
    return d.x >= d.y && d.x >= d.z ? 0 : d.y >= d.z ? 1 : 2;
}

static bool before(const struct squares *s, uint32_t a, uint32_t b, int axis)
{
    double p = along(s, a, axis), q = along(s, b, axis);
    return p < q || (p == q && a < b);
}

/* Puts the lower half along the axis in front (Hoare's selection). */
static void halve(const struct squares *s, uint32_t *order, size_t count, int axis)
{
    size_t low = 0, high = count - 1, middle = count / 2;
    while (low < high) {
        uint32_t pivot = order[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (before(s, order[i], pivot, axis))
                i++;
            while (before(s, pivot, order[j], axis))
                j--;
            if (i >= j)
                break;
            uint32_t swap = order[i];
            order[i++] = order[j];
            order[j--] = swap;
        }
        if (middle <= j)
            high = j;
        else
            low = j + 1;
    }
}

enum { FIRST_HALF = 1, SECOND_HALF = 2, APART = 4 }; /* bits of side[] */

/* Marks the unknowns of one half that meet the other half in some row; returns how many. */
static size_t mark_apart(struct solving *v, const uint32_t *order, size_t count, uint8_t mine)
{
    const struct squares *s = v->s;
    size_t marked = 0;
    for (size_t i = 0; i < count; i++) {
        bool meets = false;
        for (size_t m = v->met_start[order[i]]; m < v->met_start[order[i] + 1] && !meets; m++)
            for (size_t t = s->start[v->met[m]]; t < s->start[v->met[m] + 1] && !meets; t++) {
                uint8_t side = v->side[s->unknown[t]] & (FIRST_HALF | SECOND_HALF);
                meets = side && side != mine;
            }
        if (meets)
            v->side[order[i]] |= APART;
        marked += meets;
    }
    return marked;
}

/* Orders the part as first half, second half, and what keeps them apart; sizes into part[3]. */
static void dissect(struct solving *v, uint32_t *order, size_t count, size_t part[3])
{
    size_t half = count / 2, at[3];
    halve(v->s, order, count, longest_axis(v->s, order, count));
    for (size_t i = 0; i < count; i++)
        v->side[order[i]] = i < half ? FIRST_HALF : SECOND_HALF;
    size_t a = mark_apart(v, order, half, FIRST_HALF);
    size_t b = mark_apart(v, order + half, count - half, SECOND_HALF);
    uint8_t keeps = a <= b ? FIRST_HALF | APART : SECOND_HALF | APART;
    part[0] = half - (a <= b ? a : 0);
    part[1] = count - half - (a <= b ? 0 : b);
    part[2] = a <= b ? a : b;
    at[0] = 0, at[1] = part[0], at[2] = part[0] + part[1];
    uint32_t *sorted = v->rank; /* lent: ranks are set when the order is whole */
    for (size_t i = 0; i < count; i++) {
        uint8_t side = v->side[order[i]];
        sorted[at[side == keeps ? 2 : side & SECOND_HALF ? 1 : 0]++] = order[i];
    }
    for (size_t i = 0; i < count; i++)
        v->side[order[i]] = 0;
    memcpy(order, sorted, count * sizeof *order);
}

static bool add_node(struct solving *v, size_t first, size_t own, uint32_t children)
{
    if (v->nodes == v->room_nodes) {
        size_t room = 2 * v->room_nodes + 16;
        struct node *node = realloc(v->node, room * sizeof *node);
        if (!node)
            return false;
        v->node = node;
        v->room_nodes = room;
    }
    v->node[v->nodes++] =
        (struct node){.first = (uint32_t)first, .own = (uint32_t)own, .children = children};
    return true;
}

/* Orders order[first ... first + count - 1] and adds its nodes, children before parents; *made
 * becomes 1 when there is a node for it (none for no unknowns). */
static bool order_part(struct solving *v, size_t first, size_t count, uint32_t *made)
{
    size_t part[3] = {0, 0, count};
    uint32_t children = 0;
    *made = count > 0;
    if (count == 0)
        return true;
    if (count > LEAF)
        dissect(v, v->order + first, count, part);
    for (int k = 0, at = 0; k < 2; at += (int)part[k++]) {
        uint32_t child;
        if (!order_part(v, first + (size_t)at, part[k], &child))
            return false;
        children += child;
    }
    if (job_cancelled(v->job))
        return false;
    return add_node(v, first + part[0] + part[1], part[2], children);
}

static bool find_order(struct solving *v)
{
    size_t n = v->s->unknowns;
    v->order = malloc((n + 1) * sizeof *v->order);
    v->rank = malloc((n + 1) * sizeof *v->rank);
    v->side = calloc(n + 1, 1);
    uint32_t made;
    if (!v->order || !v->rank || !v->side || !count_meetings(v))
        return false;
    for (size_t i = 0; i < n; i++)
        v->order[i] = (uint32_t)i;
    if (!order_part(v, 0, n, &made))
        return false;
    for (size_t i = 0; i < n; i++)
        v->rank[v->order[i]] = (uint32_t)i;
    return true;
}

/* --- which numbers there will be ---------------------------------------------------------- */

static bool sort_rows(struct solving *v)
{
    const struct squares *s = v->s;
    v->row_start = calloc(s->unknowns + 2, sizeof *v->row_start);
    v->row = malloc((s->rows + 1) * sizeof *v->row);
    uint32_t *least = malloc((s->rows + 1) * sizeof *least);
    bool ok = v->row_start && v->row && least;
    for (size_t r = 0; r < s->rows && ok; r++) {
        least[r] = UINT32_MAX;
        for (size_t t = s->start[r]; t < s->start[r + 1]; t++)
            if (v->rank[s->unknown[t]] < least[r])
                least[r] = v->rank[s->unknown[t]];
        if (least[r] != UINT32_MAX)
            v->row_start[least[r] + 2]++;
    }
    for (size_t i = 2; i <= s->unknowns && ok; i++)
        v->row_start[i] += v->row_start[i - 1];
    for (size_t r = 0; r < s->rows && ok; r++)
        if (least[r] != UINT32_MAX)
            v->row[v->row_start[least[r] + 1]++] = (uint32_t)r;
    free(least);
    return ok;
}

static int rank_order(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;
    return x < y ? -1 : x > y;
}

static void meet(struct solving *v, struct node *node, uint32_t stamp, uint32_t rank)
{
    if (rank < node->first + node->own || v->stamp[rank] == stamp)
        return;
    v->stamp[rank] = stamp;
    v->edge[v->edges++] = rank;
}

/* Finds the node's edges: what its rows and its children couple it with. `children` are the
 * indices of nodes that handed on. */
static bool find_edges(struct solving *v, size_t i, const uint32_t *children)
{
    struct node *node = v->node + i;
    if (v->edges + v->s->unknowns > v->room_edges) {
        size_t room = v->edges + v->room_edges / 2 + v->s->unknowns;
        uint32_t *edge = realloc(v->edge, room * sizeof *edge);
        if (!edge)
            return false;
        v->edge = edge;
        v->room_edges = room;
    }
    node->edge_start = (uint32_t)v->edges;
    const struct squares *s = v->s;
    for (size_t m = v->row_start[node->first]; m < v->row_start[node->first + node->own]; m++)
        for (size_t t = s->start[v->row[m]]; t < s->start[v->row[m] + 1]; t++)
            meet(v, node, (uint32_t)i + 1, v->rank[s->unknown[t]]);
    for (uint32_t c = 0; c < node->children; c++) {
        const struct node *child = v->node + children[c];
        for (uint32_t e = 0; e < child->edges; e++)
            meet(v, node, (uint32_t)i + 1, v->edge[child->edge_start + e]);
    }
    node->edges = (uint32_t)(v->edges - node->edge_start);
    qsort(v->edge + node->edge_start, node->edges, sizeof *v->edge, rank_order);
    return true;
}

/* Sizes of all fronts, of the factor and of the stack of what is handed on. */
static bool plan(struct solving *v)
{
    uint32_t *open = malloc((v->nodes + 1) * sizeof *open); /* nodes not yet taken by a parent */
    size_t opens = 0, panel = 0, stack = 0;
    v->stamp = calloc(v->s->unknowns + 1, sizeof *v->stamp);
    v->where = malloc((v->s->unknowns + 1) * sizeof *v->where);
    bool ok = open && v->stamp && v->where && sort_rows(v);
    for (size_t i = 0; i < v->nodes && ok; i++) {
        struct node *node = v->node + i;
        opens -= node->children;
        ok = find_edges(v, i, open + opens);
        size_t size = node->own + node->edges;
        node->panel = panel;
        panel += size * node->own;
        if (size * size > v->front_room)
            v->front_room = size * size;
        for (uint32_t c = 0; c < node->children; c++)
            stack -= (size_t)v->node[open[opens + c]].edges * v->node[open[opens + c]].edges;
        stack += (size_t)node->edges * node->edges;
        if (stack > v->stack_room)
            v->stack_room = stack;
        open[opens++] = (uint32_t)i;
    }
    free(open);
    if (!ok)
        return false;
    v->panel = malloc((panel + 1) * sizeof *v->panel);
    v->front = malloc((v->front_room + 1) * sizeof *v->front);
    v->stack = malloc((v->stack_room + 1) * sizeof *v->stack);
    v->y = calloc(v->s->unknowns * v->s->columns + 1, sizeof *v->y);
    return v->panel && v->front && v->stack && v->y;
}

/* --- elimination -------------------------------------------------------------------------- */

static void add_row(struct solving *v, size_t size, uint32_t r)
{
    const struct squares *s = v->s;
    for (size_t a = s->start[r]; a < s->start[r + 1]; a++) {
        uint32_t rank = v->rank[s->unknown[a]], i = v->where[rank];
        double f = s->weight[r] * s->factor[a];
        for (size_t k = 0; k < s->columns; k++)
            v->y[rank * s->columns + k] += f * s->right[r * s->columns + k];
        for (size_t b = s->start[r]; b < s->start[r + 1]; b++) {
            uint32_t j = v->where[v->rank[s->unknown[b]]];
            if (j <= i)
                v->front[i * size + j] += f * s->factor[b];
        }
    }
}

static void add_child(struct solving *v, size_t size, const struct node *child, const double *from)
{
    for (uint32_t a = 0; a < child->edges; a++) {
        double *row = v->front + v->where[v->edge[child->edge_start + a]] * size;
        for (uint32_t b = 0; b <= a; b++)
            row[v->where[v->edge[child->edge_start + b]]] += from[(size_t)a * child->edges + b];
    }
}

/* y less what the first `count` unknowns of the node have in it, by the factor's row. */
static void take_out(const struct solving *v, const struct node *node, const double *row,
                     uint32_t count, double *y)
{
    size_t columns = v->s->columns;
    const double *x = v->y + node->first * columns;
    if (columns == 3) { /* the usual: three sums at once, none of which goes to memory */
        double a = y[0], b = y[1], c = y[2];
        for (uint32_t j = 0; j < count; j++, x += 3) {
            a -= row[j] * x[0];
            b -= row[j] * x[1];
            c -= row[j] * x[2];
        }
        y[0] = a, y[1] = b, y[2] = c;
        return;
    }
    for (uint32_t j = 0; j < count; j++)
        for (size_t k = 0; k < columns; k++)
            y[k] -= row[j] * x[j * columns + k];
}

/* Takes the eliminated unknowns out of the right-hand sides of the others. */
static void forward(struct solving *v, const struct node *node, const double *panel)
{
    size_t columns = v->s->columns;
    for (uint32_t i = 0; i < node->own + node->edges; i++) {
        uint32_t most = i < node->own ? i : node->own;
        size_t rank = i < node->own ? node->first + i : v->edge[node->edge_start + i - node->own];
        const double *row = panel + (size_t)i * node->own;
        double *y = v->y + rank * columns;
        take_out(v, node, row, most, y);
        for (size_t k = 0; k < columns && i < node->own; k++)
            y[k] /= row[i];
    }
}

static void backward(struct solving *v, const struct node *node, const double *panel)
{
    size_t columns = v->s->columns;
    for (uint32_t i = node->own; i-- > 0;) {
        double *y = v->y + (node->first + i) * columns;
        for (uint32_t j = i + 1; j < node->own + node->edges; j++) {
            size_t rank =
                j < node->own ? node->first + j : v->edge[node->edge_start + j - node->own];
            for (size_t k = 0; k < columns; k++)
                y[k] -= panel[(size_t)j * node->own + i] * v->y[rank * columns + k];
        }
        for (size_t k = 0; k < columns; k++)
            y[k] /= panel[(size_t)i * node->own + i];
    }
}

/* Adds up the node's front from its rows and its children's, which end at `top` of the stack. */
static void assemble(struct solving *v, const struct node *node, const uint32_t *children,
                     size_t *top)
{
    size_t size = node->own + node->edges;
    memset(v->front, 0, size * size * sizeof *v->front);
    for (uint32_t i = 0; i < node->own; i++)
        v->where[node->first + i] = i;
    for (uint32_t i = 0; i < node->edges; i++)
        v->where[v->edge[node->edge_start + i]] = node->own + i;
    for (size_t m = v->row_start[node->first]; m < v->row_start[node->first + node->own]; m++)
        add_row(v, size, v->row[m]);
    for (uint32_t c = node->children; c-- > 0;) {
        const struct node *child = v->node + children[c];
        *top -= (size_t)child->edges * child->edges;
        add_child(v, size, child, v->stack + *top);
    }
}

static enum status eliminate(struct solving *v)
{
    uint32_t *open = malloc((v->nodes + 1) * sizeof *open);
    size_t opens = 0, top = 0;
    enum status status = open ? STATUS_OK : STATUS_MEMORY;
    for (size_t i = 0; i < v->nodes && status == STATUS_OK; i++) {
        const struct node *node = v->node + i;
        size_t own = node->own, size = own + node->edges;
        opens -= node->children;
        assemble(v, node, open + opens, &top);
        status = front_factor(v->front, size, own, v->job);
        if (status != STATUS_OK)
            break;
        for (size_t r = 0; r < size; r++)
            memcpy(v->panel + node->panel + r * own, v->front + r * size, own * sizeof *v->panel);
        for (size_t r = own; r < size; r++, top += node->edges)
            memcpy(v->stack + top, v->front + r * size + own, node->edges * sizeof *v->stack);
        forward(v, node, v->panel + node->panel);
        open[opens++] = (uint32_t)i;
    }
    free(open);
    return status;
}

static void release(struct solving *v)
{
    free(v->order);
    free(v->rank);
    free(v->met_start);
    free(v->met);
    free(v->side);
    free(v->node);
    free(v->row_start);
    free(v->row);
    free(v->edge);
    free(v->where);
    free(v->stamp);
    free(v->panel);
    free(v->front);
    free(v->stack);
    free(v->y);
}

enum status squares_solve(const struct squares *squares, double *x, const struct job *job)
{
    struct solving v = {.s = squares, .job = job};
    enum status status = STATUS_OK;
    if (!find_order(&v) || !plan(&v))
        status = job_cancelled(job) ? STATUS_CANCELLED : STATUS_MEMORY;
    else
        status = eliminate(&v);
    size_t columns = squares->columns;
    if (status == STATUS_OK) {
        for (size_t i = v.nodes; i-- > 0;)
            backward(&v, v.node + i, v.panel + v.node[i].panel);
        for (size_t u = 0; u < squares->unknowns; u++)
            memcpy(x + u * columns, v.y + v.rank[u] * columns, columns * sizeof *x);
    }
    release(&v);
    return status;
}
