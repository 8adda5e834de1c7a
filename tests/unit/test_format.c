/* The table of formats, and files out: looping over formats.def, so that a new row is tested the
 * day it is written. */
#include <check.h>
#include <dirent.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/job.h"
#include "format/format.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"

enum { ROWS_MOST = 32 };

static char *folder;
static struct job job;
static struct file file;

static void begin(void)
{
    folder = folder_new();
    job_init(&job);
}

static void end(void)
{
    folder_remove(folder);
    job_release(&job);
}

static void load(const char *path)
{
    if (file_read(path, UNIT_NONE, &file, &job) != STATUS_OK)
        ck_abort_msg("%s", job.message);
}

static void save(const struct mesh *mesh, const char *path, bool ascii)
{
    const struct write_options options = {.ascii = ascii, .unit = UNIT_MM};
    if (file_write(mesh, path, NULL, &options, &job) != STATUS_OK)
        ck_abort_msg("%s", job.message);
}

static void same_bytes(const char *path, const char *other)
{
    size_t size, again;
    char *a = folder_read(path, &size), *b = folder_read(other, &again);
    ck_assert_uint_eq(size, again);
    ck_assert_mem_eq(a, b, size);
    free(a);
    free(b);
}

static char *path_for(const char *name, const struct format *format)
{
    char whole[128];
    snprintf(whole, sizeof whole, "%s.%.*s", name, (int)strcspn(format->extensions, " "),
             format->extensions);
    return folder_path(folder, whole);
}

/* --- the table --------------------------------------------------------------------------- */

START_TEST(rows_are_whole)
{
    const struct format *format;
    size_t i = 0;
    for (; (format = format_row(i)); i++) {
        ck_assert_ptr_eq(format_named(format->name), format);
        ck_assert(format->title && strlen(format->title) > 10 && format->read && format->sniff);
        ck_assert(format->points || format->triangles);
        char name[64];
        const char *word = format->extensions;
        while (*word) { /* no other row has this extension */
            snprintf(name, sizeof name, "folder.x/GATE.%.*s", (int)strcspn(word, " "), word);
            ck_assert_ptr_eq(format_for_path(name), format);
            word += strcspn(word, " ");
            word += *word == ' ';
        }
    }
    ck_assert_uint_lt(i, ROWS_MOST);
}
END_TEST

START_TEST(extension_lookup)
{
    ck_assert_str_eq(format_for_path("x/gate.STL")->name, "stl");
    ck_assert_ptr_null(format_for_path("x.stl/gate"));
    ck_assert_ptr_null(format_for_path("gate."));
    ck_assert_ptr_null(format_for_path("gate"));
    ck_assert_ptr_null(format_for_path("gate.stlx"));
    ck_assert_ptr_null(format_named("unheard"));
}
END_TEST

START_TEST(units)
{
    ck_assert_int_eq(unit_named("in", 2), UNIT_IN);
    ck_assert_int_eq(unit_named("inch", 4), UNIT_NONE);
    ck_assert_double_eq(unit_millimetres(UNIT_IN), 25.4); /* exact by definition */
    ck_assert_double_eq_tol(unit_millimetres(UNIT_FT), 12 * 25.4, 1e-12);
    ck_assert_str_eq(unit_name(UNIT_UM), "um");
}
END_TEST

/* --- save, load, save --------------------------------------------------------------------- */

/* A sphere with every attribute there is; far from zero when `far`. */
static struct mesh *rich(bool far)
{
    struct mesh *ball = shape_sphere(20, 3);
    uint64_t state = 5;
    for (int k = 0; k < 3; k++)
        ball->origin[k] = far ? (k - 1) * 500000.25 : 0;
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        const struct attribute_row *row = attribute_row(i);
        char *data = mesh_attribute_new(ball, i);
        size_t values = mesh_domain(ball, row->domain) * row->components;
        for (size_t k = 0; k < values; k++) {
            double x = shape_random(&state);
            if (row->element == ELEMENT_float)
                ((float *)(void *)data)[k] = (float)x;
            else if (row->element == ELEMENT_uint16_t)
                ((uint16_t *)(void *)data)[k] = (uint16_t)(x * 65535);
            else
                ((uint8_t *)data)[k] = (uint8_t)(i == ATTRIBUTE_origin ? 3 * x : x * 255);
        }
    }
    return ball;
}

