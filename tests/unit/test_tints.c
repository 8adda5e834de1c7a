/* Pieces told apart: by tint on whatever terminal, and by number without any colour. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "raster/cells.h"
#include "tests/support/shapes.h"

Suite *suite_tints(void);

static const int colours[] = {8, 16, 256, 1 << 24};
enum { TERMINALS = sizeof colours / sizeof *colours };

/* Relative luminance and the ratio of contrast to black: WCAG 2.1, "relative luminance" and
 * "contrast ratio"; its success criterion 1.4.11 asks 3 of graphics. */
static double contrast_to_black(const uint8_t rgb[3])
{
    static const double weight[3] = {0.2126, 0.7152, 0.0722};
    double sum = 0;
    for (int k = 0; k < 3; k++) {
        double v = rgb[k] / 255.0;
        sum += weight[k] * (v <= 0.03928 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4));
    }
    return (sum + 0.05) / 0.05;
}

START_TEST(tints_stand_out_and_differ)
{
    uint8_t rgb[RASTER_TINTS][3];
    for (size_t i = 0; i < RASTER_TINTS; i++) {
        cells_tint(raster_tint(i), colours[_i], rgb[i]);
        /* of xterm's eight, blue, the seventh, has but 2.2: it is written bold */
        ck_assert_double_gt(contrast_to_black(rgb[i]), colours[_i] == 8 && i == 6 ? 2.2 : 3);
        for (size_t j = 0; j < i; j++)
            ck_assert(memcmp(rgb[i], rgb[j], 3) != 0);
        uint8_t again[3];
        if (colours[_i] < 1 << 24) { /* colours that the terminal has */
            xterm_rgb(xterm_nearest(rgb[i], colours[_i]), again);
            ck_assert_mem_eq(rgb[i], again, 3);
        }
    }
    ck_assert_mem_eq(raster_tint(RASTER_TINTS), raster_tint(0), 3);
}
END_TEST

/* --- pictures -------------------------------------------------------------------------------- */

enum { COLUMNS = 40, ROWS = 12 };

struct sheet {
    struct cell cell[COLUMNS * ROWS];
    char text[COLUMNS * ROWS + 1];
};

static void draw(const struct raster_piece *piece, size_t pieces, enum paint paint,
                 int colour_count, struct sheet *sheet)
{
    struct cell_look look = {CELLS_ASCII, colour_count, false, false};
    struct raster_view view = {.piece = piece, .pieces = pieces, .paint = paint};
    camera_look(&view.camera, CAMERA_FRONT);
    raster_fit(&view.camera, piece, pieces, 0.5 * COLUMNS / ROWS, NULL);
    struct image *image = image_new();
    ck_assert_int_eq(raster_draw(image, &view, COLUMNS * 4, ROWS * 8, 1, NULL), STATUS_OK);
    cells_from_image(image, &look, sheet->cell, COLUMNS, ROWS);
    image_free(image);
    for (int i = 0; i < COLUMNS * ROWS; i++)
        sheet->text[i] = (char)sheet->cell[i].glyph;
    sheet->text[COLUMNS * ROWS] = '\0';
}

/* A box whose corner is at x. */
static struct mesh *beside(double x)
{
    struct mesh *mesh = shape_box(30, 20, 10, 4);
    mesh->origin[0] += x;
    return mesh;
}

/* Whatever the terminal: without colours by the numbers, with them in its own colour too, also seen
 * from inside. */
START_TEST(each_piece_has_its_colour_and_number)
{
    int count = _i < TERMINALS ? colours[_i] : 0;
    struct mesh *mesh[2] = {beside(0), beside(50)};
    struct raster_piece piece[2];
    for (unsigned i = 0; i < 2; i++) {
        piece[i] = (struct raster_piece){.mesh = mesh[i], .number = i + 1};
        memcpy(piece[i].tint, raster_tint(i), 3);
    }
    struct sheet sheet;
    draw(piece, 2, PAINT_PIECE, count, &sheet);
    for (int i = 0; i < 2; i++) {
        const char *at = strstr(sheet.text, i ? " 2 " : " 1 ");
        ck_assert_ptr_nonnull(at);
        int cell = (int)(at - sheet.text) + 1;
        ck_assert_int_eq(cell % COLUMNS >= COLUMNS / 2, i); /* on its piece */
        ck_assert(sheet.cell[cell].reverse);
        ck_assert_int_eq(sheet.cell[cell].coloured, count > 0);
        uint8_t rgb[3];
        cells_tint(piece[i].tint, count, rgb);
        if (count)
            ck_assert_mem_eq(sheet.cell[cell].fore, rgb, 3);
        if (count && count < 256) /* the light is in the glyph alone */
            ck_assert_mem_eq(sheet.cell[cell - COLUMNS].fore, rgb, 3);
    }
    for (int i = 0; i < 2; i++)
        mesh_free(mesh[i]);
}
END_TEST

