#include "format/paper.h"

#include <errno.h>
#include <hpdf.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "format/sink.h"
#include "format/svg.h"

static const double points = 72 / 25.4; /* PDF's own unit, in a millimetre */

enum { TEXT_MOST = 1024, BYTES_AT_ONCE = 1 << 14 };

struct paper {
    struct svg *svg; /* what is drawn goes there; NULL: into the document, which else only knows how
                        wide words are */
    HPDF_Doc doc;
    HPDF_Page page;
    HPDF_Font font;
    double origin[2];
    HPDF_STATUS trouble; /* the first; 0: none */
};

/* libharu's memory goes through ours, so that tests reach it. Where there is none it may name what
 * came of that instead; errno then still tells. */
static void *HPDF_STDCALL take(HPDF_UINT size)
{
    void *block = malloc(size);
    if (!block)
        errno = ENOMEM;
    return block;
}
static void HPDF_STDCALL give(void *block)
{
    free(block);
}

static void HPDF_STDCALL on_trouble(HPDF_STATUS error, HPDF_STATUS detail, void *context)
{
    struct paper *paper = context;
    (void)detail;
    if (paper->trouble == 0)
        paper->trouble = errno == ENOMEM ? HPDF_FAILD_TO_ALLOC_MEM : error;
}

static bool fails(const struct paper *paper)
{
    return paper->trouble || !paper->page || !paper->font;
}

bool paper_kind_of(const char *path, enum paper_kind *kind)
{
    const char *ending = strrchr(path, '.');
    bool pdf = ending && strcasecmp(ending, ".pdf") == 0;
    *kind = pdf ? PAPER_PDF : PAPER_SVG;
    return pdf || (ending && strcasecmp(ending, ".svg") == 0);
}

struct paper *paper_new(const char *title, enum paper_kind kind, struct job *job)
{
    struct paper *paper = calloc(1, sizeof *paper);
    if (!paper) {
        job_fail_memory(job, sizeof *paper);
        return NULL;
    }
    if (kind == PAPER_SVG && !(paper->svg = svg_new(title, job))) {
        paper_free(paper);
        return NULL;
    }
    errno = 0;
    paper->doc = HPDF_NewEx(on_trouble, take, give, 0, paper);
    if (paper->doc && !paper->trouble) {
        HPDF_SetCompressionMode(paper->doc, HPDF_COMP_NONE);
        HPDF_SetViewerPreference(paper->doc, HPDF_PRINT_SCALING_NONE);
        HPDF_SetInfoAttr(paper->doc, HPDF_INFO_TITLE, title);
        paper->font = HPDF_GetFont(paper->doc, "Helvetica", "WinAnsiEncoding");
    }
    if (paper->doc && !paper->trouble && paper->font)
        return paper;
    paper_free(paper);
    job_fail_memory(job, BYTES_AT_ONCE);
    return NULL;
}

void paper_free(struct paper *paper)
{
    if (paper && paper->doc)
        HPDF_Free(paper->doc);
    if (paper)
        svg_free(paper->svg);
    free(paper);
}

/* --- drawing -------------------------------------------------------------------------------- */

/* Whether it goes into an SVG file; then false of draws_pdf. */
static bool draws_svg(const struct paper *paper)
{
    return paper->svg && !fails(paper);
}
static bool draws_pdf(const struct paper *paper)
{
    return !paper->svg && !fails(paper);
}

static HPDF_REAL across(const struct paper *paper, double x)
{
    return (HPDF_REAL)((x + paper->origin[0]) * points);
}
static HPDF_REAL up(const struct paper *paper, double y)
{
    return (HPDF_REAL)((y + paper->origin[1]) * points);
}

void paper_page(struct paper *paper, double width, double height)
{
    if (paper->trouble)
        return;
    paper->page = HPDF_AddPage(paper->doc);
    paper_origin(paper, 0, 0);
    if (fails(paper))
        return;
    if (paper->svg) {
        svg_page(paper->svg, width, height);
    } else {
        HPDF_Page_SetWidth(paper->page, (HPDF_REAL)(width * points));
        HPDF_Page_SetHeight(paper->page, (HPDF_REAL)(height * points));
    }
    paper_pen(paper, 0.2, 0, 0);
}

