/* What a scan's camera says of what another scan would put in its way. */
#include <check.h>
#include <math.h>

#include "scan/seen.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"

enum { SAMPLES = 2000 };

/* A ball before a wall. */
static double ball_and_wall(struct vec p)
{
    double ball = vec_length(p) - 4;
    return fmin(ball, small_cuboid(vec_sub(p, vec(0, 0, -8)), vec(12, 12, 1)));
}

struct view {
    struct surfels full, thin;
    struct camera camera;
};

static struct view view_from(struct vec from)
{
    struct scanner scanner = {.from = from, .spacing = 0.3, .noise = 0.02, .radius = 20};
    struct mesh *mesh = scanner_view(ball_and_wall, &scanner);
    struct view view;
    ck_assert_int_eq(surfels_make(mesh, &view.full, NULL), STATUS_OK);
    ck_assert_int_eq(surfels_thin(&view.full, 0.6, 1, &view.thin, NULL), STATUS_OK);
    ck_assert_int_eq(camera_find(&view.full, &view.thin, &view.camera, NULL), STATUS_OK);
    ck_assert(view.camera.single);
    mesh_free(mesh);
    return view;
}

static void view_release(struct view *view)
{
    surfels_release(&view->full);
    surfels_release(&view->thin);
    camera_release(&view->camera);
}

/* From the one's coordinates to the other's, both lying as they were made. */
static struct rigid between(const struct surfels *from, const struct surfels *to)
{
    struct rigid pose = rigid_rest();
    pose.shift = vec_sub(from->middle, to->middle);
    return pose;
}

static double through(const struct view *view, const struct surfels *other)
{
    struct rigid pose = between(other, &view->full);
    return camera_through(&view->camera, other, &pose, SAMPLES);
}

/* A small block whose middle is there; its faces look outward or inward. */
static struct surfels block_at(struct vec at, bool inward)
{
    struct surfels out;
    struct mesh *block = shape_box(2, 2, 2, 6);
    for (int k = 0; k < 3; k++)
        block->origin[k] = (&at.x)[k] - 1;
    for (size_t t = 0; inward && t < mesh_triangles(block); t++) {
        uint32_t *v = mesh_triangle_edit(block)[t].v, swap = v[0];
        v[0] = v[1];
        v[1] = swap;
    }
    ck_assert_int_eq(surfels_make(block, &out, NULL), STATUS_OK);
    mesh_free(block);
    return out;
}

/* A block well before the wall hides it, whichever way its faces look; one on it by less than the
 * camera can tell, behind it, or where nothing was seen behind, does not. */
static const struct {
    struct vec at;
    bool inward;
    double least, most;
} blocks[] = {{{9, 9, 0}, false, 0.99, 1},     {{9, 9, 0}, true, 0.99, 1},
              {{9, 9, -12}, false, 0, 0},      {{18, 0, 0}, false, 0, 0},
              {{9, 9, -7.5}, false, 0, 0.001}, {{0, 0, 0}, false, 0, 0}};

START_TEST(what_stands_in_the_way)
{
    struct view view = view_from(vec(0, 0, 1));
    struct surfels block = block_at(blocks[_i].at, blocks[_i].inward);
    double share = through(&view, &block);
    ck_assert_double_ge(share, blocks[_i].least);
    ck_assert_double_le(share, blocks[_i].most);
    surfels_release(&block);
    view_release(&view);
}
END_TEST

/* Two cameras that saw the same thing do not look through what the other saw. */
START_TEST(the_same_thing_is_not_looked_through)
{
    struct view above = view_from(vec(0, 0, 1)), aside = view_from(vec(0.5, 0.2, 0.84));
    ck_assert_double_lt(through(&above, &aside.thin), 0.002);
    ck_assert_double_lt(through(&aside, &above.thin), 0.002);
    view_release(&above);
    view_release(&aside);
}
END_TEST

Suite *suite_seen(void);
Suite *suite_seen(void)
{
    Suite *suite = suite_create("seen");
    TCase *tcase = tcase_create("seen");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, what_stands_in_the_way, 0, sizeof blocks / sizeof *blocks);
    tcase_add_test(tcase, the_same_thing_is_not_looked_through);
    suite_add_tcase(suite, tcase);
    return suite;
}
