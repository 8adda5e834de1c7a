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
    double size;          /* of a usual piece */
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

/* In this order: makes the scans; tries all pairs; tries what is left out on the main group as one;
 * and clouds whose side was guessed as if turned over. */
enum status align_make_scans(struct state *s);
enum status align_try_pairs(struct state *s);
enum status align_try_groups(struct state *s);
enum status align_try_turned(struct state *s);

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
/* Fits a group together; takes out, one by one, pieces that then contradict the others. */
enum status align_settle(struct state *s, size_t group);

#endif