void paper_origin(struct paper *paper, double x, double y)
{
    paper->origin[0] = x;
    paper->origin[1] = y;
}

void paper_clip(struct paper *paper, double x, double y, double width, double height)
{
    if (draws_svg(paper))
        svg_clip(paper->svg, x + paper->origin[0], y + paper->origin[1], width, height);
    if (!draws_pdf(paper))
        return;
    HPDF_Page_GSave(paper->page);
    HPDF_Page_Rectangle(paper->page, across(paper, x), up(paper, y), (HPDF_REAL)(width * points),
                        (HPDF_REAL)(height * points));
    HPDF_Page_Clip(paper->page);
    HPDF_Page_EndPath(paper->page);
}

void paper_clip_end(struct paper *paper)
{
    if (draws_svg(paper))
        svg_clip_end(paper->svg);
    else if (draws_pdf(paper))
        HPDF_Page_GRestore(paper->page);
}

void paper_pen(struct paper *paper, double width, double grey, double dash)
{
    if (draws_svg(paper))
        svg_pen(paper->svg, width, grey, dash);
    if (!draws_pdf(paper))
        return;
    HPDF_Page_SetLineWidth(paper->page, (HPDF_REAL)(width * points));
    HPDF_Page_SetGrayStroke(paper->page, (HPDF_REAL)grey);
    const HPDF_UINT16 length = (HPDF_UINT16)(dash * points + 0.5);
    HPDF_Page_SetDash(paper->page, length ? &length : NULL, length ? 1 : 0, 0);
}

void paper_line(struct paper *paper, double x0, double y0, double x1, double y1)
{
    const double *o = paper->origin;
    if (draws_svg(paper))
        svg_line(paper->svg, x0 + o[0], y0 + o[1], x1 + o[0], y1 + o[1]);
    if (!draws_pdf(paper))
        return;
    HPDF_Page_MoveTo(paper->page, across(paper, x0), up(paper, y0));
    HPDF_Page_LineTo(paper->page, across(paper, x1), up(paper, y1));
    HPDF_Page_Stroke(paper->page);
}

void paper_circle(struct paper *paper, double x, double y, double radius)
{
    if (draws_svg(paper))
        svg_circle(paper->svg, x + paper->origin[0], y + paper->origin[1], radius);
    if (!draws_pdf(paper))
        return;
    HPDF_Page_Circle(paper->page, across(paper, x), up(paper, y), (HPDF_REAL)(radius * points));
    HPDF_Page_Stroke(paper->page);
}

void paper_loop(struct paper *paper, const double (*at)[2], size_t count)
{
    if (draws_svg(paper) && count > 1)
        svg_loop(paper->svg, at, count, paper->origin[0], paper->origin[1]);
    if (!draws_pdf(paper) || count < 2)
        return;
    HPDF_Page_MoveTo(paper->page, across(paper, at[0][0]), up(paper, at[0][1]));
    for (size_t i = 1; i < count; i++)
        HPDF_Page_LineTo(paper->page, across(paper, at[i][0]), up(paper, at[i][1]));
    HPDF_Page_ClosePathStroke(paper->page);
}

/* --- text ----------------------------------------------------------------------------------- */

/* UTF-8 to Latin-1. */
static void plain(const char *text, size_t length, char out[TEXT_MOST])
{
    size_t n = 0;
    for (size_t i = 0; i < length && n + 1 < TEXT_MOST; n++) {
        unsigned char c = (unsigned char)text[i++];
        bool two =
            (c == 0xc2 || c == 0xc3) && i < length && ((unsigned char)text[i] & 0xc0) == 0x80;
        out[n] = c < 0x80 ? (char)(c < ' ' ? '?' : c) : '?';
        if (two)
            out[n] = (char)(((c & 3) << 6) | ((unsigned char)text[i] & 0x3f));
        while (c >= 0x80 && i < length && ((unsigned char)text[i] & 0xc0) == 0x80)
            i++;
    }
    out[n] = '\0';
}