enum { KINDS = 8 }; /* text or not, far or not, rich or not */

START_TEST(save_load_save)
{
    const struct format *format = format_row((size_t)_i / KINDS);
    bool ascii = _i & 1, far = _i & 2, plain = _i & 4;
    if (!format || !format->write)
        return;
    struct mesh *mesh = rich(far);
    for (enum attribute i = 0; plain && i < ATTRIBUTE_COUNT; i++) {
        array_free(mesh->attribute[i]);
        mesh->attribute[i] = NULL;
    }
    if (!format->triangles)
        array_shrink(mesh->triangle, 0);
    char *first = path_for("first", format), *second = path_for("second", format);
    save(mesh, first, ascii);
    load(first);
    ck_assert_ptr_eq(file.format, format);
    ck_assert_uint_eq(mesh_triangles(file.mesh), mesh_triangles(mesh));
    ck_assert_uint_eq(mesh_vertices(file.mesh), mesh_vertices(mesh));
    ck_assert_int_eq(file.partial, false);
    ck_assert_int_eq(file.colour, format->colour && !plain ? COLOUR_VERTEX : COLOUR_NONE);
    save(file.mesh, second, ascii);
    same_bytes(first, second);
    file_release(&file);
    mesh_free(mesh);
    free(first);
    free(second);
}
END_TEST

/* Positions come back where they were: to the last bit, or as near as the format can. */
START_TEST(positions_are_kept)
{
    const struct format *format = format_row((size_t)_i / 4);
    bool ascii = _i & 1, far = _i & 2;
    if (!format || !format->write)
        return;
    struct mesh *mesh = rich(far);
    if (!format->triangles)
        array_shrink(mesh->triangle, 0);
    char *path = path_for("at", format);
    save(mesh, path, ascii);
    load(path);
    bool floats = strcmp(format->name, "stl") == 0 && !ascii;
    double most = 0;
    for (size_t t = 0; t < mesh_triangles(mesh); t++)
        for (int k = 0; k < 3; k++) {
            struct point a = mesh_point(mesh)[mesh_triangle(mesh)[t].v[k]];
            struct point b = mesh_point(file.mesh)[mesh_triangle(file.mesh)[t].v[k]];
            double d = vec_length(
                vec_sub(mesh_world(mesh, point_vec(a)), mesh_world(file.mesh, point_vec(b))));
            most = d > most ? d : most;
        }
    if (far) /* half a float's last place at 5e5, or at 512 beside the origin */
        ck_assert_double_le(most, floats ? 0.0271 : 5.3e-5);
    else
        ck_assert_double_eq(most, 0);
    file_release(&file);
    mesh_free(mesh);
    free(path);
}
END_TEST

/* PLY keeps every attribute, in both forms. */
START_TEST(ply_keeps_attributes)
{
    struct mesh *mesh = rich(false);
    char *path = folder_path(folder, "all.ply");
    save(mesh, path, _i);
    load(path);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        ck_assert_msg(file.mesh->attribute[i] != NULL, "%s", attribute_row(i)->name);
        ck_assert_mem_eq(mesh_attribute(file.mesh, i), mesh_attribute(mesh, i),
                         array_bytes(mesh->attribute[i]));
    }
    file_release(&file);
    mesh_free(mesh);
    free(path);
}
END_TEST

/* A length of 1 written in another unit and read back is still that long, and the file says so. */
START_TEST(units_come_back)
{
    const struct format *format = format_row((size_t)_i / (2 * UNIT_COUNT));
    if (!format || !format->write)
        return;
    const struct write_options options = {.ascii = _i % 2,
                                          .unit = (enum unit)(_i / 2 % UNIT_COUNT)};
    struct mesh *box = shape_box(100, 200, 300, 1);
    if (!format->triangles)
        array_shrink(box->triangle, 0);
    char *path = path_for("box", format);
    ck_assert_int_eq(file_write(box, path, NULL, &options, &job), STATUS_OK);
    load(path);
    ck_assert_int_eq(file.unit, options.unit);
    ck_assert_int_eq(file.unit_source == UNIT_GIVEN, false);
    double most = 0;
    for (size_t i = 0; i < mesh_vertices(file.mesh); i++)
        most = fmax(most, mesh_world(file.mesh, point_vec(mesh_point(file.mesh)[i])).z);
    ck_assert_double_eq_tol(most, 300, 1e-4);
    file_release(&file);
    ck_assert_int_eq(file_read(path, UNIT_MM, &file, &job), STATUS_OK); /* as given wins */
    ck_assert_int_eq(file.unit_source, UNIT_GIVEN);
    ck_assert_int_eq(file.unit, UNIT_MM);
    file_release(&file);
    mesh_free(box);
    free(path);
}
END_TEST

