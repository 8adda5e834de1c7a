/* Scans and clouds that nobody here made, of the Debian package libcgal-dev: brought together as an
 * independent library does it (tests/data/open_scans.txt), and fused to what prints. */
#include <check.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "format/format.h"
#include "scan/align.h"
#include "scan/noise.h"
#include "scan/normals.h"
#include "tests/support/folder.h"
#include "tests/support/scans.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

#define ARCHIVE "/usr/share/doc/libcgal-dev/data.tar.gz"
#define POINTS "data/points_3/"

static struct mesh *read_file(const char *path, enum unit unit)
{
    struct job job;
    struct file file;
    job_init(&job);
    ck_assert_msg(file_read(path, unit, &file, &job) == STATUS_OK, "%s", job.message);
    struct mesh *mesh = mesh_share(file.mesh);
    file_release(&file);
    job_release(&job);
    return mesh;
}

static struct mesh *read_member(const char *name, enum unit unit)
{
    char path[512];
    snprintf(path, sizeof path, ARCHIVE "//" POINTS "%s", name);
    return read_file(path, unit);
}

/* --- bringing together ------------------------------------------------------------------------ */

/* Of the second scan onto the first, mm; in the file its shift is in metres. */
static struct rigid library_motion(void)
{
    struct rigid motion;
    char line[256];
    double shift[3];
    FILE *file = fopen("tests/data/open_scans.txt", "r");
    ck_assert_ptr_nonnull(file);
    for (int i = 0; i < 3 && fgets(line, sizeof line, file);)
        if (line[0] != '#') {
            double *row = motion.turn[i];
            ck_assert_int_eq(sscanf(line, "%lf %lf %lf %lf", row, row + 1, row + 2, &shift[i]), 4);
            i++;
        }
    fclose(file);
    motion.shift = vec(1000 * shift[0], 1000 * shift[1], 1000 * shift[2]);
    return motion;
}

/* Two views of one object a metre long, points 4.6 mm apart; first as they are in the files, then
 * with the second thrown anywhere. Where the library puts it, within a quarter of that. */
START_TEST(two_views_lie_as_a_library_puts_them)
{
    struct mesh *fixed = read_member("hippo1.ply", UNIT_M);
    struct mesh *moving = read_member("hippo2.ply", UNIT_M);
    struct rigid truth = library_motion(), pose = rigid_rest();
    uint64_t seed = (uint64_t)_i;
    if (_i > 0)
        pose = scanner_pose(&seed, 2000);
    struct mesh *thrown = scanner_moved(moving, &pose);
    struct rigid back = rigid_inverse(&pose), want = rigid_then(&back, &truth);
    const struct mesh *const mesh[] = {fixed, thrown};
    const char *const name[] = {"first", "second"};
    struct alignment alignment;
    struct job job;
    job_init(&job);
    ck_assert_int_eq(align_find(mesh, name, 2, 0, &alignment, &job), STATUS_OK);
    ck_assert_uint_eq(alignment.placed, 2);
    ck_assert_double_lt(scanner_error(thrown, &alignment.piece[1].motion, &want), 1.15);
    align_release(&alignment);
    job_release(&job);
    mesh_free(thrown);
    mesh_free(moving);
    mesh_free(fixed);
}
END_TEST

/* --- fusing ----------------------------------------------------------------------------------- */

enum { ANY = 1 };

static const struct {
    const char *name;
    long euler; /* of the thing that was scanned, where all of it was; ANY */
} clouds[] = {
    {"kitten.xyz", 0},
    {"sphere_1k.xyz", 2},
    {"sphere926.pwn", 2},
    {"sphere_20k.xyz", 2}, /* twice as noisy as dense */
    {"sphere_20k_normal.xyz", 2},
    {"fin90_with_PCA_normals.xyz", ANY},
    {"hippo1.ply", ANY},
    {"oni.pwn", ANY},
};

