#include "tests/support/terminal.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <vterm.h>

#include "tests/support/folder.h"
#include "tests/support/resting.h"

struct terminal {
    VTerm *vt;
    VTermScreen *screen;
    int fd, rows, columns;
    pid_t pid;
    int ended; /* exit status, or -1 */
    size_t bytes;
    char line[4096];
    char *state; /* its own, or NULL */
    bool held;
    char answer[4096]; /* kept meanwhile */
    size_t answers;
};

/* Seconds after which what has not happened never will: far more than any wait takes, on however
 * busy a machine. */
static const double patience = 120;

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void must(bool good, const char *what)
{
    if (good)
        return;
    perror(what);
    abort();
}

static void limit(__rlimit_resource_t what, long bytes)
{
    const struct rlimit limits = {(rlim_t)bytes, (rlim_t)bytes};
    if (bytes && setrlimit(what, &limits) != 0)
        _exit(126);
}

static void run_program(const struct terminal_options *options, const char *state,
                        const char *const *arguments)
{
    const char *program = getenv("FETTLE_PROGRAM");
    must(program != NULL, "FETTLE_PROGRAM");
    setenv("TERM", options->term ? options->term : "xterm-256color", 1);
    setenv("LC_ALL", options->locale ? options->locale : "C.UTF-8", 1);
    setenv("XDG_STATE_HOME", state, 1);
    unsetenv("LINES");
    unsetenv("COLUMNS");
    unsetenv("COLORTERM");
    if (options->folder && chdir(options->folder) != 0)
        _exit(126);
    int input = options->input ? open(options->input, O_RDONLY) : -1;
    if (options->input && (input < 0 || dup2(input, STDIN_FILENO) < 0))
        _exit(126);
    limit(RLIMIT_FSIZE, options->file_limit);
    limit(RLIMIT_AS, options->memory_limit);
    char *argument[32] = {(char *)"fettle"};
    for (int i = 0; arguments && arguments[i] && i < 30; i++)
        argument[i + 1] = (char *)(size_t)arguments[i];
    execv(program, argument);
    _exit(127);
}

struct terminal *terminal_new(const struct terminal_options *options, const char *const *arguments)
{
    struct terminal *t = calloc(1, sizeof *t);
    must(t != NULL, "calloc");
    t->rows = options->rows;
    t->columns = options->columns;
    t->ended = -1;
    t->state = options->state ? NULL : folder_new();
    t->vt = vterm_new(t->rows, t->columns);
    vterm_set_utf8(t->vt, !options->locale || strstr(options->locale, "UTF-8") != NULL);
    t->screen = vterm_obtain_screen(t->vt);
    vterm_screen_enable_altscreen(t->screen, 1);
    vterm_screen_reset(t->screen, 1);
    struct winsize size = {.ws_row = (unsigned short)t->rows, .ws_col = (unsigned short)t->columns};
    t->pid = forkpty(&t->fd, NULL, NULL, &size);
    must(t->pid >= 0, "forkpty");
    if (t->pid == 0)
        run_program(options, options->state ? options->state : t->state, arguments);
    must(fcntl(t->fd, F_SETFL, O_NONBLOCK) == 0, "fcntl");
    return t;
}

/* What was written lies in the kernel until a thread of its own takes it over to the program's
 * side. Looking there has that done at once, so that from now on the program has something to do.
 */
static void deliver(struct terminal *t)
{
    char path[64];
    int side = ptsname_r(t->fd, path, sizeof path) == 0
                   ? open(path, O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC)
                   : -1;
    if (side < 0)
        return;
    poll(&(struct pollfd){.fd = side, .events = POLLIN}, 1, 0);
    close(side);
}

static void answer(struct terminal *t)
{
    if (t->held || !t->answers)
        return;
    must(write(t->fd, t->answer, t->answers) >= 0 || errno == EIO, "write");
    t->answers = 0;
    deliver(t);
}

void terminal_hold(struct terminal *t, bool held)
{
    t->held = held;
    answer(t);
}

/* Reads what is there; false at the end of the program's output. */
static bool take(struct terminal *t)
{
    char text[65536];
    ssize_t n = read(t->fd, text, sizeof text);
    if (n > 0) {
        vterm_input_write(t->vt, text, (size_t)n);
        t->bytes += (size_t)n;
        /* what the terminal says of itself when asked */
        t->answers +=
            vterm_output_read(t->vt, t->answer + t->answers, sizeof t->answer - t->answers);
        answer(t);
    }
    return n > 0 || (n < 0 && errno == EAGAIN);
}

static bool ready(struct terminal *t, double seconds)
{
    struct pollfd fd = {.fd = t->fd, .events = POLLIN};
    return poll(&fd, 1, seconds > 0 ? (int)(seconds * 1000) + 1 : 0) > 0;
}

static int end_within(struct terminal *t, double seconds)
{
    double end = now() + seconds;
    for (;;) {
        int status;
        if (t->ended >= 0)
            return t->ended;
        if (waitpid(t->pid, &status, WNOHANG) == t->pid) {
            while (ready(t, 0) && take(t))
                ;
            t->ended = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
            return t->ended;
        }
        if (now() >= end)
            return -1;
        if (ready(t, 0.02) && !take(t))
            usleep(2000);
    }
}