/* Two neighbouring floats may be one after scaling: they are joined again, or `joined` would lie. */
START_TEST(scaled_positions_are_joined)
{
    float a = 1, b = nextafterf(a, 2);
    while ((float)((double)a * 25.4) != (float)((double)b * 25.4)) {
        a = b;
        b = nextafterf(b, 2);
    }
    unsigned char stl[84 + 2 * 50] = {[80] = 2};
    const float corner[2][9] = {{a, 0, 0, 5, 0, 0, 0, 5, 0}, {b, 0, 0, 0, 5, 0, 5, 0, 0}};
    for (size_t i = 0; i < 2; i++)
        memcpy(stl + 84 + 50 * i + 12, corner[i], sizeof corner[i]);
    const struct bytes bytes = {.data = stl, .size = sizeof stl, .name = "two.stl"};
    ck_assert_int_eq(file_read_bytes(&bytes, UNIT_MM, &file, &job), STATUS_OK);
    ck_assert_uint_eq(mesh_vertices(file.mesh), 4);
    file_release(&file);
    ck_assert_int_eq(file_read_bytes(&bytes, UNIT_IN, &file, &job), STATUS_OK);
    ck_assert(file.mesh->joined);
    ck_assert_uint_eq(mesh_vertices(file.mesh), 3);
    file_release(&file);
}
END_TEST

static void same_mesh(const struct mesh *a, const struct mesh *b)
{
    ck_assert_uint_eq(array_bytes(a->point), array_bytes(b->point));
    ck_assert_uint_eq(array_bytes(a->triangle), array_bytes(b->triangle));
    ck_assert_mem_eq(a->point->data, b->point->data, array_bytes(a->point));
    ck_assert_mem_eq(a->triangle->data, b->triangle->data, array_bytes(a->triangle));
    ck_assert_mem_eq(a->origin, b->origin, sizeof a->origin);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        ck_assert_uint_eq(array_bytes(a->attribute[i]), array_bytes(b->attribute[i]));
        if (a->attribute[i])
            ck_assert_mem_eq(a->attribute[i]->data, b->attribute[i]->data,
                             array_bytes(a->attribute[i]));
    }
}

/* Files of several parts: however many threads read and write, the bytes are the same. */
START_TEST(threads_change_nothing)
{
    const struct format *format = format_row((size_t)_i / 2);
    if (!format || !format->write)
        return;
    struct mesh *ball = shape_sphere(20, 6);
    if (!format->triangles)
        array_shrink(ball->triangle, 0);
    char *one = path_for("one", format), *many = path_for("many", format);
    job.threads = 1;
    save(ball, one, _i % 2);
    load(one);
    struct file single = file;
    job.threads = 5;
    save(ball, many, _i % 2);
    same_bytes(one, many);
    load(many);
    same_mesh(single.mesh, file.mesh);
    ck_assert_uint_eq(mesh_triangles(file.mesh), mesh_triangles(ball));
    file_release(&single);
    file_release(&file);
    mesh_free(ball);
    free(one);
    free(many);
}
END_TEST

/* --- failing, and what it leaves ------------------------------------------------------------ */

static int files_in_folder(void)
{
    int count = 0;
    DIR *dir = opendir(folder);
    for (struct dirent *entry; (entry = readdir(dir));)
        count += entry->d_name[0] != '.' || strlen(entry->d_name) > 2;
    closedir(dir);
    return count;
}

/* The old file, one byte long, is there and nothing beside it. */
static void old_file_is_whole(const char *path)
{
    size_t size;
    char *data = folder_read(path, &size);
    ck_assert_uint_eq(size, 3);
    ck_assert_str_eq(data, "old");
    free(data);
    ck_assert_int_eq(files_in_folder(), 1);
}

