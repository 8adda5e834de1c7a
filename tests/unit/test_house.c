/* The laws of the house, read off its files and its library. */
#include <check.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "check/check.h"
#include "op/op.h"
#include "tests/support/folder.h"

/* --- files ---------------------------------------------------------------------------------- */

/* Calls visit for each .c .h .def file under `folder`, in order; returns how many. */
static int each_file(const char *folder, void (*visit)(const char *path))
{
    struct dirent **entry;
    int count = 0, n = scandir(folder, &entry, NULL, alphasort);
    ck_assert_msg(n >= 0, "%s: run the tests in the folder of the sources", folder);
    for (int i = 0; i < n; i++) {
        const char *name = entry[i]->d_name, *dot = strrchr(name, '.');
        char *path = folder_path(folder, name);
        struct stat info;
        if (name[0] != '.' && stat(path, &info) == 0 && S_ISDIR(info.st_mode)) {
            count += each_file(path, visit);
        } else if (dot &&
                   (strcmp(dot, ".c") == 0 || strcmp(dot, ".h") == 0 || strcmp(dot, ".def") == 0)) {
            visit(path);
            count++;
        }
        free(path);
        free(entry[i]);
    }
    free(entry);
    return count;
}

/* Who may know whom. */
static const struct {
    const char *room, *knows;
} rooms[] = {
    {"core", "core"},
    {"format", "core format"},
    {"check", "core check"},
    {"surface", "core surface"},
    {"scan", "core scan"},
    {"solid", "core surface solid"},
    {"raster", "core raster"},
    {"op", "core format check surface scan solid raster op"},
    {"scene", "core format check surface scan solid raster op scene"},
};

static const char *known_to(const char *path)
{
    for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++) {
        size_t n = strlen(rooms[i].room);
        if (strncmp(path, "mesh/", 5) == 0 && strncmp(path + 5, rooms[i].room, n) == 0 &&
            path[5 + n] == '/')
            return rooms[i].knows;
    }
    ck_abort_msg("%s: is in no room of the house", path);
}

static bool word_in(const char *list, const char *word, size_t n)
{
    for (const char *at = list; at; at = strchr(at, ' ')) {
        at += *at == ' ';
        if (strncmp(at, word, n) == 0 && (at[n] == ' ' || at[n] == '\0'))
            return true;
    }
    return false;
}

static void obeys_includes(const char *path)
{
    char *text = folder_read(path, NULL);
    for (const char *at = text; (at = strstr(at, "#include \"")); at++) {
        const char *name = at + strlen("#include \"");
        size_t n = strcspn(name, "/\"");
        ck_assert_msg(name[n] == '/' && word_in(known_to(path), name, n), "%s includes %.*s", path,
                      (int)strcspn(name, "\""), name);
    }
    ck_assert_msg(!strstr(text, "curses"), "%s knows curses", path);
    free(text);
}

START_TEST(rooms_know_whom_they_may)
{
    ck_assert_int_gt(each_file("mesh", obeys_includes), 100);
}
END_TEST

/* Files of at most 600 lines (but for those that are nothing but a table), functions of at most 60.
 * A function is what stands between '{' and '}' at the beginning of a line. */
static void is_readable(const char *path)
{
    char *text = folder_read(path, NULL), *rest = text;
    int number = 0, begun = 0, functions = 0;
    for (char *line; (line = strsep(&rest, "\n"));) {
        number++;
        if (line[0] == '{') {
            begun = number;
            functions++;
        }
        if (line[0] == '}' && begun) {
            ck_assert_msg(number - begun <= 61, "%s:%d: %d lines in one function", path, begun,
                          number - begun - 1);
            begun = 0;
        }
    }
    ck_assert_msg(number <= 601 || functions == 0, "%s: %d lines in one file", path, number - 1);
    free(text);
}

START_TEST(files_and_functions_are_of_readable_size)
{
    each_file("mesh", is_readable);
    each_file("tui", is_readable);
}
END_TEST

