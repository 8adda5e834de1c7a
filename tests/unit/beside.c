#include "tests/unit/beside.h"

#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "tests/support/runners.h"

/* --- how many --------------------------------------------------------------------------------- */

/* Runners would write the same file, or must not fork. */
static bool asks_for_one(void)
{
    static const char *const names[] = {"CK_LOG_FILE_NAME", "CK_XML_LOG_FILE_NAME",
                                        "CK_TAP_LOG_FILE_NAME"};
    const char *fork = getenv("CK_FORK");
    bool one = fork && strcmp(fork, "no") == 0;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        one = one || getenv(names[i]);
    return one;
}

int beside_runners(size_t suites)
{
    return asks_for_one() ? 1 : runners_wanted((int)suites);
}

void beside_patience(int runners)
{
    enum { SLOWER = 4 };
    char times[16];
    snprintf(times, sizeof times, "%d", SLOWER * runners);
    setenv("CK_TIMEOUT_MULTIPLIER", times, 0);
}

/* --- one runner ------------------------------------------------------------------------------- */

struct outcome { /* shared with its runner */
    bool told;   /* the runner came to its end */
    int checks, failures, errors;
    long said; /* bytes the tests printed; behind them is what the library says of them */
};

static void count(SRunner *runner, struct outcome *outcome)
{
    TestResult **failed = srunner_failures(runner);
    outcome->checks = srunner_ntests_run(runner);
    for (int i = 0; i < srunner_ntests_failed(runner); i++) {
        bool failure = tr_rtype(failed[i]) == CK_FAILURE;
        outcome->failures += failure;
        outcome->errors += !failure;
    }
    free(failed);
}

/* In a process of its own; ends it. */
static void run_one(const struct suite_row *row, FILE *out, struct outcome *outcome)
{
    dup2(fileno(out), STDOUT_FILENO);
    dup2(fileno(out), STDERR_FILENO);
    SRunner *runner = srunner_create(row->make());
    srunner_run_all(runner, CK_SILENT);
    fflush(stdout);
    outcome->said = (long)lseek(STDOUT_FILENO, 0, SEEK_CUR);
    srunner_print(runner, CK_ENV);
    count(runner, outcome);
    srunner_free(runner);
    outcome->told = true;
    exit(EXIT_SUCCESS);
}

/* --- all of them ------------------------------------------------------------------------------ */

struct beside {
    const struct suite_row *const *row;
    size_t suites, begun, shown;
    struct outcome *outcome; /* one a suite */
    pid_t *runner;           /* likewise; 0: not begun, or ended */
    int *ended;              /* likewise: how */
    time_t *time;            /* likewise: when it began, then how long it took */
    FILE **out;              /* likewise: what it prints */
    bool named;              /* of the first that is not shown */
    FILE *failed;            /* what the library says of failures */
};

static void must(bool good, const char *what)
{
    if (good)
        return;
    perror(what);
    exit(EXIT_FAILURE);
}

static void begin(struct beside *b)
{
    size_t i = b->begun++;
    pid_t self = getpid();
    must((b->out[i] = tmpfile()) != NULL, "a file for what a runner prints");
    fflush(NULL); /* or every process forked from here would write it, too */
    pid_t child = fork();
    must(child >= 0, "a runner");
    if (child == 0) {
        runners_end_with(self); /* the library then ends the test, too */
        run_one(b->row[i], b->out[i], &b->outcome[i]);
    }
    b->runner[i] = child;
    b->time[i] = time(NULL);
}

static void await_one(struct beside *b)
{
    int how;
    pid_t child = waitpid(-1, &how, 0);
    must(child > 0, "waiting for a runner");
    for (size_t i = 0; i < b->begun; i++)
        if (b->runner[i] == child) {
            b->runner[i] = 0;
            b->ended[i] = how;
            b->time[i] = time(NULL) - b->time[i];
        }
}

/* A runner that was killed, or that found something at its own end. */
static void tell_end(const struct beside *b, size_t i)
{
    struct outcome *o = &b->outcome[i];
    int how = b->ended[i];
    if (o->told && how == 0)
        return;
    o->errors++;
    o->checks++;
    const char *name = b->row[i]->name;
    if (WIFSIGNALED(how))
        fprintf(b->failed, "tests/unit/test_%s.c: E: its runner was ended by signal %d (%s)\n",
                name, WTERMSIG(how), strsignal(WTERMSIG(how)));
    else
        fprintf(b->failed, "tests/unit/test_%s.c: E: its runner ended %s, with status %d\n", name,
                o->told ? "badly" : "before its tests did", WEXITSTATUS(how));
}

static void show_text(struct beside *b, size_t i)
{
    struct outcome *o = &b->outcome[i];
    long all = o->told ? o->said : -1;
    char *line = NULL;
    size_t room = 0;
    rewind(b->out[i]);
    for (long at = 0; getline(&line, &room, b->out[i]) > 0; at = ftell(b->out[i]))
        if (all < 0 || at < all)
            fputs(line, stdout);
        else if (!strstr(line, "%: Checks: "))
            fputs(line, b->failed);
    free(line);
    fclose(b->out[i]);
    tell_end(b, i);
}

/* All that are at an end and have none before them that is not. */
static void show(struct beside *b)
{
    for (; b->shown < b->begun; b->shown++, b->named = false) {
        if (!b->named)
            printf("%s %s\n", b->shown ? "" : "Running suite(s):", b->row[b->shown]->name);
        b->named = true;
        if (b->runner[b->shown])
            break;
        show_text(b, b->shown);
        if (getenv("FETTLE_LONG"))
            printf("  took %ld s\n", (long)b->time[b->shown]);
    }
    fflush(stdout);
}

static int close_all(struct beside *b)
{
    struct outcome sum = {0};
    char *line = NULL;
    size_t room = 0;
    for (size_t i = 0; i < b->suites; i++) {
        sum.checks += b->outcome[i].checks;
        sum.failures += b->outcome[i].failures;
        sum.errors += b->outcome[i].errors;
    }
    rewind(b->failed);
    while (getline(&line, &room, b->failed) > 0)
        fputs(line, stdout);
    free(line);
    int bad = sum.failures + sum.errors;
    int passed = sum.checks ? (int)(100L * (sum.checks - bad) / sum.checks) : 100;
    printf("%d%%: Checks: %d, Failures: %d, Errors: %d\n", passed, sum.checks, sum.failures,
           sum.errors);
    return bad || !sum.checks ? EXIT_FAILURE : EXIT_SUCCESS;
}

int beside_run(const struct suite_row *const *row, size_t suites, int runners)
{
    struct beside b = {.row = row, .suites = suites};
    b.outcome = mmap(NULL, suites * sizeof *b.outcome, PROT_READ | PROT_WRITE,
                     MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    b.runner = calloc(suites, sizeof *b.runner);
    b.ended = calloc(suites, sizeof *b.ended);
    b.time = calloc(suites, sizeof *b.time);
    b.out = calloc(suites, sizeof *b.out);
    b.failed = tmpfile();
    must(b.outcome != MAP_FAILED && b.runner && b.ended && b.time && b.out && b.failed,
         "running suites");
    for (size_t ended = 0; ended < suites; ended++) {
        while (b.begun < suites && b.begun - ended < (size_t)runners)
            begin(&b);
        show(&b);
        await_one(&b);
    }
    show(&b);
    int status = close_all(&b);
    munmap(b.outcome, suites * sizeof *b.outcome);
    fclose(b.failed);
    free(b.runner);
    free(b.ended);
    free(b.time);
    free(b.out);
    return status;
}
