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

enum { ROWS_MOST = 32 };

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

static struct job job;
static struct file file;

static void load(const char *from)
{
    if (file_read(from, UNIT_NONE, &file, &job) != STATUS_OK)
        ck_abort_msg("%s", job.message);
}

static void save(const struct mesh *mesh, const char *to, bool ascii)
{
    const struct write_options options = {.ascii = ascii, .unit = UNIT_MM};
    if (file_write(mesh, to, NULL, &options, &job) != STATUS_OK)
        ck_abort_msg("%s", job.message);
}

static unsigned char *slurp(const char *from, size_t *size)
{
    FILE *in = fopen(from, "rb");
    ck_assert_ptr_nonnull(in);
    unsigned char *data = malloc(1 << 24);
    *size = fread(data, 1, 1 << 24, in);
    fclose(in);
    return data;
}

/* Every row, binary and text: what was saved, loaded and saved again is the same, byte for byte. */
START_TEST(save_load_save)
{
    const struct format *format = format_row((size_t)_i / 2);
    if (!format || !format->write)
        return;
    struct mesh *ball = shape_sphere(20, 3);
    char name[64], first[256], second[256];
    snprintf(name, sizeof name, "first.%.*s", (int)strcspn(format->extensions, " "),
             format->extensions);
    strcpy(first, in_folder(name));
    snprintf(name, sizeof name, "second.%.*s", (int)strcspn(format->extensions, " "),
             format->extensions);
    strcpy(second, in_folder(name));
    if (!format->triangles)
        array_shrink(ball->triangle, 0);
    for (int k = 0; k < 3; k++)
        ball->origin[k] = k * 500000.25;
    save(ball, first, _i % 2);
    load(first);
    ck_assert_ptr_eq(file.format, format);
    ck_assert_uint_eq(mesh_triangles(file.mesh), mesh_triangles(ball));
    save(file.mesh, second, _i % 2);
    file_release(&file);
    size_t size, again;
    unsigned char *a = slurp(first, &size), *b = slurp(second, &again);
    ck_assert_uint_eq(size, again);
    ck_assert_mem_eq(a, b, size);
    free(a);
    free(b);
    mesh_free(ball);
}
END_TEST

static void make_folder(void)
{
    strcpy(folder + strlen(folder) - 6, "XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    job_init(&job);
}

static void remove_folder(void)
{
    char command[128];
    snprintf(command, sizeof command, "rm -rf %s", folder);
    ck_assert_int_eq(system(command), 0);
    job_release(&job);
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
    tcase_add_loop_test(files, save_load_save, 0, 2 * ROWS_MOST);
    suite_add_tcase(suite, files);
    return suite;
}
