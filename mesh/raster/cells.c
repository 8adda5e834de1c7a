#include "raster/cells.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "raster/blocks.h"
#include "raster/image.h"
#include "raster/match.h"

enum { COLUMNS = 4, ROWS = 8 };

/* The densest characters cover a third of their cell; a little more keeps them in use. */
static const double most_ink = 0.38;
/* Ink is light, light seen is about its square root: a surface never falls to nothing. */
static const double gamma_ink = 2, floor_ink = 0.25;
static const double floor_colour = 0.2; /* of the light that a colour is shown at */
static const double line_ink = 0.51;    /* of a line, as strokes of characters are */
static const double stroke_ink = 1.7;   /* of a pattern's strokes, since its gaps are left empty */
static const double dim = 0.45;         /* of gaps in colour, and of what the cut takes away */
static const double equalised = 0.5;    /* share of the tones' ranks in their light */
static const double darkest_own = 0.45; /* of the light, where a surface's own colour is darkest */

struct setter { /* what all cells of one picture share */
    const struct image *image;
    const struct cell_look *look;
    struct alphabet alphabet;
    uint8_t ink[256];  /* wanted for a light, 0 to 255 */
    uint8_t tone[256]; /* of a light, stretched */
    uint8_t own[256];  /* share of its light (255: all) that a surface of that brightness has */
    bool shows_own;
};

struct patch { /* the samples of one cell */
    uint8_t ink[PATCH];
    int surface, lines, going;
    uint8_t all, any;   /* kind bits that all and that any of its samples have */
    int rgb[3], weight; /* of the surface or, where there are some, of the lines */
    int light;          /* sum of tones of the surface */
};

void cells_samples(enum cell_style style, int *columns, int *rows)
{
    (void)style;
    *columns = COLUMNS;
    *rows = ROWS;
}

/* --- tones ------------------------------------------------------------------------------- */

/* How bright a colour looks, 0 to 255: the weights of ITU-R BT.601. */
static int brightness(const uint8_t rgb[3])
{
    return (299 * rgb[0] + 587 * rgb[1] + 114 * rgb[2]) / 1000;
}

/* The value that a share of all counted lie below, at most. */
static int below_share(const uint64_t count[256], double share)
{
    uint64_t all = 0, below = 0;
    for (int i = 0; i < 256; i++)
        all += count[i];
    int i = 0;
    while (i < 255 && (double)(below + count[i]) <= share * (double)all)
        below += count[i++];
    return i;
}

/* Own colours as lighter and darker, stretched over the 5th to 95th of a hundred; those that hardly
 * differ do not count. */
static void set_own(struct setter *setter)
{
    enum { LEAST = 16 };
    const struct image *image = setter->image;
    const struct cell_look *look = setter->look;
    uint64_t count[256] = {0};
    memset(setter->own, 255, sizeof setter->own);
    setter->shows_own = false;
    if (!look->own_light || look->colours >= 16 || image->paint != PAINT_OWN)
        return;
    for (size_t i = 0; i < image_samples(image); i++)
        if (image->kind[i] & KIND_SURFACE)
            count[brightness(image->colour[i])]++;
    int low = below_share(count, 0.05), high = below_share(count, 0.95);
    setter->shows_own = high - low >= LEAST;
    for (int i = 0; i < 256 && setter->shows_own; i++) {
        double share = fmin(fmax((double)(i - low) / (high - low), 0), 1);
        setter->own[i] = (uint8_t)lrint(255 * (darkest_own + (1 - darkest_own) * share));
    }
}

/* The light of a sample that shows a surface, its own colour counted in where that is shown so. */
static uint8_t light_at(const struct setter *setter, size_t i)
{
    const struct image *image = setter->image;
    if (!setter->shows_own)
        return image->light[i];
    return (uint8_t)(image->light[i] * setter->own[brightness(image->colour[i])] / 255);
}

