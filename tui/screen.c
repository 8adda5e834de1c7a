#include "tui/screen.h"

#include <curses.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/cli.h"
#include "tui/draw.h"
#include "tui/fault.h"
#include "tui/intake.h"
#include "tui/mouse.h"
#include "tui/paint.h"
#include "tui/start.h"
#include "tui/tools.h"

/* --- signals: a byte in a pipe, read by the loop -------------------------------------------- */

static int signal_pipe = -1; /* a handler can be told nothing else */

static void on_signal(int number)
{
    char byte = (char)number;
    int error = errno;
    if (write(signal_pipe, &byte, 1) < 0)
        errno = error;
    errno = error;
}

static void catch_signals(int pipe_end)
{
    signal_pipe = pipe_end;
    struct sigaction act = {.sa_handler = on_signal, .sa_flags = SA_RESTART};
    sigaction(SIGHUP, &act, NULL);
    sigaction(SIGTERM, &act, NULL);
    signal(SIGPIPE, SIG_IGN);
}

/* Reads the pipe empty; true when a signal that ends the program was among it. */
static bool drain(int fd)
{
    char byte[64];
    bool ends = false;
    for (ssize_t n; (n = read(fd, byte, sizeof byte)) > 0;)
        for (ssize_t i = 0; i < n; i++)
            ends |= byte[i] == SIGHUP || byte[i] == SIGTERM;
    return ends;
}

/* --- curses --------------------------------------------------------------------------------- */

void act_suspend(struct app *app)
{
    pace_end(&app->pace);
    mouse_end();
    def_prog_mode();
    endwin();
    kill(0, SIGSTOP);
    struct winsize size; /* it may have changed while nobody listened */
    reset_prog_mode();
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_row && size.ws_col)
        resizeterm(size.ws_row, size.ws_col);
    mouse_begin();
    clearok(stdscr, TRUE);
    draw_layout(app);
    app->stale = true;
}

static bool curses_on; /* for who ends the program without asking (the OpenMP runtime) */

static void curses_end(void)
{
    curses_on = false;
    mouse_end();
    endwin();
}

/* The terminal is given back whatever ends the program, and the work is in the journal. */
static void give_back(void)
{
    if (!curses_on)
        return;
    curses_end();
    fputs("fettle: ended for want of memory or threads; start it again to go on with the work\n",
          stderr);
}

static void curses_begin(void)
{
    initscr();
    curses_on = atexit(give_back) == 0;
    raw();
    noecho();
    nonl();
    keypad(stdscr, TRUE);
    nodelay(stdscr, TRUE);
    set_escdelay(25);
    leaveok(stdscr, FALSE);
    paint_init();
    mouse_begin();
}

/* --- keys ----------------------------------------------------------------------------------- */

static void prompt_done(struct app *app)
{
    char line[PROMPT_MOST + 1];
    memcpy(line, app->prompt.line, sizeof line);
    size_t n = strspn(line, " ");
    if (strncmp(line + n, "help", 4) == 0 && (line[n + 4] == ' ' || !line[n + 4]))
        app_help(app, line + n + 4 + strspn(line + n + 4, " "));
    else if (strcmp(line + n, "quit") == 0)
        act_quit(app);
    else if (line[n])
        app_run(app, line + n);
}

static void key_in_prompt(struct app *app, int key)
{
    enum prompt_end end = prompt_key(&app->prompt, key);
    app->stale = true;
    if (end == PROMPT_DONE) /* what was said of the line is said */
        app_say(app, false, "%s", "");
    if (end == PROMPT_DONE)
        prompt_done(app);
    else if (end == PROMPT_LEFT)
        app_say(app, false, "%s", "");
    preview_update(app);
}

static void key_in_question(struct app *app, int key)
{
    app->question.on = false;
    app->stale = true;
    app->question.answer(app, key);
}

static void operation_key(struct app *app, const struct op *op)
{
    char line[512];
    if (op->tool == OP_PLANE) {
        plane_begin(app, op);
        return;
    }
    if (op->tool == OP_POINT) {
        point_begin(app, op);
        return;
    }
    if (op->tool == OP_PAIRS) {
        pairs_tool_begin(app, op);
        return;
    }
    if (!pairs_tool_line(app, op, line, sizeof line))
        act_operation_line(app, op, line, sizeof line);
    prompt_open(&app->prompt, line);
    preview_update(app);
    app->stale = true;
}

/* With a tool out, v lets the arrows turn the part as they usually do. */
static enum where place_of_key(const struct app *app, int key)
{
    bool arrow = key == KEY_LEFT || key == KEY_RIGHT || key == KEY_UP || key == KEY_DOWN;
    return arrow && app->arrows_other ? WHERE_LOOK : app->where;
}

static void key_in_picture(struct app *app, int key)
{
    free(app->report);
    app->report = NULL;
    app->message[0] = '\0';
    app->stale = true;
    key = key == '\n' || key == KEY_ENTER  ? '\r'
          : key == 127 || key == CTRL('H') ? KEY_BACKSPACE
                                           : key;
    const struct act *act = act_for(place_of_key(app, key), key);
    const struct op *op = app->where == WHERE_LOOK ? act_operation(key) : NULL;
    if (act)
        act->run(app);
    else if (op)
        operation_key(app, op);
    else
        app_say(app, false,
                app->where == WHERE_LOOK ? "that key does nothing here; ? shows all keys"
                                         : "that key does nothing here; Esc puts the tool away");
}

