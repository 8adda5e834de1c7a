/* Every allocation fails once: in each operation, reader, writer and inspection there is, one after
 * the other. What was asked for must then end with STATUS_MEMORY (or do without, to the same
 * result), leave nothing behind, and not crash.
 *
 *     torture [NAME...]    all, or those whose names begin so ("op fill", "read")
 *
 * The trials are dealt to processes side by side (tests/support/runners.h). */
#include <dirent.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/job.h"
#include "tests/support/carved.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"
#include "tests/support/mended.h"
#include "tests/support/runners.h"
#include "tests/support/shapes.h"
#include "tests/torture/ways.h"
#include "tests/torture/wrap.h"

static struct mesh *subject;      /* a shape with faults and colour; or its points alone */
static struct mesh *solid, *tool; /* a ball and a box without faults, one in the other */
static struct scene *hung;        /* a box with a keyhole */
static char *folder;
static char *seeds; /* the folder of small files of every kind */

enum { TRIALS_MOST = 4096 };
static struct { /* by all runners: each goes through all trials and takes those that nobody took */
    atomic_bool taken[TRIALS_MOST];
    atomic_int complaints;
} * shared;

static void complain(const struct trial *trial, size_t n, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void complain(const struct trial *trial, size_t n, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    printf("torture: %s: allocation %zu: ", trial->name, n);
    vprintf(format, list);
    putchar('\n');
    va_end(list);
    atomic_fetch_add(&shared->complaints, 1);
}

/* --- one trial ------------------------------------------------------------------------------ */

static struct scene *fresh_scene(int pieces, const struct mesh *of)
{
    struct scene *scene = scene_new();
    for (int i = 0; i < pieces; i++) {
        struct piece *piece = piece_new(mesh_new_like(of), "subject");
        if (!scene || scene_add(scene, piece, NULL) != STATUS_OK)
            abort();
    }
    return scene;
}

/* Nothing derived yet; of two pieces the second is a box at the first one's corner. */
static struct scene *fresh_hung(int pieces)
{
    struct scene *scene = fresh_scene(1, hung->piece[0]->mesh);
    piece_set_fixings(scene->piece[0], fixings_share(hung->piece[0]->fixings));
    if (pieces > 1 && scene_add(scene, piece_new(mesh_new_like(tool), "box"), NULL) != STATUS_OK)
        abort();
    return scene;
}

static struct scene *fresh_for(const struct trial *trial)
{
    return trial->hung
               ? fresh_hung(trial->pieces)
               : fresh_scene(trial->pieces ? trial->pieces : 1, trial->solid ? solid : subject);
}

/* With its nth allocation failing. Returns how many there were. */
static size_t once(const struct trial *trial, size_t n, uint64_t *digest, enum status *status,
                   bool *failed, char *message)
{
    struct scene *scene = fresh_for(trial);
    uint64_t before = scene_digest(scene);
    if (trial->prepare)
        trial->prepare();
    struct job job;
    job_init(&job);
    job.threads = 1;
    wrap_begin(n);
    *status = trial->run(trial, scene, &job, digest);
    size_t count = wrap_end(failed);
    strcpy(message, job.message);
    job_release(&job);
    if (scene_digest(scene) != before)
        complain(trial, n, "the input was touched");
    scene_free(scene);
    return count;
}

static void torture(const struct trial *trial)
{
    uint64_t wanted, digest = 0;
    enum status status;
    bool failed;
    char message[sizeof((struct job *)0)->message];
    size_t alive = wrap_alive();
    size_t count = once(trial, 0, &wanted, &status, &failed, message);
    if (status != STATUS_OK)
        complain(trial, 0, "fails anyway: %s", message);
    if (wrap_alive() != alive)
        complain(trial, 0, "%zu blocks are left behind", wrap_alive() - alive);
    /* Of thousands only some, evenly. FETTLE_LONG tries a thousand: an operation that allocates
     * 16 000 times does so in a few loops, and took 41 of the 48 minutes that trying all did. */
    const size_t step = count / (getenv("FETTLE_LONG") ? 1000 : 120) + 1;
    for (size_t n = 1; n <= count && status == STATUS_OK; n += step) {
        enum status outcome;
        alive = wrap_alive();
        once(trial, n, &digest, &outcome, &failed, message);
        if (outcome == STATUS_OK && failed && digest != wanted)
            complain(trial, n, "is done without, but the result is another");
        if (outcome != STATUS_OK && outcome != STATUS_MEMORY)
            complain(trial, n, "ends with \"%s\": %s", status_meaning(outcome), message);
        if (outcome == STATUS_MEMORY && !message[0])
            complain(trial, n, "ends without a message");
        if (wrap_alive() != alive)
            complain(trial, n, "%zu blocks are left behind", wrap_alive() - alive);
    }
    printf("%-32s %6zu allocations\n", trial->name, count);
    fflush(stdout);
}

/* --- all of them ---------------------------------------------------------------------------- */

static int chosen_count, tried;
static char **chosen;

/* Whether this runner is to do it; asked once for each. */
static bool is_mine(const struct trial *trial)
{
    bool wanted = chosen_count == 0;
    for (int i = 0; i < chosen_count; i++)
        wanted = wanted || strncmp(trial->name, chosen[i], strlen(chosen[i])) == 0;
    if (tried == TRIALS_MOST)
        abort();
    return wanted & !atomic_exchange(&shared->taken[tried++], true);
}

static void try(const struct trial *trial)
{
    if (is_mine(trial))
        torture(trial);
}

/* Other ways through operations than the first that comes to hand. */
static void try_lines(void)
{
    static const char *const lines[] = {
        "decimate within=0.5", "decimate share=40%", "decimate to=100 boundary=kept",
        "fill shape=flat",     "fill shape=smooth",  "fill at=0,0,0",
        "weld gap=0.01",       "stand by=support"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        struct trial trial = {.run = run_line, .line = lines[i]};
        snprintf(trial.name, sizeof trial.name, "op %s", lines[i]);
        try(&trial);
    }
}

/* Solids in contact of all kinds, carved out of one lattice. */
static void try_solids(void)
{
    struct mesh *ball = solid;
    solid = carved_block(5);
    for (int i = 0; i < 2; i++) {
        struct trial trial = {.run = run_line, .solid = true};
        trial.line = i ? "unite carved.stl" : "subtract carved.stl";
        snprintf(trial.name, sizeof trial.name, "op %s", trial.line);
        try(&trial);
    }
    mesh_free(solid);
    solid = ball;
}

/* A mesh in which everything is wrong, and bodies through each other with sides in one plane. */
static void try_mending(void)
{
    struct mesh *ball = solid;
    for (int i = 0; i < 3; i++) {
        struct trial trial = {.run = run_line, .solid = true};
        trial.line = i == 2 ? "mend open=yes" : "mend";
        solid = i ? broken(15) : mesh_two(carved_block(5), carved_block(8));
        snprintf(trial.name, sizeof trial.name, "op %s, %s", trial.line, i ? "broken" : "carved");
        try(&trial);
        mesh_free(solid);
    }
    solid = ball;
}

static void try_sketch(const struct trial *made, const struct op *op)
{
    struct trial trial = *made;
    trial.run = run_sketch;
    snprintf(trial.name, sizeof trial.name, "sketch %s", op->name);
    if (op->sketch)
        try(&trial);
}

/* What is done to a piece with a keyhole. */
static void try_hung(void)
{
    static const char *const lines[] = {"balance",
                                        "fixings",
                                        "move 1,2,3",
                                        "weld",
                                        "smooth",
                                        "bore 15,0,35 screw=M4",
                                        "keyhole 15,0,20 head=7",
                                        "template page.svg",
                                        "unite tool=1 piece=2"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        struct trial trial = {.run = run_line, .hung = true, .line = lines[i]};
        trial.pieces = i + 1 < sizeof lines / sizeof *lines ? 1 : 2;
        snprintf(trial.name, sizeof trial.name, "hung %s", lines[i]);
        try(&trial);
        if (i == 0)
            try_sketch(&trial, op_named("balance", 7));
        if (i == 1)
            try_sketch(&trial, op_named("fixings", 7));
    }
}

/* What an operation does only when it is asked to. */
static void try_choices(void)
{
    static const char *const lines[] = {"tint missing"};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        struct trial trial = {.run = run_line, .line = lines[i]};
        snprintf(trial.name, sizeof trial.name, "choice %s", lines[i]);
        try(&trial);
    }
}