void terminal_free(struct terminal *t)
{
    if (end_within(t, 0) < 0) {
        kill(t->pid, SIGKILL);
        end_within(t, patience);
    }
    close(t->fd);
    vterm_free(t->vt);
    if (t->state)
        folder_remove(t->state);
    free(t);
}

void terminal_type(struct terminal *t, const char *text)
{
    for (size_t n = strlen(text); n;) {
        ssize_t m = write(t->fd, text, n);
        if (m > 0) {
            text += m;
            n -= (size_t)m;
        } else if (errno != EAGAIN && errno != EINTR) {
            return; /* the program is gone; the test will see */
        } else if (ready(t, 0.01)) {
            take(t);
        }
    }
    deliver(t);
}

/* What the terminal itself has to send, in the mode that the program has asked for. */
static void send(struct terminal *t)
{
    char text[64];
    size_t n = vterm_output_read(t->vt, text, sizeof text - 1);
    text[n] = '\0';
    terminal_type(t, text);
}

void terminal_key(struct terminal *t, enum terminal_key key)
{
    static const VTermKey keys[] = {VTERM_KEY_LEFT,   VTERM_KEY_RIGHT,    VTERM_KEY_UP,
                                    VTERM_KEY_DOWN,   VTERM_KEY_ENTER,    VTERM_KEY_TAB,
                                    VTERM_KEY_ESCAPE, VTERM_KEY_BACKSPACE};
    vterm_keyboard_key(t->vt, keys[key], VTERM_MOD_NONE);
    send(t);
    if (key == TERMINAL_ESCAPE)
        terminal_rest(t); /* what follows must not look like the rest of a sequence */
}

void terminal_click(struct terminal *t, int row, int column)
{
    vterm_mouse_move(t->vt, row, column, VTERM_MOD_NONE);
    vterm_mouse_button(t->vt, 1, true, VTERM_MOD_NONE);
    send(t);
    vterm_mouse_button(t->vt, 1, false, VTERM_MOD_NONE);
    send(t);
}

void terminal_wheel(struct terminal *t, int row, int column, bool away, int steps)
{
    vterm_mouse_move(t->vt, row, column, VTERM_MOD_NONE);
    for (; steps > 0; steps--) {
        vterm_mouse_button(t->vt, away ? 4 : 5, true, VTERM_MOD_NONE);
        send(t);
    }
}

void terminal_resize(struct terminal *t, int rows, int columns)
{
    struct winsize size = {.ws_row = (unsigned short)rows, .ws_col = (unsigned short)columns};
    t->rows = rows;
    t->columns = columns;
    vterm_set_size(t->vt, rows, columns);
    must(ioctl(t->fd, TIOCSWINSZ, &size) == 0, "TIOCSWINSZ");
}

double terminal_patience(void)
{
    return now() + patience;
}

bool terminal_listen(struct terminal *t, double end)
{
    if (ready(t, 0.05) && !take(t))
        return false;
    return now() < end;
}

void terminal_rest(struct terminal *t)
{
    struct resting look = {0};
    for (double end = terminal_patience(); now() < end;) {
        bool came = ready(t, 0.01);
        if (came && !take(t))
            return;
        if (resting(&look, t->pid) && !came)
            return;
        look.looks = came ? 0 : look.looks;
    }
    char *text = terminal_text(t);
    ck_abort_msg("the program does not come to rest:\n%s", text);
}

void terminal_wait_stopped(struct terminal *t)
{
    TERMINAL_UNTIL(t, resting_stopped(t->pid), "a stopped program");
}

static size_t put_utf8(uint32_t c, char *out)
{
    if (c < 0x80) {
        out[0] = (char)c;
        return 1;
    }
    if (c < 0x800) {
        out[0] = (char)(0xc0 | c >> 6);
        out[1] = (char)(0x80 | (c & 63));
        return 2;
    }
    out[0] = (char)(0xe0 | (c >> 12 & 15));
    out[1] = (char)(0x80 | (c >> 6 & 63));
    out[2] = (char)(0x80 | (c & 63));
    return 3;
}

const char *terminal_line(struct terminal *t, int row)
{
    size_t n = 0, end = 0;
    for (int column = 0; column < t->columns && n + 8 < sizeof t->line; column++) {
        VTermScreenCell cell;
        VTermPos at = {.row = row, .col = column};
        vterm_screen_get_cell(t->screen, at, &cell);
        uint32_t c = cell.chars[0];
        n += put_utf8(c && c < 0x10000 ? c : ' ', t->line + n);
        end = c && c != ' ' ? n : end;
    }
    t->line[end] = '\0';
    return t->line;
}

char *terminal_text(struct terminal *t)
{
    size_t room = (size_t)t->rows * ((size_t)t->columns * 3 + 1) + 1, n = 0;
    char *text = malloc(room);
    must(text != NULL, "malloc");
    for (int row = 0; row < t->rows; row++)
        n += (size_t)snprintf(text + n, room - n, "%s\n", terminal_line(t, row));
    return text;
}

bool terminal_shows(struct terminal *t, const char *text)
{
    for (int row = 0; row < t->rows; row++)
        if (strstr(terminal_line(t, row), text))
            return true;
    return false;
}

void terminal_signal(struct terminal *t, int number)
{
    kill(t->pid, number);
}

int terminal_wait_end(struct terminal *t)
{
    return end_within(t, patience);
}

size_t terminal_bytes(const struct terminal *t)
{
    return t->bytes;
}
