/* The demo's raw scans: the finial lying three ways and standing once on a turntable. */
#ifndef FETTLE_EXAMPLES_RAW_SCANS_H
#define FETTLE_EXAMPLES_RAW_SCANS_H

#include <stdbool.h>

/* Writes into the folder: raw-1.ply to raw-4.ply, the scans, each in a frame of its own: clouds, or
 * (`meshes`) eight overlapping shells in one piece, a mesh of every view;
 * raw-true.ply, the true surface; raw-truth.recipe, the steps that put the four scans, opened in
 * their order, where the true surface is. The points stand about `spacing` mm apart. The same every
 * time. Returns the program's exit status; says what it made. */
int raw_scans(const char *folder, double spacing, bool meshes);

#endif
