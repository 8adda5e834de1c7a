/* The command line is a contract: what scripts rely on, tried on the real program. */
#include <check.h>
#include <fcntl.h>
#include <math.h>
#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <jansson.h>

#include "op/op.h"
#include "tests/support/contract.h"
#include "tests/support/folder.h"
#include "tests/support/program.h"
#include "tests/support/shapes.h"
#include "tui/cli.h"

static char *folder;

static bool lid(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t < 2;
}

static void set_up(void)
{
    folder = folder_new();
    struct mesh *ball = shape_sphere(30, 3);
    folder_mesh(folder, "open.stl", shape_without(ball, lid));
    folder_mesh(folder, "my ball.stl", ball);
    folder_mesh(folder, "box.stl", shape_box(20, 30, 40, 4));
    folder_write(folder, "half.stl", "solid x\n  facet normal 0 0", 26);
    folder_write(folder, "noise.bin", "\x01\x02\x03nothing known", 16);
    folder_write(folder, "wrong.recipe", "hide\n\nsmoth passes=3\n", 21);
    folder_write(folder, "keep.recipe", "# nothing much\nhide\nshow # again\n", 32);
    if (chdir(folder) != 0)
        abort();
}

static void tear_down(void)
{
    if (chdir("/") != 0)
        abort();
    folder_remove(folder);
}

/* --- exit statuses and messages ------------------------------------------------------------- */

