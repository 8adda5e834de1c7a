/* Files made to do harm, or found by fuzzing to have done some: all of tests/data/hostile, and the
 * headers that promise more than there is. A reader says what is wrong, or reads what is right. */
#include <check.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#include "core/job.h"
#include "format/format.h"
#include "tests/support/folder.h"

#define HOSTILE "tests/data/hostile"

static bool sound(const struct mesh *mesh)
{
    bool ok = true;
    for (size_t i = 0; i < mesh_vertices(mesh); i++) {
        struct point p = mesh_point(mesh)[i];
        ok = ok && isfinite(p.x) && isfinite(p.y) && isfinite(p.z);
    }
    for (size_t i = 0; i < 3 * mesh_triangles(mesh); i++)
        ok = ok && mesh_triangle(mesh)[i / 3].v[i % 3] < mesh_vertices(mesh);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        ok = ok && (!mesh->attribute[i] ||
                    mesh->attribute[i]->count == mesh_domain(mesh, attribute_row(i)->domain));
    return ok;
}

/* Reads the bytes by their content and by every row. */
static void survive(const char *name, const char *data, size_t size)
{
    const struct bytes bytes = {.data = (const unsigned char *)data, .size = size, .name = name};
    const struct format *format = NULL;
    for (size_t i = 0; i == 0 || (format = format_row(i - 1)); i++) {
        struct job job;
        struct file file = {0};
        struct reading reading = {.unit = UNIT_NONE};
        job_init(&job);
        enum status status = format ? format->read(&bytes, &reading, &job)
                                    : file_read_bytes(&bytes, UNIT_NONE, &file, &job);
        struct mesh *mesh = format ? reading.mesh : file.mesh;
        ck_assert_msg(status == STATUS_OK ? mesh && sound(mesh)
                                          : !mesh && strstr(job.message, name),
                      "%s as %s: %s", name, format ? format->name : "what it is", job.message);
        mesh_free(mesh);
        job_release(&job);
    }
}

START_TEST(corpus)
{
    struct dirent **entry;
    int count = scandir(HOSTILE, &entry, NULL, alphasort), files = 0;
    ck_assert_msg(count > 0, "run the tests in the folder of the sources");
    for (int i = 0; i < count; i++) {
        char *path = folder_path(HOSTILE, entry[i]->d_name);
        size_t size;
        char *data = entry[i]->d_name[0] == '.' ? NULL : folder_read(path, &size);
        if (data) {
            survive(entry[i]->d_name, data, size);
            files++;
        }
        free(data);
        free(path);
        free(entry[i]);
    }
    free(entry);
    ck_assert_int_ge(files, 6);
}
END_TEST

static long peak_megabytes(void)
{
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return usage.ru_maxrss / 1024;
}

#define XYZ "property float x\nproperty float y\nproperty float z\n"
#define LIST "property list uint uint vertex_indices\n"

