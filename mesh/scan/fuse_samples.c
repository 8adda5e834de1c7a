#include "scan/fuse_samples.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"

enum { BLOCK = 4096, MARGIN = 16, DIGIT = 11, PILES = 1 << DIGIT };

/* Cells are wider than the spacing: a surface meets 1.5 cells an area of step^2 (the mean over all
 * directions of |x| + |y| + |z|), each becomes a vertex, and vertices stand as in equal triangles,
 * 1 / density = sqrt(3) / 2 * spacing^2. */
static const double step_of_spacing = 1.14;

/* mm: beyond these, squares and cubes of lengths leave the range of a float. */
static const double size_most = 1e11, step_least = 1e-11;

/* The noise's deviation times this: the finest spacing that averages it down, where it does not have
 * the surface fold. A sphere of 21000 points, 1 mm in radius, with noise of 0.04 mm came out with
 * 1.03, 1.002 and 0.998 of its area at 1.2, 2 and 3 of them. */
static const double noise_spacings = 2;

static const double large_triangle = 1.5;  /* steps: longer ones get samples of their own, */
static const double between_weight = 0.05; /* of this weight */

/* Every BLOCK elements: whether to stop. */
static bool is_time(size_t i, const struct job *job)
{
    return i % BLOCK == 0 && job_cancelled(job);
}

/* --- emitting -------------------------------------------------------------------------------- */

struct emitter { /* counts first, then writes */
    struct fuse_samples *samples;
    const struct fuse_piece *piece;
    struct vec shift; /* from the piece's origin to that of all */
    uint16_t number;
    double confidence; /* of the piece beside that of all */
    bool write;
    size_t count;
};

/* Bright and without hue: the light itself, not the surface. */
static bool is_glare(const uint8_t *rgba)
{
    int low = rgba[0], high = rgba[0];
    for (int k = 1; k < 3; k++) {
        low = rgba[k] < low ? rgba[k] : low;
        high = rgba[k] > high ? rgba[k] : high;
    }
    return low > 242 && high - low < 12;
}

static void emit_colour(const struct emitter *e, const uint32_t v[3], const double mix[3])
{
    const uint8_t *colour = mesh_attribute(e->piece->mesh, ATTRIBUTE_colour);
    struct fuse_colour *out = e->samples->colour + e->count;
    *out = (struct fuse_colour){{255, 255, 255, 255}, 0};
    if (!colour)
        return;
    double square = 0;
    for (int c = 0; c < 4; c++) {
        double sum = 0;
        for (int k = 0; k < 3; k++)
            sum += mix[k] * colour[4 * v[k] + (uint32_t)c];
        out->rgba[c] = (uint8_t)(sum + 0.5);
    }
    bool glare = false; /* a mixture with it does not look like it, and is no better */
    for (int k = 0; k < 3; k++)
        glare = glare || (mix[k] > 0 && is_glare(colour + 4 * v[k]));
    for (int k = 0; k < 3; k++)
        square += mix[k] * (double)(e->piece->square[v[k]] * sqrtf(e->piece->weight[v[k]]));
    out->weight = (float)(square * square * (glare ? 0.001 : 1));
}

static void emit(struct emitter *e, const uint32_t v[3], const double mix[3], struct vec normal,
                 double area, double trust)
{
    if (e->write) {
        struct vec at = e->shift;
        double weight = 0;
        for (int k = 0; k < 3; k++) {
            at = vec_along(at, mix[k], point_vec(mesh_point(e->piece->mesh)[v[k]]));
            weight += mix[k] * (double)e->piece->weight[v[k]];
        }
        e->samples->sample[e->count] =
            (struct fuse_sample){{(float)at.x, (float)at.y, (float)at.z},
                                 {(float)normal.x, (float)normal.y, (float)normal.z},
                                 (float)(weight * trust * e->confidence),
                                 (float)area};
        e->samples->piece[e->count] = e->number;
        e->samples->mixed[e->count] = trust == 1 && e->piece->mixed[v[0]];
        if (e->samples->colour)
            emit_colour(e, v, mix);
    }
    e->count++;
}