/* Half light, half its rank among all light of the picture, so that few characters do much. */
static void set_tones(struct setter *setter)
{
    const struct image *image = setter->image;
    uint64_t count[256] = {0}, below = 0, all = 0;
    for (size_t i = 0; i < image_samples(image); i++)
        if (image->kind[i] & KIND_SURFACE)
            count[light_at(setter, i)]++;
    for (int i = 0; i < 256; i++)
        all += count[i];
    double most = setter->shows_own ? fmax(below_share(count, 0.98), 1) : 255;
    for (int i = 0; i < 256; i++) {
        double rank = all ? ((double)below + 0.5 * (double)count[i]) / (double)all : 0;
        double light = fmin(255 * i / most, 255);
        setter->tone[i] = (uint8_t)lrint((1 - equalised) * light + equalised * 255 * rank);
        below += count[i];
    }
}

static void set_ink(struct setter *setter, double most)
{
    for (int i = 0; i < 256; i++) {
        double tone = floor_ink + (1 - floor_ink) * setter->tone[i] / 255.0;
        double ink = setter->look->light_ground ? 0.04 + 0.96 * (1 - setter->tone[i] / 255.0)
                                                : pow(tone, gamma_ink);
        setter->ink[i] = (uint8_t)lrint(255 * most * ink);
    }
}

/* --- one cell ---------------------------------------------------------------------------- */

/* The ink a surface wants, with its pattern. */
static uint8_t surface_ink(const struct setter *setter, size_t i)
{
    const struct image *image = setter->image;
    uint8_t kind = image->kind[i];
    double ink = setter->ink[light_at(setter, i)];
    if (!(kind & KIND_PATTERNED))
        return (uint8_t)ink;
    int width = image->width, x = (int)(i % (size_t)width), y = (int)(i / (size_t)width);
    if (pattern_gap(image, kind, x, y))
        return 0;
    ink *= kind & KIND_GOING ? 2 * dim : stroke_ink;
    return (uint8_t)fmin(ink, 255);
}

static void take_sample(const struct setter *setter, size_t i, struct patch *patch, uint8_t *ink)
{
    const struct image *image = setter->image;
    uint8_t kind = image->kind[i], light = image->light[i];
    bool line = kind & (KIND_LINE | KIND_SECTION);
    *ink = line ? (uint8_t)(light * line_ink) : kind ? surface_ink(setter, i) : 0;
    patch->surface += kind & KIND_SURFACE && !line;
    patch->going += (kind & KIND_GOING) != 0;
    patch->all &= kind;
    patch->any |= kind;
    patch->light += kind & KIND_SURFACE && !line ? setter->tone[light_at(setter, i)] : 0;
    if (line && !patch->lines) { /* lines take the cell's colour over */
        patch->weight = 0;
        memset(patch->rgb, 0, sizeof patch->rgb);
    }
    patch->lines += line;
    if (!kind || (patch->lines && !line))
        return;
    int weight = 1 + light;
    for (int k = 0; k < 3; k++)
        patch->rgb[k] += weight * image->colour[i][k];
    patch->weight += weight;
}

static void take_patch(const struct setter *setter, int x, int y, struct patch *patch)
{
    const struct image *image = setter->image;
    memset(patch, 0, sizeof *patch);
    patch->all = 0xff;
    for (int v = 0; v < ROWS; v++) {
        size_t row = (size_t)(y * ROWS + v) * (size_t)image->width + (size_t)(x * COLUMNS);
        for (int u = 0; u < COLUMNS; u++)
            take_sample(setter, row + (size_t)u, patch, &patch->ink[v * COLUMNS + u]);
    }
    if (patch->lines && patch->surface) /* the line must stand out */
        for (int i = 0; i < PATCH; i++)
            if (patch->ink[i] < 255 * most_ink)
                patch->ink[i] /= 3;
}

