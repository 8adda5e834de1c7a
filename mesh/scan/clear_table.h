/* Taking the table away from under what was scanned. */
#ifndef FETTLE_SCAN_CLEAR_TABLE_H
#define FETTLE_SCAN_CLEAR_TABLE_H

#include "core/mesh.h"
#include "scan/plane.h"

struct clear_options {
    const struct plane *plane; /* world, its normal to what is kept, or zero: as it is about the
                                  point; NULL: it is looked for */
    double thickness;  /* mm: what lies within it of the table's surface belongs to it; 0: 3.5
                          times its spread */
    bool keep_beneath; /* what lies lower stays */
};

struct clear_report {
    struct plane plane;    /* world: of the table, its normal to what stands on it */
    double spread, bow;    /* mm: see struct table */
    double thickness;      /* mm: that was used */
    double share;          /* of the surface (of the points) that lies in the table, 0 to 1 */
    size_t table, beneath; /* triangles that went (points of a cloud) */
    size_t left;           /* that stay */
};

/* The mesh without the table: without the triangles (points of a cloud) that lie in its surface and
 * what lies beneath. What stands on it stays down to the table:
 *   - a triangle with a corner above the thickness, and steep ones between it and the table;
 *   - a corner little above it only when it hangs together with one clearly above (hysteresis;
 * Canny 1986), so that the table's own noise goes;
 *   - faces in the plane that look down: the underside of a foot;
 *   - in clouds without normals, and where faces do not agree: points in the plane that a ring of
 *     higher ones shuts in and something covers, as the points of a foot are; points straight below
 *     higher ones.
 * Nothing is closed. *taken, when it is not NULL, gets what was taken away. Shared when nothing
 * goes. STATUS_REFUSED as table_find, and when nothing would be left. The caller frees both. */
enum status clear_table(const struct mesh *mesh, const struct clear_options *options,
                        struct mesh **out, struct mesh **taken, struct clear_report *report,
                        struct job *job);

#endif
