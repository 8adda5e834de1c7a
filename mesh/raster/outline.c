#include "raster/outline.h"

#include <cglm/cglm.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "raster/raster.h"

static const double thin = 0.6;   /* cells */
static const double finest = 0.1; /* mm: a smaller cell says nothing that can be drawn */

enum { FEWEST = 8 }; /* borders of cells that make a loop worth drawing */

void outline_release(struct outline *outline)
{
    free(outline->at);
    free(outline->start);
    *outline = (struct outline){0};
}

/* --- following the borders of cells ---------------------------------------------------------- */

struct tracer {
    const uint8_t *set;
    long width, height;
    uint8_t *seen; /* cells whose lower border was followed */
    double (*at)[2];
    size_t count, room; /* of the loop being followed: middles of borders, in cells */
};

static bool is_set(const struct tracer *t, long x, long y)
{
    return x >= 0 && y >= 0 && x < t->width && y < t->height &&
           t->set[(size_t)y * (size_t)t->width + (size_t)x];
}

static bool put(struct tracer *t, double x, double y)
{
    if (t->count == t->room) {
        size_t room = t->room ? 2 * t->room : 1024;
        void *grown = realloc(t->at, room * sizeof *t->at);
        if (!grown)
            return false;
        t->at = grown;
        t->room = room;
    }
    t->at[t->count][0] = x;
    t->at[t->count++][1] = y;
    return true;
}

/* Steps along a border: right, up, left, down. What is set lies on the left. */
static const int go[4][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}};

/* The cell beside the border that begins at a corner and goes that way: `left` of it or right. */
static void beside(long x, long y, int way, bool left, long cell[2])
{
    int turn = left ? way + 1 : way + 3;
    const int *a = go[way], *b = go[turn % 4];
    cell[0] = x + (a[0] + b[0] < 0 ? -1 : 0);
    cell[1] = y + (a[1] + b[1] < 0 ? -1 : 0);
}

/* From the lower border of a cell round to it again. False: out of memory. */
static bool follow(struct tracer *t, long x, long y)
{
    const long from[2] = {x, y};
    int way = 0;
    t->count = 0;
    do {
        long left[2], right[2];
        if (way == 0)
            t->seen[(size_t)y * (size_t)t->width + (size_t)x] = 1;
        if (!put(t, (double)x + go[way][0] / 2.0, (double)y + go[way][1] / 2.0))
            return false;
        x += go[way][0], y += go[way][1];
        beside(x, y, way, true, left);
        beside(x, y, way, false, right);
        if (is_set(t, right[0], right[1]))
            way = (way + 3) % 4;
        else if (!is_set(t, left[0], left[1]))
            way = (way + 1) % 4;
    } while (x != from[0] || y != from[1] || way != 0);
    return true;
}

/* --- thinning ------------------------------------------------------------------------------- */

static double beside_line(const double p[2], const double a[2], const double b[2])
{
    double u = b[0] - a[0], v = b[1] - a[1], length2 = u * u + v * v;
    double s = length2 > 0 ? ((p[0] - a[0]) * u + (p[1] - a[1]) * v) / length2 : 0;
    s = fmin(fmax(s, 0), 1);
    return hypot(p[0] - a[0] - s * u, p[1] - a[1] - s * v);
}

/* Marks in `keep` those points between the kept ones first and last (mod count) without which the
 * line would run too far off; `stack` has room for 2 * count. */
static void thin_between(const double (*at)[2], size_t count, size_t first, size_t last,
                         uint8_t *keep, size_t *stack)
{
    size_t depth = 0;
    stack[depth++] = first, stack[depth++] = last;
    while (depth) {
        size_t to = stack[--depth], from = stack[--depth], farthest = from;
        double most = thin;
        for (size_t i = from + 1; i < to; i++) {
            double far = beside_line(at[i % count], at[from % count], at[to % count]);
            if (far > most) {
                most = far;
                farthest = i;
            }
        }
        if (farthest == from)
            continue;
        keep[farthest % count] = 1;
        stack[depth++] = from, stack[depth++] = farthest;
        stack[depth++] = farthest, stack[depth++] = to;
    }
}

static size_t farthest_from_first(const double (*at)[2], size_t count)
{
    size_t best = 0;
    double most = -1;
    for (size_t i = 0; i < count; i++) {
        double far = hypot(at[i][0] - at[0][0], at[i][1] - at[0][1]);
        if (far > most) {
            most = far;
            best = i;
        }
    }
    return best;
}

/* Keeps what is needed of the loop; false: out of memory. */
static bool thin_loop(struct tracer *t)
{
    uint8_t *keep = calloc(t->count, 1);
    size_t *stack = malloc((2 * t->count + 4) * sizeof *stack), n = 0;
    if (keep && stack) {
        const double(*at)[2] = (const double(*)[2])t->at;
        size_t half = farthest_from_first(at, t->count);
        keep[0] = keep[half] = 1;
        thin_between(at, t->count, 0, half, keep, stack);
        thin_between(at, t->count, half, t->count, keep, stack);
        for (size_t i = 0; i < t->count; i++)
            if (keep[i])
                memmove(t->at[n++], t->at[i], sizeof *t->at);
        t->count = n;
    }
    bool ok = keep && stack;
    free(keep);
    free(stack);
    return ok;
}