struct large { /* a large triangle, its longest side first */
    uint32_t v[3];
    double length, height; /* of that side and above it, mm */
    double area;
    struct vec normal;
};

/* False: it is small enough. */
static bool is_large(const struct emitter *e, const uint32_t v[3], struct large *out)
{
    struct vec p[3];
    int first = 0;
    double longest = 0;
    for (int k = 0; k < 3; k++)
        p[k] = point_vec(mesh_point(e->piece->mesh)[v[k]]);
    for (int k = 0; k < 3; k++) {
        double length = vec_length(vec_sub(p[(k + 1) % 3], p[k]));
        if (length > longest) {
            longest = length;
            first = k;
        }
    }
    struct vec cross = vec_cross(vec_sub(p[1], p[0]), vec_sub(p[2], p[0]));
    *out = (struct large){{v[first], v[(first + 1) % 3], v[(first + 2) % 3]},
                          longest,
                          longest > 0 ? vec_length(cross) / longest : 0,
                          vec_length(cross) / 2,
                          vec_unit(cross)};
    return longest > large_triangle * (double)e->samples->step;
}

/* Samples about a step apart, in strips along its longest side. They were not measured, and lie
 * below a surface that bends outward: they count little where something else is near. */
static void emit_inside(struct emitter *e, const struct large *t, const struct job *job)
{
    double step = (double)e->samples->step;
    size_t strips = (size_t)ceil(t->height / step);
    for (size_t j = 0; j < strips && !job_cancelled(job); j++) {
        double low = (double)j / (double)strips, high = (double)(j + 1) / (double)strips;
        double middle = (low + high) / 2, part = (high - low) * 2 * (1 - middle);
        size_t count = (size_t)ceil((1 - middle) * t->length / step);
        for (size_t i = 0; i < count; i++) {
            double along = ((double)i + 0.5) / (double)count;
            const double mix[3] = {(1 - middle) * (1 - along), (1 - middle) * along, middle};
            emit(e, t->v, mix, t->normal, t->area * part / (double)count, between_weight);
        }
    }
}

static enum status too_many(struct job *job)
{
    return job_fail(job, STATUS_REFUSED,
                    "more than %d samples would be needed at this spacing; choose a larger "
                    "spacing=",
                    (int)MESH_MOST);
}

/* Samples in large triangles; what area small ones give to their corners, -1 for vertices that no
 * triangle uses. */
static enum status emit_triangles(struct emitter *e, float *area, struct job *job)
{
    const struct mesh *mesh = e->piece->mesh;
    double step = (double)e->samples->step;
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        const uint32_t *v = mesh_triangle(mesh)[t].v;
        struct large large;
        if (is_time(t, job))
            return job_fail_cancelled(job);
        bool is = is_large(e, v, &large);
        for (int k = 0; k < 3; k++)
            area[v[k]] = fmaxf(area[v[k]], 0) + (is ? 0 : (float)(large.area / 3));
        if (!is)
            continue;
        if ((double)e->count + (large.height / step + 1) * (large.length / step + 1) > MESH_MOST)
            return too_many(job);
        emit_inside(e, &large, job);
    }
    return STATUS_OK;
}

/* Vertices that triangles use, or of a cloud. */
static size_t emit_vertices(struct emitter *e, const float *area, const struct job *job)
{
    const struct fuse_piece *piece = e->piece;
    size_t before = e->count;
    bool cloud = mesh_triangles(piece->mesh) == 0;
    double own = 0.866 * piece->spacing * piece->spacing;
    for (uint32_t v = 0; v < mesh_vertices(piece->mesh) && !is_time(v, job); v++) {
        struct vec normal = vec_unit(point_vec(piece->normal[v]));
        double stands_for = cloud ? own : (double)area[v];
        const uint32_t corner[3] = {v, v, v};
        const double mix[3] = {1, 0, 0};
        if (stands_for >= 0 && vec_length2(normal) > 0)
            emit(e, corner, mix, normal, stands_for, 1);
    }
    return e->count - before;
}

