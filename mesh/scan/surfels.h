/* A scan as registration sees it: points that know which way the surface faces. Triangle meshes and
 * point clouds look the same from here on. */
#ifndef FETTLE_SCAN_SURFELS_H
#define FETTLE_SCAN_SURFELS_H

#include "core/mesh.h"
#include "core/tree.h"
#include "scan/rigid.h"

struct surfels {
    struct vec middle;       /* the world position of their zero, mm; exact also far from zero */
    struct mesh *cloud;      /* the points beside the middle */
    struct point *normal;    /* one a point, unit */
    const struct tree *tree; /* of the cloud */
    double size;             /* the diagonal of their box, mm */
    double spacing;          /* from a point to its neighbours, mm (median) */
    double blur;  /* mm: how far (1.4826 median) neighbours stand off each other's planes, which is
                     noise, roughness finer than the spacing and curvature together */
    double level; /* cosine: a normal that leans more against one of its neighbours' is at an edge,
                     however noisy normals are here */
    bool side_guessed; /* the normals were made from points alone, and not by views that tell their
                          side: all may face the wrong way */
    bool thinned;      /* made by surfels_thin: normals are means over what may bend */
};

static inline size_t surfels_count(const struct surfels *surfels)
{
    return surfels->cloud ? mesh_vertices(surfels->cloud) : 0;
}
static inline struct vec surfels_at(const struct surfels *surfels, size_t i)
{
    return point_vec(mesh_point(surfels->cloud)[i]);
}
static inline struct vec surfels_normal(const struct surfels *surfels, size_t i)
{
    return point_vec(surfels->normal[i]);
}

/* Whether the surface bends sharply within some two spacings of the point: its normal may be
 * smeared, and what lies beside it may be seen by one scan alone. Without a tree nothing is known
 * of edges: false. */
bool surfels_at_edge(const struct surfels *surfels, size_t i);

/* The piece's points with their normals (normals_of), or, of a mesh of few vertices, points spread
 * over its triangles; stray ones left out: of a cloud those whose neighbours are several times
 * farther than is usual. At most SURFELS_MOST: what is denser is thinned. A piece may give none.
 * The caller releases; on failure nothing is owned. */
enum { SURFELS_MOST = 400000 };
enum status surfels_make(const struct mesh *mesh, struct surfels *out, struct job *job);

/* All points of a cloud, with these normals, one each; those of zero are left out. The caller
 * releases; on failure nothing is owned. */
enum status surfels_take(const struct mesh *cloud, const struct point *normal, struct surfels *out,
                         struct job *job);

/* One for each cube of side `spacing` with points in it, in their mean (two where the points face
 * opposite ways): fewer, and less noisy. Of cubes with fewer than `least` points none. */
enum status surfels_thin(const struct surfels *surfels, double spacing, unsigned least,
                         struct surfels *out, struct job *job);
/* Those whose neighbours are not several times as far as is usual. */
enum status surfels_firm(const struct surfels *surfels, struct surfels *out, struct job *job);
/* Several as one, each moved by its pose, in the coordinates the poses lead to (middle zero);
 * thinned to the widest of their spacings. The caller releases; on failure nothing is owned. */
enum status surfels_merge(const struct surfels *const *part, const struct rigid *pose, size_t count,
                          struct surfels *out, struct job *job);
void surfels_release(struct surfels *surfels);

#endif