START_TEST(disk_full)
{
    const struct format *format = format_row((size_t)_i);
    if (!format || !format->write)
        return;
    struct mesh *ball = shape_sphere(20, 6);
    if (!format->triangles)
        array_shrink(ball->triangle, 0);
    char *path = path_for("gate", format);
    folder_write(folder, strrchr(path, '/') + 1, "old", 3);
    const struct rlimit limit = {300000, 300000};
    signal(SIGXFSZ, SIG_IGN);
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_int_eq(file_write(ball, path, NULL, NULL, &job), STATUS_FILE);
    ck_assert_msg(strstr(job.message, path) && strstr(job.message, "no space") &&
                      strstr(job.message, "earlier file is as it was"),
                  "%s", job.message);
    old_file_is_whole(path);
    mesh_free(ball);
    free(path);
}
END_TEST

START_TEST(full_device)
{
    struct mesh *ball = shape_sphere(20, 2);
    ck_assert_int_eq(file_write(ball, "/dev/full", format_named("stl"), NULL, &job), STATUS_FILE);
    ck_assert_msg(strstr(job.message, "no space"), "%s", job.message);
    job_forgive(&job);
    ck_assert_int_eq(file_write(ball, "/dev/null", format_named("stl"), NULL, &job), STATUS_OK);
    struct stat info;
    ck_assert(stat("/dev/null", &info) == 0 && S_ISCHR(info.st_mode));
    mesh_free(ball);
}
END_TEST

START_TEST(cancelled)
{
    struct mesh *ball = shape_sphere(20, 5);
    char *path = folder_path(folder, "gate.stl");
    folder_write(folder, "gate.stl", "old", 3);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(file_write(ball, path, NULL, NULL, &job), STATUS_CANCELLED);
    old_file_is_whole(path);
    mesh_free(ball);
    free(path);
}
END_TEST

/* Every reader answers cancel, and owns nothing afterwards. */
START_TEST(reading_cancelled)
{
    const struct format *format = format_row((size_t)_i / 2);
    if (!format || !format->write)
        return;
    struct mesh *ball = shape_sphere(20, 5);
    if (!format->triangles)
        array_shrink(ball->triangle, 0);
    char *path = path_for("gate", format);
    save(ball, path, _i % 2);
    atomic_store(&job.cancel, true);
    ck_assert_int_eq(file_read(path, UNIT_NONE, &file, &job), STATUS_CANCELLED);
    ck_assert_ptr_null(file.mesh);
    mesh_free(ball);
    free(path);
}
END_TEST

START_TEST(permissions_are_kept)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    char *path = folder_path(folder, "gate.stl"), *fresh = folder_path(folder, "new.stl");
    struct stat info;
    folder_write(folder, "gate.stl", "old", 3);
    ck_assert_int_eq(chmod(path, 0640), 0);
    umask(027);
    save(box, path, false);
    ck_assert_int_eq(stat(path, &info), 0);
    ck_assert_int_eq(info.st_mode & 07777, 0640);
    ck_assert_int_eq(info.st_size, 84 + 12 * 50);
    save(box, fresh, false);
    ck_assert_int_eq(stat(fresh, &info), 0);
    ck_assert_int_eq(info.st_mode & 07777, 0640); /* 0666 less the mask */
    mesh_free(box);
    free(path);
    free(fresh);
}
END_TEST

/* Root may write anywhere: be somebody else. */
static void be_nobody(void)
{
    if (geteuid() == 0 && (setegid(65534) != 0 || seteuid(65534) != 0))
        ck_abort_msg("cannot give up root");
}

static void be_oneself(void)
{
    if (getuid() == 0 && (seteuid(0) != 0 || setegid(0) != 0))
        ck_abort_msg("cannot be root again");
}

START_TEST(no_permission)
{
    bool file_only = _i; /* the folder, or just the file, is closed */
    struct mesh *box = shape_box(1, 1, 1, 1);
    char *path = folder_path(folder, "gate.stl");
    folder_write(folder, "gate.stl", "old", 3);
    ck_assert_int_eq(chmod(path, file_only ? 0444 : 0666), 0);
    ck_assert_int_eq(chmod(folder, file_only ? 0777 : 0555), 0);
    be_nobody();
    enum status status = file_write(box, path, NULL, NULL, &job);
    be_oneself();
    ck_assert_int_eq(status, STATUS_FILE);
    ck_assert_msg(strstr(job.message, path) && strstr(job.message, "ermi"), "%s", job.message);
    ck_assert_int_eq(chmod(folder, 0700), 0);
    old_file_is_whole(path);
    mesh_free(box);
    free(path);
}
END_TEST

