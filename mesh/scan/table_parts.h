/* Shared by the files that find the table. */
#ifndef FETTLE_SCAN_TABLE_PARTS_H
#define FETTLE_SCAN_TABLE_PARTS_H

#include "scan/samples.h"
#include "scan/table.h"

struct candidate {
    struct plane plane;        /* its normal towards what stands on it */
    size_t in, above, beneath; /* samples within the coarse tolerance, and on either side */
    bool faces;                /* of struct table */
    double beyond;             /* share of those in it that lie outside of what stands on it */
    double score;              /* 0: no table */
};

/* What all the looking has in common. */
struct survey {
    const struct sample *sample; /* a few thousand */
    size_t count;
    double size;   /* mm: of struct table */
    double coarse; /* mm: what is nearer to a plane than that may lie in it */
    const struct job *job;
    struct vec *chosen; /* room for one point a sample */
    double *number;     /* likewise */
};

/* How many samples lie in the plane and on either side, which side is up, and whether it is a
 * table. */
void table_judge(const struct survey *survey, struct candidate *candidate);

/* The best candidate; score 0 when there is none. *flat: nearly all lies in one plane. */
struct candidate table_look(const struct survey *survey, bool *flat);

/* The plane of the samples nearest to sample `seed`; false when they do not lie in one. */
bool table_patch(const struct survey *survey, size_t seed, struct plane *plane);

/* How far samples lie from the planes of small patches, mm: what a tenth of the patches stay below,
 * which are flat but for noise. */
double table_noise(const struct survey *survey);

/* The plane of the samples that lie within `tolerance` of it. */
bool table_refit(const struct survey *survey, struct plane *plane, double tolerance);

/* Where samples near the plane lie at several levels, the plane becomes the lowest. Returns how far
 * from it its samples may lie, mm: the coarse tolerance where there is one level. *failed: out of
 * memory. */
double table_level(const struct survey *survey, struct plane *plane, bool *failed);

#endif