static const struct {
    const char *line;
    int status;
    const char *out, *err; /* a part of it; NULL: empty */
} cases[] = {
    {"--version", 0, "fettle " FETTLE_VERSION, NULL},
    {"--help", 0, "fettle check [--json] FILE...", NULL},
    {"check --help", 0, "fettle check: ", NULL},
    {"help", 0, "fettle run RECIPE", NULL},
    {"help save", 0, "over", NULL},
    {"help check", 0, "--json", NULL},
    {"help chekc", 2, NULL, "fettle: \"chekc\": no such command or operation; did you mean check?"},
    {"help a b", 2, NULL, "\"b\": one word too many"},
    {"ops", 0, "save", NULL},
    {"formats", 0, "stl", NULL},
    {"check 'my ball.stl'", 0, "sound", NULL},
    {"check box.stl 'my ball.stl'", 0, "my ball.stl", NULL},
    {"check open.stl", 1, "faulty", NULL},
    {"check open.stl box.stl", 1, "box.stl", NULL},
    {"check lost.stl", 3, NULL, "fettle: \"lost.stl\": cannot be opened: No such file"},
    {"check open.stl lost.stl box.stl", 3, "box.stl", "fettle: \"lost.stl\""},
    {"check noise.bin", 3, NULL, "fettle: \"noise.bin\": "},
    {"check", 2, NULL, "something is missing behind it; it is: fettle check [--json] FILE..."},
    {"check --jsn box.stl", 2, NULL, "\"--jsn\": no such option; did you mean --json?"},
    {"check -x box.stl", 2, NULL, "\"-x\": no such option"},
    {"check --view top box.stl", 2, NULL, "\"--view\": check has no such option"},
    {"check --unit furlong box.stl", 2, NULL, "must be mm, cm, m, in, ft or um"},
    {"check --unit", 2, NULL, "\"--unit\": wants UNIT behind it"},
    {"check --json=yes box.stl", 2, NULL, "\"--json\": takes no value"},
    {"check --threads 0 box.stl", 2, NULL, "from 1 to 1024"},
    {"check --memory lots box.stl", 2, NULL, "such as 512M"},
    {"check --unit in --threads 1 --quiet box.stl", 0, "508", NULL},
    {"check -- -box.stl", 3, NULL, "\"-box.stl\": cannot be opened"},
    {"chek box.stl", 2, NULL, "\"chek\": neither a command nor a file; did you mean check?"},
    {"frobnicate", 2, NULL, "\"frobnicate\": neither a command nor a file"},
    {"lost.stl", 3, NULL, "\"lost.stl\": cannot be opened: No such file or directory"},
    {"box.stl", 2, NULL, "wants a terminal"},
    {"--json box.stl", 2, NULL, "\"--json\": belongs to a command"},
    {"run keep.recipe box.stl", 0, "open box.stl\n    box: stl, 192 triangles", NULL},
    {"run keep.recipe box.stl --quiet", 0, NULL, NULL},
    {"run keep.recipe box.stl -o out.stl", 0, "save out.stl", NULL},
    {"run keep.recipe box.stl 'my ball.stl' -o both.stl", 0, "2 pieces went into one file", NULL},
    {"run wrong.recipe box.stl", 2, NULL,
     "fettle: \"wrong.recipe\": line 3: \"smoth\": no such operation"},
    {"run lost.recipe", 3, NULL, "\"lost.recipe\": cannot be opened"},
    {"run keep.recipe lost.stl", 3, NULL, "\"lost.stl\": cannot be opened"},
    {"run keep.recipe", 2, NULL, "line 2: \"hide\": there is no piece to work on"},
    {"run keep.recipe box.stl -o box.stl", 2, "hide", "is a file that was opened"},
    {"run keep.recipe box.stl -o box.stl --over", 0, "kept as \"box.original.stl\"", NULL},
    {"run keep.recipe box.stl -o out.xyzzy", 2, "hide", "\"out.xyzzy\""},
    {"run keep.recipe box.stl -o lost/out.stl", 3, "hide", "\"lost/out.stl\": cannot be written"},
    {"run - -", 2, NULL, "standard input can be read only once"},
    {"run box.stl", 2, NULL, "\"box.stl\": is no recipe"},
    {"compare box.stl box.stl", 0, "figures are indicative", NULL},
    {"compare box.stl box.stl --within 1um", 0, "The tolerance of 0.001 mm is kept", NULL},
    {"compare box.stl open.stl --within 0.5in", 1, "The tolerance of 12.7 mm is missed", NULL},
    {"compare box.stl open.stl", 0, "largest", NULL},
    {"compare box.stl", 2, NULL, "something is missing behind it"},
    {"compare box.stl lost.stl", 3, NULL, "\"lost.stl\": cannot be opened"},
    {"compare box.stl box.stl --within thin", 2, NULL, "\"--within thin\": must be a length"},
    {"compare - -", 2, NULL, "standard input can be read only once"},
    {"draw box.stl --size 60x20", 0, "mm", NULL},
    {"draw box.stl --size 60x20 --view top --glyphs ascii", 0, "mm", NULL},
    {"draw box.stl --view inside", 2, NULL, "must be corner, front, back"},
    {"draw box.stl --size 60", 2, NULL, "such as 80x24"},
    {"draw box.stl -o box.jpg", 2, NULL, "end it in .png"},
    {"draw box.stl -o box.png --size 64x48", 0, NULL, NULL},
    {"draw lost.stl", 3, NULL, "\"lost.stl\""},
};

static void has(const char *text, const char *part, const char *line, const char *which)
{
    if (part)
        ck_assert_msg(strstr(text, part), "%s: %s: %s", line, which, text);
    else
        ck_assert_msg(*text == '\0', "%s: %s: %s", line, which, text);
}

START_TEST(statuses_and_messages_hold)
{
    struct ran ran = program_run(cases[_i].line, NULL, 0);
    ck_assert_msg(ran.status == cases[_i].status, "%s: %d: %s", cases[_i].line, ran.status,
                  ran.err);
    has(ran.out, cases[_i].out, cases[_i].line, "out");
    has(ran.err, cases[_i].err, cases[_i].line, "err");
    if (cases[_i].err)
        ck_assert_msg(strncmp(ran.err, "fettle: ", 8) == 0, "%s", ran.err);
    program_release(&ran);
}
END_TEST

