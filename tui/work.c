/* The work: lines of the language run in the work lane, undo, the choice of the piece. */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tui/acts.h"
#include "tui/app.h"
#include "tui/tools.h"

void app_say(struct app *app, bool bad, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    vsnprintf(app->message, sizeof app->message, format, list);
    va_end(list);
    app->message_bad = bad;
    app->stale = true;
}

void app_ask(struct app *app, void (*answer)(struct app *app, int key), const char *format, ...)
{
    va_list list;
    va_start(list, format);
    vsnprintf(app->question.text, sizeof app->question.text, format, list);
    va_end(list);
    app->question.answer = answer;
    app->question.on = true;
    app->stale = true;
}

const struct piece *app_piece(const struct app *app)
{
    const struct scene *scene = app->scene;
    if (app->scene->selected && app->scene->selected <= scene->count)
        return scene->piece[app->scene->selected - 1];
    for (size_t i = 0; i < scene->count; i++)
        if (!scene->piece[i]->hidden)
            return scene->piece[i];
    return NULL;
}

bool app_works_on(const struct app *app, size_t i)
{
    const struct scene *scene = app->scene;
    return scene->selected ? i + 1 == scene->selected
                           : i < scene->count && !scene->piece[i]->hidden;
}

size_t app_pieces(const struct app *app)
{
    size_t n = 0;
    for (size_t i = 0; i < app->scene->count; i++)
        n += app_works_on(app, i);
    return n;
}

/* --- what the session has ------------------------------------------------------------------- */

bool app_same_surface(const struct mesh *a, const struct mesh *b)
{
    return mesh_point(a) == mesh_point(b) && mesh_triangle(a) == mesh_triangle(b) &&
           memcmp(a->origin, b->origin, sizeof a->origin) == 0;
}

/* Whether the pieces that were there are still there as they were, so that points on them hold. */
static bool surfaces_stay(const struct scene *was, const struct scene *now)
{
    size_t same = 0;
    for (size_t i = 0; was && i < was->count && i < now->count; i++)
        same += app_same_surface(was->piece[i]->mesh, now->piece[i]->mesh);
    return was && same == was->count;
}

/* What the panel lists is no step ahead of what else the screen shows. */
static void take_trail(struct app *app)
{
    struct trail *trail = &app->trail;
    size_t present, count = session_steps(app->session, &present);
    struct session_step *step = realloc(trail->step, (count + 1) * sizeof *step);
    if (!step) {
        trail->count = trail->present = 0; /* those it had may be another session's */
        return;
    }
    for (size_t i = 0; i < count; i++)
        step[i] = session_step(app->session, i);
    *trail = (struct trail){step, count, present};
}

void app_refresh(struct app *app)
{
    const struct scene *now = session_scene(app->session);
    double size = 0;
    bool changed = now != app->scene, first = !app->scene || app->scene->count == 0;
    take_trail(app);
    app->unsaved = session_unsaved(app->session);
    app->stale = true;
    if (!changed)
        return;
    if (!surfaces_stay(app->scene, now))
        app->points.count = 0;
    preview_set(app, NULL);
    if (app->scene) {
        pairs_tool_scene(app, now);
        size = view_extent(app);
    }
    scene_free(app->scene);
    app->scene = scene_share(now);
    app->walk.on = false;
    lane_cancel(&app->study_lane);
    app->view.exact_cost = 1; /* unknown: begin with the stand-in */
    if (first)
        view_whole(app);
    else
        view_follow(app, size);
    view_touch(app);
}

/* --- lines ---------------------------------------------------------------------------------- */

struct work_task {
    struct app *app;
    char *line;
};

static enum status work_run(void *context, struct job *job)
{
    struct work_task *task = context;
    return session_do(task->app->session, task->line, job);
}

static void queue_drop(struct app *app)
{
    for (size_t i = 0; i < app->queued; i++)
        free(app->queue[i]);
    app->queued = 0;
}

static void queue_start(struct app *app);

/* The last line of the notes goes below the picture, those before it are shown over it. */
static void tell_notes(struct app *app, const struct job *job, const char *line)
{
    free(app->report);
    app->report = NULL;
    if (!job->notes) {
        app_say(app, false, "done: %s", line);
        return;
    }
    const char *last = job->notes;
    for (const char *p = job->notes; *p; p++)
        if (*p == '\n' && p[1])
            last = p + 1;
    app_say(app, false, "%.*s", (int)strcspn(last, "\n"), last);
    if (last != job->notes)
        app->report = strndup(job->notes, (size_t)(last - job->notes));
}