/* Also where it is dark a tint stands out on black; blue, the seventh, less than the others. */
START_TEST(dark_sides_stand_out)
{
    struct mesh *ball = shape_sphere(20, 4);
    for (size_t i = 0; i < RASTER_TINTS; i++) {
        struct raster_piece piece = {.mesh = ball};
        struct sheet sheet;
        double least = INFINITY;
        memcpy(piece.tint, raster_tint(i), 3);
        draw(&piece, 1, PAINT_PIECE, colours[_i], &sheet);
        for (int k = 0; k < COLUMNS * ROWS; k++)
            if (sheet.cell[k].coloured)
                least = fmin(least, contrast_to_black(sheet.cell[k].fore));
        ck_assert_msg(least > (i == 6 ? 2.2 : 3) && least < 100, "tint %zu: %.2f", i, least);
    }
    mesh_free(ball);
}
END_TEST

/* Of pieces in one place each has its number, side by side; of one that is not seen there is none.
 */
START_TEST(numbers_do_not_cover_each_other)
{
    struct mesh *large = shape_sphere(20, 3), *small = shape_sphere(5, 2);
    struct raster_piece piece[3] = {
        {.mesh = large, .number = 7}, {.mesh = large, .number = 12}, {.mesh = small, .number = 3}};
    struct sheet sheet;
    draw(piece, 1, PAINT_PIECE, 0, &sheet);
    ck_assert_ptr_nonnull(strstr(sheet.text, " 7 "));
    draw(piece, 3, PAINT_PIECE, 0, &sheet);
    ck_assert_ptr_nonnull(strstr(sheet.text, " 7 "));
    ck_assert_ptr_null(strstr(sheet.text, " 12 ")); /* of equals the first is seen */
    ck_assert_ptr_null(strstr(sheet.text, " 3 "));
    struct mesh *box[3] = {beside(0), beside(2), beside(4)};
    for (int i = 0; i < 3; i++) { /* three that lie in each other, all of them seen */
        box[i]->origin[2] += i;
        piece[i] = (struct raster_piece){.mesh = box[i], .number = (unsigned)i + 1};
    }
    draw(piece, 3, PAINT_PIECE, 0, &sheet);
    for (int i = 0; i < 3; i++) {
        char number[8] = {' ', (char)('1' + i), ' '};
        ck_assert_msg(strstr(sheet.text, number), "%d is missing", i + 1);
        mesh_free(box[i]);
    }
    mesh_free(large);
    mesh_free(small);
}
END_TEST

START_TEST(backs_keep_the_tint)
{
    struct mesh *box = shape_box(30, 20, 10, 4);
    for (size_t t = 0; t < mesh_triangles(box); t++) { /* inside out */
        uint32_t swap = mesh_triangle_edit(box)[t].v[1];
        mesh_triangle_edit(box)[t].v[1] = mesh_triangle_edit(box)[t].v[2];
        mesh_triangle_edit(box)[t].v[2] = swap;
    }
    struct raster_piece piece = {.mesh = box, .tint = {86, 180, 233}};
    struct sheet sheet;
    static const uint8_t cyan[3] = {0, 205, 205};
    draw(&piece, 1, PAINT_PIECE, 8, &sheet);
    const struct cell *middle = &sheet.cell[ROWS / 2 * COLUMNS + COLUMNS / 2];
    ck_assert_mem_eq(middle->fore, cyan, 3);
    ck_assert_ptr_nonnull(strchr(",/Z%", (int)middle->glyph)); /* and the pattern of backs */
    mesh_free(box);
}
END_TEST

Suite *suite_tints(void)
{
    Suite *suite = suite_create("tints");
    TCase *tests = tcase_create("tints");
    tcase_add_loop_test(tests, tints_stand_out_and_differ, 0, TERMINALS);
    tcase_add_loop_test(tests, each_piece_has_its_colour_and_number, 0, TERMINALS + 1);
    tcase_add_loop_test(tests, dark_sides_stand_out, 0, TERMINALS);
    tcase_add_test(tests, numbers_do_not_cover_each_other);
    tcase_add_test(tests, backs_keep_the_tint);
    suite_add_tcase(suite, tests);
    return suite;
}