START_TEST(nothing_that_is_listed_is_wider_than_the_screen)
{
    char lines[64][64] = {"help", "ops", "formats"};
    int count = 3;
    for (int i = 0; command_row(i); i++)
        snprintf(lines[count++], sizeof *lines, "help %s", command_row(i)->name);
    for (size_t i = 0; op_row(i); i++)
        snprintf(lines[count++], sizeof *lines, "help %s", op_row(i)->name);
    for (int i = 0; i < count; i++) {
        struct ran ran = program_run(lines[i], NULL, 0);
        ck_assert_int_eq(ran.status, 0);
        ck_assert_str_eq(ran.err, "");
        for (const char *line = ran.out; *line; line += strcspn(line, "\n") + 1)
            ck_assert_msg(strcspn(line, "\n") <= 80, "%s: %.100s", lines[i], line);
        program_release(&ran);
    }
}
END_TEST

START_TEST(every_row_is_in_the_manual_and_the_completion)
{
    struct ran page = program_run("help --man", NULL, 0);
    struct ran completion = program_run("help --completion", NULL, 0);
    char text[128];
    for (size_t i = 0; op_row(i); i++) {
        snprintf(text, sizeof text, ".SS %s\n", op_row(i)->name);
        ck_assert_msg(strstr(page.out, text), "%s", text);
        ck_assert_ptr_nonnull(strstr(completion.out, op_row(i)->name));
    }
    for (int i = 0; command_row(i); i++) {
        snprintf(text, sizeof text, "\\fBfettle %s", command_row(i)->name);
        ck_assert_msg(strstr(page.out, text), "%s", text);
        ck_assert_ptr_nonnull(strstr(completion.out, command_row(i)->name));
    }
    for (int i = 1; i < OPTION_COUNT; i++) {
        snprintf(text, sizeof text, "\\-\\-%s", option_row((enum cli_option)i)->name);
        ck_assert_msg(strstr(page.out, text), "%s", text);
    }
    program_release(&page);
    program_release(&completion);
}
END_TEST

/* bash itself completes with the script. */
START_TEST(bash_completes)
{
    struct ran script = program_run("help --completion", NULL, 0);
    folder_write(folder, "fettle.bash", script.out, script.out_size);
    program_release(&script);
    FILE *bash =
        popen("bash --norc -c '. ./fettle.bash; COMP_WORDS=(fettle help sa); COMP_CWORD=2; "
              "_fettle; echo \"${COMPREPLY[*]}\"; COMP_WORDS=(fettle check --js); _fettle; "
              "echo \"${COMPREPLY[*]}\"; COMP_WORDS=(fettle check my); _fettle; "
              "echo \"${COMPREPLY[*]}\"' 2>&1",
              "r");
    char text[256] = "";
    size_t n = fread(text, 1, sizeof text - 1, bash);
    pclose(bash);
    text[n] = '\0';
    ck_assert_str_eq(text, "save\n--json\nmy ball.stl\n");
}
END_TEST

/* --- JSON ----------------------------------------------------------------------------------- */

static json_t *json_of(const char *line, int status, const void *input, size_t size)
{
    json_error_t error;
    struct ran ran = program_run(line, input, size);
    ck_assert_msg(ran.status == status, "%s: %d: %s", line, ran.status, ran.err);
    ck_assert_ptr_eq(strchr(ran.out, '\n'), ran.out + strlen(ran.out) - 1);
    json_t *json = json_loads(ran.out, 0, &error);
    ck_assert_msg(json, "%s: %s", error.text, ran.out);
    program_release(&ran);
    return json;
}

