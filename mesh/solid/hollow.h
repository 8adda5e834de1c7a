/* Hollowing a solid: a wall of even thickness, and holes through which its cavities drain. */
#ifndef FETTLE_SOLID_HOLLOW_H
#define FETTLE_SOLID_HOLLOW_H

#include "solid/offset.h"

enum { HOLLOW_HOLES_MOST = 64, HOLLOW_NOTHING = 10 /* mm3: less liquid is next to nothing */ };

struct hollow_options {
    double wall;          /* mm */
    double drain;         /* diameter of the holes, mm; 0: none */
    const struct vec *at; /* world: where on the outside they are wanted; */
    size_t places;        /* 0: two a cavity, where it is lowest and where it is highest */
    double spacing;       /* of the inner surface's vertices at first; 0: as offset_surface chooses */
};

enum hollow_end { HOLLOW_LOWEST, HOLLOW_HIGHEST, HOLLOW_PICKED };

struct hollow_hole {
    enum hollow_end end;
    struct vec at, along; /* world: where its axis meets the outside; unit: inward */
    double width, depth;  /* mm: as wanted, through the wall; */
    double back;          /* its narrowest width in the result, 0: it is open to a side */
};

struct hollow_report {
    struct offset_report offset;
    double before, after; /* volume, mm3; after: with its holes */
    size_t inner;         /* triangles of the cavities */
    size_t cavities;      /* that were made */
    size_t small, tight;  /* left solid: too small to be worth a hole; no place for one */
    double solid;         /* the volume of these, mm3 */
    size_t loose;         /* older cavities whose walls float in the new one */
    struct hollow_hole hole[HOLLOW_HOLES_MOST];
    size_t holes;
    double trapped, largest; /* liquid that stays as it stands, mm3; in the greatest pool */
    size_t pools;
    struct vec pool;    /* world: the bottom of the greatest, */
    bool drainable;     /* through which a drain would go */
    struct vec more;    /* world: here, on the outside; set when there is HOLLOW_NOTHING or more */
    uint64_t crossings; /* that the boolean could not mend; 0 but for misery */
};

/* The mesh (triangles joined first if they are not) with its inside taken out: its own triangles
 * stay as they are where no hole is cut; behind them the inner surface (offset_surface, inward) and
 * the holes, marked as made. Cavities smaller than a ball of twice the drain's diameter, and those
 * where no hole fits, stay solid. STATUS_REFUSED when it is no solid (solid_judge) or nothing could
 * be taken out: the message then says how thick it is. */
enum status hollow_mesh(const struct mesh *mesh, const struct hollow_options *options,
                        struct mesh **out, struct hollow_report *report, struct job *job);

#endif
