#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "raster/blocks.h"
#include "raster/glyphs.h"
#include "raster/image.h"
#include "raster/match.h"
#include "raster/text.h"
#include "tests/support/shapes.h"

/* --- blocks ------------------------------------------------------------------------------ */

/* Two colours laid out as a block character come back as that character, or as its complement with
 * the colours exchanged. */
START_TEST(blocks_come_back)
{
    static const uint8_t a[3] = {200, 100, 0}, b[3] = {0, 40, 90};
    struct alphabet alphabet;
    blocks_alphabet(&alphabet);
    ck_assert_int_gt(alphabet.count, 25);
    for (int i = 0; i < alphabet.count; i++) {
        uint8_t sample[PATCH][3];
        struct two_tone two = {0};
        uint32_t mask = 0;
        if (blocks_glyph(i) >= 0x2591 && blocks_glyph(i) <= 0x2593)
            continue; /* shades have no shape */
        memset(sample, 0, sizeof sample);
        /* The mask of the i-th, by asking for it in one colour. */
        for (int k = 0; k < PATCH; k++)
            sample[k][0] = 1;
        two = blocks_fit(sample);
        ck_assert(two.glyph == ' ' || two.glyph == 0x2588);
        mask = blocks_mask(i);
        for (int k = 0; k < PATCH; k++)
            memcpy(sample[k], mask >> k & 1 ? a : b, 3);
        two = blocks_fit(sample);
        ck_assert(two.mask == mask || two.mask == ~mask);
        bool turned = two.mask != mask;
        if (mask)
            ck_assert_mem_eq(turned ? two.back : two.fore, a, 3);
        if (~mask)
            ck_assert_mem_eq(turned ? two.fore : two.back, b, 3);
    }
}
END_TEST

/* --- terminals' colours ------------------------------------------------------------------ */

START_TEST(colours_come_back)
{
    uint8_t rgb[3], back[3];
    for (int i = 16; i < 256; i++) {
        xterm_rgb(i, rgb);
        int nearest = xterm_nearest(rgb, 256);
        ck_assert_int_ge(nearest, 16);
        xterm_rgb(nearest, back);
        ck_assert_mem_eq(rgb, back, 3);
    }
    for (int i = 0; i < 16; i++) {
        xterm_rgb(i, rgb);
        ck_assert_int_eq(xterm_nearest(rgb, 16), i);
        if (i < 8)
            ck_assert_int_eq(xterm_nearest(rgb, 8), i);
    }
}
END_TEST

/* No other colour of the 256 is much nearer in plain squares than the one chosen. */
START_TEST(nearest_is_near)
{
    uint64_t state = 3;
    for (int i = 0; i < 2000; i++) {
        uint8_t rgb[3], its[3];
        for (int k = 0; k < 3; k++)
            rgb[k] = (uint8_t)(256 * shape_random(&state));
        xterm_rgb(xterm_nearest(rgb, 256), its);
        for (int k = 0; k < 3; k++)
            ck_assert_int_le(abs(rgb[k] - its[k]), 95);
    }
}
END_TEST

/* --- pictures ---------------------------------------------------------------------------- */

enum { COLUMNS = 20, ROWS = 10 };

struct sheet {
    struct cell cell[COLUMNS * ROWS];
};

static struct image *image_of(const struct raster_view *view)
{
    struct image *image = image_new();
    ck_assert_int_eq(raster_draw(image, view, COLUMNS * 4, ROWS * 8, 1, NULL), STATUS_OK);
    return image;
}

static char *picture_of(const struct raster_view *view, struct cell_look look, struct sheet *sheet)
{
    struct image *image = image_of(view);
    cells_from_image(image, &look, sheet->cell, COLUMNS, ROWS);
    image_free(image);
    char *text = text_from_cells(sheet->cell, COLUMNS, ROWS, look.colours);
    ck_assert_ptr_nonnull(text);
    return text;
}

static struct raster_view view_of(const struct raster_piece *piece)
{
    struct raster_view view = {.piece = piece, .pieces = piece ? 1 : 0};
    camera_frame(&view.camera, vec(-1, -1, -1), vec(1, 1, 1), 1);
    raster_fit(&view.camera, piece, view.pieces, 1, NULL);
    return view;
}

