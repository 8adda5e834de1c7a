#include "core/blend.h"

#include <string.h>

static double element_get(enum element element, const void *at, unsigned i)
{
    switch (element) {
    case ELEMENT_uint8_t:
        return ((const uint8_t *)at)[i];
    case ELEMENT_uint16_t:
        return ((const uint16_t *)at)[i];
    case ELEMENT_float:
        break;
    }
    return (double)((const float *)at)[i];
}

static double within(double x, double most)
{
    x = floor(x + 0.5);
    return x > 0 ? (x < most ? x : most) : 0;
}

static void element_set(enum element element, void *at, unsigned i, double x)
{
    switch (element) {
    case ELEMENT_uint8_t:
        ((uint8_t *)at)[i] = (uint8_t)within(x, UINT8_MAX);
        return;
    case ELEMENT_uint16_t:
        ((uint16_t *)at)[i] = (uint16_t)within(x, UINT16_MAX);
        return;
    case ELEMENT_float:
        break;
    }
    ((float *)at)[i] = (float)x;
}

void blend_add(struct blend_sum *sum, const struct attribute_row *row, const void *element,
               double weight)
{
    if (!(weight > 0))
        return;
    for (unsigned i = 0; i < row->components; i++) {
        double x = element_get(row->element, element, i);
        if (row->blend != BLEND_FIRST)
            sum->value[i] += weight * x;
        else if (weight > sum->greatest)
            sum->value[i] = x;
    }
    sum->greatest = weight > sum->greatest ? weight : sum->greatest;
    sum->weight += weight;
}

void blend_write(const struct blend_sum *sum, const struct attribute_row *row, void *element)
{
    double scale = 1;
    if (row->blend == BLEND_MEAN)
        scale = sum->weight > 0 ? 1 / sum->weight : 0;
    double value[BLEND_COMPONENTS_MOST];
    memcpy(value, sum->value, sizeof value);
    if (row->blend == BLEND_UNIT) {
        double length2 = 0;
        for (unsigned i = 0; i < row->components; i++)
            length2 += value[i] * value[i];
        scale = length2 > 0 ? 1 / sqrt(length2) : 0;
    }
    for (unsigned i = 0; i < row->components; i++)
        element_set(row->element, element, i, value[i] * scale);
}
