/* Numbers as text, whatever the locale: the point is always '.'. */
#ifndef FETTLE_OP_NUMBER_H
#define FETTLE_OP_NUMBER_H

#include <stddef.h>

/* Reads a decimal number (no hex, inf or nan) at the start of text, taken times 10^shift before it
 * is rounded (so "10" with shift -2 is exactly the double nearest to 0.10). Returns how many
 * characters it took, 0 when there is no finite number. */
size_t number_read(const char *text, int shift, double *out);

/* Writes a finite number as the shortest text that reads back to the same double with -shift. */
enum { NUMBER_SIZE = 40 };
void number_text(double number, int shift, char out[NUMBER_SIZE]);

#endif