static const char sphere_picture[] = "      _yyyyy__\n"
                                     "   _yQNNQQDDG22i_\n"
                                     "  yNNQQQQDDG22Il|;\n"
                                     " dQQQQDDD8G22Il|!=:\n"
                                     ":DDDD88G222IIl|!==:\n"
                                     "`G222222IIll|!!==::\n"
                                     " TIIIlllT|!!===:':`\n"
                                     "  ~||!!!!===::``:`\n"
                                     "   `'===:::```:`\n"
                                     "       ``````\n";
static const char box_picture[] = "\n"
                                  "     _j__\n"
                                  "   _dDGG8DGai__\n"
                                  " aQDGGGGGGGGG8DDGyi\n"
                                  "`l|TI388QGGGGGGDP~'\n"
                                  ":l!!!!!|TI2388T'``-\n"
                                  " ~^<|i|!!!!!|=```-`\n"
                                  "     ``\"!<iil=:``\n"
                                  "           `~`\n"
                                  "          |--| 5 mm\n";

/* How well ink follows the light that was wanted, sample by sample, both seen through a blur of the
 * width of a character: the correlation of the two. */
static void blur(const double *from, double *to)
{
    for (int y = 0; y < ROWS * 8; y++)
        for (int x = 0; x < COLUMNS * 4; x++) {
            double sum = 0, count = 0;
            for (int v = y - 2; v <= y + 2; v++)
                for (int u = x - 2; u <= x + 2; u++)
                    if (v >= 0 && u >= 0 && v < ROWS * 8 && u < COLUMNS * 4) {
                        sum += from[v * COLUMNS * 4 + u];
                        count++;
                    }
            to[y * COLUMNS * 4 + x] = sum / count;
        }
}

static double likeness(const struct image *image, const int *glyph)
{
    enum { N = COLUMNS * ROWS * PATCH };
    static double light[N], ink[N], wanted[N], got[N];
    double s[5] = {0};
    for (int i = 0; i < N; i++) {
        int x = i % (COLUMNS * 4), y = i / (COLUMNS * 4), g = glyph[y / 8 * COLUMNS + x / 4];
        light[i] = pow(image->light[i] / 255.0, 2);
        ink[i] = glyph_cover[g][y % 8 * 4 + x % 4] / 255.0;
    }
    blur(light, wanted);
    blur(ink, got);
    for (int i = 0; i < N; i++) {
        double a = wanted[i], b = got[i], terms[5] = {a, b, a * a, b * b, a * b};
        for (int k = 0; k < 5; k++)
            s[k] += terms[k] / N;
    }
    return (s[4] - s[0] * s[1]) / sqrt((s[2] - s[0] * s[0]) * (s[3] - s[1] * s[1]));
}

/* Choosing by shape beats choosing by mean light alone. */
START_TEST(shape_beats_a_ramp)
{
    struct mesh *mesh = _i ? shape_torus(40, 18, 40, 20) : shape_box(30, 20, 12, 2);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    struct image *image = image_of(&view);
    struct sheet sheet;
    struct alphabet alphabet;
    int shape[COLUMNS * ROWS], ramp[COLUMNS * ROWS];
    cells_from_image(image, &(struct cell_look){CELLS_ASCII, 0, false, false}, sheet.cell, COLUMNS,
                     ROWS);
    alphabet_ascii(&alphabet);
    for (int i = 0; i < COLUMNS * ROWS; i++) {
        double mean = 0;
        for (int k = 0; k < PATCH; k++) {
            int x = i % COLUMNS * 4 + k % 4, y = i / COLUMNS * 8 + k / 4;
            mean += 97 * pow(image->light[y * COLUMNS * 4 + x] / 255.0, 2) / PATCH;
        }
        shape[i] = (int)sheet.cell[i].glyph - ' ';
        ramp[i] = 0;
        for (int g = 0; g < alphabet.count; g++)
            if (fabs(alphabet.mean[g] - mean) < fabs(alphabet.mean[ramp[i]] - mean))
                ramp[i] = g;
    }
    ck_assert_double_gt(likeness(image, shape), likeness(image, ramp) + 0.02);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(golden_sphere)
{
    struct mesh *mesh = shape_sphere(50, 4);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    struct sheet sheet;
    char *text = picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, false}, &sheet);
    ck_assert_msg(strcmp(text, sphere_picture) == 0, "the sphere is\n%s", text);
    free(text);
    mesh_free(mesh);
}
END_TEST

