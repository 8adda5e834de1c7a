/* Files that nobody here wrote: the Debian packages assimp-testmodels and libcgal-dev. What is read
 * of them is compared with what other libraries read: tests/data/open_files.txt, which names them.
 */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "format/format.h"
#include "tests/support/folder.h"

#define ASSIMP "/usr/share/assimp/models/"
#define CGAL "/usr/share/doc/libcgal-dev/data.tar.gz"

/* Where the libraries and we differ, why, and what is right (counted by hand; 0: not readable). */
static const struct {
    const char *name, *why;
    size_t vertices, triangles;
} differ[] = {
    {"assimp/PLY/pond.0.ply", "it is 72 bytes short: the library fills up with points of nothing",
     69409, 0},
    {"assimp/OBJ/number_formats.obj", "\"3.1+e2\" is no number; the library takes it for 3.1", 0,
     0},
    {"cgal/data/meshes/mesh_with_colors.off", "comments behind values put the library out", 8, 6},
    {"cgal/data/meshes/mpi.off", "the library leaves out faces of more than four corners", 90, 180},
};

/* The row of a file that is read differently, or -1. */
static int differs(const char *name)
{
    for (size_t i = 0; i < sizeof differ / sizeof *differ; i++)
        if (strcmp(differ[i].name, name) == 0)
            return (int)i;
    return -1;
}

struct expected {
    char name[256], library[32];
    size_t vertices, triangles;
    double box[6];
};

static void compare(const struct expected *want, const struct mesh *mesh)
{
    if (mesh_vertices(mesh) != want->vertices || mesh_triangles(mesh) != want->triangles)
        ck_abort_msg("%s: %zu vertices, %zu triangles; %s reads %zu, %zu", want->name,
                     mesh_vertices(mesh), mesh_triangles(mesh), want->library, want->vertices,
                     want->triangles);
    const struct bounds *bounds = mesh_bounds(mesh, NULL);
    const double box[6] = {bounds->min.x, bounds->min.y, bounds->min.z,
                           bounds->max.x, bounds->max.y, bounds->max.z};
    for (int k = 0; k < 6; k++)
        if (fabs(box[k] - want->box[k]) > 1e-6 * fmax(1, fabs(want->box[k])))
            ck_abort_msg("%s: the box's number %d is %.9g; %s has %.9g", want->name, k, box[k],
                         want->library, want->box[k]);
}

/* Reads one; true when it could be compared. */
static bool judge(const char *line, const char *folder)
{
    struct expected want;
    double *b = want.box;
    int fields = sscanf(line, "%255s %31s %zu %zu %lf %lf %lf %lf %lf %lf", want.name, want.library,
                        &want.vertices, &want.triangles, b, b + 1, b + 2, b + 3, b + 4, b + 5);
    ck_assert_msg(fields == 10 || fields == 2, "%s", line);
    bool assimp = strncmp(want.name, "assimp/", 7) == 0;
    char *path = folder_path(assimp ? ASSIMP : folder, strchr(want.name, '/') + 1);
    struct job job;
    struct file file;
    job_init(&job);
    enum status status = file_read(path, UNIT_NONE, &file, &job);
    int row = differs(want.name);
    bool compared = status == STATUS_OK && fields == 10 && row < 0;
    if (status != STATUS_OK && fields == 10 && (row < 0 || differ[row].vertices))
        ck_abort_msg("%s", job.message);
    if (status != STATUS_OK)
        ck_assert_msg(strstr(job.message, path) && strchr(job.message, ':'), "%s", job.message);
    if (compared)
        compare(&want, file.mesh);
    if (status == STATUS_OK && row >= 0) {
        ck_assert_uint_eq(mesh_vertices(file.mesh), differ[row].vertices);
        ck_assert_uint_eq(mesh_triangles(file.mesh), differ[row].triangles);
    }
    if (status == STATUS_OK) {
        ck_assert_uint_gt(mesh_vertices(file.mesh), 0);
        file_release(&file);
    }
    job_release(&job);
    free(path);
    return compared;
}

START_TEST(files_of_others)
{
    char *folder = folder_new(), command[512], line[1024];
    snprintf(command, sizeof command, "tar -xzf " CGAL " -C %s", folder);
    ck_assert_msg(system(command) == 0, "install libcgal-dev and assimp-testmodels: " CGAL);
    FILE *list = fopen("tests/data/open_files.txt", "r");
    ck_assert_ptr_nonnull(list);
    int compared = 0;
    while (fgets(line, sizeof line, list))
        if (line[0] != '#')
            compared += judge(line, folder);
    fclose(list);
    folder_remove(folder);
    ck_assert_int_ge(compared, 200);
}
END_TEST

/* The same through the archive, without unpacking it first. */
START_TEST(member_of_an_archive)
{
    struct job job;
    struct file file;
    job_init(&job);
    ck_assert_int_eq(file_read(CGAL "//data/meshes/sphere.stl", UNIT_NONE, &file, &job), STATUS_OK);
    ck_assert_str_eq(file.member, "data/meshes/sphere.stl");
    ck_assert_uint_gt(mesh_triangles(file.mesh), 0);
    file_release(&file);
    ck_assert_int_eq(file_read(CGAL, UNIT_NONE, &file, &job), STATUS_USAGE);
    ck_assert_ptr_nonnull(strstr(job.message, "//MEMBER"));
    job_release(&job);
}
END_TEST

Suite *suite_open_files(void);
Suite *suite_open_files(void)
{
    Suite *suite = suite_create("open_files");
    TCase *all = tcase_create("open files");
    tcase_set_timeout(all, 120);
    tcase_add_test(all, files_of_others);
    tcase_add_test(all, member_of_an_archive);
    suite_add_tcase(suite, all);
    return suite;
}
