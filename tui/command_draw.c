#include <langinfo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "core/topology.h"
#include "format/sink.h"
#include "raster/cells.h"
#include "raster/png.h"
#include "raster/raster.h"
#include "raster/text.h"
#include "tui/cli.h"
#include "tui/input.h"
#include "tui/text.h"
#include "tui/watch.h"

static const struct {
    const char *name;
    enum camera_side side;
} sides[] = {{"corner", CAMERA_CORNER}, {"front", CAMERA_FRONT}, {"back", CAMERA_BACK},
             {"left", CAMERA_LEFT},     {"right", CAMERA_RIGHT}, {"top", CAMERA_TOP},
             {"bottom", CAMERA_BOTTOM}};

static enum status find_side(const char *view, enum camera_side *out, struct job *job)
{
    *out = CAMERA_CORNER;
    for (size_t i = 0; view && i < sizeof sides / sizeof *sides; i++)
        if (strcmp(sides[i].name, view) == 0) {
            *out = sides[i].side;
            return STATUS_OK;
        }
    if (!view)
        return STATUS_OK;
    return job_fail(job, STATUS_USAGE,
                    "\"--view %s\": must be corner, front, back, left, right, top or bottom", view);
}

/* --- what the terminal can show ------------------------------------------------------------- */

static int terminal_colours(void)
{
    const char *term = getenv("TERM"), *more = getenv("COLORTERM"), *no = getenv("NO_COLOR");
    if (!isatty(STDOUT_FILENO) || (no && *no) || !term)
        return 0;
    if (more && (strcmp(more, "truecolor") == 0 || strcmp(more, "24bit") == 0))
        return 1 << 24;
    if (strstr(term, "256color"))
        return 256;
    return strcmp(term, "linux") == 0 || strncmp(term, "xterm", 5) == 0 ? 8 : 0;
}

static bool utf8(void)
{
    return strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
}

static struct cell_look look_for(const struct cli_options *options)
{
    int colours = options->colours >= 0 ? options->colours : terminal_colours();
    bool blocks =
        options->glyphs ? strcmp(options->glyphs, "blocks") == 0 : utf8() && colours >= 256;
    return (struct cell_look){.style = blocks ? CELLS_BLOCKS : CELLS_ASCII, .colours = colours};
}

static void text_size(const struct cli_options *options, int *columns, int *rows)
{
    struct winsize size = {0};
    *columns = 80;
    *rows = 24;
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 1 && size.ws_row > 2) {
        *columns = size.ws_col;
        *rows = size.ws_row - 1; /* the prompt's line */
    }
    if (options->columns) {
        *columns = options->columns;
        *rows = options->rows;
    }
}

/* --- pictures ------------------------------------------------------------------------------- */

static enum status draw_text(const struct cli_options *options, const struct raster_view *view,
                             int columns, int rows, char **text, struct job *job)
{
    const struct cell_look look = look_for(options);
    int across, down;
    cells_samples(look.style, &across, &down);
    struct image *image = image_new();
    struct cell *cells = calloc((size_t)columns * (size_t)rows, sizeof *cells);
    enum status status = STATUS_MEMORY;
    if (image && cells)
        /* A cell is twice as high as wide, and has as many samples that it holds. */
        status = raster_draw(image, view, columns * across, rows * down, 0.5 * down / across, job);
    if (status == STATUS_OK) {
        cells_from_image(image, &look, cells, columns, rows);
        *text = text_from_cells(cells, columns, rows, look.colours);
        status = *text ? STATUS_OK : STATUS_MEMORY;
    }
    free(cells);
    image_free(image);
    return status == STATUS_MEMORY ? job_fail_memory(job, (size_t)columns * (size_t)rows * 64)
                                   : status;
}

static enum status write_png(const char *path, const uint8_t *bytes, size_t size, struct job *job)
{
    struct sink *sink = sink_open(path, job);
    if (!sink)
        return job_status(job);
    (void)sink_write(sink, bytes, size); /* sink_close tells */
    return sink_close(sink, job);
}

static enum status draw_png(const char *path, const struct raster_view *view, int width, int height,
                            struct job *job)
{
    struct picture picture;
    uint8_t *bytes;
    size_t size;
    enum status status = picture_draw(view, width, height, false, &picture, job);
    if (status != STATUS_OK)
        return status;
    status = png_from_picture(&picture, &bytes, &size, job);
    free(picture.pixel);
    if (status != STATUS_OK)
        return status;
    status = write_png(path, bytes, size, job);
    free(bytes);
    return status;
}

static bool ends_in_png(const char *path)
{
    size_t n = strlen(path);
    return strcmp(path, "-") == 0 || (n > 4 && strcasecmp(path + n - 4, ".png") == 0);
}

static enum status draw_mesh(const struct command_call *call, const struct mesh *mesh, char **text,
                             struct job *job)
{
    const struct cli_options *options = call->options;
    const struct bounds *bounds = mesh_bounds(mesh, job);
    struct raster_piece piece = {.mesh = mesh};
    struct raster_view view = {.piece = &piece, .pieces = 1, .axes = true, .scale_bar = true};
    enum camera_side side;
    int width = options->columns ? options->columns : PNG_WIDTH;
    int height = options->columns ? options->rows : PNG_HEIGHT;
    if (!bounds)
        return job_status(job);
    if (find_side(options->view, &side, job) != STATUS_OK)
        return STATUS_USAGE;
    if (!options->output)
        text_size(options, &width, &height);
    double aspect = (double)width / height * (options->output ? 1 : 0.5);
    memcpy(piece.tint, raster_swatch(SWATCH_MEASURED), sizeof piece.tint);
    camera_frame(&view.camera, bounds->min, bounds->max, aspect);
    camera_look(&view.camera, side);
    raster_fit(&view.camera, &piece, 1, aspect, job);
    camera_zoom(&view.camera, 1 / RASTER_AIR);
    if (options->output)
        return draw_png(options->output, &view, width, height, job);
    return draw_text(options, &view, width, height, text, job);
}

static int draw_command(struct command_call *call)
{
    const char *output = call->options->output;
    struct job job;
    struct file file;
    char *text = NULL;
    if (output && !ends_in_png(output))
        return cli_complain(STATUS_USAGE, "\"%s\": pictures are written as PNG; end it in .png",
                            output);
    options_job(call->options, &job);
    watch_job(call->watch, &job, call->word[0]);
    enum status status = input_read(call, call->word[0], &file, &job);
    int result = status_exit(status);
    if (status == STATUS_OK) {
        status = draw_mesh(call, file.mesh, &text, &job);
        file_release(&file);
        watch_job(call->watch, NULL, NULL);
        result = status == STATUS_OK ? 0 : cli_complain_job(&job, status);
    }
    watch_job(call->watch, NULL, NULL);
    if (text)
        fputs(text, stdout);
    if (!call->options->quiet)
        input_notes(stderr, "fettle: ", &job);
    free(text);
    job_release(&job);
    return result;
}

static const enum cli_option options[] = {OPTION_OUTPUT, OPTION_SIZE, OPTION_VIEW, OPTION_COLOUR,
                                          OPTION_GLYPHS, OPTION_UNIT, OPTION_NONE};

const struct command command_draw = {
    .name = "draw",
    .usage = "draw FILE [-o PICTURE.png]",
    .help = "a shaded picture: text, or a PNG file",
    .manual = "Text goes to standard output, as large as the terminal, else 80x24; in colour where "
              "the terminal has it. With -o a PNG of 1200x900 is written.",
    .options = options,
    .least = 1,
    .most = 1,
    .run = draw_command,
};