START_TEST(check_prints_the_keys_of_the_contract)
{
    json_t *json = json_of("check --json open.stl", 1, NULL, 0);
    for (size_t i = 0; i < CONTRACT; i++)
        ck_assert_msg(json_object_get(json, contract[i]), "%s", contract[i]);
    ck_assert_str_eq(json_string_value(json_object_get(json, "file")), "open.stl");
    ck_assert_str_eq(json_string_value(json_object_get(json, "unit_source")), "assumed");
    ck_assert_str_eq(json_string_value(json_object_get(json, "verdict")), "faulty");
    ck_assert(json_is_null(json_object_get(json, "volume")));
    ck_assert_int_eq(json_integer_value(json_object_get(json, "triangles")), 20 * 64 - 2);
    const json_t *finding = json_array_get(json_object_get(json, "findings"), 0);
    ck_assert(json_is_string(json_object_get(finding, "check")));
    ck_assert(json_is_integer(json_object_get(finding, "count")));
    ck_assert(json_is_string(json_object_get(finding, "severity")));
    ck_assert(json_is_string(json_object_get(finding, "text")));
    json_decref(json);
}
END_TEST

START_TEST(a_sound_box_is_known_exactly)
{
    json_t *json = json_of("check --json --unit cm box.stl", 0, NULL, 0);
    double x = 0, y = 0, z = 0;
    ck_assert_int_eq(json_unpack(json, "{s:[f,f,f]}", "size", &x, &y, &z), 0);
    ck_assert_double_eq(x, 200);
    ck_assert_double_eq(y, 300);
    ck_assert_double_eq(z, 400);
    ck_assert_double_eq_tol(json_real_value(json_object_get(json, "volume")), 24e6, 1e-3);
    ck_assert_double_eq_tol(json_real_value(json_object_get(json, "area")), 520000, 1e-3);
    ck_assert_int_eq(json_integer_value(json_object_get(json, "genus")), 0);
    ck_assert_str_eq(json_string_value(json_object_get(json, "unit_source")), "given");
    ck_assert_str_eq(json_string_value(json_object_get(json, "verdict")), "sound");
    json_decref(json);
}
END_TEST

/* A sphere against itself moved by d: the distances are those of the handbook's self-test (mean
 * d/2, RMS d/sqrt(3), 95 % within 0.95 d, largest d), as far as an inscribed sphere has them. */
START_TEST(compare_prints_the_keys_of_the_contract)
{
    static const char *const ways[] = {"a_to_b", "b_to_a"};
    const double d = 0.5;
    struct mesh *ball = shape_sphere(50, 5);
    const struct mesh *one[] = {ball};
    const double move[][3] = {{0, 0, d}};
    folder_mesh(folder, "moved.stl", shape_join(one, move, 1));
    folder_mesh(folder, "ball.stl", ball);
    json_t *json = json_of("compare --json --within 0.1 ball.stl moved.stl", 1, NULL, 0);
    for (int i = 0; i < 2; i++) {
        double mean, rms, sd, p95, max, signed_mean;
        json_int_t samples;
        ck_assert_int_eq(json_unpack(json_object_get(json, ways[i]),
                                     "{s:F, s:F, s:F, s:F, s:F, s:I, s:F}", "mean", &mean, "rms",
                                     &rms, "sd", &sd, "p95", &p95, "max", &max, "samples", &samples,
                                     "signed_mean", &signed_mean),
                         0);
        ck_assert_double_eq_tol(mean, d / 2, 0.01 * d);
        ck_assert_double_eq_tol(rms, d / sqrt(3), 0.01 * d);
        ck_assert_double_eq_tol(p95, 0.95 * d, 0.01 * d);
        ck_assert_double_eq_tol(max, d, 0.01 * d);
        ck_assert_double_eq_tol(signed_mean, 0, 0.01 * d);
        ck_assert_double_eq_tol(sd, d / sqrt(3), 0.01 * d);
        ck_assert_int_gt(samples, 10000);
    }
    ck_assert_double_eq_tol(json_number_value(json_object_get(json, "hausdorff")), d, 0.01 * d);
    ck_assert(json_is_false(json_object_get(json, "kept")));
    json_decref(json);
}
END_TEST

