/* A raw scan placed by hand: two scans of one object, each as the scanner left it, are brought
 * together by pairs of points put with the keys, and then fitted. Whoever sits here knows the
 * object, and reads what the screen tells: where the pointer points and how large a cell is. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "format/format.h"
#include "raster/camera.h"
#include "tests/support/folder.h"
#include "tests/support/scanner.h"
#include "tests/support/shapes.h"
#include "tests/support/terminal.h"

#define WAIT TERMINAL_WAIT

Suite *suite_screen_place(void);

enum { LANDMARKS = 4, KEYS_MOST = 400 };

/* --- the scans ------------------------------------------------------------------------------- */

static char *folder;
static struct mesh *scan[2]; /* where the object is */
static struct vec seen_from[2];
static struct rigid pose[2]; /* where the scanner left them */
static struct vec landmark[LANDMARKS];
static int keys; /* pressed */

static struct mesh *scan_of(struct vec from, uint64_t seed)
{
    const struct scanner scanner = {
        .from = from, .spacing = 0.8, .noise = 0.03, .radius = 90, .seed = seed, .roll = 0.3};
    return scanner_view(solid_jug, &scanner);
}

static struct vec slope(struct vec p)
{
    const double h = 1e-3;
    double d = solid_jug(p);
    return vec_unit(vec(solid_jug(vec(p.x + h, p.y, p.z)) - d,
                        solid_jug(vec(p.x, p.y + h, p.z)) - d,
                        solid_jug(vec(p.x, p.y, p.z + h)) - d));
}

static double nearest(const struct mesh *mesh, struct vec p)
{
    double least = INFINITY;
    for (size_t i = 0; i < mesh_vertices(mesh); i++)
        least = fmin(least, vec_length2(vec_sub(point_vec(mesh_point(mesh)[i]), p)));
    return sqrt(least);
}

static double from_others(struct vec p, int count)
{
    double least = INFINITY;
    for (int i = 0; i < count; i++)
        least = fmin(least, vec_length(vec_sub(p, landmark[i])));
    return least;
}

/* Places that both scans saw well, as far from each other as there are. */
static void choose_landmarks(void)
{
    enum { CANDIDATES = 400 };
    struct vec at[CANDIDATES];
    int count = 0;
    size_t step = mesh_vertices(scan[0]) / CANDIDATES + 1;
    for (size_t i = 0; i < mesh_vertices(scan[0]) && count < CANDIDATES; i += step) {
        struct vec p = point_vec(mesh_point(scan[0])[i]), n = slope(p);
        bool faces =
            vec_dot(n, vec_unit(seen_from[0])) > 0.6 && vec_dot(n, vec_unit(seen_from[1])) > 0.6;
        if (faces && nearest(scan[1], p) < 0.8)
            at[count++] = p;
    }
    ck_assert_int_gt(count, LANDMARKS);
    for (int i = 0; i < LANDMARKS; i++) {
        landmark[i] = at[0];
        for (int k = 1; k < count && i > 0; k++)
            if (from_others(at[k], i) > from_others(landmark[i], i))
                landmark[i] = at[k];
    }
}

static void make_files(void)
{
    uint64_t seed = 5;
    static const char *const names[] = {"a.ply", "b.ply"};
    folder = folder_new();
    seen_from[0] = vec(1, 0.1, 0.35);
    seen_from[1] = vec(0.6, 0.8, 0.45);
    for (int k = 0; k < 2; k++) {
        scan[k] = scan_of(seen_from[k], (uint64_t)k + 1);
        pose[k] = scanner_pose(&seed, 150);
        folder_mesh(folder, names[k], scanner_moved(scan[k], &pose[k]));
    }
    choose_landmarks();
    keys = 0;
}

static void remove_files(void)
{
    for (int k = 0; k < 2; k++)
        mesh_free(scan[k]);
    folder_remove(folder);
}