static void on_key(struct app *app, int key)
{
    if (key == KEY_SHOWN) {
        pace_answered(&app->pace);
        return;
    }
    if (key == KEY_RESIZE)
        draw_layout(app);
    else if (key == KEY_MOUSE)
        mouse_event(app);
    else if (key == ('Z' & 31))
        act_suspend(app);
    else if (app->question.on)
        key_in_question(app, key);
    else if (app->pager.on)
        pager_key(&app->pager, key);
    else if (app->prompt.on)
        key_in_prompt(app, key);
    else
        key_in_picture(app, key);
    app->stale = true;
}

/* The next key, or ERR. Sequences that curses does not know (keys of another terminal, answers that
 * nobody asked for) are read to their end and dropped: their letters are not keys. */
static int next_key(void)
{
    int key = getch();
    if (key != 27)
        return key;
    int next = getch();
    if (next == ERR)
        return 27; /* Esc itself */
    if (next != '[' && next != 'O') {
        ungetch(next); /* Esc and a key in one packet: over a slow line they arrive together */
        return 27;
    }
    for (int most = 64; most > 0 && next != ERR; most--)
        if ((next = getch()) >= '@' && next <= '~')
            break;
    return next_key();
}

/* --- the loop ------------------------------------------------------------------------------- */

static bool nonblocking_pipe(int fd[2])
{
    return pipe(fd) == 0 && fcntl(fd[0], F_SETFL, O_NONBLOCK) == 0 &&
           fcntl(fd[1], F_SETFL, O_NONBLOCK) == 0 && fcntl(fd[0], F_SETFD, FD_CLOEXEC) == 0 &&
           fcntl(fd[1], F_SETFD, FD_CLOEXEC) == 0;
}

static void pump(struct app *app, int *wait)
{
    study_pump(app);
    *wait = view_pump(app);
    if (app->held && !view_is_behind(app))
        *wait = 0;
    if (!lane_free(&app->work) && (*wait < 0 || *wait > 200))
        *wait = 200; /* the progress moves */
    if (!lane_free(&app->study_lane) && (*wait < 0 || *wait > 500))
        *wait = 500; /* and so does the inspection's */
}

/* Waits for a key, a finished task or a signal. */
static void wait_for_something(struct app *app, int wait)
{
    struct pollfd fds[2] = {{.fd = app->held ? -1 : STDIN_FILENO, .events = POLLIN},
                            {.fd = app->wake[0], .events = POLLIN}};
    int ready = poll(fds, 2, wait);
    if (ready > 0 && (fds[0].revents & (POLLHUP | POLLERR | POLLNVAL)))
        app->lost = app->leaving = true;
    if (drain(app->wake[0]))
        app->lost = app->leaving = true;
    if (!lane_free(&app->work) || study_progress(app) >= 0)
        app->stale = true;
}

/* What is typed ahead of the picture means what it will show: a point is not put on what was seen
 * before. */
static bool must_wait(struct app *app, int key)
{
    bool free = !app->prompt.on && !app->question.on && !app->pager.on;
    bool points = app->where == WHERE_POINT
                      ? key == '\r' || key == '\n' || key == KEY_ENTER || key == 'z'
                  : app->where == WHERE_PAIRS ? key == 'p' || key == 'z'
                                              : false;
    return free && points && view_is_behind(app);
}

/* The keys that there are; a held one must not keep the picture from being drawn. */
static void take_keys(struct app *app)
{
    int key, most = 64;
    while (!app->leaving && most-- > 0 && (key = app->held ? app->held : next_key()) != ERR) {
        app->held = must_wait(app, key) ? key : 0;
        if (app->held)
            return;
        on_key(app, key);
    }
}

static void loop(struct app *app)
{
    while (!app->leaving) {
        int wait;
        lane_collect(&app->paint_lane);
        lane_collect(&app->study_lane);
        lane_collect(&app->work);
        pump(app, &wait);
        if (app->stale) {
            app->stale = false;
            draw_screen(app);
        }
        wait_for_something(app, wait);
        take_keys(app);
    }
}

static bool lanes_begin(struct app *app, int threads)
{
    return nonblocking_pipe(app->wake) && lane_init(&app->work, app->wake[1], threads) &&
           lane_init(&app->study_lane, app->wake[1], threads) &&
           lane_init(&app->paint_lane, app->wake[1], threads);
}

static void lanes_end(struct app *app)
{
    lane_release(&app->paint_lane);
    lane_release(&app->study_lane);
    lane_release(&app->work);
}

int screen_main(int files, char **file, const struct cli_options *options)
{
    struct app *app = calloc(1, sizeof *app);
    int status = app ? start_session(app, options) : 4;
    if (status) {
        free(app);
        return status;
    }
    curses_begin();
    if (!lanes_begin(app, start_threads(options))) {
        curses_end();
        return cli_complain(STATUS_MEMORY, "no thread could be started; close other programs");
    }
    catch_signals(app->wake[1]);
    fault_watch(FAULT_WORK, &app->work.job); /* the only lane that reads files */
    pace_begin(&app->pace);
    view_init(&app->view);
    app_refresh(app);
    draw_layout(app);
    start_files(app, files, file);
    loop(app);
    lanes_end(app);
    fault_watch(FAULT_WORK, NULL);
    if (!app->lost)
        pace_end(&app->pace);
    curses_end();
    intake_end();
    start_end(app);
    return 0;
}
