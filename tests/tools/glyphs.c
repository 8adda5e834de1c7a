/* Makes mesh/raster/glyphs.c from a bitmap font: `make glyphs`. See there for the font. */
#include <stdio.h>
#include <stdlib.h>

#include <ft2build.h>
#include FT_FREETYPE_H

#include "raster/glyphs.h"

static int fail(const char *what)
{
    fprintf(stderr, "glyphs: %s\n", what);
    return EXIT_FAILURE;
}

/* The glyph's bits in its cell: row[y], bit 9 is the leftmost pixel. */
static int draw(FT_Face face, unsigned long code, unsigned row[GLYPH_HEIGHT])
{
    if (FT_Load_Char(face, code, FT_LOAD_RENDER | FT_LOAD_MONOCHROME | FT_LOAD_TARGET_MONO))
        return 0;
    const FT_GlyphSlot slot = face->glyph;
    int ascent = (int)(face->size->metrics.ascender >> 6);
    for (int y = 0; y < GLYPH_HEIGHT; y++)
        row[y] = 0;
    for (int y = 0; y < (int)slot->bitmap.rows; y++)
        for (int x = 0; x < (int)slot->bitmap.width; x++) {
            int u = x + slot->bitmap_left, v = y + ascent - slot->bitmap_top;
            const unsigned char *bits = slot->bitmap.buffer + y * slot->bitmap.pitch;
            if (u >= 0 && u < GLYPH_WIDTH && v >= 0 && v < GLYPH_HEIGHT &&
                bits[x / 8] & 0x80 >> x % 8)
                row[v] |= 1u << (GLYPH_WIDTH - 1 - u);
        }
    return 1;
}

/* How much of [a, b) the pixel [i, i + 1) takes. */
static double overlap(double a, double b, int i)
{
    double low = a > i ? a : i, high = b < i + 1 ? b : i + 1;
    return high > low ? high - low : 0;
}

static int cover(const unsigned row[GLYPH_HEIGHT], int x, int y)
{
    const double w = (double)GLYPH_WIDTH / COVER_COLUMNS, h = (double)GLYPH_HEIGHT / COVER_ROWS;
    double ink = 0;
    for (int v = 0; v < GLYPH_HEIGHT; v++)
        for (int u = 0; u < GLYPH_WIDTH; u++)
            if (row[v] >> (GLYPH_WIDTH - 1 - u) & 1)
                ink += overlap(x * w, (x + 1) * w, u) * overlap(y * h, (y + 1) * h, v);
    return (int)(255 * ink / (w * h) + 0.5);
}

static void print_name(int code)
{
    printf(code == '\\' || code == '*' || code == '/' ? "    { /* %d */\n" : "    { /* %c */\n",
           code);
}

int main(int count, char **path)
{
    FT_Library library;
    FT_Face face;
    unsigned row[GLYPH_COUNT][GLYPH_HEIGHT];
    if (count < 3 || FT_Init_FreeType(&library) || FT_New_Face(library, path[1], 0, &face))
        return fail("usage: glyphs FONT-FILE TEXT-FOR-THE-HEAD > glyphs.c");
    if (FT_Set_Pixel_Sizes(face, 0, GLYPH_HEIGHT))
        return fail("the font does not have this size");
    for (int i = 0; i < GLYPH_COUNT; i++)
        if (!draw(face, (unsigned long)(GLYPH_FIRST + i), row[i]))
            return fail("the font lacks a printable ASCII character");
    printf("/* clang-format off */\n/* Made by tests/tools/glyphs.c (make glyphs); do not edit.\n%s */\n"
           "#include \"raster/glyphs.h\"\n\n"
           "const uint16_t glyph_bits[GLYPH_COUNT][GLYPH_HEIGHT] = {\n",
           path[2]);
    for (int i = 0; i < GLYPH_COUNT; i++) {
        print_name(GLYPH_FIRST + i);
        for (int y = 0; y < GLYPH_HEIGHT; y++)
            printf("%s0x%03x%s", y % 10 ? " " : "     ", row[i][y], y % 10 == 9 ? ",\n" : ",");
        printf("    },\n");
    }
    printf("};\n\nconst uint8_t glyph_cover[GLYPH_COUNT][COVER_ROWS * COVER_COLUMNS] = {\n");
    for (int i = 0; i < GLYPH_COUNT; i++) {
        print_name(GLYPH_FIRST + i);
        for (int k = 0; k < COVER_ROWS * COVER_COLUMNS; k++)
            printf("%s%3d%s", k % 16 ? " " : "     ",
                   cover(row[i], k % COVER_COLUMNS, k / COVER_COLUMNS), k % 16 == 15 ? ",\n" : ",");
        printf("    },\n");
    }
    printf("};\n");
    return EXIT_SUCCESS;
}
