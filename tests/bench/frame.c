/* Frames of a picture that turns: how long each takes, drawn and made into characters. */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>

#include "core/job.h"
#include "format/format.h"
#include "raster/cells.h"
#include "surface/standin.h"
#include "tests/bench/bench.h"

enum { FRAMES = 31, STANDIN_TO = 60000 /* triangles */ };

struct times {
    double draw[FRAMES], cells[FRAMES], cpu[FRAMES];
};

static double cpu_now(void)
{
    struct rusage usage;
    getrusage(RUSAGE_SELF, &usage);
    return (double)(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec) +
           1e-6 * (double)(usage.ru_utime.tv_usec + usage.ru_stime.tv_usec);
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double times[FRAMES])
{
    qsort(times, FRAMES, sizeof *times, ascending);
    return times[FRAMES / 2];
}

/* Draws FRAMES views round the mesh after two to warm up. */
static enum status draw_frames(const struct mesh *mesh, int columns, int rows, struct times *times,
                               struct job *job)
{
    const struct raster_piece piece = {.mesh = mesh, .tint = {200, 200, 200}};
    struct raster_view view = {.piece = &piece, .pieces = 1, .axes = true, .scale_bar = true};
    const struct cell_look look = {CELLS_ASCII, 256, false, false};
    struct image *image = image_new();
    struct cell *cells = malloc((size_t)columns * (size_t)rows * sizeof *cells);
    int w, h;
    cells_samples(look.style, &w, &h);
    camera_frame(&view.camera, vec(0, 0, 0), vec(1, 1, 1), 1);
    raster_fit(&view.camera, &piece, 1, (double)(columns * w) / (rows * h), job);
    enum status status = image && cells ? STATUS_OK : STATUS_MEMORY;
    for (int i = -2; i < FRAMES && status == STATUS_OK; i++) {
        double start = bench_now(), cpu = cpu_now();
        status = raster_draw(image, &view, columns * w, rows * h, 1, job);
        double drawn = bench_now();
        cells_from_image(image, &look, cells, columns, rows);
        int k = i < 0 ? 0 : i;
        times->draw[k] = drawn - start;
        times->cells[k] = bench_now() - drawn;
        times->cpu[k] = cpu_now() - cpu;
        camera_turn(&view.camera, 0.15, 0.02, 0);
    }
    free(cells);
    image_free(image);
    return status;
}

static int run(int count, char **argument)
{
    int columns = count > 2 ? atoi(argument[1]) : 0, rows = count > 2 ? atoi(argument[2]) : 0;
    if (columns < 1 || rows < 1 || columns > 1000 || rows > 1000)
        return 2;
    struct job job;
    struct file file;
    struct times times;
    job_init(&job);
    job.threads = count > 3 ? atoi(argument[3]) : 0;
    if (file_read(argument[0], UNIT_NONE, &file, &job) != STATUS_OK ||
        draw_frames(file.mesh, columns, rows, &times, &job) != STATUS_OK) {
        fprintf(stderr, "%s\n", job.message);
        return 1;
    }
    double draw = median(times.draw), cells = median(times.cells), cpu = median(times.cpu);
    double start = bench_now();
    struct mesh *standin = decimate_quick(file.mesh, STANDIN_TO, &job);
    double made = bench_now() - start;
    if (!standin || draw_frames(standin, columns, rows, &times, &job) != STATUS_OK) {
        fprintf(stderr, "%s\n", job.message);
        return 1;
    }
    printf("@@{\"wall_s\": %.5f, \"draw_ms\": %.2f, \"cells_ms\": %.2f, \"cpu_ms\": %.2f, "
           "\"triangles\": %zu, \"columns\": %d, \"rows\": %d, \"standin_triangles\": %zu, "
           "\"standin_made_ms\": %.2f, \"standin_draw_ms\": %.2f, \"standin_cpu_ms\": %.2f}\n",
           draw + cells, draw * 1e3, cells * 1e3, cpu * 1e3, mesh_triangles(file.mesh), columns,
           rows, mesh_triangles(standin), made * 1e3, median(times.draw) * 1e3,
           median(times.cpu) * 1e3);
    mesh_free(standin);
    file_release(&file);
    return 0;
}

const struct bench_task bench_frame = {
    "frame", "FILE COLUMNS ROWS [THREADS]",
    "one picture of a mesh that turns, drawn and made into characters (median)", run};
