/* Inside align: what its files share. */
#ifndef FETTLE_SCAN_ALIGN_PARTS_H
#define FETTLE_SCAN_ALIGN_PARTS_H

#include "scan/align.h"

enum { TWISTS = 16, ALIKE_TRIED = 128, ALIKE_MOST = 32 };
struct twists { /* motions that seem to put a piece onto itself, in its own coordinates */
    struct rigid motion[TWISTS];
    size_t count;
};

struct state {
    const char *const *name;
    struct surfels *all;   /* one a piece; those of too few points are empty */
    struct scan *scan;     /* made from `all` while the pairs are tried */
    struct rigid *pose;    /* from a piece's coordinates to those of its group */
    size_t *group;         /* the lowest piece of the group a piece is in */
    struct twists *twists; /* one a piece */
    bool *fits;           /* a piece's surface agrees with another's somewhere, though it may not be
                             held there: it is no odd one */
    size_t count, locked; /* the first ones are locked */
    bool take;            /* ALIGN_TAKE */
    bool taking;          /* what holds but for equal poses is held, from now on */
    struct equal_pair {   /* of the pairs that are, the one that overlaps most */
        size_t a, b;
        struct rigid pose;
        double overlap; /* 0: there is none */
        struct slide slide;
    } seed;
    double size;                 /* of a usual piece */
    const struct surfels **part; /* room for a group's pieces */
    struct rigid *room;          /* and their poses */
    struct alignment *out;
    struct job *job;
};

struct merged { /* a group as one piece, in the group's coordinates */
    struct surfels surfels;
    struct scan scan;
    struct scan_part *part;
};

/* Whether a piece has enough points to be tried. */
bool align_usable(const struct state *s, size_t i);
size_t align_members(const struct state *s, size_t group);
/* The first piece that may stand for the locked ones: the lowest of their group. */
size_t align_first_locked(const struct state *s);
/* The group of the locked pieces, or of the first one, if it has others, else the largest. */
size_t align_main(const struct state *s);
/* Whether a usable piece is not in the main group. */
bool align_outside(const struct state *s);

/* The pieces of a group and their poses; returns how many. */
size_t align_gather(const struct state *s, size_t group, const struct surfels **part,
                    struct rigid *pose);
/* A group as one; without lands, to be judged alone, where share is NULL. The caller releases,
 * whatever the outcome. */
enum status align_merge(struct state *s, size_t group, const double share[SCALES],
                        struct merged *out);
void align_merged_release(struct merged *merged);

/* Keeps what was found of a pair, and what it says of piece b. */
void align_note(struct state *s, size_t a, size_t b, const struct pairing *pairing);

static inline bool align_held(enum pair_verdict verdict)
{
    return verdict == PAIR_HOLDS || verdict == PAIR_EQUAL;
}

/* In this order: makes the scans; tries all pairs; tries what is left out on the main group as one;
 * and clouds whose side was guessed as if turned over. */
enum status align_make_scans(struct state *s);
enum status align_try_pairs(struct state *s);
enum status align_try_groups(struct state *s);
enum status align_try_turned(struct state *s);
/* Of ALIGN_TAKE: takes what is left out and fits in several ways that look the same. */
enum status align_try_equals(struct state *s);

/* --- what fits in several ways (align_equal.c) --- */

/* While s->taking: PAIR_EQUAL instead of a verdict against a pose of which nothing is open but
 * which of several that look the same it is. */
enum status align_takes(struct state *s, const struct scan *moving, const struct scan *fixed,
                        struct pairing *pairing);
/* Says of a piece that one of equal poses was taken; `slide`: what is round in it, or NULL. */
void align_say_taken(struct state *s, size_t i, const struct slide *slide);
/* Whether piece i of a group, put to another pose as well, contradicts none of the group. */
enum status align_equal(struct state *s, size_t group, size_t i, const struct rigid *pose,
                        bool *equal);
/* Shares of piece i at a pose: of which other pieces of the group have surface there, and of which
 * they or itself as it lies do. */
struct cover {
    double others, known;
};
enum status align_cover(struct state *s, size_t group, size_t i, const struct rigid *pose,
                        struct cover *out);
/* What usually speaks against pairs of the group as they lie, share that differs; and what speaks
 * against two as they lie, `usual` or more. */
double align_usual_doubt(const struct state *s);
struct doubt align_doubt_now(const struct state *s, size_t i, size_t j, double usual);
/* "turned by 90 degrees about z", "moved by 12.5 mm along x". */
void align_name_motion(const struct rigid *motion, char *out, size_t size);
/* Whether cameras look through more of two scans at a pose than they should, beside what they do at
 * the present one; `most`: share more that is no doubt. */
bool align_looks_through(const struct state *s, const struct scan *moving, const struct scan *fixed,
                         const struct rigid *pose, const struct rigid *present, double most);
/* The turn by so many radians about a unit axis through a place. */
struct rigid align_turn(struct vec centre, struct vec axis, double angle);
/* Moves pieces of a group to poses that are equal, so that together they show the most. */
enum status align_spread(struct state *s, size_t group);

/* Poses at which piece b (or the group it leads) fits a as well as at pairing->pose tell what
 * either looks the same turned by. */
void align_suspect(struct state *s, size_t a, size_t b, const struct pairing *pairing);
/* Keeps a motion by which a piece seems to look the same, in its coordinates. */
void align_twist(struct state *s, size_t piece, const struct rigid *motion);
/* What a group looks the same moved by, in its coordinates: up to ALIKE_MOST, the best first. */
enum status align_alike(struct state *s, size_t group, struct alike alike[ALIKE_MOST],
                        size_t *count);
/* Looks for other poses of a group's pieces that no more speaks against: where some could be, the
 * group is cut apart, and *cut set. */
enum status align_rivals(struct state *s, size_t group, bool *cut);

/* A piece that stays whatever the others say. */
bool align_stays(const struct state *s, size_t group, size_t i);
/* Whether the others of the group, as one, hold piece i firmly as it lies. */
enum status align_holds_on_all(struct state *s, size_t group, size_t i, bool *holds);
/* Fits a group together; takes out, one by one, pieces that then contradict the others. */
enum status align_settle(struct state *s, size_t group);

#endif
