/* What lies over the surface: marks, the section line, the axes. */
#include <stdio.h>
#include <stdlib.h>

#include "raster/image.h"

/* --- marks ------------------------------------------------------------------------------- */

/* How deep (samples, at its place) a mark may lie under what is seen and still be seen: findings
 * lie on the surface itself. */
static const double mark_bias = 3;

static bool is_hidden(const struct image *image, struct vec view, double x, double y)
{
    int column = (int)floor(x), row = (int)floor(y);
    if (column < 0 || row < 0 || column >= image->width || row >= image->height)
        return false;
    uint64_t seen = image_seen(image, (size_t)row * (size_t)image->width + (size_t)column);
    if (seen == SEEN_NOTHING)
        return false;
    double zoom = image->lens.perspective ? (image->lens.eye - view.z) / image->lens.eye : 1;
    return seen_z(&image->lens, seen) > view.z + mark_bias * zoom / fabs(image->lens.scale[1]);
}

/* Where a view point is in the picture and how much larger than at the centre; false: too near. */
static bool project(const struct lens *lens, struct vec view, double at[2], double *larger)
{
    double k = 1;
    if (lens->perspective) {
        if (!(lens->eye - view.z > lens->near))
            return false;
        k = lens->eye / (lens->eye - view.z);
    }
    at[0] = lens->middle[0] + lens->scale[0] * view.x * k;
    at[1] = lens->middle[1] + lens->scale[1] * view.y * k;
    *larger = k;
    return true;
}

static bool place_mark(const struct image *image, const struct raster_mark *mark,
                       struct placed *placed)
{
    const struct lens *lens = &image->lens;
    struct vec view = lens_view(lens, mark->at);
    double at[2], k;
    if (!project(lens, view, at, &k))
        return false;
    double x = at[0], y = at[1];
    if (!(x >= 0 && y >= 0 && x < image->width && y < image->height))
        return false;
    bool hidden = is_hidden(image, view, x, y);
    *placed = (struct placed){
        .x = x, .y = y, .glyph = mark->glyph, .chosen = mark->chosen, .hidden = hidden};
    if (mark->chosen && mark->reach > 0)
        placed->ring = fmin(mark->reach * k * fabs(lens->scale[1]), image->height);
    return mark->chosen || !hidden;
}

static enum status place_marks(struct image *image, const struct raster_view *view, struct job *job)
{
    if (view->marks > image->marks_room) {
        struct placed *mark = realloc(image->mark, view->marks * sizeof *mark);
        if (!mark)
            return job_fail_memory(job, view->marks * sizeof *mark);
        image->mark = mark;
        image->marks_room = view->marks;
    }
    image->marks = 0;
    for (size_t i = 0; i < view->marks; i++)
        if (place_mark(image, &view->mark[i], &image->mark[image->marks]))
            image->marks++;
    return STATUS_OK;
}

/* --- the section line -------------------------------------------------------------------- */

static bool continuous(const struct image *image, size_t a, size_t b)
{
    const struct lens *lens = &image->lens;
    uint64_t p = image_seen(image, a), q = image_seen(image, b);
    return p != SEEN_NOTHING && q != SEEN_NOTHING &&
           fabs(seen_z(lens, p) - seen_z(lens, q)) * fabs(lens->scale[1]) < 6 * image->grain;
}

static void mark_section(struct image *image, size_t x, size_t y)
{
    const uint8_t *colour = raster_swatch(SWATCH_SECTION);
    size_t half = (size_t)image->grain / 3, width = (size_t)image->width;
    for (size_t v = y < half ? 0 : y - half; v <= y + half && v < (size_t)image->height; v++)
        for (size_t u = x < half ? 0 : x - half; u <= x + half && u < width; u++) {
            size_t i = v * width + u;
            if (!(image->kind[i] & KIND_SURFACE))
                continue;
            image->kind[i] |= KIND_SECTION;
            image->light[i] = 255;
            for (int k = 0; k < 3; k++)
                image->colour[i][k] = colour[k];
        }
}

/* Where the surface goes on from what stays to what goes. */
static void draw_section(struct image *image)
{
    size_t width = (size_t)image->width, height = (size_t)image->height;
    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++) {
            size_t i = y * width + x;
            bool right = x + 1 < width && ((image->kind[i] ^ image->kind[i + 1]) & KIND_GOING) &&
                         continuous(image, i, i + 1);
            bool below = y + 1 < height &&
                         ((image->kind[i] ^ image->kind[i + width]) & KIND_GOING) &&
                         continuous(image, i, i + width);
            if (right || below)
                mark_section(image, x, y);
        }
}

