/* A view as pixels: the image drawn finer and averaged, then marks and texts drawn over it. */
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "raster/glyphs.h"
#include "raster/image.h"
#include "raster/png.h"

static const double gap = 0.7, going = 0.4; /* how much is left of a pattern's gaps, of what goes */

struct canvas {
    const struct image *image;
    struct picture *picture;
    int finer;  /* samples a pixel, each way */
    int stroke; /* pixels of a thin line */
    uint8_t ground[3], ink[3];
};

/* --- averaging --------------------------------------------------------------------------- */

static void sample_rgb(const struct canvas *canvas, int x, int y, double rgb[3])
{
    const struct image *image = canvas->image;
    size_t i = (size_t)y * (size_t)image->width + (size_t)x;
    uint8_t kind = image->kind[i];
    double light = image->light[i] / 255.0, share = kind ? 1 : 0;
    if (kind & KIND_LINE) { /* soft sides let the ground through */
        share = light;
        light = 1;
    } else if (kind & KIND_PATTERNED && !(kind & KIND_SECTION)) {
        share *= pattern_gap(image, kind, x, y) ? gap : 1;
        share *= kind & KIND_GOING ? going : 1;
    }
    for (int k = 0; k < 3; k++)
        rgb[k] = canvas->ground[k] + share * (image->colour[i][k] * light - canvas->ground[k]);
}

/* The mean over a pixel's samples, of squares: light is about the square of sRGB's numbers. */
static void average_row(const struct canvas *canvas, int y)
{
    const int finer = canvas->finer, width = canvas->picture->width;
    uint8_t *out = canvas->picture->pixel + (size_t)y * (size_t)width * 3;
    for (int x = 0; x < width; x++, out += 3) {
        double sum[3] = {0}, rgb[3];
        for (int i = 0; i < finer * finer; i++) {
            sample_rgb(canvas, x * finer + i % finer, y * finer + i / finer, rgb);
            for (int k = 0; k < 3; k++)
                sum[k] += rgb[k] * rgb[k];
        }
        for (int k = 0; k < 3; k++)
            out[k] = (uint8_t)lrint(sqrt(sum[k] / (finer * finer)));
    }
}

/* --- drawing over ------------------------------------------------------------------------ */

static void dot(const struct canvas *canvas, int x, int y, const uint8_t rgb[3], double share)
{
    const struct picture *picture = canvas->picture;
    if (x < 0 || y < 0 || x >= picture->width || y >= picture->height || share <= 0)
        return;
    uint8_t *pixel = picture->pixel + ((size_t)y * (size_t)picture->width + (size_t)x) * 3;
    share = share < 1 ? share : 1;
    for (int k = 0; k < 3; k++)
        pixel[k] = (uint8_t)lrint(pixel[k] + share * (rgb[k] - pixel[k]));
}

static void disc(const struct canvas *canvas, double x, double y, double radius,
                 const uint8_t rgb[3])
{
    for (int v = (int)floor(y - radius - 1); v <= (int)ceil(y + radius + 1); v++)
        for (int u = (int)floor(x - radius - 1); u <= (int)ceil(x + radius + 1); u++)
            dot(canvas, u, v, rgb, radius + 0.5 - hypot(u + 0.5 - x, v + 0.5 - y));
}

/* A character with its upper left corner at x, y. */
static void character(const struct canvas *canvas, int x, int y, int code, const uint8_t rgb[3])
{
    int scale = canvas->stroke;
    if (code < GLYPH_FIRST || code >= GLYPH_FIRST + GLYPH_COUNT)
        code = '?';
    for (int v = 0; v < GLYPH_HEIGHT * scale; v++)
        for (int u = 0; u < GLYPH_WIDTH * scale; u++)
            if (glyph_bits[code - GLYPH_FIRST][v / scale] >> (GLYPH_WIDTH - 1 - u / scale) & 1)
                dot(canvas, x + u, y + v, rgb, 1);
}

/* A character in the middle of x, y. */
static void character_at(const struct canvas *canvas, double x, double y, int code,
                         const uint8_t rgb[3])
{
    character(canvas, (int)lrint(x - GLYPH_WIDTH * canvas->stroke / 2.0),
              (int)lrint(y - GLYPH_HEIGHT * canvas->stroke / 2.0), code, rgb);
}

