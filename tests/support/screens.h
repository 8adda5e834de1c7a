/* What the suites about the screen share: a folder with some meshes in it, and the program begun
 * there. */
#ifndef FETTLE_TESTS_SUPPORT_SCREENS_H
#define FETTLE_TESTS_SUPPORT_SCREENS_H

#include "tests/support/terminal.h"

extern char *screens_folder;

/* box.stl, 30 x 20 x 10 mm; ball.stl, of 20 mm, with five holes: at the ends of x and y and above.
 */
void screens_set_up(void);
void screens_tear_down(void);

/* The program with files of the folder, up to a NULL. */
struct terminal *screens_begin(int rows, int columns, const char *const *files);

/* The box at 80x24, found sound. */
struct terminal *screens_begin_box(void);

#endif