static enum status emit_piece(struct emitter *e, size_t *measured, struct job *job)
{
    size_t vertices = mesh_vertices(e->piece->mesh);
    float *area = scratch_new(vertices, sizeof *area);
    if (!area)
        return job_fail_memory(job, vertices * sizeof *area);
    for (size_t v = 0; v < vertices; v++)
        area[v] = -1;
    const double *origin = e->samples->origin;
    e->shift = mesh_world(e->piece->mesh, vec(-origin[0], -origin[1], -origin[2]));
    enum status status = emit_triangles(e, area, job);
    if (status == STATUS_OK)
        *measured += emit_vertices(e, area, job);
    scratch_free(area);
    return status;
}

/* The mean confidence of all vertices that have one; 1 when none has. */
static double common_confidence(const struct fuse_piece *piece, size_t pieces)
{
    double sum = 0, count = 0;
    for (size_t i = 0; i < pieces; i++) {
        double n = piece[i].confidence > 0 ? (double)mesh_vertices(piece[i].mesh) : 0;
        sum += n * piece[i].confidence;
        count += n;
    }
    return count > 0 ? sum / count : 1;
}

static enum status emit_all(const struct fuse_piece *piece, size_t pieces,
                            struct fuse_samples *samples, bool write, struct job *job)
{
    struct emitter e = {.samples = samples, .write = write};
    double common = common_confidence(piece, pieces);
    samples->measured = 0;
    enum status status = STATUS_OK;
    for (size_t i = 0; i < pieces && status == STATUS_OK; i++) {
        e.piece = piece + i;
        e.number = (uint16_t)i;
        e.confidence = piece[i].confidence > 0 ? piece[i].confidence / common : 1;
        status = emit_piece(&e, &samples->measured, job);
    }
    samples->count = e.count;
    return status == STATUS_OK && e.count > MESH_MOST ? too_many(job) : status;
}

/* --- the frame ------------------------------------------------------------------------------- */

static double median_spacing(const struct fuse_piece *piece, size_t pieces)
{
    /* that of the piece at which half of all samples are passed, from the densest on */
    double samples = 0, best = 0;
    for (size_t i = 0; i < pieces; i++)
        samples += (double)mesh_vertices(piece[i].mesh);
    for (size_t i = 0; i < pieces; i++) {
        double finer = 0;
        for (size_t j = 0; j < pieces; j++)
            if (piece[j].spacing <= piece[i].spacing)
                finer += (double)mesh_vertices(piece[j].mesh);
        if (2 * finer >= samples && (best == 0 || piece[i].spacing < best))
            best = piece[i].spacing;
    }
    return best;
}

/* Of all samples together, as the root of the mean square. */
static double mean_noise(const struct fuse_piece *piece, size_t pieces)
{
    double sum = 0, samples = 0;
    for (size_t i = 0; i < pieces; i++) {
        double count = (double)mesh_vertices(piece[i].mesh);
        sum += count * piece[i].noise * piece[i].noise;
        samples += count;
    }
    return samples > 0 ? sqrt(sum / samples) : 0;
}

/* How far the samples of the coarsest cloud stand apart; triangles are as fine as the grid. */
static double cloud_reach(const struct fuse_piece *piece, size_t pieces, double step)
{
    double reach = step;
    for (size_t i = 0; i < pieces; i++)
        if (mesh_triangles(piece[i].mesh) == 0)
            reach = fmax(reach, piece[i].spacing);
    return fmin(reach, 3 * step);
}

