#include "tests/support/blocks.h"

#include <check.h>

#include "solid/boolean.h"
#include "solid/place.h"
#include "tests/support/shapes.h"

struct mesh *blocks_box(double x, double y, double z, double a, double b, double c)
{
    struct mesh *box = shape_box(a, b, c, 1);
    struct motion motion = motion_shift(vec(x, y, z));
    struct mesh *moved = motion_mesh(&motion, box, NULL);
    mesh_free(box);
    return moved;
}

struct mesh *blocks_united(struct mesh *a, struct mesh *b)
{
    struct mesh *both = NULL;
    ck_assert_int_eq(boolean_mesh(a, b, BOOLEAN_UNITE, &both, NULL, NULL), STATUS_OK);
    mesh_free(a);
    mesh_free(b);
    return both;
}
