/* Compressed files and archives open directly. */
#include <archive.h>
#include <archive_entry.h>
#include <check.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "format/format.h"
#include "tests/support/folder.h"

static char *folder, *stl;
static size_t stl_size;
static struct job job;
static struct file file;

static void begin(void)
{
    folder = folder_new();
    stl = folder_read("tests/data/seeds/binary.stl", &stl_size);
    ck_assert_msg(stl != NULL, "run the tests in the folder of the sources");
    job_init(&job);
    file = (struct file){0};
}

static void end(void)
{
    file_release(&file);
    job_release(&job);
    folder_remove(folder);
    free(stl);
}

struct member {
    const char *name, *text; /* text NULL: the STL file */
};

/* Packs the members by libarchive; returns the path. */
static char *pack(const char *name, int format, int filter, const struct member *member,
                  size_t count)
{
    char *path = folder_path(folder, name);
    struct archive *archive = archive_write_new();
    ck_assert_int_eq(archive_write_set_format(archive, format), ARCHIVE_OK);
    ck_assert_int_eq(archive_write_add_filter(archive, filter), ARCHIVE_OK);
    ck_assert_int_eq(archive_write_open_filename(archive, path), ARCHIVE_OK);
    for (size_t i = 0; i < count; i++) {
        const char *data = member[i].text ? member[i].text : stl;
        size_t size = member[i].text ? strlen(member[i].text) : stl_size;
        struct archive_entry *entry = archive_entry_new();
        archive_entry_set_pathname(entry, member[i].name);
        archive_entry_set_filetype(entry, AE_IFREG);
        archive_entry_set_perm(entry, 0644);
        archive_entry_set_size(entry, (la_int64_t)size);
        ck_assert_int_eq(archive_write_header(archive, entry), ARCHIVE_OK);
        ck_assert_int_eq(archive_write_data(archive, data, size), (la_ssize_t)size);
        archive_entry_free(entry);
    }
    ck_assert_int_eq(archive_write_close(archive), ARCHIVE_OK);
    archive_write_free(archive);
    return path;
}

static void opens(const char *path, const char *member)
{
    job_forgive(&job);
    file_release(&file);
    if (file_read(path, UNIT_NONE, &file, &job) != STATUS_OK)
        ck_abort_msg("%s", job.message);
    ck_assert_uint_eq(mesh_triangles(file.mesh), 4);
    ck_assert_int_eq(!file.member, !member);
    if (member)
        ck_assert_str_eq(file.member, member);
}

static void fails(const char *path, enum status status, const char *says)
{
    job_forgive(&job);
    file_release(&file);
    ck_assert_int_eq(file_read(path, UNIT_NONE, &file, &job), status);
    ck_assert_msg(strstr(job.message, says) != NULL, "\"%s\" does not say \"%s\"", job.message,
                  says);
    ck_assert_ptr_null(file.mesh);
}

static const struct {
    const char *name;
    int format, filter;
} kinds[] = {{"a.zip", ARCHIVE_FORMAT_ZIP, ARCHIVE_FILTER_NONE},
             {"a.7z", ARCHIVE_FORMAT_7ZIP, ARCHIVE_FILTER_NONE},
             {"a.tar", ARCHIVE_FORMAT_TAR_USTAR, ARCHIVE_FILTER_NONE},
             {"a.tar.gz", ARCHIVE_FORMAT_TAR_USTAR, ARCHIVE_FILTER_GZIP},
             {"a.tar.zst", ARCHIVE_FORMAT_TAR_PAX_RESTRICTED, ARCHIVE_FILTER_ZSTD}};
enum { KINDS = sizeof kinds / sizeof *kinds };

/* One mesh among other files, by its extension or by what it is. */
START_TEST(one_mesh)
{
    const struct member named[] = {
        {"readme.txt", "1 2 3 hello"}, {"scan/Gate 1.STL", NULL}, {"scan/._Gate 1.STL", "junk"}};
    const struct member nameless[] = {{"readme", "hello"},
                                      {"scan/gate", "OFF\n4 4 6\n0 0 0\n1 0 0\n"
                                                    "0 1 0\n0 0 1\n3 0 2 1\n3 "
                                                    "0 1 3\n3 1 2 3\n3 2 0 3\n"}};
    char *path = pack(kinds[_i].name, kinds[_i].format, kinds[_i].filter, named, 3);
    opens(path, "scan/Gate 1.STL");
    free(path);
    path = pack("unnamed", kinds[_i].format, kinds[_i].filter, nameless, 2);
    opens(path, "scan/gate");
    ck_assert_str_eq(file.format->name, "off");
    free(path);
}
END_TEST