/* A line that carries it out on what the trial then says; NULL: none. */
static char *find_line(const struct op *op, bool cloud, struct trial *trial, char why[EXAMPLE_WHY])
{
    char *line = NULL;
    for (int way = 0; way < (cloud ? 2 : 4) && !line; way++) { /* some need more than a piece */
        struct scene *result;
        trial->pieces = way == 1 ? 2 : 1;
        trial->solid = way == 2;
        trial->hung = way == 3;
        struct scene *scene = fresh_for(trial);
        line =
            example_run(op, scene, trial->solid ? "solid.stl" : "in.stl", "out.stl", &result, why);
        scene_free(scene);
        if (line)
            scene_free(result);
    }
    return line;
}

/* A point cloud is not for all of them. */
static void try_operations(bool cloud)
{
    for (size_t i = 0; op_row(i); i++) {
        char why[EXAMPLE_WHY];
        struct trial trial = {.run = run_line}, sketch = {.run = run_sketch};
        snprintf(trial.name, sizeof trial.name, "%s %s", cloud ? "cloud" : "op", op_row(i)->name);
        snprintf(sketch.name, sizeof sketch.name, "sketch %s", op_row(i)->name);
        bool runs = is_mine(&trial), draws = op_row(i)->sketch && is_mine(&sketch);
        char *line = runs || draws ? find_line(op_row(i), cloud, &trial, why) : NULL;
        sketch.line = trial.line = line;
        sketch.pieces = trial.pieces;
        sketch.solid = trial.solid;
        sketch.hung = trial.hung;
        if (line && runs)
            torture(&trial);
        if (line && draws)
            torture(&sketch);
        if (!line && !cloud && (runs || draws))
            complain(&trial, 0, "no way to carry it out was found: %s", why);
        free(line);
    }
}

