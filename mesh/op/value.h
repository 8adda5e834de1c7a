/* One value of the language: read by value_read (op.h), written here. */
#ifndef FETTLE_OP_VALUE_H
#define FETTLE_OP_VALUE_H

#include "op/op.h"

/* Appends the value as one would type it (without its key) to `out`; returns the end.
 * Room needed: value_room(). */
char *value_write(const struct param *param, const struct value *value, char *out);
size_t value_room(const struct value *value);

/* The pairs of points in a value of kind PARAM_PAIRS, mm: the first `most` of them into `out`, six
 * numbers a pair; *count: how many there are. False: it is none. */
bool value_pairs(const char *text, size_t most, double (*out)[6], size_t *count);

/* The points in a value of kind PARAM_PLACES, the same. */
bool value_places(const char *text, size_t most, double (*out)[3], size_t *count);

/* Whether `text` is the word that stands for "not given" ("auto"); see param.standard. */
bool value_is_absent_word(const struct param *param, const char *text);

#endif