START_TEST(names_cannot_command_the_terminal)
{
    folder_mesh(folder, "x\x1b[2J\ny.stl", shape_box(1, 1, 1, 1));
    struct ran ran = program_run("check 'x\x1b[2J\ny.stl' '\x1b]0;z\x07'", NULL, 0);
    ck_assert_int_eq(ran.status, 3);
    ck_assert_ptr_null(strchr(ran.out, '\x1b'));
    ck_assert_ptr_nonnull(strstr(ran.out, "x?[2J?y.stl\n"));
    ck_assert_str_eq(ran.err, "fettle: \"?]0;z?\": cannot be opened: No such file or directory; "
                              "check the name and the folder\n");
    program_release(&ran);
}
END_TEST

START_TEST(json_is_one_object_a_line)
{
    struct ran ran = program_run("check --json box.stl lost.stl open.stl", NULL, 0);
    ck_assert_int_eq(ran.status, 3);
    char *second = strchr(ran.out, '\n') + 1;
    ck_assert_ptr_nonnull(strstr(second, "\"open.stl\""));
    ck_assert_ptr_eq(strchr(second, '\n'), ran.out + ran.out_size - 1);
    program_release(&ran);
}
END_TEST

/* --- standard input and output -------------------------------------------------------------- */

START_TEST(standard_input_is_a_file)
{
    size_t size;
    char *box = folder_read("box.stl", &size);
    json_t *json = json_of("check --json -", 0, box, size);
    ck_assert_int_eq(json_integer_value(json_object_get(json, "triangles")), 192);
    json_decref(json);
    struct ran ran = program_run("run - box.stl -o piped.stl", "hide\nshow\n", 10);
    ck_assert_int_eq(ran.status, 0);
    program_release(&ran);
    size_t out_size;
    char *out = folder_read("piped.stl", &out_size);
    ck_assert_uint_eq(out_size, size);
    ck_assert_mem_eq(out + 80, box + 80, size - 80);
    free(out);
    free(box);
}
END_TEST

START_TEST(standard_output_is_a_file_without_notes_in_it)
{
    struct ran ran = program_run("run keep.recipe box.stl -o -", NULL, 0);
    ck_assert_int_eq(ran.status, 0);
    ck_assert_uint_eq(ran.out_size, 84 + 192 * 50);
    ck_assert_ptr_nonnull(strstr(ran.err, "open box.stl"));
    program_release(&ran);
    ran = program_run("draw box.stl -o - --size 32x32", NULL, 0);
    ck_assert_int_eq(ran.status, 0);
    ck_assert_mem_eq(ran.out, "\x89PNG\r\n\x1a\n", 8);
    program_release(&ran);
}
END_TEST

START_TEST(a_full_disk_is_told)
{
    char line[512];
    snprintf(line, sizeof line, "%s help > /dev/full 2> said; echo $? >> said",
             getenv("FETTLE_PROGRAM"));
    ck_assert_int_eq(system(line), 0);
    char *said = folder_read("said", NULL);
    ck_assert_str_eq(said,
                     "fettle: standard output: cannot be written: No space left on device\n3\n");
    free(said);
}
END_TEST

START_TEST(too_little_memory_is_told)
{
    if (strstr(getenv("FETTLE_PROGRAM"), "sanitize"))
        return; /* the sanitizer's own memory counts too */
    folder_mesh(folder, "big.stl", shape_sphere(50, 7));
    struct ran ran = program_run("check --memory 8M --threads 1 big.stl", NULL, 0);
    ck_assert_msg(ran.status == 4, "%d %s", ran.status, ran.err);
    ck_assert_ptr_nonnull(strstr(ran.err, "fettle: out of memory"));
    ck_assert_str_eq(ran.out, "");
    program_release(&ran);
    ran = program_run("check --memory 1G big.stl", NULL, 0);
    ck_assert_int_eq(ran.status, 0);
    program_release(&ran);
}
END_TEST