static void try_cloud(void)
{
    struct mesh *whole = subject;
    subject = mesh_new(mesh_vertices(whole), 0);
    if (!subject)
        abort();
    memcpy(mesh_point_edit(subject), mesh_point(whole), array_bytes(whole->point));
    try_operations(true);
    mesh_free(subject);
    subject = whole;
}

static void try_formats(void)
{
    for (size_t i = 0; format_row(i); i++) {
        struct trial trial = {.format = format_row(i)};
        char name[64];
        snprintf(name, sizeof name, "in.%.*s", (int)strcspn(trial.format->extensions, " "),
                 trial.format->extensions);
        if (!trial.format->write || !trial.format->triangles)
            continue;
        if (file_write(subject, name, trial.format, NULL, NULL) != STATUS_OK)
            abort();
        trial.run = run_write;
        for (int ascii = 0; ascii < 2; ascii++) {
            snprintf(trial.name, sizeof trial.name, "write %s%s", trial.format->name,
                     ascii ? " text" : "");
            trial.ascii = ascii;
            try(&trial);
        }
        if (!trial.format->read)
            continue;
        snprintf(trial.name, sizeof trial.name, "read %s", trial.format->name);
        trial.run = run_read;
        trial.line = name;
        try(&trial);
    }
}

/* Small files of every kind, packed ones too. */
static void try_seeds(void)
{
    struct dirent **entry;
    int count = seeds ? scandir(seeds, &entry, NULL, alphasort) : -1;
    if (count < 0)
        complain(&(struct trial){.name = "seeds"}, 0, "run it in the folder of the sources");
    for (int i = 0; i < count; i++) {
        struct trial trial = {.run = run_read};
        char *path = folder_path(seeds, entry[i]->d_name);
        bool several = strncmp(entry[i]->d_name, "two.", 4) == 0; /* an archive to choose from */
        snprintf(trial.name, sizeof trial.name, "read %.40s", entry[i]->d_name);
        trial.line = path;
        if (entry[i]->d_name[0] != '.' && !several)
            try(&trial);
        free(path);
        free(entry[i]);
    }
    if (count >= 0)
        free(entry);
}