START_TEST(links_are_written_through)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    char *link = folder_path(folder, "link.stl"), *target = folder_path(folder, "target.stl");
    struct stat info;
    ck_assert_int_eq(symlink("target.stl", link), 0);
    for (int there = 0; there < 2; there++) { /* the target is not there, then it is */
        save(box, link, false);
        ck_assert(lstat(link, &info) == 0 && S_ISLNK(info.st_mode));
        ck_assert(lstat(target, &info) == 0 && S_ISREG(info.st_mode) && info.st_size == 684);
        ck_assert_int_eq(files_in_folder(), 2);
    }
    mesh_free(box);
    free(link);
    free(target);
}
END_TEST

START_TEST(standard_output_and_input)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    char *path = folder_path(folder, "out");
    int out = open(path, O_CREAT | O_RDWR, 0600), kept = dup(STDOUT_FILENO);
    fflush(stdout);
    ck_assert(out >= 0 && kept >= 0 && dup2(out, STDOUT_FILENO) >= 0);
    enum status status = file_write(box, "-", format_named("ply"), NULL, &job);
    ck_assert(dup2(kept, STDOUT_FILENO) >= 0);
    ck_assert_int_eq(status, STATUS_OK);
    lseek(out, 0, SEEK_SET);
    ck_assert(dup2(out, STDIN_FILENO) >= 0);
    load("-");
    ck_assert_uint_eq(mesh_triangles(file.mesh), 12);
    ck_assert_str_eq(file.format->name, "ply");
    file_release(&file);
    mesh_free(box);
    free(path);
}
END_TEST

START_TEST(what_cannot_be_done)
{
    struct mesh *box = shape_box(1, 1, 1, 1);
    static const struct {
        const char *path;
        enum status status;
        const char *says;
    } cases[] = {{"gate.unheard", STATUS_USAGE, "ending"},
                 {"gate", STATUS_USAGE, "ending"},
                 {"no/such/gate.stl", STATUS_FILE, "folder"},
                 {"gate.xyz", STATUS_REFUSED, "triangles"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *path = folder_path(folder, cases[i].path);
        job_forgive(&job);
        ck_assert_int_eq(file_write(box, path, NULL, NULL, &job), cases[i].status);
        ck_assert_msg(strstr(job.message, path) && strstr(job.message, cases[i].says), "%s",
                      job.message);
        free(path);
    }
    ck_assert_int_eq(files_in_folder(), 0);
    job_forgive(&job);
    ck_assert_int_eq(file_read(folder, UNIT_NONE, &file, &job), STATUS_FILE);
    ck_assert_msg(strstr(job.message, "folder"), "%s", job.message);
    mesh_free(box);
}
END_TEST

Suite *suite_format(void);
Suite *suite_format(void)
{
    Suite *suite = suite_create("format");
    TCase *table = tcase_create("table");
    tcase_add_test(table, rows_are_whole);
    tcase_add_test(table, extension_lookup);
    tcase_add_test(table, units);
    suite_add_tcase(suite, table);
    TCase *files = tcase_create("files");
    tcase_set_timeout(files, 60);
    tcase_add_checked_fixture(files, begin, end);
    tcase_add_loop_test(files, save_load_save, 0, KINDS * ROWS_MOST);
    tcase_add_loop_test(files, positions_are_kept, 0, 4 * ROWS_MOST);
    tcase_add_loop_test(files, ply_keeps_attributes, 0, 2);
    tcase_add_loop_test(files, units_come_back, 0, 2 * UNIT_COUNT * ROWS_MOST);
    tcase_add_test(files, scaled_positions_are_joined);
    tcase_add_loop_test(files, threads_change_nothing, 0, 2 * ROWS_MOST);
    tcase_add_loop_test(files, disk_full, 0, ROWS_MOST);
    tcase_add_test(files, full_device);
    tcase_add_test(files, cancelled);
    tcase_add_loop_test(files, reading_cancelled, 0, 2 * ROWS_MOST);
    tcase_add_test(files, permissions_are_kept);
    tcase_add_loop_test(files, no_permission, 0, 2);
    tcase_add_test(files, links_are_written_through);
    tcase_add_test(files, standard_output_and_input);
    tcase_add_test(files, what_cannot_be_done);
    suite_add_tcase(suite, files);
    return suite;
}