/* --- axes -------------------------------------------------------------------------------- */

struct tripod tripod_of(const struct image *image)
{
    struct tripod tripod;
    double grain = image->grain, size = fmin(26 * grain, image->height / 5.0);
    /* Well inside the lower left corner, in the middle of a cell of 4 x 8, so that upright and
     * level axes are one character wide. */
    double left = 1.3 * size / image->aspect + 2 * grain;
    double above = image->height - 1.3 * size - 2 * grain;
    tripod.at[0] = (floor(left / (4 * grain)) * 4 + 2) * grain;
    tripod.at[1] = (floor(above / (8 * grain)) * 8 + 4) * grain;
    for (int k = 0; k < 3; k++) {
        double x[3] = {k == 0, k == 1, k == 2};
        struct vec v = lens_turn(&image->lens, vec(x[0], x[1], x[2]));
        tripod.end[k][0] = tripod.at[0] + v.x * size / image->aspect;
        tripod.end[k][1] = tripod.at[1] - v.y * size;
        tripod.depth[k] = v.z;
    }
    return tripod;
}

static void draw_over(struct image *image, int x, int y, double ink, const uint8_t colour[3])
{
    if (x < 0 || y < 0 || x >= image->width || y >= image->height || ink <= 0)
        return;
    size_t i = (size_t)y * (size_t)image->width + (size_t)x;
    uint8_t light = (uint8_t)lrint(255 * fmin(ink, 1));
    if (image->kind[i] & KIND_LINE && image->light[i] > light)
        return;
    image->kind[i] |= KIND_LINE;
    image->light[i] = light;
    for (int k = 0; k < 3; k++)
        image->colour[i][k] = colour[k];
}

/* A line one sample (times grain) wide with soft sides. */
static void draw_line(struct image *image, const double from[2], const double to[2],
                      const uint8_t colour[3])
{
    double dx = to[0] - from[0], dy = to[1] - from[1], square = dx * dx + dy * dy;
    double half = 0.5 * image->grain, reach = half + 0.5;
    int x0 = (int)floor(fmin(from[0], to[0]) - reach), x1 = (int)ceil(fmax(from[0], to[0]) + reach);
    int y0 = (int)floor(fmin(from[1], to[1]) - reach), y1 = (int)ceil(fmax(from[1], to[1]) + reach);
    for (int y = y0; y <= y1; y++)
        for (int x = x0; x <= x1; x++) {
            double u = x + 0.5 - from[0], v = y + 0.5 - from[1];
            double t = square > 0 ? fmin(fmax((u * dx + v * dy) / square, 0), 1) : 0;
            draw_over(image, x, y, reach - hypot(u - t * dx, v - t * dy), colour);
        }
}

/* --- lines in space ------------------------------------------------------------------------ */

/* The part of the line that lies beyond the near plane; false: none does. */
static bool before_the_eye(const struct lens *lens, struct vec *a, struct vec *b)
{
    double most = lens->eye - 1.001 * lens->near; /* view z */
    if (!lens->perspective || (a->z < most && b->z < most))
        return true;
    if (a->z >= most && b->z >= most)
        return false;
    struct vec *over = a->z >= most ? a : b, *under = over == a ? b : a;
    double t = (most - under->z) / (over->z - under->z);
    *over = vec_along(*under, t, vec_sub(*over, *under));
    return true;
}

/* The share [t[0], t[1]] of the line from p to q that lies within the picture (Liang & Barsky
 * 1984); false: none does. */
static bool within_picture(const struct image *image, const double p[2], const double q[2],
                           double t[2])
{
    const double side[2] = {image->width, image->height};
    t[0] = 0, t[1] = 1;
    for (int k = 0; k < 2; k++)
        for (int end = 0; end < 2; end++) {
            double go = end ? q[k] - p[k] : p[k] - q[k], room = end ? side[k] - p[k] : p[k];
            if (go == 0 && room < 0)
                return false;
            if (go > 0)
                t[1] = fmin(t[1], room / go);
            else if (go < 0)
                t[0] = fmax(t[0], room / go);
        }
    return t[0] < t[1];
}

