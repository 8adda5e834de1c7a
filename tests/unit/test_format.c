/* Files in and out, looping over formats.def. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "format/sink.h"
#include "format/source.h"
#include "tests/support/shapes.h"

START_TEST(extension_lookup)
{
    ck_assert_str_eq(format_for_path("x/gate.STL")->name, "stl");
    ck_assert_ptr_null(format_for_path("x.stl/gate"));
    ck_assert_ptr_null(format_for_path("gate."));
    ck_assert_ptr_null(format_for_path("gate"));
    ck_assert_ptr_nonnull(format_named("stl"));
    ck_assert_ptr_null(format_named("unheard"));
}
END_TEST

START_TEST(units)
{
    ck_assert_int_eq(unit_named("in", 2), UNIT_IN);
    ck_assert_int_eq(unit_named("inch", 4), UNIT_NONE);
    ck_assert_double_eq(unit_millimetres(UNIT_FT), 304.8); /* 12 x 25.4, exact by definition */
    ck_assert_str_eq(unit_name(UNIT_UM), "um");
}
END_TEST

static char folder[] = "/tmp/fettle-format-XXXXXX";
static char path[256];

static const char *in_folder(const char *name)
{
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

START_TEST(save_and_load)
{
    struct mesh *ball = shape_sphere(20, 3);
    struct job job;
    struct file file;
    job_init(&job);
    ck_assert_int_eq(file_write(ball, in_folder("ball.stl"), NULL, NULL, &job), STATUS_OK);
    ck_assert_int_eq(file_read(path, UNIT_NONE, &file, &job), STATUS_OK);
    ck_assert_uint_eq(mesh_triangles(file.mesh), mesh_triangles(ball));
    file_release(&file);
    mesh_free(ball);
    job_release(&job);
}
END_TEST

static void make_folder(void)
{
    strcpy(folder + strlen(folder) - 6, "XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
}

static void remove_folder(void)
{
    char command[128];
    snprintf(command, sizeof command, "rm -rf %s", folder);
    ck_assert_int_eq(system(command), 0);
}

Suite *suite_format(void);
Suite *suite_format(void)
{
    Suite *suite = suite_create("format");
    TCase *table = tcase_create("table");
    tcase_add_test(table, extension_lookup);
    tcase_add_test(table, units);
    suite_add_tcase(suite, table);
    TCase *files = tcase_create("files");
    tcase_add_checked_fixture(files, make_folder, remove_folder);
    tcase_add_test(files, save_and_load);
    suite_add_tcase(suite, files);
    return suite;
}
