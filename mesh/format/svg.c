#include "format/svg.h"

#include <stdlib.h>
#include <string.h>

#include "format/sink.h"

struct svg {
    struct sink *out; /* in memory */
    char *title;
    double height;          /* of the page */
    double pen, grey, dash; /* its width, mm; 0 black to 1; 0: unbroken */
    size_t pages;
};

/* Characters that XML would take for its own, and Latin-1 as UTF-8. */
static void put_text(struct svg *svg, const char *latin)
{
    for (const unsigned char *c = (const unsigned char *)latin; *c; c++)
        if (*c == '<' || *c == '>' || *c == '&' || *c == '"')
            sink_text(svg->out, "&#%d;", *c);
        else if (*c < ' ' || (*c >= 127 && *c < 160))
            sink_text(svg->out, "?");
        else if (*c < 128)
            sink_write(svg->out, c, 1);
        else
            sink_write(svg->out, (unsigned char[]){0xc0 | *c >> 6, 0x80 | (*c & 0x3f)}, 2);
}

struct svg *svg_new(const char *title, struct job *job)
{
    struct svg *svg = calloc(1, sizeof *svg);
    if (!svg) {
        job_fail_memory(job, sizeof *svg);
        return NULL;
    }
    svg->out = sink_memory(job);
    if (svg->out)
        sink_text(svg->out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    if (svg->out && (svg->title = strdup(title)))
        return svg;
    if (svg->out)
        job_fail_memory(job, strlen(title) + 1);
    svg_free(svg);
    return NULL;
}

void svg_free(struct svg *svg)
{
    if (svg) {
        sink_drop(svg->out);
        free(svg->title);
    }
    free(svg);
}

void svg_page(struct svg *svg, double width, double height)
{
    if (svg->pages++)
        return;
    svg->height = height;
    svg_pen(svg, 0.2, 0, 0);
    sink_text(svg->out,
              "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%.3fmm\" height=\"%.3fmm\" "
              "viewBox=\"0 0 %.3f %.3f\">\n<title>",
              width, height, width, height);
    put_text(svg, svg->title);
    sink_text(svg->out, "</title>\n");
}

void svg_clip(struct svg *svg, double x, double y, double width, double height)
{
    double top = svg->height - y - height;
    sink_text(svg->out,
              "<svg x=\"%.3f\" y=\"%.3f\" width=\"%.3f\" height=\"%.3f\" viewBox=\"%.3f %.3f %.3f "
              "%.3f\" overflow=\"hidden\">\n",
              x, top, width, height, x, top, width, height);
}

void svg_clip_end(struct svg *svg)
{
    sink_text(svg->out, "</svg>\n");
}

void svg_pen(struct svg *svg, double width, double grey, double dash)
{
    svg->pen = width;
    svg->grey = grey;
    svg->dash = dash;
}

/* The end of what is drawn by the pen. */
static void put_pen(struct svg *svg)
{
    int grey = (int)(255 * svg->grey + 0.5);
    sink_text(svg->out, " fill=\"none\" stroke=\"#%02x%02x%02x\" stroke-width=\"%.3f\"", grey, grey,
              grey, svg->pen);
    if (svg->dash > 0)
        sink_text(svg->out, " stroke-dasharray=\"%.3f\"", svg->dash);
    sink_text(svg->out, "/>\n");
}

void svg_line(struct svg *svg, double x0, double y0, double x1, double y1)
{
    sink_text(svg->out, "<path d=\"M%.3f %.3fL%.3f %.3f\"", x0, svg->height - y0, x1,
              svg->height - y1);
    put_pen(svg);
}

void svg_circle(struct svg *svg, double x, double y, double radius)
{
    sink_text(svg->out, "<circle cx=\"%.3f\" cy=\"%.3f\" r=\"%.3f\"", x, svg->height - y, radius);
    put_pen(svg);
}

void svg_loop(struct svg *svg, const double (*at)[2], size_t count, double right, double up)
{
    sink_text(svg->out, "<path d=\"");
    for (size_t i = 0; i < count; i++)
        sink_text(svg->out, "%c%.3f %.3f", i ? 'L' : 'M', at[i][0] + right,
                  svg->height - at[i][1] - up);
    sink_text(svg->out, "Z\"");
    put_pen(svg);
}

void svg_text(struct svg *svg, double x, double y, double size, double width, const char *latin)
{
    sink_text(svg->out,
              "<text x=\"%.3f\" y=\"%.3f\" font-family=\"Helvetica, Liberation Sans, sans-serif\" "
              "font-size=\"%.3f\" textLength=\"%.3f\" lengthAdjust=\"spacingAndGlyphs\">",
              x, svg->height - y, size, width);
    put_text(svg, latin);
    sink_text(svg->out, "</text>\n");
}

enum status svg_write(struct svg *svg, const char *path, struct job *job)
{
    size_t size;
    if (svg->pages != 1)
        return job_fail(job, STATUS_REFUSED, "\"%s\": %s", path,
                        svg->pages ? "an SVG file has one page, and this takes several"
                                   : "there is no page to write");
    sink_text(svg->out, "</svg>\n");
    enum status status = sink_status(svg->out, job);
    const unsigned char *bytes = sink_bytes(svg->out, &size);
    struct sink *sink = status == STATUS_OK ? sink_open(path, job) : NULL;
    if (!sink)
        return status == STATUS_OK ? job_status(job) : status;
    sink_write(sink, bytes, size);
    return sink_close(sink, job);
}
