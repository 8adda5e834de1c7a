/* The program: finds the command and runs it, or opens the files on the screen. */
#include <errno.h>
#include <limits.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

#include "op/near.h"
#include "tui/cli.h"
#include "tui/fault.h"
#include "tui/intake.h"
#include "tui/manual.h"
#include "tui/screen.h"
#include "tui/terminal.h"
#include "tui/threads.h"
#include "tui/watch.h"

/* What was printed must have got out: a full disk is an error too. */
static int finish(int result)
{
    if (fflush(stdout) != 0 || ferror(stdout))
        result =
            cli_complain(STATUS_FILE, "standard output: cannot be written: %s", strerror(errno));
    return result;
}

/* --memory is kept by the system: beyond it allocations fail, and that is a status everywhere. */
static void limit_memory(uint64_t bytes)
{
    if (bytes)
        (void)setrlimit(RLIMIT_DATA, &(struct rlimit){.rlim_cur = bytes, .rlim_max = bytes});
}

static bool options_fit(const struct command *command, const struct cli_options *options)
{
    for (int i = 1; i < OPTION_COUNT; i++)
        if (options->given[i] && !command_takes(command, (enum cli_option)i)) {
            cli_complain(STATUS_USAGE, "\"--%s\": %s has no such option; it is: fettle %s",
                         option_row((enum cli_option)i)->name, command->name, command->usage);
            return false;
        }
    return true;
}

static bool words_fit(const struct command *command, int count, char *const *word)
{
    if (count < command->least)
        cli_complain(STATUS_USAGE, "\"%s\": something is missing behind it; it is: fettle %s",
                     command->name, command->usage);
    else if (command->most >= 0 && count > command->most)
        cli_complain(STATUS_USAGE, "\"%s\": one word too many; it is: fettle %s",
                     word[command->most], command->usage);
    else
        return true;
    return false;
}

static int run_command(const struct command *command, int count, char **word,
                       const struct cli_options *options)
{
    if (options->given[OPTION_HELP]) {
        manual_command(stdout, command);
        return 0;
    }
    if (!options_fit(command, options) || !words_fit(command, count, word))
        return status_exit(STATUS_USAGE);
    struct cli_options own = *options;
    struct command_call call = {count, word, &own, watch_begin(options->quiet)};
    if (command_takes(command, OPTION_THREADS)) /* behind the watch, which signals are left to */
        own.threads = threads_start(options->threads);
    int result = command->run(&call);
    watch_end(call.watch);
    return result;
}

/* --- no command: files ---------------------------------------------------------------------- */

/* A word that is neither a command nor a file, and does not look like one. */
static bool mistyped(const char *word)
{
    return access(word, F_OK) != 0 && strcmp(word, "-") != 0 && !strpbrk(word, "./");
}

static int complain_of(const char *word)
{
    struct near near = {0};
    for (int i = 0; command_row(i); i++)
        near_try(&near, word, command_row(i)->name);
    if (near.name)
        return cli_complain(STATUS_USAGE, "\"%s\": neither a command nor a file; did you mean %s?",
                            word, near.name);
    return cli_complain(
        STATUS_USAGE, "\"%s\": neither a command nor a file; fettle help lists the commands", word);
}

/* A wrong name is told before the screen is set up. */
static int missing_file(int count, char *const *word)
{
    for (int i = 0; i < count; i++)
        if (access(word[i], F_OK) != 0 && strcmp(word[i], "-") != 0 && !strstr(word[i], "//"))
            return cli_complain(STATUS_FILE, "\"%s\": cannot be opened: %s", word[i],
                                strerror(errno));
    return 0;
}

static int open_screen(int count, char **word, const struct cli_options *options)
{
    if (count && mistyped(word[0]))
        return complain_of(word[0]);
    for (int i = 1; i < OPTION_COUNT; i++)
        if (options->given[i] && !option_row((enum cli_option)i)->common && i != OPTION_UNIT)
            return cli_complain(STATUS_USAGE,
                                "\"--%s\": belongs to a command; fettle help lists them",
                                option_row((enum cli_option)i)->name);
    int missing = missing_file(count, word);
    if (missing)
        return missing;
    int status = isatty(STDOUT_FILENO) ? terminal_complaint() : 0;
    if (status == 0 && isatty(STDOUT_FILENO))
        status = intake(count, word);
    if (status)
        return status;
    if (!isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO))
        return cli_complain(STATUS_USAGE, "the screen wants a terminal; without one: fettle check "
                                          "FILE, fettle run RECIPE FILE, fettle help");
    return screen_main(count, word, options);
}

/* Threads that wait between loops are to sleep, not to spin: on a machine that has other things
 * to do spinning takes twice the time and more, and where it has not, nothing is lost
 * (measured). The OpenMP runtime wants to know before the program begins, so it begins again;
 * where that fails it goes on. */
static void sleep_between_loops(char **word)
{
    char self[PATH_MAX]; /* its own path, so that it keeps its name among the processes */
    ssize_t n = readlink("/proc/self/exe", self, sizeof self - 1);
    if (n <= 0 || getenv("OMP_WAIT_POLICY") || getenv("GOMP_SPINCOUNT") ||
        setenv("OMP_WAIT_POLICY", "passive", 1) != 0)
        return;
    self[n] = '\0';
    execv(self, word);
}

int main(int count, char **word)
{
    struct cli_options options;
    sleep_between_loops(word);
    fault_begin();
    signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is an error of that file: EFBIG */
    setlocale(LC_CTYPE, "");  /* characters alone: numbers keep their point */
    word++;
    if (count < 1 || !options_take(&count, word, &options))
        return status_exit(STATUS_USAGE);
    if (options.given[OPTION_VERSION]) {
        printf("fettle %s\n", FETTLE_VERSION);
        return finish(0);
    }
    limit_memory(options.memory);
    const struct command *command = count ? command_named(word[0]) : NULL;
    if (command)
        return finish(run_command(command, count - 1, word + 1, &options));
    if (options.given[OPTION_HELP]) {
        manual_program(stdout);
        return finish(0);
    }
    return open_screen(count, word, &options);
}