/* Promises of billions in files of some bytes: refused or cut short, at once and in no memory. */
START_TEST(promises)
{
    static const struct {
        const char *text;
        size_t size;
    } files[] = {
#define PROMISE(text) {text, sizeof text - 1}
        PROMISE("ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\n" XYZ
                "end_header\n0123456789ab"),
        PROMISE("ply\nformat binary_little_endian 1.0\nelement vertex 700000000\n" XYZ
                "element face 700000000\n" LIST "end_header\n0123456789ab"),
        PROMISE("ply\nformat binary_big_endian 1.0\nelement vertex 1\n" XYZ "element face 1\n" LIST
                "end_header\n0123456789ab\xff\xff\xff\xff"
                "0123"),
        PROMISE("ply\nformat ascii 1.0\nelement vertex 1\n" XYZ "element face 1\n" LIST
                "end_header\n0 0 0\n4000000000 0 1 2\n"),
        PROMISE("ply\nformat ascii 1.0\nelement vertex 1\n" XYZ
                "element none 999999999999999\nend_header\n0 0 0\n"),
        PROMISE("ply\nformat ascii 1.0\nelement vertex 18446744073709551617\n" XYZ "end_header\n"),
        PROMISE("ply\nformat ascii 1.0\nobj_info num_cols 4000000000\nobj_info num_rows "
                "4000000000\nelement vertex 1\n" XYZ "element range_grid 1\n" LIST
                "end_header\n0 0 0\n1 0\n"),
        PROMISE("OFF\n700000000 700000000 0\n0 0 0\n"),
        PROMISE("OFF\n1 1 0\n0 0 0\n4000000000 0 1 2\n"),
        PROMISE("OFF BINARY\n\x7f\xff\xff\xff\x7f\xff\xff\xff\0\0\0\0"
                "0123456789ab"),
        PROMISE("OFF BINARY\n\0\0\0\0\0\0\0\1\0\0\0\0\xff\xff\xff\xff\xff\xff\xff\xff"),
    };
    long before = peak_megabytes();
    for (size_t i = 0; i < sizeof files / sizeof *files; i++)
        survive("promise", files[i].text, files[i].size);
    unsigned char stl[84 + 50] = {0}; /* a count of 4294967294 and one facet */
    memset(stl + 80, 255, 4);
    stl[80] = 254;
    survive("promise", (const char *)stl, sizeof stl);
    ck_assert_int_lt(peak_megabytes() - before, 64);
}
END_TEST

/* No newline, or nothing but newlines, or one endless word, in megabytes: in linear time. */
START_TEST(monotonous)
{
    enum { SIZE = 8 << 20 };
    static const char *const heads[] = {"solid x\n facet", "OFF\n9 9 9\n", "v 0 0 0\nf", "0 0 0\n",
                                        "ply\nformat ascii 1.0\nelement vertex 99999999\n" XYZ
                                        "element face 9999999\n" LIST "end_header\n"};
    static const char fill[] = " \n1-.v#\\f";
    char *data = malloc(SIZE + 1);
    for (size_t h = 0; h < sizeof heads / sizeof *heads; h++) {
        size_t n = strlen(heads[h]);
        memset(data, fill[_i], SIZE);
        memcpy(data, heads[h], n);
        const struct bytes bytes = {
            .data = (const unsigned char *)data, .size = SIZE, .name = "monotonous"};
        struct job job;
        struct file file = {0};
        job_init(&job);
        if (file_read_bytes(&bytes, UNIT_NONE, &file, &job) == STATUS_OK)
            ck_assert(sound(file.mesh));
        else
            ck_assert_msg(strstr(job.message, "monotonous") != NULL, "%s", job.message);
        file_release(&file);
        job_release(&job);
    }
    free(data);
}
END_TEST

/* Faces of many corners that cross themselves: millions of corners, not a minute. */
START_TEST(tangled_polygon)
{
    enum { CORNERS = 300000 };
    char *text = malloc(CORNERS * 40 + 100), *to = text;
    to += sprintf(to, "OFF\n%d 1 0\n", CORNERS);
    for (unsigned i = 0; i < CORNERS; i++)
        to += sprintf(to, "%u %u 0\n", i * 7919u % 1009, i * 104729u % 2003);
    to += sprintf(to, "%d", CORNERS);
    for (unsigned i = 0; i < CORNERS; i++)
        to += sprintf(to, " %u", i);
    *to++ = '\n';
    const struct bytes bytes = {
        .data = (const unsigned char *)text, .size = (size_t)(to - text), .name = "tangled"};
    struct file file;
    ck_assert_int_eq(file_read_bytes(&bytes, UNIT_NONE, &file, NULL), STATUS_OK);
    ck_assert_uint_eq(mesh_triangles(file.mesh), CORNERS - 2);
    file_release(&file);
    free(text);
}
END_TEST

Suite *suite_hostile(void);
Suite *suite_hostile(void)
{
    Suite *suite = suite_create("hostile");
    TCase *all = tcase_create("hostile");
    tcase_set_timeout(all, 60);
    tcase_add_test(all, corpus);
    tcase_add_test(all, promises);
    tcase_add_loop_test(all, monotonous, 0, 9);
    tcase_add_test(all, tangled_polygon);
    suite_add_tcase(suite, all);
    return suite;
}