/* In strokes a character long, each drawn when it can be seen; of those behind something every
 * other one. */
static void draw_in_space(struct image *image, const struct raster_line *line)
{
    const struct lens *lens = &image->lens;
    struct vec a = lens_view(lens, line->from), b = lens_view(lens, line->to);
    double p[2], q[2], t[2], ka, kb;
    if (!before_the_eye(lens, &a, &b) || !project(lens, a, p, &ka) || !project(lens, b, q, &kb) ||
        !within_picture(image, p, q, t))
        return;
    double cells = hypot((q[0] - p[0]) / 4, (q[1] - p[1]) / 8) / image->grain;
    int strokes = 1 + (int)(cells * (t[1] - t[0]));
    for (int i = 0; i < strokes; i++) {
        double s0 = t[0] + (t[1] - t[0]) * i / strokes;
        double s1 = t[0] + (t[1] - t[0]) * (i + 1) / strokes, s = (s0 + s1) / 2;
        /* a share s of the way in the picture is a share w of it in space */
        double w = s * kb / ((1 - s) * ka + s * kb);
        double from[2] = {p[0] + s0 * (q[0] - p[0]), p[1] + s0 * (q[1] - p[1])};
        double to[2] = {p[0] + s1 * (q[0] - p[0]), p[1] + s1 * (q[1] - p[1])};
        double x = (from[0] + to[0]) / 2, y = (from[1] + to[1]) / 2;
        if (i % 2 == 0 || !is_hidden(image, vec_along(a, w, vec_sub(b, a)), x, y))
            draw_line(image, from, to, raster_swatch(SWATCH_CHOSEN));
    }
}

/* The ring about a chosen mark. */
static void draw_ring(struct image *image, const struct placed *mark)
{
    const uint8_t *colour = raster_swatch(SWATCH_CHOSEN);
    double half = 0.5 * image->grain, reach = half + 0.5;
    double ring = mark->ring, wide = ring / image->aspect;
    int y0 = (int)floor(mark->y - ring - reach), y1 = (int)ceil(mark->y + ring + reach);
    int x0 = (int)floor(mark->x - wide - reach), x1 = (int)ceil(mark->x + wide + reach);
    for (int y = y0 > 0 ? y0 : 0; y <= y1 && y < image->height; y++)
        for (int x = x0 > 0 ? x0 : 0; x <= x1 && x < image->width; x++) {
            double far = hypot((x + 0.5 - mark->x) * image->aspect, y + 0.5 - mark->y);
            draw_over(image, x, y, reach - fabs(far - ring), colour);
        }
}

static void draw_axes(struct image *image)
{
    struct tripod tripod = tripod_of(image);
    int order[3] = {0, 1, 2}; /* the one that points to the viewer is drawn last */
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++)
            if (tripod.depth[order[k]] > tripod.depth[order[k + 1]]) {
                int swap = order[k];
                order[k] = order[k + 1];
                order[k + 1] = swap;
            }
    for (int i = 0; i < 3; i++)
        draw_line(image, tripod.at, tripod.end[order[i]],
                  raster_swatch((enum swatch)(SWATCH_X + order[i])));
}

/* --- the scale bar ----------------------------------------------------------------------- */

struct scale scale_of(const struct image *image)
{
    double mm = image->lens.scale[0] > 0 ? 1 / image->lens.scale[0] : 1;
    double most = mm * image->width / 4;
    double ten = pow(10, floor(log10(most)));
    double length = most >= 5 * ten ? 5 * ten : most >= 2 * ten ? 2 * ten : ten;
    struct scale scale = {.samples = length / mm};
    int places = length < 1 ? (int)ceil(-log10(length) - 1e-9) : 0;
    snprintf(scale.text, sizeof scale.text, "%.*f mm", places, length);
    return scale;
}

enum status overlay_draw(struct image *image, const struct raster_view *view, struct job *job)
{
    if (view->cut)
        draw_section(image);
    for (size_t i = 0; i < view->lines; i++)
        draw_in_space(image, &view->line[i]);
    if (view->axes)
        draw_axes(image);
    enum status status = place_marks(image, view, job);
    for (size_t i = 0; i < image->marks; i++)
        if (image->mark[i].ring >= 10 * image->grain) /* smaller ones only hide the mark */
            draw_ring(image, &image->mark[i]);
    return status;
}