START_TEST(pictures_show_something)
{
    struct ran plain = program_run("draw box.stl --size 60x20", NULL, 0);
    int lines = 0;
    for (const char *c = plain.out; *c; c++) {
        ck_assert_int_lt((unsigned char)*c, 128);
        lines += *c == '\n';
    }
    ck_assert_int_eq(lines, 20);
    ck_assert_uint_gt(strlen(plain.out), 200);
    ck_assert_ptr_null(strchr(plain.out, '\x1b'));
    struct ran colour =
        program_run("draw box.stl --size 60x20 --colour 256 --glyphs blocks", NULL, 0);
    ck_assert_ptr_nonnull(strstr(colour.out, "\x1b["));
    struct ran other = program_run("draw box.stl --size 60x20 --view left", NULL, 0);
    ck_assert_str_ne(plain.out, other.out);
    program_release(&plain);
    program_release(&colour);
    program_release(&other);
}
END_TEST

/* --- at a terminal -------------------------------------------------------------------------- */

/* The program with its standard error at a terminal and its standard input held open. */
static pid_t at_terminal(const char *const *word, int *terminal, int *input)
{
    int slave, pipe_of[2];
    const struct winsize size = {.ws_row = 24, .ws_col = 40};
    if (openpty(terminal, &slave, NULL, NULL, &size) != 0 || pipe(pipe_of) != 0)
        abort();
    pid_t child = fork();
    if (child == 0) {
        int nowhere = open("/dev/null", O_WRONLY);
        dup2(pipe_of[0], STDIN_FILENO);
        dup2(nowhere, STDOUT_FILENO);
        dup2(slave, STDERR_FILENO);
        close(pipe_of[0]);
        close(pipe_of[1]);
        close(*terminal);
        execv(getenv("FETTLE_PROGRAM"), (char *const *)(uintptr_t)word);
        _exit(127);
    }
    close(slave);
    close(pipe_of[0]);
    *input = pipe_of[1];
    return child;
}

static double seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* False at the end of what there is, or of the room. */
static bool read_more(int terminal, char *text, size_t room, size_t *n)
{
    ssize_t more = read(terminal, text + *n, room - 1 - *n);
    *n += more > 0 ? (size_t)more : 0;
    text[*n] = '\0';
    return more > 0;
}

static const char *const check_input[] = {"fettle", "check", "-", NULL};

START_TEST(progress_is_shown_after_a_while_and_cleared)
{
    int terminal, input, how;
    static char text[1 << 20];
    size_t size, n = 0;
    char *box = folder_read("box.stl", &size);
    double begun = seconds();
    pid_t child = at_terminal(check_input, &terminal, &input);
    while (!strchr(text, '%'))
        ck_assert(read_more(terminal, text, sizeof text, &n));
    ck_assert_double_ge(seconds() - begun, 0.3);
    ck_assert_uint_eq((size_t)write(input, box, size), size);
    close(input);
    while (read_more(terminal, text, sizeof text, &n))
        ;
    waitpid(child, &how, 0);
    ck_assert(WIFEXITED(how) && WEXITSTATUS(how) == 0);
    ck_assert_int_eq(text[n - 1], '\r'); /* cleared, and back at the line's beginning */
    ck_assert_ptr_null(strchr(text, '\n'));
    char *last = text + n - 1;
    while (last > text && last[-1] == ' ')
        last--;
    ck_assert_int_eq(last[-1], '\r');
    close(terminal);
    free(box);
}
END_TEST

START_TEST(quiet_shows_no_progress)
{
    static const char *const quiet[] = {"fettle", "check", "--quiet", "-", NULL};
    int terminal, input, how;
    char text[64];
    size_t size;
    char *box = folder_read("box.stl", &size);
    pid_t child = at_terminal(quiet, &terminal, &input);
    nanosleep(&(struct timespec){.tv_nsec = 700000000}, NULL);
    ck_assert_uint_eq((size_t)write(input, box, size), size);
    close(input);
    waitpid(child, &how, 0);
    ck_assert(WIFEXITED(how) && WEXITSTATUS(how) == 0);
    ck_assert_int_le(read(terminal, text, sizeof text), 0);
    close(terminal);
    free(box);
}
END_TEST