static void draw_marks(const struct canvas *canvas, bool chosen)
{
    const struct image *image = canvas->image;
    static const uint8_t black[3] = {0, 0, 0};
    for (size_t i = 0; i < image->marks; i++) {
        const struct placed *mark = &image->mark[i];
        if (mark->chosen != chosen)
            continue;
        double x = mark->x / canvas->finer, y = mark->y / canvas->finer;
        double radius = (chosen ? 13 : 11) * canvas->stroke;
        const uint8_t *rgb = raster_swatch(chosen ? SWATCH_CHOSEN : SWATCH_MARK);
        disc(canvas, x, y, radius, mark->hidden ? rgb : black);
        disc(canvas, x, y, radius - 2 * canvas->stroke, mark->hidden ? canvas->ground : rgb);
        character_at(canvas, x, y, mark->glyph, mark->hidden ? rgb : black);
    }
}

static void draw_letters(const struct canvas *canvas)
{
    struct tripod tripod = tripod_of(canvas->image);
    for (int k = 0; k < 3; k++) {
        double at[2];
        for (int i = 0; i < 2; i++)
            at[i] = (tripod.at[i] + 1.3 * (tripod.end[k][i] - tripod.at[i])) / canvas->finer;
        character_at(canvas, at[0], at[1], "xyz"[k], raster_swatch((enum swatch)(SWATCH_X + k)));
    }
}

static void box(const struct canvas *canvas, int x0, int y0, int x1, int y1)
{
    for (int y = y0; y < y1; y++)
        for (int x = x0; x < x1; x++)
            dot(canvas, x, y, canvas->ink, 1);
}

/* A bar with upright ends in the lower right corner, its length beneath it. */
static void draw_scale(const struct canvas *canvas)
{
    struct scale scale = scale_of(canvas->image);
    int letters = (int)strlen(scale.text), stroke = canvas->stroke;
    int length = (int)lrint(scale.samples / canvas->finer);
    int x1 = canvas->picture->width - 20 * stroke, x0 = x1 - length;
    int y = canvas->picture->height - 40 * stroke;
    if (length < 2 || x0 < 0 || y < 0)
        return;
    box(canvas, x0, y - stroke, x1, y + stroke);
    box(canvas, x0, y - 6 * stroke, x0 + 2 * stroke, y + 6 * stroke);
    box(canvas, x1 - 2 * stroke, y - 6 * stroke, x1, y + 6 * stroke);
    int x = x1 - letters * GLYPH_WIDTH * stroke;
    for (int i = 0; i < letters; i++)
        character(canvas, x + i * GLYPH_WIDTH * stroke, y + 10 * stroke, scale.text[i],
                  canvas->ink);
}

static void finish(struct canvas *canvas, int threads)
{
#pragma omp parallel for schedule(dynamic, ROWS_AT_ONCE) num_threads(threads)
    for (int y = 0; y < canvas->picture->height; y++)
        average_row(canvas, y);
    if (canvas->image->axes)
        draw_letters(canvas);
    if (canvas->image->scale_bar)
        draw_scale(canvas);
    draw_marks(canvas, false);
    draw_marks(canvas, true);
}

static enum status draw_image(struct image *image, const struct raster_view *view, int width,
                              int height, bool white, struct picture *picture, struct job *job)
{
    struct canvas canvas = {.image = image, .picture = picture};
    canvas.stroke = (height + 450) / 900 > 1 ? (height + 450) / 900 : 1;
    canvas.finer = (int64_t)width * height < 1000000 ? 3 : 2;
    memset(canvas.ground, white ? 255 : 18, 3);
    memset(canvas.ink, white ? 0 : 235, 3);
    struct raster_view fine = *view;
    fine.grain = 2 * canvas.finer * canvas.stroke;
    enum status status =
        raster_draw(image, &fine, width * canvas.finer, height * canvas.finer, 1, job);
    if (status != STATUS_OK)
        return status;
    *picture = (struct picture){malloc((size_t)width * (size_t)height * 3), width, height};
    if (!picture->pixel)
        return job_fail_memory(job, (size_t)width * (size_t)height * 3);
    finish(&canvas, job_threads(job));
    return STATUS_OK;
}

enum status picture_draw(const struct raster_view *view, int width, int height, bool white,
                         struct picture *picture, struct job *job)
{
    enum { PIXELS_MOST = SIDE_MOST / 3 };
    if (width < 1 || height < 1 || width > PIXELS_MOST || height > PIXELS_MOST)
        return job_fail(job, STATUS_REFUSED,
                        "a picture of %d x %d pixels cannot be drawn: each side can have 1 to %d",
                        width, height, PIXELS_MOST);
    struct image *image = image_new();
    if (!image)
        return job_fail_memory(job, 1024);
    enum status status = draw_image(image, view, width, height, white, picture, job);
    image_free(image);
    return status;
}