/* Written and read again: what prints is the file. */
static struct mesh *fused_file(const struct mesh *cloud, const char *name)
{
    const struct mesh *const piece[] = {cloud};
    const struct fuse_options options = {.closed = true};
    struct fuse_report report;
    struct mesh *mesh = NULL;
    struct job job;
    job_init(&job);
    enum status status = fuse(piece, 1, &options, &mesh, &report, NULL, &job);
    ck_assert_msg(status == STATUS_OK, "%s: %s", name, job.message);
    char *folder = folder_new(), *path = folder_path(folder, "fused.ply");
    folder_mesh(folder, "fused.ply", mesh);
    mesh = read_file(path, UNIT_MM);
    free(path);
    folder_remove(folder);
    job_release(&job);
    return mesh;
}

static void check_fused(const struct mesh *cloud, const char *name, long euler)
{
    struct mesh *mesh = fused_file(cloud, name);
    const char *fault = sound_fault(mesh);
    ck_assert_msg(!fault, "%s: %s", name, fault);
    ck_assert_msg(sound_crossings(mesh) == 0, "%s crosses itself", name);
    struct shape_count count = shape_count(mesh);
    ck_assert_msg(count.volume > 0, "%s is inside out", name);
    ck_assert_msg(euler == ANY || count.euler == euler, "%s: Euler characteristic %ld", name,
                  count.euler);
    mesh_free(mesh);
}

START_TEST(what_is_fused_prints)
{
    struct mesh *cloud = read_member(clouds[_i].name, UNIT_MM);
    check_fused(cloud, clouds[_i].name, clouds[_i].euler);
    mesh_free(cloud);
}
END_TEST

/* Every cloud there is, streets and rooms among them. */
START_TEST(whatever_is_fused_prints)
{
    char *folder = folder_new(), command[512];
    int fused = 0;
    if (!getenv("FETTLE_LONG")) {
        folder_remove(folder);
        return;
    }
    snprintf(command, sizeof command, "tar -xzf " ARCHIVE " -C %s " POINTS, folder);
    ck_assert_msg(system(command) == 0, "install libcgal-dev: " ARCHIVE);
    char *list = folder_path(folder, POINTS);
    DIR *names = opendir(list);
    ck_assert_ptr_nonnull(names);
    for (struct dirent *entry; (entry = readdir(names));) {
        if (entry->d_name[0] == '.')
            continue;
        char *path = folder_path(list, entry->d_name);
        struct mesh *cloud = read_file(path, UNIT_MM);
        check_fused(cloud, entry->d_name, ANY);
        mesh_free(cloud);
        free(path);
        fused++;
    }
    closedir(names);
    free(list);
    folder_remove(folder);
    ck_assert_int_ge(fused, 30);
}
END_TEST

/* --- noise ------------------------------------------------------------------------------------ */

/* numpy, a sphere fitted by least squares to the file's points: centre within 0.001 of zero, radius
 * 1.0014, standard deviation from it 0.04064. */
START_TEST(noise_is_that_about_the_fitted_sphere)
{
    struct mesh *cloud = read_member("sphere_20k.xyz", UNIT_MM);
    struct noise noise;
    ck_assert_int_eq(noise_measure(cloud, NULL, &noise, NULL), STATUS_OK);
    ck_assert_double_eq_tol(noise.deviation, 0.04064, 0.1 * 0.04064);
    mesh_free(cloud);
}
END_TEST

Suite *suite_open_scans(void);
Suite *suite_open_scans(void)
{
    Suite *suite = suite_create("open_scans");
    TCase *all = tcase_create("open scans"), *many = tcase_create("all clouds");
    tcase_set_timeout(all, 60);
    tcase_set_timeout(many, 600);
    tcase_add_loop_test(all, two_views_lie_as_a_library_puts_them, 0, 4);
    tcase_add_loop_test(all, what_is_fused_prints, 0, sizeof clouds / sizeof *clouds);
    tcase_add_test(all, noise_is_that_about_the_fitted_sphere);
    tcase_add_test(many, whatever_is_fused_prints);
    suite_add_tcase(suite, all);
    suite_add_tcase(suite, many);
    return suite;
}
