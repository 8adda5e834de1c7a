/* Colours for a surface: from the scans that lie on it, and for what has none from around. */
#ifndef FETTLE_SCAN_TINT_H
#define FETTLE_SCAN_TINT_H

#include "core/mesh.h"

struct tint_report {
    size_t seen;   /* vertices that have a scan's colour now */
    size_t spread; /* that have one from what is around them */
    size_t left;   /* that keep what they had, or are white where there was none */
    double within; /* how far off scans counted, mm */
};

/* Each vertex of the surface takes the colours of the scans' points near it that face as it does:
 * the nearest count most, those seen squarely more than those seen at a glance, glare next to
 * nothing; a scan whose normals point the other way than the surface's is taken the right way
 * round. What no scan with colours saw within `within` mm (0: what suits the scans' spacing) keeps
 * the colour it has; without any it takes one from what is around it.
 *
 * Scans without colours say nothing, nor does what is marked as invented in them. *out is a new
 * mesh, which the caller frees; NULL on failure. STATUS_REFUSED: no scan has a colour, or none lies
 * on the surface. */
enum status tint_from(const struct mesh *mesh, const struct mesh *const *scan, size_t scans,
                      double within, struct mesh **out, struct tint_report *report,
                      struct job *job);

/* What was not measured, being invented or made, and what is wholly transparent takes the colours
 * around it, along the surface. What hangs together with nothing that was measured keeps its own.
 * *out shares the mesh where nothing is missing. STATUS_REFUSED: it has no colours at all. */
enum status tint_missing(const struct mesh *mesh, struct mesh **out, struct tint_report *report,
                         struct job *job);

#endif