/* --- the loops ------------------------------------------------------------------------------ */

static bool add_loop(struct outline *out, const struct tracer *t, const double from[2], double cell)
{
    size_t before = out->loops ? out->start[out->loops] : 0, total = before + t->count;
    void *at = realloc(out->at, total * sizeof *out->at);
    out->at = at ? at : out->at;
    void *start = realloc(out->start, (out->loops + 2) * sizeof *out->start);
    out->start = start ? start : out->start;
    if (!at || !start)
        return false;
    for (size_t i = 0; i < t->count; i++)
        for (int k = 0; k < 2; k++)
            out->at[before + i][k] = from[k] + cell * t->at[i][k];
    out->start[0] = out->loops ? out->start[0] : 0;
    out->start[++out->loops] = total;
    return true;
}

static bool trace_row(struct tracer *t, long y, const double from[2], double cell,
                      struct outline *out)
{
    for (long x = 0; x < t->width; x++) {
        bool border = is_set(t, x, y) && !is_set(t, x, y - 1);
        if (!border || t->seen[(size_t)y * (size_t)t->width + (size_t)x])
            continue;
        if (!follow(t, x, y))
            return false;
        if (t->count >= FEWEST && (!thin_loop(t) || !add_loop(out, t, from, cell)))
            return false;
    }
    return true;
}

enum status outline_trace(const uint8_t *set, size_t width, size_t height, const double from[2],
                          double cell, struct outline *out, struct job *job)
{
    *out = (struct outline){.cell = cell};
    struct tracer t = {.set = set, .width = (long)width, .height = (long)height};
    t.seen = calloc(width * height, 1);
    bool ok = t.seen != NULL;
    for (long y = 0; y < t.height && ok && !job_cancelled(job); y++)
        ok = trace_row(&t, y, from, cell, out);
    free(t.seen);
    free(t.at);
    if (ok && !job_cancelled(job))
        return STATUS_OK;
    outline_release(out);
    return ok ? job_fail_cancelled(job) : job_fail_memory(job, width * height);
}

/* --- what is covered ------------------------------------------------------------------------ */

static void look_along(struct camera *camera, struct vec toward, struct vec up)
{
    struct vec right = vec_cross(up, toward);
    mat3 turn = {{(float)right.x, (float)up.x, (float)toward.x},
                 {(float)right.y, (float)up.y, (float)toward.y},
                 {(float)right.z, (float)up.z, (float)toward.z}};
    versor q;
    glm_mat3_quat(turn, q);
    for (int k = 0; k < 4; k++)
        camera->turn[k] = q[k];
}

static enum status draw(const struct mesh *const *mesh, size_t count, struct camera camera,
                        int width, int height, struct image *image, struct job *job)
{
    struct raster_piece *piece = calloc(count, sizeof *piece);
    if (!piece)
        return job_fail_memory(job, count * sizeof *piece);
    for (size_t i = 0; i < count; i++)
        piece[i].mesh = mesh[i];
    const struct raster_view view = {.camera = camera, .piece = piece, .pieces = count};
    enum status status = raster_draw(image, &view, width, height, 1, job);
    free(piece);
    return status;
}

/* The cells that show something, the lowest row first. */
static uint8_t *covered(const struct image *image, int width, int height)
{
    uint8_t *set = malloc((size_t)width * (size_t)height);
    for (int y = 0; set && y < height; y++)
        for (int x = 0; x < width; x++)
            set[(size_t)(height - 1 - y) * (size_t)width + (size_t)x] =
                image_pick(image, x, y, NULL, NULL, NULL);
    return set;
}

enum status outline_find(const struct mesh *const *mesh, size_t count, struct vec middle,
                         struct vec toward, struct vec up, double width, double height,
                         struct outline *out, struct job *job)
{
    *out = (struct outline){0};
    double cell = fmax(finest, fmax(width, height) / (OUTLINE_SIDE - 4));
    int across = (int)ceil(width / cell) + 4, down = (int)ceil(height / cell) + 4;
    struct camera camera = {.centre = middle, .height = down * cell};
    look_along(&camera, toward, up);
    struct image *image = image_new();
    enum status status = image ? draw(mesh, count, camera, across, down, image, job)
                               : job_fail_memory(job, sizeof camera);
    uint8_t *set = status == STATUS_OK ? covered(image, across, down) : NULL;
    if (status == STATUS_OK && !set)
        status = job_fail_memory(job, (size_t)across * (size_t)down);
    image_free(image);
    const double from[2] = {-across * cell / 2, -down * cell / 2};
    if (status == STATUS_OK)
        status = outline_trace(set, (size_t)across, (size_t)down, from, cell, out, job);
    free(set);
    return status;
}