/* --- at the keys ----------------------------------------------------------------------------- */

static void press(struct terminal *t, enum terminal_key key, int times)
{
    for (; times > 0; times--, keys++)
        terminal_key(t, key);
}

static void type(struct terminal *t, const char *text)
{
    terminal_type(t, text);
    keys += (int)strlen(text);
    terminal_rest(t);
}

/* Turns what is seen by arrows until it looks from where it was scanned, as near as that goes. */
static void turn(struct terminal *t, struct vec toward, struct camera *camera)
{
    static const struct {
        enum terminal_key key;
        double right, up;
    } way[] = {{TERMINAL_LEFT, -1, 0},
               {TERMINAL_RIGHT, 1, 0},
               {TERMINAL_UP, 0, 1},
               {TERMINAL_DOWN, 0, -1}};
    const double step = 7.5 * 3.14159265358979323846 / 180;
    camera_frame(camera, vec(0, 0, 0), vec(1, 1, 1), 1);
    camera_look(camera, CAMERA_TOP);
    type(t, "/v");
    for (;;) {
        struct vec now;
        int best = -1;
        camera_axes(camera, NULL, NULL, &now);
        double most = vec_dot(now, toward);
        for (int i = 0; i < 4; i++) {
            struct camera turned = *camera;
            camera_turn(&turned, way[i].right * step, way[i].up * step, 0);
            camera_axes(&turned, NULL, NULL, &now);
            best = vec_dot(now, toward) > most + 1e-6 ? i : best;
            most = fmax(most, vec_dot(now, toward));
        }
        if (best < 0)
            break;
        camera_turn(camera, way[best].right * step, way[best].up * step, 0);
        press(t, way[best].key, 1);
    }
    type(t, "v");
}

/* Where the pointer points, and the size of a cell, as the screen tells them. */
static bool pointed(struct terminal *t, int rows, struct vec *at, double cell[2])
{
    const char *line = terminal_line(t, rows - 2), *colon = strstr(line, "): ");
    const char *size = strstr(line, "a cell: ");
    ck_assert_msg(colon && size && sscanf(size, "a cell: %lf x %lf mm", &cell[0], &cell[1]) == 2,
                  "%s", line);
    return sscanf(colon, "): %lf, %lf, %lf mm", &at->x, &at->y, &at->z) == 3;
}

/* Moves the pointer to a place, as far as cells go. */
static void point_at(struct terminal *t, int rows, const struct camera *camera, struct vec to)
{
    struct vec right, up, at;
    double cell[2];
    camera_axes(camera, &right, &up, NULL);
    for (int i = 0; i < 8; i++) {
        terminal_rest(t);
        if (!pointed(t, rows, &at, cell)) { /* beside it: towards the middle */
            press(t, i % 2 ? TERMINAL_LEFT : TERMINAL_UP, 2);
            continue;
        }
        int across = (int)lrint(vec_dot(vec_sub(to, at), right) / cell[0]);
        int rise = (int)lrint(vec_dot(vec_sub(to, at), up) / cell[1]);
        if (!across && !rise)
            return;
        press(t, across > 0 ? TERMINAL_RIGHT : TERMINAL_LEFT, abs(across));
        press(t, rise > 0 ? TERMINAL_UP : TERMINAL_DOWN, abs(rise));
    }
}

/* Roughly, then close up. */
static void put(struct terminal *t, int rows, const struct camera *camera, int which, int side)
{
    struct vec to = rigid_apply(&pose[side], landmark[which]), at;
    double cell[2], close[2];
    point_at(t, rows, camera, to);
    pointed(t, rows, &at, cell);
    type(t, "z");
    ck_assert(pointed(t, rows, &at, close));
    ck_assert_double_lt(close[0], cell[0] / 5);
    point_at(t, rows, camera, to);
    ck_assert(pointed(t, rows, &at, close));
    ck_assert_msg(vec_length(vec_sub(at, to)) < 2,
                  "landmark %d on %c is pointed at %.2f mm beside it", which + 1, 'a' + side,
                  vec_length(vec_sub(at, to)));
    type(t, "p");
}

