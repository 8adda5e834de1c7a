/* All pieces of one thing onto each other, from unknown poses. */
#ifndef FETTLE_SCAN_ALIGN_H
#define FETTLE_SCAN_ALIGN_H

#include "scan/pairing.h"

enum { ALIGN_WHY = 300 };
struct aligned { /* what became of a piece */
    bool placed;
    struct rigid motion; /* in the world; rest for the one that stays and for those left out */
    char why[ALIGN_WHY]; /* why it was left out; "" when it was placed */
};

struct align_pair { /* two pieces that were compared, in the end */
    size_t a, b;    /* b was moved onto a */
    enum pair_verdict verdict;
    double overlap;   /* share of b that lies on a */
    double facing;    /* share of b that faces a */
    double agreement; /* overlap / facing */
    double rms;       /* mm, of the overlap */
    double misses;    /* as in struct pairing */
};

struct alignment {
    struct aligned *piece;
    size_t pieces, placed,
        anchor; /* the anchor stays where it is: the first piece that is placed; so do the locked */
    struct align_pair *pair;
    size_t pairs;
};

/* Places the pieces: places of each are looked for in the others by the lie of the land around
 * them, motions on which many places agree are tried by best fit, and one is taken only when the
 * surfaces agree wherever they face each other, no camera looked through the other's surface, the
 * shape holds the piece, and no other pose comes near it. What all that was placed looks the same
 * moved by is then tried on purpose: where nothing tells the one pose from the
 * other, neither is taken. Pieces that fit none are tried again on all that were placed as one. In
 * the end all are fitted together and judged once more. Who cannot be placed with confidence is
 * left out. The first `locked` pieces lie right to each other already: none of them moves, and the
 * others come to them as to one. `name`: what to call each in what is told. out->placed is 0 when
 * no two could be. The caller releases, whatever the outcome. */
enum status align_find(const struct mesh *const *mesh, const char *const *name, size_t count,
                       size_t locked, struct alignment *out, struct job *job);
void align_release(struct alignment *alignment);

#endif