static double width_of(struct paper *paper, double size, const char *text, size_t length)
{
    char line[TEXT_MOST];
    if (fails(paper))
        return 0;
    plain(text, length, line);
    HPDF_TextWidth width =
        HPDF_Font_TextWidth(paper->font, (const HPDF_BYTE *)line, (HPDF_UINT)strlen(line));
    return width.width * size / 1000;
}

static void write_text(struct paper *paper, double x, double y, double size, const char *text,
                       size_t length)
{
    char line[TEXT_MOST];
    if (fails(paper))
        return;
    plain(text, length, line);
    if (paper->svg) {
        svg_text(paper->svg, x + paper->origin[0], y + paper->origin[1], size,
                 width_of(paper, size, text, length), line);
        return;
    }
    HPDF_Page_BeginText(paper->page);
    HPDF_Page_SetFontAndSize(paper->page, paper->font, (HPDF_REAL)(size * points));
    HPDF_Page_TextOut(paper->page, across(paper, x), up(paper, y), line);
    HPDF_Page_EndText(paper->page);
}

void paper_text(struct paper *paper, double x, double y, double size, const char *text)
{
    write_text(paper, x, y, size, text, strlen(text));
}

double paper_text_width(struct paper *paper, double size, const char *text)
{
    return width_of(paper, size, text, strlen(text));
}

/* How many bytes of the text fit into a line; at least a word. */
static size_t fitting(struct paper *paper, double width, double size, const char *text)
{
    size_t fits = strcspn(text, " ");
    while (text[fits]) {
        size_t more = fits + 1 + strcspn(text + fits + 1, " ");
        if (width_of(paper, size, text, more) > width)
            break;
        fits = more;
    }
    return fits;
}

double paper_words(struct paper *paper, double x, double y, double width, double size,
                   const char *text)
{
    /* what reads an SVG file takes a font of its own, which may be wider */
    double room = paper->svg ? 0.85 * width : width;
    while (*text) {
        size_t length = fitting(paper, room, size, text);
        write_text(paper, x, y, size, text, length);
        y -= 1.3 * size;
        text += length;
        text += *text == ' ';
    }
    return y;
}

/* --- the file ------------------------------------------------------------------------------- */

static enum status trouble(const struct paper *paper, struct job *job)
{
    if (paper->trouble == HPDF_FAILD_TO_ALLOC_MEM)
        return job_fail_memory(job, BYTES_AT_ONCE);
    return job_fail(job, STATUS_REFUSED, "the page cannot be made: libharu's error %04lx",
                    (unsigned long)paper->trouble);
}

/* What libharu has put together, piece by piece. */
static bool pour(struct paper *paper, struct sink *sink)
{
    unsigned char bytes[BYTES_AT_ONCE];
    for (;;) {
        HPDF_UINT32 size = sizeof bytes;
        HPDF_STATUS status = HPDF_ReadFromStream(paper->doc, bytes, &size);
        bool ends = status == HPDF_STREAM_EOF;
        if (status != HPDF_OK && !ends)
            return false;
        if (!sink_write(sink, bytes, size) || ends || size == 0)
            return true; /* the sink tells of its own troubles */
    }
}

enum status paper_write(struct paper *paper, const char *path, struct job *job)
{
    errno = 0;
    if (!paper->trouble && paper->svg)
        return svg_write(paper->svg, path, job);
    if (!paper->trouble && !paper->page)
        return job_fail(job, STATUS_REFUSED, "\"%s\": there is no page to write", path);
    if (!paper->trouble)
        HPDF_SaveToStream(paper->doc);
    if (paper->trouble)
        return trouble(paper, job);
    HPDF_ResetStream(paper->doc);
    struct sink *sink = sink_open(path, job);
    if (!sink)
        return job_status(job);
    if (pour(paper, sink))
        return sink_close(sink, job);
    sink_drop(sink);
    return trouble(paper, job);
}