START_TEST(golden_box)
{
    struct mesh *mesh = shape_box(30, 20, 12, 2);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    view.scale_bar = true;
    struct sheet sheet;
    char *text = picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, false}, &sheet);
    ck_assert_msg(strcmp(text, box_picture) == 0, "the box is\n%s", text);
    free(text);
    mesh_free(mesh);
}
END_TEST

static const struct cell_look looks[] = {
    {CELLS_ASCII, 0, false, false},        {CELLS_ASCII, 8, false, false},
    {CELLS_ASCII, 16, false, false},       {CELLS_ASCII, 256, false, false},
    {CELLS_ASCII, 1 << 24, false, false},  {CELLS_ASCII, 0, true, false},
    {CELLS_ASCII, 256, true, false},       {CELLS_BLOCKS, 0, false, false},
    {CELLS_BLOCKS, 16, false, false},      {CELLS_BLOCKS, 256, false, false},
    {CELLS_BLOCKS, 1 << 24, false, false}, {CELLS_BLOCKS, 256, true, false},
    {CELLS_ASCII, 0, false, true},         {CELLS_ASCII, 8, true, true},
    {CELLS_BLOCKS, 0, false, true},
};

/* Whatever the terminal: glyphs of its kind, colours it has, ink where there is a surface and none
 * where there is not. */
START_TEST(every_look)
{
    struct cell_look look = looks[_i];
    struct mesh *mesh = shape_torus(40, 18, 40, 20);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 150, 90}};
    struct raster_view view = view_of(&piece);
    struct sheet sheet;
    free(picture_of(&view, look, &sheet));
    struct image *image = image_of(&view);
    for (int i = 0; i < COLUMNS * ROWS; i++) {
        const struct cell *cell = &sheet.cell[i];
        int covered = 0;
        for (int k = 0; k < PATCH; k++)
            covered += image_pick(image, i % COLUMNS * 4 + k % 4, i / COLUMNS * 8 + k / 4, NULL,
                                  NULL, NULL);
        bool blank = cell->glyph == ' ' && !cell->backed && !cell->reverse;
        if (covered == 0)
            ck_assert(blank);
        if (covered == PATCH)
            ck_assert(!blank || look.light_ground);
        ck_assert((cell->glyph >= ' ' && cell->glyph <= '~') ||
                  (look.style == CELLS_BLOCKS && cell->glyph >= 0x2580 && cell->glyph <= 0x259f));
        ck_assert(look.colours >= 16 || !cell->coloured);
        ck_assert(!cell->backed || (look.style == CELLS_BLOCKS && look.colours >= 256));
        uint8_t rgb[3];
        if (cell->coloured && look.colours < 1 << 24) {
            xterm_rgb(xterm_nearest(cell->fore, look.colours), rgb);
            ck_assert_mem_eq(rgb, cell->fore, 3);
        }
        if (cell->coloured && covered == PATCH && look.colours >= 256) /* the hue is kept */
            ck_assert(cell->fore[0] >= cell->fore[1] && cell->fore[1] >= cell->fore[2]);
    }
    image_free(image);
    mesh_free(mesh);
}
END_TEST

START_TEST(wrong_size_is_blank)
{
    struct mesh *mesh = shape_sphere(50, 2);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    struct image *image = image_of(&view);
    struct sheet sheet;
    struct cell_look look = {CELLS_ASCII, 0, false, false};
    memset(&sheet, 1, sizeof sheet);
    cells_from_image(image, &look, sheet.cell, COLUMNS, ROWS - 1);
    for (int i = 0; i < COLUMNS * (ROWS - 1); i++)
        ck_assert(sheet.cell[i].glyph == ' ' && !sheet.cell[i].coloured);
    image_free(image);
    mesh_free(mesh);
}
END_TEST

