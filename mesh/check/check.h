/* Inspection: figures and findings of a mesh. Judging only; nothing is changed.
 *
 * What the figures mean exactly. All counting is by vertex index after positions that are equal bit
 * for bit (-0 being 0) were joined; edges have no direction; a side whose two ends are one vertex is
 * no edge.
 *   vertices              joined positions, whether a triangle uses them or not
 *   min max size          of all vertices, world coordinates; null when there are none
 *   spacing               median length of edges; of a cloud's points, median distance to the nearest
 *                         other; null for fewer than two points (core/apart.h)
 *   area                  sum over all triangles
 *   volume                signed volume inside; null unless `closed`
 *   centre_of_mass        of a solid of one density, world coordinates; null unless `closed` and the
 *                         volume is more than 0
 *   closed                at least one triangle, and every edge has exactly two, which run it in
 *                         opposite directions
 *   components            pieces of surface that hang together across edges (not vertices)
 *   boundary_edges        edges of one triangle
 *   boundary_loops        rims these make, split where a rim touches itself in a vertex; a run that
 *                         does not close (beside misoriented or non-manifold edges) counts as one
 *   nonmanifold_edges     edges of three triangles or more
 *   nonmanifold_vertices  vertices whose triangles make more than one fan, and ends of non-manifold
 *                         edges (core/fans.h)
 *   misoriented_edges     edges of two triangles that run it the same way
 *   degenerate_triangles  area exactly zero (corners on one line, or a vertex twice), by exact
 *                         predicates
 *   duplicate_triangles   triangles of the same three vertices, in whatever order, as an earlier one
 *   self_intersections    pairs of triangles that share a point beyond a common vertex or edge
 *                         (crossings.h); null when it was not asked for
 *   euler_characteristic  V - E + F, V being the vertices that triangles use
 *   genus                 handles, summed over the pieces: components - euler_characteristic / 2; null
 *                         unless closed and without non-manifold vertices
 * The verdict is "sound" when no finding is an error. A point cloud (no triangles) is judged as a
 * cloud: it has no surface to be faulty, so it gets a warning that says so and no error; a mesh with
 * nothing in it at all is an error. */
#ifndef FETTLE_CHECK_CHECK_H
#define FETTLE_CHECK_CHECK_H

#include "core/mesh.h"

enum figure {
#define FIGURE(name, kind, unit, title) FIGURE_##name,
#include "check/figures.def"
#undef FIGURE
    FIGURE_COUNT
};
enum figure_kind {
    FIGURE_KIND_TEXT,
    FIGURE_KIND_COUNT,
    FIGURE_KIND_REAL,
    FIGURE_KIND_VEC,
    FIGURE_KIND_FLAG
};

struct figure_row {
    const char *name;
    enum figure_kind kind;
    const char *unit;
    const char *title;
};
const struct figure_row *figure_row(enum figure figure);

struct figure_value {
    bool known; /* false: null in JSON, "-" on the page */
    union {
        const char *text; /* owned by the inspection */
        int64_t count;
        double real;
        double vec[3];
        bool flag;
    };
};

enum severity { SEVERITY_ERROR, SEVERITY_WARNING, SEVERITY_HINT }; /* an error makes it faulty */

struct place {         /* where on the surface: what the screen jumps to */
    uint32_t triangle; /* NO_INDEX for a place without one (a stray point) */
    struct point at;   /* local */
    float reach;       /* mm: the radius of what is wrong there; 0 for a point */
};

enum { PLACES_MOST = 4096 }; /* a finding keeps the first so many places */

struct finding {
    const struct check *check;
    enum severity severity;
    uint64_t count;
    char *text;           /* one line with numbers and units */
    struct place *places; /* NULL when it has none (the unit hint) */
    size_t place_count;
};

/* What the caller knows beside the mesh; any may be NULL. */
struct check_input {
    const char *file, *format, *unit, *unit_source, *colour;
    bool skip_self_intersections; /* for a quick look: the figure is then unknown */
};

struct inspection {
    const struct mesh *mesh; /* joined; held by the inspection */
    struct check_input input;
    struct figure_value figure[FIGURE_COUNT];
    struct finding *finding; /* errors first, then warnings; each in the order of checks.def */
    size_t finding_count;
};

struct check {
    const char *name;  /* "holes": the finding's `check` in JSON */
    const char *title; /* "Holes" */
    const char *help;  /* what it means and which operation mends it */
    const char *mend;  /* that operation, "fill", or one that tells more; NULL: none */
    enum severity severity;
    unsigned share; /* of the whole inspection's time, permille, for a row that steps the job by
                       triangles; 0: an equal part of what those leave */
    /* Sets its figures and adds findings by inspection_find. */
    enum status (*run)(struct inspection *inspection, struct job *job);
};

const struct check *check_row(size_t i); /* NULL past the end */

/* Runs every row on the mesh (joined first when it is not). Out is released by the caller, also
 * used on failure nothing is owned. Deterministic; memory under the house's law. */
enum status inspect(const struct mesh *mesh, const struct check_input *input,
                    struct inspection *out, struct job *job);
void inspection_release(struct inspection *inspection);

/* For rows: sets a figure; adds a finding (places may be NULL; takes ownership of places). */
void inspection_count(struct inspection *inspection, enum figure figure, int64_t value);
void inspection_real(struct inspection *inspection, enum figure figure, double value);
void inspection_vec(struct inspection *inspection, enum figure figure, struct vec value);
void inspection_flag(struct inspection *inspection, enum figure figure, bool value);
enum status inspection_find(struct inspection *inspection, const struct check *check,
                            enum severity severity, uint64_t count, struct place *places,
                            size_t place_count, struct job *job, const char *format, ...)
    __attribute__((format(printf, 8, 9)));

/* "sound" or "faulty" */
const char *inspection_verdict(const struct inspection *inspection);

#endif