/* The colour of the terminal's set that is nearest. */
static void set_colour(const struct setter *setter, const uint8_t rgb[3], uint8_t out[3])
{
    if (setter->look->colours >= 1 << 24)
        memcpy(out, rgb, 3);
    else
        xterm_rgb(xterm_nearest(rgb, setter->look->colours), out);
}

/* The number of the tint that the colour is nearest to. */
static size_t tint_of(const uint8_t rgb[3])
{
    size_t best = 0;
    int least = INT32_MAX;
    for (size_t i = 0; i < RASTER_TINTS; i++) {
        int sum = 0;
        for (int k = 0; k < 3; k++)
            sum += (rgb[k] - raster_tint(i)[k]) * (rgb[k] - raster_tint(i)[k]);
        best = sum < least ? i : best;
        least = sum < least ? sum : least;
    }
    return best;
}

void cells_tint(const uint8_t tint[3], int colours, uint8_t rgb[3])
{
    /* yellow cyan green magenta white red blue, and their bright brothers */
    static const uint8_t of_eight[RASTER_TINTS] = {3, 6, 2, 5, 7, 1, 4};
    if (colours >= 1 << 24)
        memcpy(rgb, tint, 3);
    else if (colours >= 256)
        xterm_rgb(xterm_nearest(tint, colours), rgb);
    else
        xterm_rgb(of_eight[tint_of(tint)] + (colours >= 16 ? 8 : 0), rgb);
}

/* Where each piece has its tint, and few colours: the light is in the glyph alone. */
static void colour_piece(const struct setter *setter, const struct patch *patch, struct cell *cell)
{
    uint8_t rgb[3];
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)(patch->rgb[k] / patch->weight);
    cells_tint(rgb, setter->look->colours, cell->fore);
    cell->coloured = true;
    cell->bold = !cell->dim;
}

static void colour_glyph(const struct setter *setter, const struct patch *patch, struct cell *cell)
{
    int colours = setter->look->colours;
    bool by_piece = setter->image->paint == PAINT_PIECE && colours >= 8 && colours < 256;
    if (by_piece && patch->weight && !patch->lines) {
        colour_piece(setter, patch, cell);
        return;
    }
    if (colours < 16 || !patch->weight)
        return;
    /* Half of the light goes into the colour, and a quarter where it tells pieces apart; hues stay
     * as they are. */
    double least = setter->image->paint == PAINT_PIECE ? 0.75 : 0.5;
    double share = 1;
    if (!patch->lines && patch->surface)
        share = least + (1 - least) * patch->light / (255.0 * patch->surface);
    if (setter->look->light_ground)
        share *= 0.55;
    uint8_t rgb[3];
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)(share * patch->rgb[k] / patch->weight);
    set_colour(setter, rgb, cell->fore);
    cell->coloured = true;
}

/* Within a patterned surface each pattern has characters of its own, by their ink; else '\0'. */
static char pattern_glyph(const struct patch *patch, bool light_ground)
{
    static const struct {
        uint8_t kind;
        char ramp[5];
    } pattern[] = {
        {KIND_GOING, "...:"}, {KIND_BACK, ",/Z%"}, {KIND_INVENTED, "-=zE"}, {KIND_MADE, "`|lH"}};
    if (patch->surface < PATCH || patch->lines)
        return '\0';
    int level = patch->light * 4 / (256 * PATCH);
    level = light_ground ? 3 - level : level;
    for (size_t i = 0; i < sizeof pattern / sizeof *pattern; i++)
        if (patch->any & pattern[i].kind) /* the first that applies, as in pattern_gap */
            return patch->all & pattern[i].kind ? pattern[i].ramp[level] : '\0';
    return '\0';
}

