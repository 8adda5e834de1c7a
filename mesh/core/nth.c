#include "core/nth.h"

double nth_smallest(double *number, size_t count, size_t n)
{
    size_t low = 0, high = count - 1;
    while (low < high) {
        double pivot = number[low + (high - low) / 2];
        size_t i = low, j = high;
        for (;;) {
            while (number[i] < pivot)
                i++;
            while (number[j] > pivot)
                j--;
            if (i >= j)
                break;
            double other = number[i];
            number[i++] = number[j];
            number[j--] = other;
        }
        if (n <= j)
            high = j;
        else
            low = j + 1;
    }
    return number[n];
}
