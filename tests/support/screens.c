#include "tests/support/screens.h"

#include <check.h>

#include "tests/support/folder.h"
#include "tests/support/shapes.h"

char *screens_folder;

static bool five_gaps(const struct mesh *mesh, size_t t)
{
    const struct point *p = &mesh_point(mesh)[mesh_triangle(mesh)[t].v[0]];
    return p->z > 18 || p->x > 18 || p->x < -18 || p->y > 18 || p->y < -18;
}

void screens_set_up(void)
{
    screens_folder = folder_new();
    folder_mesh(screens_folder, "box.stl", shape_box(30, 20, 10, 4));
    struct mesh *ball = shape_sphere(20, 4);
    folder_mesh(screens_folder, "ball.stl", shape_without(ball, five_gaps));
    mesh_free(ball);
}

void screens_tear_down(void)
{
    folder_remove(screens_folder);
}

struct terminal *screens_begin(int rows, int columns, const char *const *files)
{
    const struct terminal_options options = {
        .rows = rows, .columns = columns, .folder = screens_folder};
    return terminal_new(&options, files);
}

struct terminal *screens_begin_box(void)
{
    struct terminal *t = screens_begin(24, 80, (const char *const[]){"box.stl", NULL});
    TERMINAL_WAIT(t, "sound");
    return t;
}