static void set_glyph(const struct setter *setter, int x, int y, struct cell *cell)
{
    struct patch patch;
    take_patch(setter, x, y, &patch);
    if (!patch.surface && !patch.lines)
        return;
    char own = pattern_glyph(&patch, setter->look->light_ground);
    int best = own ? own - ' ' : alphabet_match(&setter->alphabet, patch.ink);
    bool ascii = own || setter->look->style == CELLS_ASCII;
    cell->glyph = ascii ? (uint32_t)(' ' + best) : blocks_glyph(best);
    cell->dim = patch.going > PATCH / 2 && !patch.lines;
    cell->bold = patch.lines && setter->look->colours < 16; /* no colour of their own tells them */
    colour_glyph(setter, &patch, cell);
}

/* What a sample looks like in colour. */
static void sample_rgb(const struct setter *setter, int x, int y, uint8_t rgb[3])
{
    const struct image *image = setter->image;
    size_t i = (size_t)y * (size_t)image->width + (size_t)x;
    uint8_t kind = image->kind[i];
    double light = image->light[i] / 255.0;
    if (!(kind & (KIND_LINE | KIND_SECTION))) {
        light = setter->tone[image->light[i]] / 255.0;
        light = (kind & KIND_GOING ? dim : 1) * (floor_colour + (1 - floor_colour) * light);
        light *= kind & KIND_PATTERNED && pattern_gap(image, kind, x, y) ? dim : 1;
    }
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)(image->colour[i][k] * light);
}

/* Two colours a cell. What shows no surface keeps the terminal's own background. */
static void set_block(const struct setter *setter, int x, int y, struct cell *cell)
{
    const struct image *image = setter->image;
    uint8_t rgb[PATCH][3], ground = setter->look->light_ground ? 255 : 0;
    uint32_t empty = 0;
    for (int i = 0; i < PATCH; i++) {
        int u = x * COLUMNS + i % COLUMNS, v = y * ROWS + i / COLUMNS;
        if (image->kind[(size_t)v * (size_t)image->width + (size_t)u]) {
            sample_rgb(setter, u, v, rgb[i]);
        } else {
            empty |= 1u << i;
            memset(rgb[i], ground, 3);
        }
    }
    if (empty == UINT32_MAX)
        return;
    struct two_tone two = blocks_fit(rgb);
    bool no_fore = 2 * __builtin_popcount(two.mask & empty) > __builtin_popcount(two.mask);
    bool no_back = 2 * __builtin_popcount(~two.mask & empty) > __builtin_popcount(~two.mask);
    cell->glyph = two.glyph;
    cell->coloured = two.mask != 0;
    cell->backed = two.mask != UINT32_MAX && !no_back;
    set_colour(setter, two.fore, cell->fore);
    set_colour(setter, two.back, cell->back);
    if (no_fore && cell->backed) { /* the shape is the background: turn it over */
        memcpy(cell->fore, cell->back, 3);
        cell->coloured = cell->reverse = true;
        cell->backed = false;
    }
}

/* --- over the picture -------------------------------------------------------------------- */

struct sheet {
    struct cell *cell;
    int columns, rows;
    const struct setter *setter;
};

static struct cell *cell_at(const struct sheet *sheet, int x, int y)
{
    if (x < 0 || y < 0 || x >= sheet->columns || y >= sheet->rows)
        return NULL;
    return &sheet->cell[(size_t)y * (size_t)sheet->columns + (size_t)x];
}

static void put(const struct sheet *sheet, int x, int y, uint32_t glyph, const uint8_t *rgb)
{
    struct cell *cell = cell_at(sheet, x, y);
    if (!cell)
        return;
    *cell = (struct cell){.glyph = glyph};
    if (rgb && sheet->setter->look->colours >= 16) {
        set_colour(sheet->setter, rgb, cell->fore);
        cell->coloured = true;
    }
}

