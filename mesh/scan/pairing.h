/* Whether and how two scans belong together, without knowing their pose. */
#ifndef FETTLE_SCAN_PAIRING_H
#define FETTLE_SCAN_PAIRING_H

#include "scan/fit.h"
#include "scan/match.h"
#include "scan/seen.h"

enum { SCALES = 2 };

/* Of the pieces' size: radii of the land around points that tell places apart well. */
extern const double scan_radius[SCALES];

struct scan;
struct scan_part { /* one of several scans that were made one */
    const struct scan *scan;
    struct rigid pose; /* of its coordinates in the whole's */
};

/* A piece made ready: all its surfels (the caller's), and at each scale thinned ones with the land
 * around them. */
struct scan {
    const struct surfels *full;
    struct surfels thin[SCALES];
    struct lands lands[SCALES];
    struct surfels firm;          /* the finest thinned ones less what is stray */
    struct camera camera;         /* of these; scan_look */
    const struct scan_part *part; /* the caller's; what their cameras say counts then */
    size_t parts;                 /* 0: it is one scan */
};

/* `radius`: mm, of the land at each scale, the smallest first. `full` must outlive it. The caller
 * releases; on failure nothing is owned. */
enum status scan_make(const struct surfels *full, const double radius[SCALES], struct scan *out,
                      struct job *job);
/* Finds the camera of a scan that is one. */
enum status scan_look(struct scan *scan, struct job *job);
void scan_release(struct scan *scan);

enum pair_verdict {
#define PAIR(symbol, words) PAIR_##symbol,
#include "scan/pairing.def"
#undef PAIR
    PAIR_VERDICTS
};
const char *pair_words(enum pair_verdict verdict);

enum { PAIRING_RIVALS = 7 };
struct pairing {
    enum pair_verdict verdict;
    struct rigid pose;  /* of the moving scan's coordinates in the fixed one's */
    struct touch touch; /* at that pose, of all surfels */
    struct slide slide;
    double misses; /* share of a scan that another's camera contradicts (camera_misses), the
                      greatest of all ways; negative: there is no camera */
    double facets; /* share of the overlap that faces one of three directions */
    struct rigid rival[PAIRING_RIVALS]; /* others at which the surfaces agree */
    size_t rivals;
};

struct pairing_near { /* poses about a present one */
    struct rigid present;
    struct rigid ended; /* tried as well: where best fit came to from there */
    double turned;      /* radians: the most that a pose may be turned beside the present one */
    double moved;       /* mm: and its middle moved */
};

struct pairing_rule {
    size_t places;  /* of the moving scan that are looked for in the other */
    size_t guesses; /* poses that are tried; at most GUESSES_MOST */
    bool faces;     /* as well as poses at which flat faces lie on each other (faces.h) */
    const struct pairing_near *near; /* only these are tried; NULL: any */
};
enum { GUESSES_MOST = 240 };

/* Motions of `moving` onto `fixed` on which many places agree, the best first, up to rule->guesses.
 */
enum status pairing_guess(const struct scan *moving, const struct scan *fixed,
                          const struct pairing_rule *rule, struct guess *guess, size_t *count,
                          struct job *job);

/* The best pose of `moving` on `fixed` and what is to be thought of it. */
enum status pairing_find(const struct scan *moving, const struct scan *fixed,
                         const struct pairing_rule *rule, struct pairing *out, struct job *job);

/* What is to be thought of pairing->pose as it is, without rivals. */
enum status pairing_judge(const struct scan *moving, const struct scan *fixed,
                          struct pairing *pairing, struct job *job);

struct alike { /* what surfels look the same moved by */
    struct rigid motion;
    double facets; /* as in struct touch */
};

/* Of *count motions leaves those, up to `most` different ones, by which surfels then lie on
 * themselves in good part, each brought to where they do best. The best come first; staying as they
 * are is none. */
enum status pairing_itself(const struct surfels *surfels, struct alike *alike, size_t *count,
                           size_t most, struct job *job);

/* What speaks against a pose as it is, by so many points of each scan. */
struct doubt {
    double overlap; /* share of the moving scan that lies on the other */
    double differ;  /* share of the moving scan that faces the other, but does not agree */
    double misses;  /* as in struct pairing */
};
enum status pairing_doubt(const struct scan *moving, const struct scan *fixed,
                          const struct rigid *pose, size_t samples, struct doubt *out,
                          struct job *job);
/* The greatest share of one scan that a camera of the other looked through (camera_through);
 * negative: there is no camera. Of the same thing it is less than 0.001, where it is thin and its
 * edges bleed some 0.014; put wrong among its like, 0.02 to 0.05. */
double pairing_through(const struct scan *moving, const struct scan *fixed,
                       const struct rigid *pose, size_t samples);

#endif