/* What a step only looked at goes on being drawn until something changes, or Esc. */
static void keep_sketch(struct app *app, const char *line)
{
    const struct op *op = op_named(line, strcspn(line, " "));
    if (op && op->sketch && !op->changes)
        preview_set(app, line);
}

/* Keeps it for who wants to read all of it. */
static void remember_told(struct app *app, const char *text)
{
    char *copy = strdup(text);
    free(app->told);
    app->told = copy;
}

void act_told(struct app *app)
{
    if (!app->told) {
        app_say(app, false, "no step has said anything yet");
        return;
    }
    pager_open(&app->pager, "what the last step said", strdup(app->told));
    app->stale = true;
}

static void work_done(void *context, enum status status, struct job *job)
{
    struct work_task *task = context;
    struct app *app = task->app;
    if (status == STATUS_OK) {
        vet_done(app, task->line);
        tell_notes(app, job, task->line);
        remember_told(app, job->notes ? job->notes : app->message);
    } else {
        app_say(app, true, "%s", job->message[0] ? job->message : status_meaning(status));
        remember_told(app, app->message);
        queue_drop(app);
    }
    app_refresh(app);
    if (status == STATUS_OK)
        keep_sketch(app, task->line);
    free(task->line);
    free(task);
    queue_start(app);
}

static void queue_start(struct app *app)
{
    if (!lane_free(&app->work) || app->queued == 0)
        return;
    struct work_task *task = malloc(sizeof *task);
    if (!task) {
        queue_drop(app);
        return;
    }
    *task = (struct work_task){app, app->queue[0]};
    memmove(app->queue, app->queue + 1, --app->queued * sizeof *app->queue);
    lane_cancel(&app->study_lane); /* the operation gets the machine; the study goes on after it */
    lane_start(&app->work, (struct task){work_run, work_done, task});
}

/* "@" is the point put last, "@2" the second: how many bytes of such a word stand at p. */
static size_t point_word(const struct app *app, const char *line, const char *p, size_t *number)
{
    if (*p != '@' || p == line || !strchr("=:;", p[-1]))
        return 0;
    char *end;
    bool numbered = p[1] >= '1' && p[1] <= '9';
    *number = numbered ? strtoul(p + 1, &end, 10) : app->points.count;
    size_t n = numbered ? (size_t)(end - p) : 1;
    return strchr(" :;", p[n]) ? n : 0; /* or the end */
}

static size_t home_word(const char *line, const char *p)
{
    const char *home = getenv("HOME");
    bool begins = p > line && strchr(" =\"", p[-1]);
    return begins && p[0] == '~' && p[1] == '/' && home && !strpbrk(home, " #=\"\\");
}

static bool point_is_put(struct app *app, size_t number, bool quietly)
{
    if (quietly)
        return app->points.count && number <= app->points.count;
    if (app->points.count == 0)
        app_say(app, true, "no point has been put yet; press p, move the pointer, Enter");
    else if (number > app->points.count)
        app_say(app, true, "point @%zu has not been put yet; there %s %zu", number,
                app->points.count == 1 ? "is" : "are", app->points.count);
    return app->points.count && number <= app->points.count;
}

bool app_expand(struct app *app, const char *line, char *out, size_t size, bool quietly)
{
    size_t n = 0, number, length;
    for (const char *p = line; *p && n + 1 < size;) {
        if ((length = point_word(app, line, p, &number)) > 0) {
            if (!point_is_put(app, number, quietly))
                return false;
            struct vec at = app->points.put[number - 1].at;
            n += (size_t)snprintf(out + n, size - n, "%.4f,%.4f,%.4f", at.x, at.y, at.z);
        } else if ((length = home_word(line, p)) > 0) {
            n += (size_t)snprintf(out + n, size - n, "%s", getenv("HOME"));
        } else {
            out[n++] = *p;
            length = 1;
        }
        p += length;
    }
    out[n < size ? n : size - 1] = '\0';
    return n < size;
}

void app_run(struct app *app, const char *line)
{
    char text[PROMPT_MOST + 4096];
    if (app_expand(app, line, text, sizeof text, false) && vet_line(app, text))
        app_queue(app, text);
}

void app_queue(struct app *app, const char *line)
{
    char **queue = realloc(app->queue, (app->queued + 1) * sizeof *queue);
    char *copy = strdup(line);
    if (queue)
        app->queue = queue;
    if (!queue || !copy) {
        free(copy);
        app_say(app, true, "out of memory");
        return;
    }
    queue[app->queued++] = copy;
    queue_start(app);
}