static void try_derived(void)
{
    static const char *const names[] = {
#define DERIVED(name, help) #name,
#include "core/derived.def"
#undef DERIVED
    };
    for (int i = 0; i < DERIVED_COUNT; i++) {
        struct trial trial = {.run = run_derive, .derived = (enum derived)i};
        snprintf(trial.name, sizeof trial.name, "derive %s", names[i]);
        try(&trial);
    }
}

static bool dropped(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t == 5 || t == 200 || t == 201;
}

/* A ball with two holes, a small one beside it, and a box that pierces it; in colour. */
static struct mesh *make_subject(void)
{
    struct mesh *ball = shape_sphere(20, 2), *bit = shape_sphere(1, 0),
                *box = shape_box(24, 13, 7, 1);
    struct mesh *open = shape_without(ball, dropped);
    const struct mesh *parts[] = {open, bit, box};
    const double moves[][3] = {{0, 0, 0}, {40, 0, 0}, {15, -4, -4}};
    struct mesh *all = shape_join(parts, moves, 3);
    uint8_t *colour = mesh_attribute_new(all, ATTRIBUTE_colour);
    for (size_t i = 0; i < 4 * mesh_vertices(all); i++)
        colour[i] = (uint8_t)(i * 37);
    mesh_free(ball);
    mesh_free(bit);
    mesh_free(box);
    mesh_free(open);
    return all;
}

static void try_all(void)
{
    static const struct trial others[] = {
        {.name = "check", .run = run_check},
        {.name = "compare", .run = run_compare},
        {.name = "draw text", .run = run_draw},
        {.name = "draw png", .run = run_png},
        {.name = "recipe", .run = run_recipe},
        {.name = "session", .run = run_session},
        {.name = "recovery", .run = run_recovery, .prepare = leave_journal}};
    try_operations(false);
    try_lines();
    try_solids();
    try_mending();
    try_hung();
    try_choices();
    try_cloud();
    try_formats();
    try_seeds();
    try_derived();
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        try(&others[i]);
}

static struct scene *make_hung(void)
{
    struct mesh *box = shape_box(50, 20, 60, 1);
    struct scene *scene = fresh_scene(1, box), *made = NULL;
    struct step step;
    if (step_parse("keyhole 30,0,40", &step, NULL) != STATUS_OK ||
        step_run(&step, scene, &made, NULL) != STATUS_OK)
        abort();
    step_release(&step);
    scene_free(scene);
    mesh_free(box);
    return made;
}

static void run(void)
{
    folder = folder_new();
    seeds = realpath("tests/data/seeds", NULL);
    subject = make_subject();
    solid = shape_sphere(5, 1);
    tool = shape_box(4, 5, 6, 1);
    hung = make_hung();
    struct mesh *carved = carved_block(8);
    if (chdir(folder) != 0 || system("mkdir left") != 0 ||
        file_write(subject, "in.stl", NULL, NULL, NULL) != STATUS_OK ||
        file_write(tool, "solid.stl", NULL, NULL, NULL) != STATUS_OK ||
        file_write(carved, "carved.stl", NULL, NULL, NULL) != STATUS_OK)
        abort();
    try_all();
    scene_free(hung);
    mesh_free(carved);
    mesh_free(subject);
    mesh_free(solid);
    mesh_free(tool);
    if (chdir("/") != 0)
        abort();
    folder_remove(folder);
    free(seeds);
}

static void run_side_by_side(int runners)
{
    pid_t self = getpid();
    for (int i = 0; i < runners; i++) {
        pid_t child = fork();
        if (child < 0)
            abort();
        if (child == 0) {
            runners_end_with(self);
            run();
            exit(EXIT_SUCCESS);
        }
    }
    for (int how; wait(&how) > 0;)
        if (how != 0) {
            printf("torture: a runner was ended (%x) before it came to its end\n", (unsigned)how);
            atomic_fetch_add(&shared->complaints, 1);
        }
}

int main(int count, char **word)
{
    chosen_count = count - 1;
    chosen = word + 1;
    shared = mmap(NULL, sizeof *shared, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (shared == MAP_FAILED)
        abort();
    int runners = runners_wanted(TRIALS_MOST);
    if (runners > 1)
        run_side_by_side(runners);
    else
        run();
    int complaints = shared->complaints;
    printf("torture: %d complaints\n", complaints);
    return complaints ? EXIT_FAILURE : EXIT_SUCCESS;
}