static enum status make_frame(const struct fuse_piece *piece, size_t pieces,
                              struct fuse_samples *out, struct job *job)
{
    double low[3] = {INFINITY, INFINITY, INFINITY}, high[3] = {-INFINITY, -INFINITY, -INFINITY};
    for (size_t i = 0; i < pieces; i++)
        for (size_t v = 0; v < mesh_vertices(piece[i].mesh); v++) {
            struct vec w = mesh_world(piece[i].mesh, point_vec(mesh_point(piece[i].mesh)[v]));
            const double at[3] = {w.x, w.y, w.z};
            for (int d = 0; d < 3; d++) {
                low[d] = fmin(low[d], at[d]);
                high[d] = fmax(high[d], at[d]);
            }
        }
    double step = step_of_spacing * out->spacing, longest = 0;
    for (int d = 0; d < 3; d++) {
        out->origin[d] = low[d] + (high[d] - low[d]) / 2;
        out->base[d] = (float)(low[d] - out->origin[d] - MARGIN * BLOCK_SIDE * step);
        longest = fmax(longest, high[d] - low[d]);
        double blocks = fmin((high[d] - low[d]) / step / BLOCK_SIDE, GRID_MOST);
        out->blocks[d] = (uint32_t)blocks + 2 * MARGIN + 1;
    }
    out->step = (float)step;
    out->reach = cloud_reach(piece, pieces, step);
    if (!(longest > 0))
        return job_fail(job, STATUS_REFUSED, "all samples are in one place: nothing to fuse");
    if (!(longest < size_most && step > step_least))
        return job_fail(job, STATUS_REFUSED,
                        "the pieces are %.4g mm long at a spacing of %.4g mm; no scan is: look at "
                        "the unit, or take stray points away first",
                        longest, out->spacing);
    if (longest / step < GRID_MOST / 4.0)
        return STATUS_OK;
    return job_fail(job, STATUS_REFUSED,
                    "the pieces reach %.4g mm, too far for a spacing of %.4g mm; take stray points "
                    "away first, or choose spacing=%.4g or more",
                    longest, out->spacing, longest / (GRID_MOST / 4.0));
}

/* --- sorting --------------------------------------------------------------------------------- */

struct keyed {
    uint64_t key;
    uint32_t index;
};

static uint64_t sample_key(const struct fuse_samples *samples, size_t i)
{
    uint32_t index[3];
    for (int d = 0; d < 3; d++) {
        float at = floorf((samples->sample[i].at[d] - samples->base[d]) / samples->step);
        index[d] = (uint32_t)fminf(fmaxf(at, 0), GRID_MOST - 1);
    }
    return grid_key(index[0], index[1], index[2]);
}

/* One pass of sorting by counting; false: all have the same digit. Of no use when cancelled. */
static bool sort_digit(const struct keyed *from, struct keyed *to, size_t count, int shift,
                       const struct job *job)
{
    size_t pile[PILES] = {0}, sum = 0;
    for (size_t i = 0; i < count && !is_time(i, job); i++)
        pile[from[i].key >> shift & (PILES - 1)]++;
    for (size_t d = 0; d < PILES; d++) {
        size_t n = pile[d];
        if (n == count)
            return false;
        pile[d] = sum;
        sum += n;
    }
    for (size_t i = 0; i < count && !is_time(i, job); i++)
        to[pile[from[i].key >> shift & (PILES - 1)]++] = from[i];
    return true;
}

static struct keyed *sort_keys(struct keyed *a, struct keyed *b, size_t count,
                               const struct job *job)
{
    for (int shift = 0; shift < 3 * GRID_BITS && !job_cancelled(job); shift += DIGIT)
        if (sort_digit(a, b, count, shift, job)) {
            struct keyed *swap = a;
            a = b;
            b = swap;
        }
    return a;
}

/* The elements in their new order, in memory of their own; the old ones are freed. NULL: none. */
static void *reorder(void *old, size_t size, const struct keyed *order, size_t count,
                     const struct job *job)
{
    char *made = scratch_new(count, size);
    for (size_t i = 0; i < count && made && !is_time(i, job); i++)
        memcpy(made + i * size, (char *)old + order[i].index * size, size);
    scratch_free(old);
    return made;
}