void app_undo(struct app *app, bool redo)
{
    if (!lane_free(&app->work)) {
        app_say(app, true, "a step is running; Esc stops it");
        return;
    }
    bool done = redo ? session_redo(app->session) : session_undo(app->session);
    app_refresh(app);
    size_t present;
    session_steps(app->session, &present);
    if (!done)
        app_say(app, false, redo ? "nothing to redo" : "nothing to undo");
    else
        app_say(app, false, redo ? "redone: %s" : "undone: %s",
                session_step(app->session, redo ? present - 1 : present).label);
}

/* A table of keys. */
/* clang-format off */
void act_undo(struct app *app) { app_undo(app, false); }
void act_redo(struct app *app) { app_undo(app, true); }
/* clang-format on */

/* --- pieces --------------------------------------------------------------------------------- */

void app_choose(struct app *app, size_t piece)
{
    if (!lane_free(&app->work) || !session_select(app->session, piece)) {
        app_say(app, true, "a step is running; Esc stops it");
        return;
    }
    app_refresh(app);
    app->walk = (struct walk){0};
    if (piece)
        app_say(app, false, "piece %zu: %s", piece, app->scene->piece[piece - 1]->name);
    else
        app_say(app, false, "all pieces");
}

void act_next_piece(struct app *app)
{
    app_choose(app, (app->scene->selected + 1) % (app->scene->count + 1));
}
void act_previous_piece(struct app *app)
{
    app_choose(app, (app->scene->selected + app->scene->count) % (app->scene->count + 1));
}

/* The piece that a key is about, counted from 1; 0: none is chosen, and that is said. */
static size_t the_chosen(struct app *app)
{
    const struct scene *scene = app->scene;
    size_t piece = scene->count == 1 ? 1 : scene->selected;
    for (size_t i = 0; !piece && app_pieces(app) == 1 && i < scene->count; i++)
        if (app_works_on(app, i)) /* no other is in sight */
            piece = i + 1;
    if (scene->count == 0)
        app_say(app, false, "nothing is open");
    else if (!piece)
        app_say(app, false, "choose a piece first: Tab goes from one to the next");
    return piece;
}

static void run_on_chosen(struct app *app, size_t piece, const char *operation)
{
    char line[64];
    snprintf(line, sizeof line, "%s %zu", operation, piece);
    app_run(app, line);
}

void act_sight(struct app *app)
{
    size_t piece = the_chosen(app);
    if (piece)
        run_on_chosen(app, piece, app->scene->piece[piece - 1]->hidden ? "show" : "hide");
}

void act_hold(struct app *app)
{
    size_t piece = the_chosen(app);
    if (piece)
        run_on_chosen(app, piece, app->scene->piece[piece - 1]->locked ? "unlock" : "lock");
}

/* --- leaving -------------------------------------------------------------------------------- */

/* What is shown of the last step, and of the fault that was looked at. */
static void clear_away(struct app *app)
{
    preview_set(app, NULL);
    app->walk = (struct walk){0};
}

static void drop_points(struct app *app)
{
    size_t count = app->points.count;
    app->points.count = 0;
    if (count)
        app_say(app, false, count == 1 ? "the point is taken away" : "%zu points are taken away",
                count);
}

/* Stops what runs; else takes away one thing at a time, what is uppermost first. */
void act_leave(struct app *app)
{
    if (!lane_free(&app->work)) {
        lane_cancel(&app->work);
        queue_drop(app);
        app_say(app, false, "stopping ...");
        return;
    }
    app_say(app, false, "%s", "");
    if (app->panel_over)
        app->panel_over = false;
    else if (app->where == WHERE_POINT)
        point_leave(app);
    else if (app->where == WHERE_PAIRS)
        pairs_tool_end(app);
    else if (app->where == WHERE_PLANE)
        app->where = WHERE_LOOK;
    else if (app->walk.on || app->preview.line || app->arrows_other)
        clear_away(app);
    else
        drop_points(app);
    app->arrows_other = false;
    view_touch(app);
}

static void answer_quit(struct app *app, int key)
{
    if (key == 'y' || key == 'Y')
        app->leaving = true;
    else
        app_say(app, false, "still here; :save FILE keeps what was done");
}

void act_quit(struct app *app)
{
    if (!lane_free(&app->work))
        app_say(app, true, "a step is running; Esc stops it");
    else if (app->unsaved)
        app_ask(app, answer_quit,
                "Some steps are in no saved file. Quit and drop them? (y, any other key: stay)");
    else
        app->leaving = true;
}
