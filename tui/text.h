/* How figures and words are put before the user: the same on the screen and without it. */
#ifndef FETTLE_TUI_TEXT_H
#define FETTLE_TUI_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

enum { TEXT_SIZE = 48, TEXT_WIDTH = 80 };

/* "1.5 GiB", "640 bytes"; the other way round: a size such as 512M, 1.5G or 4096 (bytes), with or
 * without B or iB behind the letter; 0: it is none. */
void text_bytes(uint64_t bytes, char out[TEXT_SIZE]);
uint64_t text_bytes_read(const char *text);

/* Digits in groups of three from 10 000 on: "2 000 000". */
void text_count(uint64_t count, char out[TEXT_SIZE]);

/* The same of what may be negative (the Euler characteristic): "-321". */
void text_integer(int64_t number, char out[TEXT_SIZE]);

/* "2 000 000 triangles", "1 triangle" */
void text_counted(uint64_t count, const char *one, const char *many, char out[TEXT_SIZE]);

/* A length in mm with four digits that count and no more than four behind the point: "12.35 mm",
 * "0.0123 mm", "1250 mm"; "0 mm"; "-" when it is not finite. */
void text_length(double mm, char out[TEXT_SIZE]);

/* "3.4 s", "2 min 5 s", "1 h 20 min" */
void text_seconds(double seconds, char out[TEXT_SIZE]);

/* The next line of at most `width` columns, broken at blanks where it can be; moves *cursor behind
 * it and returns how many bytes it has. 0 with *cursor at the end: there is no more. '\n' ends a
 * line. Columns are those of the locale's characters. */
size_t text_line(const char **cursor, int width);

/* Puts '?' in the place of what a terminal would obey rather than show: control characters (but not
 * '\n' when `lines`). Names inside archives and files may hold anything. */
void text_tame(char *text, bool lines);

/* How many columns the text takes, in the locale's encoding. */
int text_columns(const char *text, size_t length);

/* How many of the text's bytes fit into so many columns, whole characters. */
size_t text_fit(const char *text, size_t length, int columns);

/* Writes the text in lines between the columns `indent` and `width`; the first line begins at the
 * column `at`, which has been reached already. Ends with '\n'. */
void text_wrap(FILE *out, const char *text, int at, int indent, int width);

#endif
