/* Inspection: figures and findings of a mesh. Judging only; nothing is changed. */
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
    struct finding *finding; /* in the order of checks.def, errors first */
    size_t finding_count;
};

struct check {
    const char *name;  /* "holes": the finding's `check` in JSON */
    const char *title; /* "Holes" */
    const char *help;  /* what it means and which operation mends it */
    enum severity severity;
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
enum status inspection_find(struct inspection *inspection, const struct check *check,
                            enum severity severity, uint64_t count, struct place *places,
                            size_t place_count, struct job *job, const char *format, ...)
    __attribute__((format(printf, 8, 9)));

/* "sound" or "faulty" */
const char *inspection_verdict(const struct inspection *inspection);

#endif
