#include "tui/study.h"

#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "surface/standin.h"
#include "tui/app.h"

enum {
    STANDIN_FROM = 150000, /* triangles or points; what is smaller moves as it is */
    STANDIN_TO = 60000,
    KEPT_BESIDES = 8 /* meshes that are not on the screen but may come back */
};

static void entry_clear(struct study_entry *entry)
{
    piece_free(entry->piece);
    mesh_free(entry->standin);
    if (entry->inspected)
        inspection_release(&entry->inspection);
    *entry = (struct study_entry){0};
}

void study_release(struct study *study)
{
    for (size_t i = 0; i < study->capacity; i++)
        entry_clear(&study->entry[i]);
    free(study->entry);
    *study = (struct study){0};
}

static bool reserve(struct study *study, size_t pieces)
{
    size_t capacity = pieces + KEPT_BESIDES;
    if (capacity <= study->capacity)
        return true;
    struct study_entry *entry = realloc(study->entry, capacity * sizeof *entry);
    if (!entry)
        return false;
    memset(entry + study->capacity, 0, (capacity - study->capacity) * sizeof *entry);
    study->entry = entry;
    study->capacity = capacity;
    return true;
}

/* By mesh: the same mesh under another name or visibility is known already. */
static struct study_entry *find(struct study *study, const struct piece *piece)
{
    for (size_t i = 0; i < study->capacity; i++)
        if (study->entry[i].piece && study->entry[i].piece->mesh == piece->mesh)
            return &study->entry[i];
    return NULL;
}

static struct study_entry *find_or_make(struct study *study, const struct piece *piece)
{
    struct study_entry *entry = find(study, piece);
    if (!entry) {
        entry = &study->entry[0];
        for (size_t i = 1; i < study->capacity; i++)
            if (study->entry[i].used < entry->used)
                entry = &study->entry[i];
        entry_clear(entry);
        entry->piece = piece_share(piece);
    }
    entry->used = ++study->clock;
    return entry;
}

/* --- one stage, in the study lane ----------------------------------------------------------- */

struct stage_task {
    struct app *app;
    struct piece *piece;
    enum study_stage stage; /* what to reach */
    struct mesh *standin;
    struct inspection inspection;
};

static const char *const unit_sources[] = {"given", "file", "assumed"};
static const char *const colours[] = {"none", "vertex", "face", "texture"};

/* Triangles, or the points of a cloud. */
static size_t items_of(const struct mesh *mesh)
{
    return mesh_triangles(mesh) ? mesh_triangles(mesh) : mesh_vertices(mesh);
}

static enum status stage_run(void *context, struct job *job)
{
    struct stage_task *task = context;
    const struct piece *piece = task->piece;
    if (task->stage == STUDY_STANDIN) {
        if (items_of(piece->mesh) < STANDIN_FROM)
            return STATUS_OK;
        task->standin = decimate_quick(piece->mesh, STANDIN_TO, job);
        return task->standin ? STATUS_OK : job_status(job);
    }
    struct check_input input = {.file = piece->name,
                                .format = piece->format ? piece->format->name : NULL,
                                .unit = unit_name(piece->unit),
                                .unit_source = unit_sources[piece->unit_source],
                                .colour = colours[piece->colour],
                                .skip_self_intersections = task->stage == STUDY_QUICK};
    return inspect(piece->mesh, &input, &task->inspection, job);
}

static void stage_done(void *context, enum status status, struct job *job)
{
    struct stage_task *task = context;
    struct study_entry *entry = find(&task->app->study, task->piece);
    bool good = status == STATUS_OK;
    if (entry && good && task->stage == STUDY_STANDIN) {
        entry->standin = task->standin;
        entry->stage = task->stage;
        task->standin = NULL;
    } else if (entry && good) {
        if (entry->inspected)
            inspection_release(&entry->inspection);
        entry->inspection = task->inspection;
        entry->inspected = true;
        entry->stage = task->stage;
    } else if (good && task->stage != STUDY_STANDIN) {
        inspection_release(&task->inspection);
    } else if (entry && status != STATUS_CANCELLED) {
        entry->stage = STUDY_FAILED;
        app_say(task->app, true, "%s: cannot be inspected further: %s", task->piece->name,
                job->message);
    }
    mesh_free(task->standin);
    piece_free(task->piece);
    task->app->stale = true;
    free(task);
}

static bool start_stage(struct app *app, const struct piece *piece, enum study_stage stage)
{
    struct stage_task *task = calloc(1, sizeof *task);
    if (!task)
        return false;
    task->app = app;
    task->piece = piece_share(piece);
    task->stage = stage;
    lane_start(&app->study_lane, (struct task){stage_run, stage_done, task});
    return true;
}

/* --- what next ------------------------------------------------------------------------------ */

/* The lowest stage that some visible piece still lacks; the piece worked on goes first. */
static const struct piece *lacking(struct app *app, enum study_stage stage)
{
    const struct scene *scene = app->scene;
    const struct piece *first = app_piece(app);
    for (size_t i = 0; i <= scene->count; i++) {
        const struct piece *piece = i == 0 ? first : scene->piece[i - 1];
        if (!piece || (i > 0 && piece->hidden))
            continue;
        if (find_or_make(&app->study, piece)->stage == stage)
            return piece;
    }
    return NULL;
}

void study_pump(struct app *app)
{
    if (!lane_free(&app->study_lane) || !lane_free(&app->work) ||
        !reserve(&app->study, app->scene->count))
        return; /* while an operation runs it has the machine to itself */
    for (enum study_stage stage = STUDY_NOTHING; stage < STUDY_WHOLE; stage++) {
        const struct piece *piece = lacking(app, stage);
        if (piece) {
            start_stage(app, piece, stage + 1);
            return;
        }
    }
}

const struct inspection *study_inspection(struct app *app, const struct piece *piece, bool *whole)
{
    const struct study_entry *entry = piece ? find(&app->study, piece) : NULL;
    *whole = entry && entry->stage == STUDY_WHOLE;
    return entry && entry->inspected ? &entry->inspection : NULL;
}

const struct mesh *study_standin(struct app *app, const struct piece *piece)
{
    const struct study_entry *entry = find(&app->study, piece);
    return entry && entry->standin ? entry->standin : piece->mesh;
}

bool study_failed(struct app *app, const struct piece *piece)
{
    const struct study_entry *entry = piece ? find(&app->study, piece) : NULL;
    return entry && entry->stage == STUDY_FAILED;
}

double study_progress(struct app *app)
{
    bool runs = !lane_free(&app->study_lane) && seconds_now() - app->study_lane.since > 1;
    return runs ? job_progress(&app->study_lane.job) : -1;
}