static void compiles_alone(const char *path)
{
    if (strcmp(path + strlen(path) - 2, ".h") != 0)
        return;
    char command[1024];
    snprintf(command, sizeof command,
             "echo '#include \"%s\"' | cc -std=c17 -D_GNU_SOURCE -fopenmp -Wall -Wextra -Wpedantic "
             "-Werror -I. -Imesh -Ibuild/gen $(pkg-config --cflags jansson libarchive libpng "
             "ncursesw check vterm 2>/dev/null) -fsyntax-only -x c -",
             path);
    ck_assert_msg(system(command) == 0, "%s does not compile alone", path);
}

START_TEST(headers_compile_alone)
{
    each_file("mesh", compiles_alone);
    each_file("tui", compiles_alone);
    each_file("tests/support", compiles_alone);
}
END_TEST

/* --- the library ---------------------------------------------------------------------------- */

/* What nm says of the library beside the program. The caller frees. */
static char *symbols(const char *options)
{
    char command[4096];
    const char *program = getenv("FETTLE_PROGRAM");
    ck_assert_ptr_nonnull(program);
    snprintf(command, sizeof command, "nm -A %s %.*s/libmesh.a 2>/dev/null", options,
             (int)(strrchr(program, '/') - program), program);
    FILE *nm = popen(command, "r");
    char *text = NULL, part[4096];
    size_t size = 0;
    for (size_t n; (n = fread(part, 1, sizeof part, nm)) > 0; size += n) {
        text = realloc(text, size + n + 1);
        memcpy(text + size, part, n);
    }
    pclose(nm);
    ck_assert_uint_gt(size, 1000);
    text[size] = '\0';
    return text;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* A linker takes the first of two that it comes by in an archive, and says nothing. */
START_TEST(no_two_files_define_the_same_name)
{
    char *text = symbols("-g --defined-only");
    size_t lines = 0, count = 0;
    for (const char *c = text; *c; c++)
        lines += *c == '\n';
    char **name = malloc((lines + 1) * sizeof *name);
    for (char *rest = text, *line; (line = strsep(&rest, "\n"));)
        if (strrchr(line, ' '))
            name[count++] = strrchr(line, ' ') + 1;
    qsort(name, count, sizeof *name, by_name);
    for (size_t i = 1; i < count; i++)
        ck_assert_msg(strcmp(name[i - 1], name[i]) != 0, "%s is defined twice", name[i]);
    free(name);
    free(text);
}
END_TEST

START_TEST(the_library_neither_prints_nor_exits_nor_knows_a_terminal)
{
    static const char *const banned[] = {
        "printf",  "puts",    "putchar", "perror",    "stdout", "stderr",    "exit",   "_exit",
        "abort",   "initscr", "newterm", "endwin",    "system", "setlocale", "strtok", "gets",
        "asctime", "ctime",   "gmtime",  "localtime", "rand",   "srand",     "signal", "chdir"};
    char *text = symbols("-u");
    for (char *rest = text, *line; (line = strsep(&rest, "\n"));) {
        const char *name = strrchr(line, ' ');
        for (size_t i = 0; name && i < sizeof banned / sizeof *banned; i++)
            ck_assert_msg(strcmp(name + 1, banned[i]) != 0, "%s", line);
    }
    free(text);
}
END_TEST

/* Initialised or not, data that can be written is state that two callers would share. */
START_TEST(the_library_keeps_no_global_state)
{
    char *text = symbols("--defined-only -f sysv");
    for (char *rest = text, *line; (line = strsep(&rest, "\n"));) {
        const char *section = strrchr(line, '|');
        if (strstr(line, ".gomp_critical")) /* the lock of a named critical section */
            continue;
        ck_assert_msg(!section ||
                          (strncmp(section + 1, ".bss", 4) != 0 &&
                           strcmp(section + 1, ".data") != 0 && strcmp(section + 1, "*COM*") != 0),
                      "%s", line);
    }
    free(text);
}
END_TEST

/* Sanitizers add data and symbols of their own. */
static bool plain_build(void)
{
    const char *program = getenv("FETTLE_PROGRAM");
    return !strstr(program, "/sanitize/") && !strstr(program, "/fuzz/");
}

/* The object file that holds the row exports it and nothing else. */
static void row_is_alone(const char *text, const char *prefix, const char *symbol)
{
    char end[160], from[256] = "";
    snprintf(end, sizeof end, " %s%s\n", prefix, symbol);
    const char *at = strstr(text, end);
    ck_assert_msg(at, "%s%s is not in the library", prefix, symbol);
    while (at > text && at[-1] != '\n')
        at--;
    snprintf(from, sizeof from, "%.*s",
             (int)(strcspn(strchr(at, ':') + 1, ":") + (size_t)(strchr(at, ':') + 2 - at)), at);
    int exported = 0;
    for (const char *line = text; (line = strstr(line, from)); line++)
        exported++;
    ck_assert_msg(exported == 1, "%s exports %d symbols", from, exported);
}

START_TEST(a_row_is_one_file_that_exports_one_symbol)
{
    char *text = symbols("-g --defined-only");
#define OPERATION(symbol) row_is_alone(text, "op_", #symbol);
#include "op/ops.def"
#undef OPERATION
#define FORMAT(symbol) row_is_alone(text, "format_", #symbol);
#include "format/formats.def"
#undef FORMAT
#define CHECK(symbol) row_is_alone(text, "check_", #symbol);
#include "check/checks.def"
#undef CHECK
    free(text);
}
END_TEST

/* --- tables --------------------------------------------------------------------------------- */

static bool filled(const char *text)
{
    return text && *text;
}

START_TEST(formats_are_named_and_unique)
{
    size_t n = 0;
    for (const struct format *row; (row = format_row(n)); n++) {
        ck_assert(filled(row->name) && filled(row->extensions) && filled(row->title));
        ck_assert_msg(row->read || row->write, "%s does nothing", row->name);
        ck_assert_msg(!row->read || row->sniff, "%s is never found", row->name);
        ck_assert_ptr_eq(format_named(row->name), row);
        ck_assert_msg(row->points || row->triangles, "%s holds nothing", row->name);
    }
    ck_assert_uint_gt(n, 0);
}
END_TEST

START_TEST(checks_are_named_and_unique)
{
    size_t n = 0;
    for (const struct check *row; (row = check_row(n)); n++) {
        ck_assert(filled(row->name) && filled(row->title) && filled(row->help));
        ck_assert_ptr_nonnull((void *)(uintptr_t)row->run);
        for (size_t i = 0; i < n; i++)
            ck_assert_str_ne(check_row(i)->name, row->name);
    }
    ck_assert_uint_gt(n, 0);
}
END_TEST

/* What an inspection advises can be done: the words it quotes are operations. */
START_TEST(advice_names_operations)
{
    int named = 0;
    for (size_t n = 0; check_row(n); n++)
        for (const char *at = check_row(n)->help; (at = strchr(at, '"')); at++) {
            size_t length = strcspn(++at, "\"");
            ck_assert_msg(op_named(at, length) != NULL,
                          "%s advises \"%.*s\", which is no operation", check_row(n)->name,
                          (int)length, at);
            at += length;
            named++;
        }
    ck_assert_int_gt(named, 5);
}
END_TEST

START_TEST(units_are_read_as_they_are_written)
{
    for (int i = 0; i < UNIT_COUNT; i++) {
        const char *name = unit_name((enum unit)i);
        ck_assert_int_eq(unit_named(name, strlen(name)), i);
        ck_assert_double_gt(unit_millimetres((enum unit)i), 0);
    }
    ck_assert_str_eq(UNIT_NAMES, "mm cm m in ft um"); /* the contract's, in the order of the enum */
}
END_TEST

Suite *suite_house(void);

Suite *suite_house(void)
{
    Suite *suite = suite_create("house");
    TCase *tests = tcase_create("house");
    tcase_set_timeout(tests, 240);
    tcase_add_test(tests, rooms_know_whom_they_may);
    tcase_add_test(tests, files_and_functions_are_of_readable_size);
    tcase_add_test(tests, headers_compile_alone);
    tcase_add_test(tests, no_two_files_define_the_same_name);
    tcase_add_test(tests, the_library_neither_prints_nor_exits_nor_knows_a_terminal);
    if (plain_build()) {
        tcase_add_test(tests, the_library_keeps_no_global_state);
        tcase_add_test(tests, a_row_is_one_file_that_exports_one_symbol);
    }
    tcase_add_test(tests, formats_are_named_and_unique);
    tcase_add_test(tests, checks_are_named_and_unique);
    tcase_add_test(tests, advice_names_operations);
    tcase_add_test(tests, units_are_read_as_they_are_written);
    suite_add_tcase(suite, tests);
    return suite;
}
