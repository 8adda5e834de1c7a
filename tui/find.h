/* Looking something up in a text made of headings and entries. */
#ifndef FETTLE_TUI_FIND_H
#define FETTLE_TUI_FIND_H

/* Of a text whose headings stand at its left edge and whose entries are indented below them (what
 * goes on in the next line more deeply), those entries that have all the words somewhere, upper or
 * lower case, each under its heading; a heading that has them brings all its entries. Words are
 * parted by blanks; one of two letters must begin a word of the text, a single letter be one. The
 * caller frees; "" when nothing has them; NULL: out of memory. */
char *find_entries(const char *text, const char *words);

#endif
