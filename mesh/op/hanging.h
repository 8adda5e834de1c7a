/* What the operations about hanging share: the keyholes and holes of the chosen pieces, and how
 * those hang by them. */
#ifndef FETTLE_OP_HANGING_H
#define FETTLE_OP_HANGING_H

#include "op/found.h"
#include "solid/hang.h"

struct hanging_choice { /* by what */
    bool keyholes, bores;
    bool bores_instead;     /* also by bores when there are no keyholes */
    const char *only;       /* "1,3": by these of all that are found; "": by all of these kinds */
    const struct vec *wall; /* on which side the wall is, about; NULL: to be seen from the holes */
    struct vec up;          /* when held by bores alone */
};

struct hanging {
    struct found found;
    const struct fixing **by; /* of those: the keyholes first, then the bores */
    size_t keyholes, bores;
    size_t screwable; /* bores through it that suit a screw, taken or not */
    struct hang hang; /* when there are any */
};

/* How the chosen pieces, taken together, hang by their keyholes, of which those count that face the
 * way the first does, or how they are held by screws through their bores, which must run square to
 * the wall to within 10 degrees. Notes what is left out, and what is assumed. Release it, also on
 * failure. */
enum status hanging_find(const struct op_call *call, const struct mesh *const *mesh, size_t count,
                         const struct mass *mass, const struct hanging_choice *choice,
                         struct hanging *out);
void hanging_release(struct hanging *hanging);

/* Notes how it hangs by its keyholes; grams 0: not known. */
void hanging_tell(const struct op_call *call, const struct hang *hang, double grams);

/* Draws it: the screws, the line that comes level, the plumb line below the screws, and the arm
 * from the wall to the centre of mass. */
enum status hanging_sketch(const struct op_call *call, const struct hang *hang, struct vec centre,
                           struct sketch *sketch);

#endif