/* --- the tests ------------------------------------------------------------------------------- */

static const struct {
    const char *term, *locale;
    int rows, columns;
} terminals[] = {{"vt100", "C", 24, 80}, {"xterm-256color", "C.UTF-8", 40, 120}};

/* How far the second piece's file is from where the first scan has the object: RMS, mm. */
static double error_of(const char *name)
{
    char *path = folder_path(folder, name);
    struct file file;
    ck_assert(file_read(path, UNIT_NONE, &file, NULL) == STATUS_OK);
    ck_assert_uint_eq(mesh_vertices(file.mesh), mesh_vertices(scan[1]));
    double sum = 0;
    for (size_t i = 0; i < mesh_vertices(scan[1]); i++) {
        struct vec truth = rigid_apply(&pose[0], point_vec(mesh_point(scan[1])[i]));
        struct vec is = mesh_world(file.mesh, point_vec(mesh_point(file.mesh)[i]));
        sum += vec_length2(vec_sub(is, truth));
    }
    double rms = sqrt(sum / (double)mesh_vertices(scan[1]));
    file_release(&file);
    free(path);
    return rms;
}

START_TEST(a_raw_scan_is_placed_by_hand)
{
    int rows = terminals[_i].rows;
    const struct terminal_options options = {.rows = rows,
                                             .columns = terminals[_i].columns,
                                             .folder = folder,
                                             .term = terminals[_i].term,
                                             .locale = terminals[_i].locale};
    struct terminal *t = terminal_new(&options, (const char *const[]){"a.ply", "b.ply", NULL});
    struct camera camera[2];
    WAIT(t, "all 2 pieces");
    terminal_rest(t);
    type(t, "R");
    WAIT(t, ">> 2 b: moves");
    turn(t, rigid_direction(&pose[1], vec_unit(seen_from[1])), &camera[1]);
    type(t, "\t");
    WAIT(t, ">> 1 a: stays");
    turn(t, rigid_direction(&pose[0], vec_unit(seen_from[0])), &camera[0]);
    type(t, "\t");
    for (int i = 0; i < LANDMARKS; i++) {
        put(t, rows, &camera[1], i, 1);
        WAIT(t, ">> 1 a");
        put(t, rows, &camera[0], i, 0);
        WAIT(t, ">> 2 b");
    }
    type(t, "\r");
    WAIT(t, "4 pairs: RMS");
    type(t, ":save rough.ply piece=2\r");
    WAIT(t, "saved \"rough.ply\"");
    type(t, "F");
    WAIT(t, ":fit moving=2 fixed=1");
    type(t, "\r");
    WAIT(t, "\"b\" onto \"a\": RMS");
    type(t, ":save fine.ply piece=2\r");
    WAIT(t, "saved \"fine.ply\"");
    double rough = error_of("rough.ply"), fine = error_of("fine.ply");
    ck_assert_msg(rough < 1, "by pairs it is %.2f mm off", rough);
    ck_assert_msg(fine < 0.1, "after the fit it is %.3f mm off", fine);
    ck_assert_msg(keys < KEYS_MOST, "%d keys", keys);
    terminal_free(t);
}
END_TEST

Suite *suite_screen_place(void)
{
    Suite *suite = suite_create("screen_place");
    TCase *tests = tcase_create("screen_place");
    tcase_set_timeout(tests, 240);
    tcase_add_checked_fixture(tests, make_files, remove_files);
    int all = sizeof terminals / sizeof *terminals;
    tcase_add_loop_test(tests, a_raw_scan_is_placed_by_hand, 0, getenv("FETTLE_LONG") ? all : 1);
    suite_add_tcase(suite, tests);
    return suite;
}
