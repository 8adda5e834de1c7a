/* The colours of terminals: xterm's defaults for the first 16, then the cube of 6 x 6 x 6 and 24
 * greys that all terminals of 256 colours share. */
#include "raster/cells.h"

static const uint8_t first[16][3] = {
    {0, 0, 0},     {205, 0, 0},     {0, 205, 0},     {205, 205, 0},  {0, 0, 238}, {205, 0, 205},
    {0, 205, 205}, {229, 229, 229}, {127, 127, 127}, {255, 0, 0},    {0, 255, 0}, {255, 255, 0},
    {92, 92, 255}, {255, 0, 255},   {0, 255, 255},   {255, 255, 255}};
static const uint8_t level[6] = {0, 95, 135, 175, 215, 255};

void xterm_rgb(int number, uint8_t rgb[3])
{
    int cube = number - 16;
    for (int k = 0; k < 3; k++) {
        if (number < 16)
            rgb[k] = first[number & 15][k];
        else if (number < 232)
            rgb[k] = level[cube / (k == 0 ? 36 : k == 1 ? 6 : 1) % 6];
        else
            rgb[k] = (uint8_t)(8 + 10 * (number - 232));
    }
}

/* Squared distance in brightness and two differences of colour, so that a hue is kept before the
 * exact shade is. */
static int apart(const uint8_t a[3], const uint8_t b[3])
{
    int r = a[0] - b[0], g = a[1] - b[1], l = a[2] - b[2];
    int bright = (2 * r + 5 * g + l) / 8, red_green = r - g, blue_yellow = l - (r + g) / 2;
    return 3 * bright * bright + 4 * red_green * red_green + 2 * blue_yellow * blue_yellow;
}

/* The lower of the two levels of the cube about x. */
static int level_below(int x)
{
    return x < 95 ? 0 : x < 135 ? 1 : x < 255 ? (x - 55) / 40 : 4;
}

static int nearest_of_256(const uint8_t rgb[3])
{
    int mean = (rgb[0] + rgb[1] + rgb[2]) / 3, step = mean < 3 ? 0 : (mean - 3) / 10;
    int best = 232 + (step < 23 ? step : 23);
    uint8_t its[3];
    xterm_rgb(best, its);
    int least = apart(rgb, its);
    for (int corner = 0; corner < 8; corner++) {
        int number = 16;
        for (int k = 0; k < 3; k++)
            number += (level_below(rgb[k]) + (corner >> k & 1)) * (k == 0 ? 36 : k == 1 ? 6 : 1);
        xterm_rgb(number, its);
        if (apart(rgb, its) < least) {
            least = apart(rgb, its);
            best = number;
        }
    }
    return best;
}

int xterm_nearest(const uint8_t rgb[3], int colours)
{
    if (colours >= 256)
        return nearest_of_256(rgb);
    int best = 0, least = INT32_MAX;
    for (int i = 0; i < (colours >= 16 ? 16 : 8); i++)
        if (apart(rgb, first[i]) < least) {
            least = apart(rgb, first[i]);
            best = i;
        }
    return best;
}
