#include "scan/slide.h"

#include <stdio.h>

#include "core/eigen.h"

/* The main axes of the turning (or shifting) parts of some motions and how much each takes. */
static int main_axes(const double (*motion)[6], int count, int part, double least,
                     struct vec axis[3])
{
    double m[9] = {0}, value[3], vector[9];
    int axes = 0;
    for (int i = 0; i < count; i++)
        for (int k = 0; k < 9; k++)
            m[k] += motion[i][3 * part + k / 3] * motion[i][3 * part + k % 3];
    eigen_symmetric(3, m, value, vector);
    for (int i = 2; i >= 0; i--)
        if (value[i] > least)
            axis[axes++] = vec(vector[3 * i], vector[3 * i + 1], vector[3 * i + 2]);
    return axes;
}

void slide_axis(struct vec a, char out[SLIDE_AXIS])
{
    static const char *const names[] = {"x", "y", "z"};
    const double part[3] = {a.x, a.y, a.z};
    for (int k = 0; k < 3; k++)
        if (fabs(part[k]) > 0.985) {
            snprintf(out, SLIDE_AXIS, "%s", names[k]);
            return;
        }
    double sign = a.z < -1e-3 || (a.z < 1e-3 && a.y < 0) ? -1 : 1;
    snprintf(out, SLIDE_AXIS, "%.2f,%.2f,%.2f", sign * a.x + 0.0, sign * a.y + 0.0,
             sign * a.z + 0.0);
}

/* Leaves of the motions those that only shift: what is orthogonal to all turning parts. */
static int only_shifts(const double (*motion)[6], int count, struct vec axis[3])
{
    double gram[36], value[6], vector[36];
    for (int i = 0; i < count * count; i++) {
        gram[i] = 0;
        for (int k = 0; k < 3; k++)
            gram[i] += motion[i / count][k] * motion[i % count][k];
    }
    eigen_symmetric(count, gram, value, vector);
    double left[6][6] = {{0}};
    int shifts = 0;
    for (int i = 0; i < count; i++) {
        if (value[i] > 0.1)
            continue;
        for (int j = 0; j < count; j++)
            for (int k = 0; k < 6; k++)
                left[shifts][k] += vector[i * count + j] * motion[j][k];
        shifts++;
    }
    return shifts ? main_axes((const double(*)[6])left, shifts, 1, 0.1, axis) : 0;
}

static void tell(int turns, const struct vec *turn, int shifts, const struct vec *shift, char *out)
{
    char t[SLIDE_AXIS] = "", s[2][SLIDE_AXIS] = {"", ""};
    if (turns)
        slide_axis(turn[0], t);
    for (int i = 0; i < shifts && i < 2; i++)
        slide_axis(shift[i], s[i]);
    if (turns + shifts >= 5)
        snprintf(out, SLIDE_TEXT, "may move in nearly any way: there is next to no shape");
    else if (shifts >= 2)
        snprintf(out, SLIDE_TEXT, "may slide along %s and %s%s%s: nearly flat", s[0], s[1],
                 turns ? " and turn about " : "", t);
    else if (turns >= 2)
        snprintf(out, SLIDE_TEXT, "may turn any way about its middle: nearly a ball");
    else if (turns && shifts && fabs(vec_dot(turn[0], shift[0])) > 0.9)
        snprintf(out, SLIDE_TEXT, "may slide along %s and turn about it: nearly a cylinder", s[0]);
    else if (turns && shifts)
        snprintf(out, SLIDE_TEXT, "may slide along %s and turn about %s", s[0], t);
    else if (shifts)
        snprintf(out, SLIDE_TEXT, "may slide along %s: its section there is nearly the same", s[0]);
    else
        snprintf(out, SLIDE_TEXT, "may turn about %s: nearly round", t);
}

void slide_find(const struct touch *touch, struct slide *out)
{
    double m[36], value[6], vector[36], motion[6][6];
    *out = (struct slide){.free = 0};
    for (int i = 0; i < 36; i++)
        m[i] = touch->stiffness[i];
    eigen_symmetric(6, m, value, vector);
    out->weakest = sqrt(fmax(0, value[0]));
    for (int i = 0; i < 6; i++)
        if (value[i] < SLIDE_BELOW * SLIDE_BELOW) {
            for (int k = 0; k < 6; k++)
                motion[out->free][k] = vector[6 * i + k];
            out->free++;
        }
    if (!out->free)
        return;
    struct vec turn[3], shift[3];
    int turns = main_axes((const double(*)[6])motion, out->free, 0, 0.1, turn);
    int shifts = only_shifts((const double(*)[6])motion, out->free, shift);
    tell(turns, turn, shifts, shift, out->text);
}