/* Seconds that a child of this process has worked so far. */
static double work_of(pid_t child)
{
    clockid_t clock;
    struct timespec work;
    ck_assert_int_eq(clock_getcpuclockid(child, &clock), 0);
    ck_assert_int_eq(clock_gettime(clock, &work), 0);
    return (double)work.tv_sec + (double)work.tv_nsec * 1e-9;
}

/* Waits for its end; how long it worked in all. */
static double work_till_end(pid_t child, int *how)
{
    struct rusage usage;
    ck_assert_int_eq(wait4(child, how, 0, &usage), child);
    const struct timeval user = usage.ru_utime, system = usage.ru_stime;
    return (double)(user.tv_sec + system.tv_sec) + (double)(user.tv_usec + system.tv_usec) * 1e-6;
}

/* SIGINT, SIGTERM and SIGHUP cancel, and nothing is left behind. */
static const int stops[] = {SIGINT, SIGTERM, SIGHUP};

START_TEST(it_can_be_stopped)
{
    static const char *const line[] = {"fettle", "run", "long.recipe", "big.stl", NULL};
    folder_mesh(folder, "big.stl", shape_sphere(50, 7));
    char recipe[16384] = "";
    for (int i = 0; i < 300; i++)
        strcat(recipe, "save out.stl ascii=yes\n");
    folder_write(folder, "long.recipe", recipe, strlen(recipe));
    int terminal, input, how;
    char text[1 << 16];
    pid_t child = at_terminal(line, &terminal, &input);
    ck_assert_int_gt(read(terminal, text, sizeof text), 0); /* it is at work */
    double worked = work_of(child);
    kill(child, stops[_i]);
    worked = work_till_end(child, &how) - worked;
    ck_assert_double_lt(worked, 1.0); /* of 300 files; the law's 0.1 s is measured where the
                                         operations are tested */
    ck_assert_msg(WIFEXITED(how) && WEXITSTATUS(how) == 130, "%x", (unsigned)how);
    close(input);
    close(terminal);
    ck_assert_int_ne(system("ls -A | grep -q part"), 0); /* no temporary file */
}
END_TEST

#define COUNT(table) (int)(sizeof table / sizeof *table)

Suite *suite_cli(void);

Suite *suite_cli(void)
{
    Suite *suite = suite_create("cli");
    TCase *tests = tcase_create("cli");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_set_timeout(tests, 120);
    tcase_add_loop_test(tests, statuses_and_messages_hold, 0, COUNT(cases));
    tcase_add_test(tests, nothing_that_is_listed_is_wider_than_the_screen);
    tcase_add_test(tests, every_row_is_in_the_manual_and_the_completion);
    tcase_add_test(tests, bash_completes);
    tcase_add_test(tests, check_prints_the_keys_of_the_contract);
    tcase_add_test(tests, a_sound_box_is_known_exactly);
    tcase_add_test(tests, compare_prints_the_keys_of_the_contract);
    tcase_add_test(tests, names_cannot_command_the_terminal);
    tcase_add_test(tests, json_is_one_object_a_line);
    tcase_add_test(tests, standard_input_is_a_file);
    tcase_add_test(tests, standard_output_is_a_file_without_notes_in_it);
    tcase_add_test(tests, a_full_disk_is_told);
    tcase_add_test(tests, too_little_memory_is_told);
    tcase_add_test(tests, pictures_show_something);
    tcase_add_test(tests, progress_is_shown_after_a_while_and_cleared);
    tcase_add_test(tests, quiet_shows_no_progress);
    tcase_add_loop_test(tests, it_can_be_stopped, 0, COUNT(stops));
    suite_add_tcase(suite, tests);
    return suite;
}