static void put_marks(const struct sheet *sheet, bool chosen)
{
    const struct image *image = sheet->setter->image;
    for (size_t i = 0; i < image->marks; i++) {
        const struct placed *mark = &image->mark[i];
        if (mark->chosen != chosen)
            continue;
        int x = (int)(mark->x / COLUMNS), y = (int)(mark->y / ROWS);
        put(sheet, x, y, mark->glyph, raster_swatch(chosen ? SWATCH_CHOSEN : SWATCH_MARK));
        struct cell *cell = cell_at(sheet, x, y);
        if (!cell)
            continue;
        cell->bold = !mark->hidden;
        cell->dim = mark->hidden;
        cell->reverse = chosen; /* where there is no dim, it is still told from the surface */
    }
}

/* " 2 ", reversed, so that it is no mark. */
static void put_number(const struct sheet *sheet, const struct numbered *number)
{
    char text[16];
    int colours = sheet->setter->look->colours;
    int length = snprintf(text, sizeof text, number->number < 100 ? " %u " : "%u", number->number);
    int x = number->x / COLUMNS - length / 2, y = number->y / ROWS;
    for (int i = 0; i < length; i++) {
        put(sheet, x + i, y, (uint32_t)text[i], NULL);
        struct cell *cell = cell_at(sheet, x + i, y);
        if (!cell)
            continue;
        cell->reverse = true;
        cell->coloured = colours >= 8;
        if (cell->coloured)
            cells_tint(number->tint, colours, cell->fore);
    }
}

static void put_axes(const struct sheet *sheet)
{
    struct tripod tripod = tripod_of(sheet->setter->image);
    for (int k = 0; k < 3; k++) {
        double x = tripod.at[0] + 1.25 * (tripod.end[k][0] - tripod.at[0]);
        double y = tripod.at[1] + 1.25 * (tripod.end[k][1] - tripod.at[1]);
        put(sheet, (int)floor(x / COLUMNS), (int)floor(y / ROWS), (uint32_t)("xyz"[k]),
            raster_swatch((enum swatch)(SWATCH_X + k)));
    }
}

/* |------| 20 mm, in the lower right corner: from one bar's middle to the other's. */
static void put_scale(const struct sheet *sheet)
{
    struct scale scale = scale_of(sheet->setter->image);
    int length = (int)lrint(scale.samples / COLUMNS);
    int letters = (int)strlen(scale.text);
    int x = sheet->columns - letters - length - 3, y = sheet->rows - 1;
    if (length < 1 || x < 0)
        return;
    for (int i = 0; i <= length; i++)
        put(sheet, x + i, y, i == 0 || i == length ? '|' : '-', NULL);
    put(sheet, x + length + 1, y, ' ', NULL);
    for (int i = 0; i < letters; i++)
        put(sheet, x + length + 2 + i, y, (uint32_t)scale.text[i], NULL);
}

void cells_from_image(const struct image *image, const struct cell_look *look, struct cell *cells,
                      int columns, int rows)
{
    struct setter setter = {.image = image, .look = look};
    struct sheet sheet = {cells, columns, rows, &setter};
    for (size_t i = 0; i < (size_t)columns * (size_t)rows; i++)
        cells[i] = (struct cell){.glyph = ' '};
    if (image->width != columns * COLUMNS || image->height != rows * ROWS)
        return;
    bool blocks = look->style == CELLS_BLOCKS, tones = blocks && look->colours >= 256;
    (blocks ? blocks_alphabet : alphabet_ascii)(&setter.alphabet);
    set_own(&setter);
    set_tones(&setter);
    set_ink(&setter, blocks ? 1 : most_ink);
    for (int y = 0; y < rows; y++)
        for (int x = 0; x < columns; x++)
            (tones ? set_block : set_glyph)(&setter, x, y, cell_at(&sheet, x, y));
    if (image->axes)
        put_axes(&sheet);
    if (image->scale_bar)
        put_scale(&sheet);
    for (size_t i = 0; i < image->numbers; i++)
        put_number(&sheet, &image->number[i]);
    put_marks(&sheet, false);
    put_marks(&sheet, true);
}