static enum status sort_samples(struct fuse_samples *samples, struct job *job)
{
    size_t n = samples->count;
    struct keyed *a = scratch_new(n, sizeof *a), *b = scratch_new(n, sizeof *b);
    samples->key = scratch_new(n, sizeof *samples->key);
    bool ok = a && b && samples->key;
    for (size_t i = 0; i < n && ok && !is_time(i, job); i++)
        a[i] = (struct keyed){sample_key(samples, i), (uint32_t)i};
    if (ok && !job_cancelled(job)) {
        const struct keyed *order = sort_keys(a, b, n, job);
        for (size_t i = 0; i < n; i++)
            samples->key[i] = order[i].key;
        samples->sample = reorder(samples->sample, sizeof *samples->sample, order, n, job);
        samples->piece = reorder(samples->piece, sizeof *samples->piece, order, n, job);
        samples->mixed = reorder(samples->mixed, sizeof *samples->mixed, order, n, job);
        ok = samples->sample && samples->piece && samples->mixed;
        if (samples->colour) {
            samples->colour = reorder(samples->colour, sizeof *samples->colour, order, n, job);
            ok = ok && samples->colour;
        }
    }
    scratch_free(a);
    scratch_free(b);
    if (!ok)
        return job_fail_memory(job, n * 2 * sizeof *a);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}

/* --- all of it ------------------------------------------------------------------------------- */

static bool any_colour(const struct fuse_piece *piece, size_t pieces)
{
    for (size_t i = 0; i < pieces; i++)
        if (mesh_attribute(piece[i].mesh, ATTRIBUTE_colour))
            return true;
    return false;
}

static enum status fill_in(const struct fuse_piece *piece, size_t pieces, struct fuse_samples *out,
                           struct job *job)
{
    enum status status = emit_all(piece, pieces, out, false, job);
    if (status != STATUS_OK)
        return status;
    if (out->count == 0)
        return job_fail(job, STATUS_REFUSED,
                        "no sample has a direction: there is no surface to fuse");
    bool colour = any_colour(piece, pieces);
    out->sample = scratch_new(out->count, sizeof *out->sample);
    out->piece = scratch_new(out->count, sizeof *out->piece);
    out->mixed = scratch_new(out->count, sizeof *out->mixed);
    out->colour = colour ? scratch_new(out->count, sizeof *out->colour) : NULL;
    if (!out->sample || !out->piece || !out->mixed || (colour && !out->colour))
        return job_fail_memory(job, out->count * sizeof *out->sample);
    status = emit_all(piece, pieces, out, true, job);
    return status == STATUS_OK ? sort_samples(out, job) : status;
}

enum status fuse_samples_make(const struct fuse_piece *piece, size_t pieces, double spacing,
                              struct fuse_samples *out, struct job *job)
{
    *out = (struct fuse_samples){0};
    if (pieces > SAMPLES_PIECES_MOST)
        return job_fail(job, STATUS_REFUSED, "%zu pieces are more than the %d that can be fused",
                        pieces, (int)SAMPLES_PIECES_MOST);
    out->noise = mean_noise(piece, pieces);
    out->scans = median_spacing(piece, pieces);
    out->least = out->scans > 0 ? noise_spacings * out->noise : 0;
    out->spacing = spacing > 0 ? spacing : fmax(out->scans, out->least);
    if (!(out->spacing > 0))
        return job_fail(job, STATUS_REFUSED,
                        "there are too few samples to fuse; open the scans first");
    enum status status = make_frame(piece, pieces, out, job);
    if (status == STATUS_OK)
        status = fill_in(piece, pieces, out, job);
    if (status != STATUS_OK)
        fuse_samples_release(out);
    return status;
}

void fuse_samples_drop(struct fuse_samples *samples)
{
    scratch_free(samples->sample);
    scratch_free(samples->colour);
    scratch_free(samples->piece);
    scratch_free(samples->mixed);
    scratch_free(samples->key);
    samples->sample = NULL;
    samples->colour = NULL;
    samples->piece = NULL;
    samples->mixed = NULL;
    samples->key = NULL;
}

void fuse_samples_release(struct fuse_samples *samples)
{
    fuse_samples_drop(samples);
    *samples = (struct fuse_samples){0};
}