/* Several: listed, and one is named. */
START_TEST(several_meshes)
{
    const struct member members[] = {{"a.stl", NULL}, {"b/c.stl", NULL}, {"d.txt", "hello"}};
    char *path = pack(kinds[_i].name, kinds[_i].format, kinds[_i].filter, members, 3), *one, *none;
    fails(path, STATUS_USAGE, "a.stl, b/c.stl");
    fails(path, STATUS_USAGE, "//MEMBER");
    ck_assert(asprintf(&one, "%s//b/c.stl", path) > 0 && asprintf(&none, "%s//e.stl", path) > 0);
    opens(one, "b/c.stl");
    fails(none, STATUS_USAGE, "no member \"e.stl\"");
    free(one);
    free(none);
    free(path);
}
END_TEST

START_TEST(no_mesh)
{
    const struct member members[] = {{"d.txt", "hello"}, {"e.jpg", "\xff\xd8\xff"}};
    char *path = pack(kinds[_i].name, kinds[_i].format, kinds[_i].filter, members, 2);
    fails(path, STATUS_FORMAT, "no file that looks like a mesh (2 other files)");
    free(path);
}
END_TEST

/* A single compressed file, found by content whatever it is called. */
START_TEST(one_file)
{
    static const int filters[] = {ARCHIVE_FILTER_GZIP, ARCHIVE_FILTER_BZIP2, ARCHIVE_FILTER_XZ,
                                  ARCHIVE_FILTER_ZSTD};
    const struct member member = {"gate.stl", NULL};
    char *path = pack("mail", ARCHIVE_FORMAT_RAW, filters[_i], &member, 1);
    opens(path, NULL);
    int in = open(path, O_RDONLY);
    ck_assert(in >= 0 && dup2(in, STDIN_FILENO) >= 0);
    opens("-", NULL);
    free(path);
}
END_TEST

/* Cut off anywhere: what was whole is read, or it is said what is wrong. */
START_TEST(damaged)
{
    const struct member member = {"gate.stl", NULL};
    char *path = pack(kinds[_i].name, kinds[_i].format, kinds[_i].filter, &member, 1);
    size_t size;
    char *data = folder_read(path, &size), *cut = folder_path(folder, "cut");
    for (size_t n = 0; n < size; n += 1 + size / 97) {
        folder_write(folder, "cut", data, n);
        job_forgive(&job);
        file_release(&file);
        enum status status = file_read(cut, UNIT_NONE, &file, &job);
        ck_assert_msg(status == STATUS_OK ? mesh_triangles(file.mesh) == 4
                                          : strstr(job.message, cut) != NULL,
                      "%s at %zu: %s", kinds[_i].name, n, job.message);
    }
    free(data);
    free(cut);
    free(path);
}
END_TEST

START_TEST(plain_file_has_no_members)
{
    char *path = folder_path(folder, "plain.stl"),
         *member = folder_path(folder, "plain.stl//a.stl");
    char *doubled = NULL;
    folder_write(folder, "plain.stl", stl, stl_size);
    fails(member, STATUS_FORMAT, "is no archive");
    ck_assert_int_gt(asprintf(&doubled, "%s//plain.stl", folder), 0);
    opens(doubled, NULL); /* two slashes between folder and file mean one */
    fails("no//such.stl", STATUS_FILE, "no//such.stl");
    free(doubled);
    free(path);
    free(member);
}
END_TEST

/* Sevens by the gigabyte, in a file of a megabyte: no more memory than allowed. */
START_TEST(bomb)
{
    enum { BLOCK = 1 << 20 };
    char *path = folder_path(folder, "bomb.stl.gz"), *block = malloc(BLOCK);
    memset(block, '7', BLOCK);
    struct archive *archive = archive_write_new();
    struct archive_entry *entry = archive_entry_new();
    archive_write_set_format_raw(archive);
    archive_write_add_filter_gzip(archive);
    ck_assert_int_eq(archive_write_open_filename(archive, path), ARCHIVE_OK);
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_write_header(archive, entry);
    for (int i = 0; i < 256; i++)
        ck_assert_int_eq(archive_write_data(archive, block, BLOCK), BLOCK);
    archive_write_close(archive);
    archive_write_free(archive);
    archive_entry_free(entry);
    job.memory = 64 << 20;
    fails(path, STATUS_MEMORY, "memory");
    free(block);
    free(path);
}
END_TEST

Suite *suite_archive(void);
Suite *suite_archive(void)
{
    Suite *suite = suite_create("archive");
    TCase *all = tcase_create("archive");
    tcase_set_timeout(all, 60);
    tcase_add_checked_fixture(all, begin, end);
    tcase_add_loop_test(all, one_mesh, 0, KINDS);
    tcase_add_loop_test(all, several_meshes, 0, KINDS);
    tcase_add_loop_test(all, no_mesh, 0, KINDS);
    tcase_add_loop_test(all, one_file, 0, 4);
    tcase_add_loop_test(all, damaged, 0, KINDS);
    tcase_add_test(all, plain_file_has_no_members);
    tcase_add_test(all, bomb);
    suite_add_tcase(suite, all);
    return suite;
}
