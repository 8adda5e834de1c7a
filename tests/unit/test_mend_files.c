/* Files that nobody here wrote, mended: tests/data/open_files.txt names them (the Debian packages
 * assimp-testmodels and libcgal-demo). Each comes out a solid or is refused, by name: a cloud, or a
 * sheet with no inside. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "format/format.h"
#include "solid/mend.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

#define ASSIMP "/usr/share/assimp/models/"
#define CGAL "/usr/share/doc/libcgal-dev/data.tar.gz"

struct tally {
    size_t sound, already, clouds, sheets, unread;
};

static void judge(const char *name, const struct mesh *mesh, struct tally *tally)
{
    struct mend_report report;
    struct mesh *out = NULL;
    struct job job;
    job_init(&job);
    const struct mend_options options = {.shape = FILL_SMOOTH};
    enum status status = mend(mesh, &options, &out, &report, &job);
    if (status == STATUS_OK) {
        struct mesh *joined = sound_joined(out); /* what stays may have vertices in one place */
        const char *fault = sound_fault(joined);
        ck_assert_msg(!fault || !strcmp(fault, "a vertex no triangle uses"), "%s: %s", name, fault);
        ck_assert_msg(sound_crossings(joined) == 0, "%s crosses itself", name);
        ck_assert_msg(shape_count(joined).volume > 0, "%s is inside out", name);
        ck_assert_uint_eq(report.left, 0);
        tally->sound++;
        tally->already += !report.changed;
        mesh_free(joined);
    } else {
        bool cloud = strstr(job.message, "point cloud"), sheet = strstr(job.message, "no inside");
        ck_assert_msg(status == STATUS_REFUSED && (cloud || sheet), "%s: %s", name, job.message);
        tally->clouds += cloud;
        tally->sheets += sheet;
    }
    mesh_free(out);
    job_release(&job);
}

static void read_and_judge(const char *line, const char *folder, struct tally *tally)
{
    char name[256];
    struct file file;
    struct job job;
    ck_assert_int_eq(sscanf(line, "%255s", name), 1);
    bool assimp = strncmp(name, "assimp/", 7) == 0;
    char *path = folder_path(assimp ? ASSIMP : folder, strchr(name, '/') + 1);
    job_init(&job);
    if (file_read(path, UNIT_NONE, &file, &job) == STATUS_OK) {
        judge(name, file.mesh, tally);
        file_release(&file);
    } else {
        tally->unread++;
    }
    job_release(&job);
    free(path);
}

START_TEST(files_of_others)
{
    char *folder = folder_new(), command[512], line[1024];
    struct tally tally = {0};
    snprintf(command, sizeof command, "tar -xzf " CGAL " -C %s", folder);
    ck_assert_msg(system(command) == 0, "install libcgal-dev and assimp-testmodels: " CGAL);
    FILE *list = fopen("tests/data/open_files.txt", "r");
    ck_assert_ptr_nonnull(list);
    while (fgets(line, sizeof line, list))
        if (line[0] != '#')
            read_and_judge(line, folder, &tally);
    fclose(list);
    folder_remove(folder);
    if (getenv("FETTLE_LONG"))
        printf("%zu solid (%zu were), %zu sheets, %zu clouds, %zu not readable\n", tally.sound,
               tally.already, tally.sheets, tally.clouds, tally.unread);
    ck_assert_uint_ge(tally.sound, 140);
    ck_assert_uint_ge(tally.sound - tally.already, 50);
}
END_TEST

Suite *suite_mend_files(void);
Suite *suite_mend_files(void)
{
    Suite *suite = suite_create("mend_files");
    TCase *all = tcase_create("mend files");
    tcase_set_timeout(all, 300);
    tcase_add_test(all, files_of_others);
    suite_add_tcase(suite, all);
    return suite;
}