/* Each kind of surface has characters of its own in one colour. */
START_TEST(patterns)
{
    static const char *const own[] = {".:", ",/Z%", "-=zE", "`|lH"};
    struct mesh *mesh = shape_box(30, 20, 12, 2);
    uint8_t *origin = mesh_attribute_new(mesh, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(mesh); t++) {
        if (_i == 1) { /* inside out */
            uint32_t swap = mesh_triangle_edit(mesh)[t].v[1];
            mesh_triangle_edit(mesh)[t].v[1] = mesh_triangle_edit(mesh)[t].v[2];
            mesh_triangle_edit(mesh)[t].v[2] = swap;
        }
        origin[t] = _i == 2 ? ORIGIN_INVENTED : _i == 3 ? ORIGIN_MADE : ORIGIN_MEASURED;
    }
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    view.paint = PAINT_ORIGIN;
    view.cut = _i == 0;
    view.cut_normal = vec(0, 0, 1);
    view.cut_offset = 1000;
    struct sheet sheet;
    free(picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, false}, &sheet));
    int whole = 0;
    for (int y = 4; y < 6; y++)
        for (int x = 6; x < 14; x++) {
            const struct cell *cell = &sheet.cell[y * COLUMNS + x];
            ck_assert_ptr_nonnull(strchr(own[_i], (int)cell->glyph));
            ck_assert_int_eq(cell->dim, _i == 0);
            whole++;
        }
    ck_assert_int_eq(whole, 16);
    mesh_free(mesh);
}
END_TEST

static double ink_between(const struct sheet *sheet, int from, int to)
{
    double sum = 0;
    for (int y = 3; y < 7; y++)
        for (int x = from; x < to; x++)
            for (int k = 0; k < PATCH; k++)
                sum += glyph_cover[sheet->cell[y * COLUMNS + x].glyph - ' '][k];
    return sum;
}

/* A flat plate, the left half of it dark and the right one bright: without colours of its own a
 * terminal shows that where it is asked for, and only there. */
START_TEST(own_colours_are_light_and_dark)
{
    struct mesh *mesh = shape_box(40, 24, 2, 24);
    uint8_t(*colour)[4] = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        memset(colour[v], mesh_point(mesh)[v].x < 20 ? 60 : 220, 4);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    camera_look(&view.camera, CAMERA_TOP);
    view.axes = view.scale_bar = false;
    view.paint = PAINT_OWN;
    struct sheet plain, own;
    free(picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, false}, &plain));
    free(picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, true}, &own));
    int middle = COLUMNS / 2, reach = COLUMNS / 4;
    ck_assert_double_lt(ink_between(&own, middle - reach, middle - 1),
                        0.7 * ink_between(&own, middle + 1, middle + reach));
    ck_assert_double_eq_tol(ink_between(&plain, middle - reach, middle - 1),
                            ink_between(&plain, middle + 1, middle + reach),
                            0.05 * ink_between(&plain, middle + 1, middle + reach));
    mesh_free(mesh);
}
END_TEST

/* Without colours, what is drawn over the surface is bold. */
START_TEST(lines_stand_out_without_colour)
{
    struct mesh *mesh = shape_box(30, 20, 12, 2);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    const struct raster_line line = {vec(-40, 10, 20), vec(70, 10, 20)};
    view.axes = view.scale_bar = false;
    view.line = &line;
    view.lines = 1;
    for (int colours = 0; colours <= 256; colours += 256) {
        struct sheet sheet;
        int bold = 0;
        free(picture_of(&view, (struct cell_look){CELLS_ASCII, colours, false, false}, &sheet));
        for (int i = 0; i < COLUMNS * ROWS; i++)
            bold += sheet.cell[i].bold;
        ck_assert_int_eq(bold > 8, colours == 0);
    }
    mesh_free(mesh);
}
END_TEST

START_TEST(marks_are_cells)
{
    struct mesh *mesh = shape_sphere(50, 3);
    struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = view_of(&piece);
    camera_look(&view.camera, CAMERA_FRONT);
    struct raster_mark mark[] = {{vec(0, -50, 1), 0, '7', false},
                                 {vec(0, -50, 1), 0, '8', true},
                                 {vec(-30, -40, 1), 0, '9', false},
                                 {vec(30, 40, 1), 0, 'h', true}};
    view.mark = mark;
    view.marks = 4;
    struct sheet sheet;
    free(picture_of(&view, (struct cell_look){CELLS_ASCII, 256, false, false}, &sheet));
    int seen[4] = {0};
    for (int i = 0; i < COLUMNS * ROWS; i++) {
        const struct cell *cell = &sheet.cell[i];
        if (cell->glyph == '8' && cell->reverse && cell->bold)
            seen[0]++;
        if (cell->glyph == '9' && cell->bold && !cell->reverse)
            seen[1]++;
        if (cell->glyph == 'h' && cell->dim && !cell->bold)
            seen[2]++;
        if (cell->glyph == '7' && cell->bold)
            seen[3]++;
    }
    ck_assert_int_eq(seen[0], 1);
    ck_assert_int_eq(seen[1], 1);
    ck_assert_int_eq(seen[2], 1);
    ck_assert_int_eq(seen[3], 0); /* under the chosen one */
    mesh_free(mesh);
}
END_TEST

/* The bar's length in cells is the length it names, to half a cell, at all scales. */
START_TEST(scale_bar_is_true)
{
    for (double height = 1e-4; height < 1e7; height *= 1.7) {
        struct raster_view view = view_of(NULL);
        view.camera.height = height;
        view.scale_bar = true;
        struct sheet sheet;
        free(picture_of(&view, (struct cell_look){CELLS_ASCII, 0, false, false}, &sheet));
        char line[COLUMNS + 1] = {0};
        for (int x = 0; x < COLUMNS; x++)
            line[x] = (char)sheet.cell[(ROWS - 1) * COLUMNS + x].glyph;
        const char *first = strchr(line, '|'), *last = strrchr(line, '|');
        ck_assert_msg(first && last > first, "no bar at height %g: %s", height, line);
        double named = 0, cell = height / ROWS / 2;
        char unit[3] = "";
        ck_assert_int_eq(sscanf(last + 1, "%lf %2s", &named, unit), 2);
        ck_assert_str_eq(unit, "mm");
        ck_assert_ptr_null(strchr(last, 'e')); /* 0.00002, not 2e-05 */
        ck_assert_double_le(fabs(named / cell - (double)(last - first)), 0.5 + 1e-9);
    }
}
END_TEST

/* --- text -------------------------------------------------------------------------------- */

START_TEST(text_lines)
{
    struct cell cell[6] = {{.glyph = 'a', .fore = {255, 0, 0}, .coloured = true},
                           {.glyph = 0x2584, .back = {0, 0, 255}, .backed = true},
                           {.glyph = ' '},
                           {.glyph = ' '},
                           {.glyph = 'b', .bold = true, .reverse = true},
                           {.glyph = 'c', .bold = true, .reverse = true}};
    char *text = text_from_cells(cell, 3, 2, 0);
    ck_assert_str_eq(text, "a\u2584\n bc\n");
    free(text);
    text = text_from_cells(cell, 3, 2, 256);
    ck_assert_str_eq(text,
                     "\033[0;38;5;196ma\033[0;48;5;21m\u2584\033[0m\n \033[0;1;7mbc\033[0m\n");
    free(text);
    text = text_from_cells(cell, 3, 2, 16);
    ck_assert_str_eq(text, "\033[0;91ma\033[0;44m\u2584\033[0m\n \033[0;1;7mbc\033[0m\n");
    free(text);
    text = text_from_cells(cell, 3, 2, 1 << 24);
    ck_assert_str_eq(
        text, "\033[0;38;2;255;0;0ma\033[0;48;2;0;0;255m\u2584\033[0m\n \033[0;1;7mbc\033[0m\n");
    free(text);
    text = text_from_cells(cell, 0, 0, 0);
    ck_assert_str_eq(text, "");
    free(text);
}
END_TEST

Suite *suite_cells(void);
Suite *suite_cells(void)
{
    Suite *suite = suite_create("cells");
    TCase *tests = tcase_create("cells");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, blocks_come_back);
    tcase_add_test(tests, colours_come_back);
    tcase_add_test(tests, nearest_is_near);
    tcase_add_loop_test(tests, shape_beats_a_ramp, 0, 2);
    tcase_add_test(tests, golden_sphere);
    tcase_add_test(tests, golden_box);
    tcase_add_loop_test(tests, every_look, 0, (int)(sizeof looks / sizeof *looks));
    tcase_add_test(tests, wrong_size_is_blank);
    tcase_add_loop_test(tests, patterns, 0, 4);
    tcase_add_test(tests, own_colours_are_light_and_dark);
    tcase_add_test(tests, lines_stand_out_without_colour);
    tcase_add_test(tests, marks_are_cells);
    tcase_add_test(tests, scale_bar_is_true);
    tcase_add_test(tests, text_lines);
    suite_add_tcase(suite, tests);
    return suite;
}
