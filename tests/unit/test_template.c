/* Drilling templates, read back by another reader: poppler's programs tell the page's size and draw
 * it with 10 dots a millimetre, in which strokes are measured. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "format/paper.h"
#include "op/op.h"
#include "raster/outline.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/steps.h"

static char *folder;

static void make_folder(void)
{
    folder = folder_new();
}
static void remove_folder(void)
{
    folder_remove(folder);
}

/* The path of the template that is made. */
static char *template_of(const struct scene *scene, const char *name, const char *words)
{
    char *path = folder_path(folder, name), line[512];
    struct scene *out = NULL;
    struct job job;
    snprintf(line, sizeof line, "template \"%s\" %s", path, words);
    ck_assert_msg(steps_run(scene, line, &out, &job) == STATUS_OK, "%s: %s", line, job.message);
    ck_assert_ptr_nonnull(strstr(job.notes, "no load is rated"));
    job_release(&job);
    scene_free(out);
    return path;
}

/* --- the other reader ------------------------------------------------------------------------ */

static char *output_of(const char *command, size_t *size)
{
    char *bytes = NULL;
    size_t room = 0;
    FILE *pipe = popen(command, "r");
    ck_assert_ptr_nonnull(pipe);
    for (size_t n = 1; n; *size += n) {
        if (room - *size < 1 << 16)
            bytes = realloc(bytes, room = 2 * room + (1 << 17));
        n = fread(bytes + *size, 1, (1 << 16) - 1, pipe);
    }
    ck_assert_msg(pclose(pipe) == 0, "%s", command);
    bytes[*size] = '\0';
    return bytes;
}

/* What pdfinfo tells of it; the caller frees. */
static char *expect_size(const char *path, double width, double height, int pages)
{
    char command[600];
    size_t size = 0;
    snprintf(command, sizeof command, "pdfinfo '%s'", path);
    char *text = output_of(command, &size);
    double w, h;
    int n;
    ck_assert_int_eq(sscanf(strstr(text, "Pages:"), "Pages: %d", &n), 1);
    ck_assert_int_eq(sscanf(strstr(text, "Page size:"), "Page size: %lf x %lf", &w, &h), 2);
    ck_assert_int_eq(n, pages);
    ck_assert_double_eq_tol(w * 25.4 / 72, width, 0.002);
    ck_assert_double_eq_tol(h * 25.4 / 72, height, 0.002);
    return text;
}

static void expect_pages(const char *path, double width, double height, int pages)
{
    char *text = expect_size(path, width, height, pages);
    ck_assert_ptr_null(strstr(text, "Date:"));
    free(text);
}

struct page { /* 10 dots a mm, from the top */
    int width, height;
    unsigned char *dot;
    char *bytes;
};

static struct page page_of(const char *path, int number)
{
    char command[600];
    size_t size = 0;
    int most, head = 0;
    struct page page;
    snprintf(command, sizeof command, "pdftoppm -r 254 -gray -f %d -l %d '%s'", number, number,
             path);
    page.bytes = output_of(command, &size);
    ck_assert_int_eq(sscanf(page.bytes, "P5 %d %d %d%n", &page.width, &page.height, &most, &head),
                     3);
    page.dot = (unsigned char *)page.bytes + head + 1;
    ck_assert_uint_eq(size, (size_t)head + 1 + (size_t)page.width * (size_t)page.height);
    return page;
}

static bool dark(const struct page *page, int x, int y)
{
    return page->dot[(size_t)y * (size_t)page->width + (size_t)x] < 160;
}

struct stroke { /* mm: its middle, from the left and from below; its length */
    double x, y, length;
};

/* Strokes of a length, upright or level; those of several dots' width once. */
static size_t strokes(const struct page *page, bool upright, double length, struct stroke *out,
                      size_t most)
{
    size_t n = 0;
    int lines = upright ? page->width : page->height, along = upright ? page->height : page->width;
    for (int i = 0; i < lines; i++)
        for (int k = 0, begin = -1; k <= along; k++) {
            bool on = k < along && (upright ? dark(page, i, k) : dark(page, k, i));
            if (on && begin < 0)
                begin = k;
            if (on || begin < 0)
                continue;
            double middle = (begin + k) / 20.0, is = (k - begin) / 10.0, line = (i + 0.5) / 10;
            begin = -1;
            if (fabs(is - length) > 0.35)
                continue;
            struct stroke s = {upright ? line : middle,
                               page->height / 10.0 - (upright ? middle : line), is};
            if (n && fabs(out[n - 1].x - s.x) < 0.35 && fabs(out[n - 1].y - s.y) < 0.35)
                out[n - 1].x = (out[n - 1].x + s.x) / 2, out[n - 1].y = (out[n - 1].y + s.y) / 2;
            else if (n < most)
                out[n++] = s;
        }
    return n;
}

static void expect_rulers(const struct page *page)
{
    struct stroke s[8];
    ck_assert_uint_ge(strokes(page, false, 100, s, 8), 1);
    ck_assert_uint_ge(strokes(page, true, 100, s, 8), 1);
}

/* --- templates ------------------------------------------------------------------------------ */

/* Two screws 60 mm apart in a block of 100 x 60: their crosses' upright strokes, 18 mm long, and
 * the block's sides. */
START_TEST(screws_are_where_they_must_be)
{
    struct scene *scene =
        steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 40,0,40 spacing=60");
    scene = steps_after(scene, "turn axis=3,1,2 by=50");
    char *path = template_of(scene, "a.pdf", "");
    expect_pages(path, 210, 297, 1);
    struct page page = page_of(path, 1);
    expect_rulers(&page);
    struct stroke screw[4], side[4];
    ck_assert_uint_eq(strokes(&page, true, 18, screw, 4), 2);
    ck_assert_double_eq_tol(screw[1].x - screw[0].x, 60, 0.1);
    ck_assert_double_eq_tol(screw[1].y, screw[0].y, 0.1);
    ck_assert_uint_eq(strokes(&page, true, 60, side, 4), 2);
    ck_assert_double_eq_tol(side[1].x - side[0].x, 100, 0.25);
    /* entries 40 from one end and at the height 40; slot 9.25 long, its play 0.5: seen from before
     * the wall the nearer end is on the right */
    ck_assert_double_eq_tol(side[1].x - (screw[0].x + screw[1].x) / 2, 40, 0.25);
    ck_assert_double_eq_tol(screw[0].y - side[0].y, 40 + 9.25 + 0.25 - 30, 0.25);
    free(page.bytes);
    free(path);
    path = template_of(scene, "b.pdf", "paper=letter");
    expect_pages(path, 215.9, 279.4, 1);
    free(path);
    scene_free(scene);
}
END_TEST

/* A block too large for a sheet: its screws on different sheets, so far apart on the wall. */
START_TEST(several_sheets)
{
    struct scene *scene = steps_scene(shape_box(400, 20, 300, 4));
    scene = steps_after(scene, "keyhole 200,0,250 spacing=250");
    char *path = template_of(scene, "c.pdf", "");
    const double step[2] = {210 - 20 - 12 - 12, 297 - 20 - 12 - 12};
    const int across = 3, down = 2; /* 412 + margins by 166, 321 by 253 */
    expect_pages(path, 210, 297, 1 + across * down);
    double x[8], y[8];
    size_t found = 0;
    for (int n = 0; n < across * down; n++) {
        struct page page = page_of(path, n + 2);
        struct stroke s[4];
        expect_rulers(&page);
        size_t here = strokes(&page, true, 18, s, 4);
        for (size_t k = 0; k < here && found < 8; k++, found++) {
            x[found] = s[k].x + step[0] * (n % across);
            y[found] = s[k].y + step[1] * (down - 1 - n / across);
        }
        free(page.bytes);
    }
    ck_assert_uint_ge(found, 2); /* one on what two sheets share is seen twice, at one place */
    for (size_t k = 1; k < found; k++) {
        double apart = fabs(x[k] - x[0]);
        ck_assert_msg(fabs(apart - 250) < 0.1 || apart < 0.1, "%g", apart);
        ck_assert_double_eq_tol(y[k], y[0], 0.1);
    }
    ck_assert(fabs(x[found - 1] - x[0]) > 200);
    free(path);
    scene_free(scene);
}
END_TEST

/* As an SVG file, or as a whole, it is one sheet, however large: another program makes a PDF of the
 * one. */
static const char *const wholes[] = {"w.svg", "w.pdf"};

START_TEST(one_sheet_as_large_as_it_takes)
{
    struct scene *scene = steps_scene(shape_box(400, 20, 300, 4));
    scene = steps_after(scene, "keyhole 200,0,250 spacing=250");
    char *path = template_of(scene, wholes[_i], _i ? "paper=whole" : ""), command[1400];
    char *pdf = folder_path(folder, "whole.pdf");
    struct stroke s[4];
    size_t size = 0;
    snprintf(command, sizeof command, _i ? "cp '%s' '%s'" : "rsvg-convert -f pdf '%s' -o '%s'",
             path, pdf);
    free(output_of(command, &size));
    /* 6 mm of air on either side; above, what the travel of 9.25 and its play of 0.25 take */
    free(expect_size(pdf, ceil(400 + 12 + 32), ceil(300 + 12 + 9.25 + 0.25 + 70 + 32), 1));
    struct page page = page_of(pdf, 1);
    expect_rulers(&page);
    ck_assert_uint_eq(strokes(&page, true, 18, s, 4), 2);
    ck_assert_double_eq_tol(s[1].x - s[0].x, 250, 0.1);
    ck_assert_double_eq_tol(s[1].y, s[0].y, 0.1);
    ck_assert_uint_eq(strokes(&page, true, 300, s, 4), 2);
    ck_assert_double_eq_tol(s[1].x - s[0].x, 400, 0.4); /* cells of a third of a millimetre */
    free(page.bytes);
    free(path), free(pdf);
    scene_free(scene);
}
END_TEST

/* More than a PDF's page can be; an SVG file's can. */
START_TEST(one_sheet_may_be_too_large)
{
    struct scene *scene = steps_scene(shape_box(6000, 20, 300, 4));
    scene = steps_after(scene, "keyhole 3000,0,250 spacing=250");
    steps_refused(scene, "template x.pdf paper=whole", "a PDF's is 5080 mm at most; write an SVG");
    char *path = template_of(scene, "large.svg", "");
    size_t size;
    char *bytes = folder_read(path, &size);
    ck_assert_ptr_nonnull(strstr(bytes, "width=\"6044.000mm\""));
    free(bytes);
    free(path);
    scene_free(scene);
}
END_TEST

static int by_x(const void *a, const void *b)
{
    const struct stroke *s = a, *t = b;
    return (s->x > t->x) - (s->x < t->x);
}

/* The crosses of the only sheet from left to right; `places`: how far they are right of and above
 * the first, two numbers each. */
static void expect_crosses(const struct scene *scene, const char *words, size_t count,
                           const double *places)
{
    char *path = template_of(scene, "holes.pdf", words);
    expect_pages(path, 210, 297, 1);
    struct page page = page_of(path, 1);
    struct stroke s[8];
    expect_rulers(&page);
    ck_assert_uint_eq(strokes(&page, true, 18, s, 8), count);
    qsort(s, count, sizeof *s, by_x);
    for (size_t i = 1; i < count; i++) {
        ck_assert_double_eq_tol(s[i].x - s[0].x, places[2 * i - 2], 0.1);
        ck_assert_double_eq_tol(s[i].y - s[0].y, places[2 * i - 1], 0.1);
    }
    free(page.bytes);
    free(path);
}

static struct scene *bored(struct mesh *mesh, const char *head, double y)
{
    static const double at[3][2] = {{20, 10}, {45, 45}, {80, 20}};
    struct scene *scene = steps_scene(mesh);
    for (int i = 0; i < 3; i++) {
        char line[120];
        snprintf(line, sizeof line, "bore %g,%g,%g screw=M5 %s", at[i][0], y, at[i][1], head);
        scene = steps_after(scene, line);
    }
    return scene;
}

/* Seen from before a wall at y = 20 right is x; from before one at y = 0 it is -x. */
static const double wall_behind[] = {25, 35, 60, 10}, wall_before[] = {35, 25, 60, -10};

START_TEST(screws_through_holes)
{
    struct scene *scene = bored(shape_box(100, 20, 60, 4), "", 0);
    expect_crosses(scene, "", 3, wall_behind); /* where they were bored to */
    expect_crosses(scene, "wall=-y", 3, wall_before);
    expect_crosses(scene, "wall=y up=-z", 3, (const double[]){35, -25, 60, 10}); /* upside down */
    expect_crosses(scene, "only=1,3", 2, (const double[]){60, 10});
    scene_free(scene);
    scene = bored(shape_box(100, 20, 60, 4), "head=countersunk", 20);
    expect_crosses(scene, "", 3, wall_before); /* heads to the front */
    expect_crosses(scene, "wall=y", 3, wall_behind);
    scene_free(scene);
}
END_TEST

/* With a knob before it, the flat side lies on the wall, wherever it was bored from. */
START_TEST(the_flat_side_is_the_back)
{
    struct mesh *block = shape_box(100, 20, 60, 4), *knob = shape_box(4, 2, 4, 1);
    const struct mesh *const both[2] = {block, knob};
    const double move[2][3] = {{0, 0, 0}, {58, -2.5, 30}};
    struct scene *scene = bored(shape_join(both, move, 2), "", 20);
    expect_crosses(scene, "", 3, wall_behind);
    scene_free(scene);
    mesh_free(block);
    mesh_free(knob);
}
END_TEST

/* Screws through holes come where the part hangs by its keyholes; one keyhole alone would let it
 * swing, but not beside them. */
START_TEST(keyholes_and_holes_together)
{
    struct scene *scene =
        steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 40,0,40 spacing=60");
    scene = steps_after(scene, "bore 30,20,15 screw=M4 head=countersunk");
    scene = steps_after(scene, "turn axis=3,1,2 by=50");
    expect_crosses(scene, "by=both", 3, (const double[]){40, -(49.25 + 0.25 - 15), 60, 0});
    expect_crosses(scene, "by=keyholes", 2, (const double[]){60, 0});
    scene_free(scene);
    scene = steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 70,0,40");
    scene = steps_after(scene, "bore 30,20,15 screw=M4");
    expect_crosses(scene, "by=both", 2, (const double[]){40, -(49.25 - 15)});
    scene_free(scene);
}
END_TEST

START_TEST(the_same_bytes)
{
    struct scene *scene = steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 45,0,40");
    char *one = template_of(scene, "d.pdf", ""), *two = template_of(scene, "e.pdf", "");
    size_t sizes[2];
    char *bytes[2] = {folder_read(one, &sizes[0]), folder_read(two, &sizes[1])};
    ck_assert_uint_eq(sizes[0], sizes[1]);
    ck_assert_int_eq(memcmp(bytes[0], bytes[1], sizes[0]), 0);
    ck_assert_ptr_nonnull(strstr(bytes[0], "/PrintScaling /None"));
    free(bytes[0]), free(bytes[1]);
    free(one), free(two);
    scene_free(scene);
}
END_TEST

/* The same of an SVG file: words as they are, whatever XML takes for its own; a second page is told
 * as a mistake. */
START_TEST(an_svg_file_has_one_page)
{
    struct job job;
    job_init(&job);
    char *path = folder_path(folder, "words.svg"), command[600];
    size_t size = 0;
    struct paper *paper = paper_new("a <b> & \"c\"", PAPER_SVG, &job);
    ck_assert_ptr_nonnull(paper);
    ck_assert_int_eq(paper_write(paper, path, &job), STATUS_REFUSED);
    job_forgive(&job);
    paper_page(paper, 100, 50);
    paper_text(paper, 5, 40, 4, "gr\xc3\xbc\xc3\x9f <x> & \xe2\x82\xac\"");
    paper_clip(paper, 10, 10, 20, 10);
    paper_line(paper, 0, 15, 100, 15);
    paper_clip_end(paper);
    ck_assert_int_eq(paper_write(paper, path, &job), STATUS_OK);
    paper_free(paper);
    snprintf(command, sizeof command,
             "rsvg-convert -f pdf '%s' > '%s.pdf' && pdftotext -layout '%s.pdf' -", path, path,
             path);
    char *text = output_of(command, &size);
    ck_assert_msg(strstr(text, "gr\xc3\xbc\xc3\x9f <x> & ?\"") != NULL, "%s", text);
    free(text);
    strcat(path = realloc(path, strlen(path) + 5), ".pdf");
    struct page page = page_of(path, 1);
    struct stroke s[2];
    ck_assert_uint_eq(strokes(&page, false, 20, s, 2), 1); /* what lies within the clip */
    ck_assert_double_eq_tol(s[0].x, 20, 0.1);
    ck_assert_double_eq_tol(s[0].y, 15, 0.1);
    free(page.bytes);
    paper = paper_new("two", PAPER_SVG, &job);
    paper_page(paper, 100, 50);
    paper_page(paper, 100, 50);
    ck_assert_int_eq(paper_write(paper, path, &job), STATUS_REFUSED);
    paper_free(paper);
    job_release(&job);
    free(path);
}
END_TEST

/* What another reader finds written: the name as it is typed, what Latin-1 lacks as "?", and all
 * the words of a long line, broken at blanks. */
START_TEST(words_are_written)
{
    struct job job;
    job_init(&job);
    char *path = folder_path(folder, "words.pdf"), command[600], *text;
    size_t size = 0;
    struct paper *paper = paper_new("words", PAPER_PDF, &job);
    ck_assert_ptr_nonnull(paper);
    paper_page(paper, 100, 50);
    paper_text(paper, 5, 40, 4, "gr\xc3\xbc\xc3\x9f (x) \\ \xe2\x82\xac!");
    double end =
        paper_words(paper, 5, 30, 40, 4, "one two three four five six seven eight nine ten");
    ck_assert(end < 30 - 4 && end > 5);
    ck_assert(paper_text_width(paper, 4, "one two three") < 40);
    ck_assert_int_eq(paper_write(paper, path, &job), STATUS_OK);
    paper_free(paper);
    snprintf(command, sizeof command, "pdftotext -layout '%s' -", path);
    text = output_of(command, &size);
    ck_assert_msg(strstr(text, "gr\xc3\xbc\xc3\x9f (x) \\ ?!") != NULL, "%s", text);
    ck_assert_ptr_nonnull(strstr(text, "ten"));
    ck_assert_ptr_nonnull(strchr(strstr(text, "one two"), '\n'));
    free(text);
    paper = paper_new("none", PAPER_PDF, &job);
    ck_assert_int_eq(paper_write(paper, "/nowhere/at/all.pdf", &job), STATUS_REFUSED); /* no page */
    paper_free(paper);
    job_forgive(&job);
    paper = paper_new("nowhere", PAPER_PDF, &job);
    paper_page(paper, 100, 50);
    ck_assert_int_eq(paper_write(paper, "/nowhere/at/all.pdf", &job), STATUS_FILE);
    paper_free(paper);
    job_release(&job);
    free(path);
}
END_TEST

START_TEST(what_is_no_template)
{
    struct scene *scene = steps_scene(shape_box(100, 20, 60, 4));
    steps_refused(scene, "template x.pdf", "no keyholes");
    steps_refused(scene, "template x.stl", "is a PDF or an SVG file");
    steps_refused(scene, "template x.svg", "no keyholes");
    steps_refused(scene, "template x", "is a PDF or an SVG file");
    steps_refused(scene, "template /nowhere/x.pdf", "no keyholes");
    steps_refused(scene, "template x.pdf only=1", "there are only 0");
    scene = steps_after(scene, "bore 20,0,10 depth=9");
    steps_refused(scene, "template x.pdf", "no holes for screws");
    steps_refused(scene, "template x.pdf only=1", "does not go straight through");
    steps_refused(scene, "template x.pdf only=2", "there is only 1");
    steps_refused(scene, "template x.pdf only=1;2", "numbers with commas");
    scene = steps_after(scene, "bore 80,0,10");
    steps_refused(scene, "template x.pdf up=y", "which way is up");
    steps_refused(scene, "template x.pdf wall=x", "not to the side");
    steps_refused(scene, "template x.pdf by=keyholes", "no keyholes");
    scene = steps_after(scene, "keyhole 50,0,10");
    steps_refused(scene, "template x.pdf", "above its screw");
    scene = steps_after(scene, "keyhole 50,0,35");
    scene_free(scene);
    scene = steps_after(steps_scene(shape_box(100, 20, 60, 4)), "keyhole 75,0,35 spacing=20");
    steps_refused(scene, "template x.pdf", "not between its two screws");
    scene_free(scene);
    scene = steps_after(steps_scene(shape_box(9000, 20, 9000, 4)), "keyhole 4500,0,8000");
    steps_refused(scene, "template x.pdf", "more than 60 sheets");
    scene_free(scene);
    ck_assert_int_ne(access("x.pdf", F_OK), 0);
}
END_TEST

/* --- outlines ------------------------------------------------------------------------------- */

static double area_of(const struct outline *o, size_t loop)
{
    double area = 0;
    size_t first = o->start[loop], count = o->start[loop + 1] - first;
    for (size_t i = 0; i < count; i++) {
        const double *a = o->at[first + i], *b = o->at[first + (i + 1) % count];
        area += (a[0] * b[1] - a[1] * b[0]) / 2;
    }
    return area;
}

static double length_of(const struct outline *o, size_t loop)
{
    double length = 0;
    size_t first = o->start[loop], count = o->start[loop + 1] - first;
    for (size_t i = 0; i < count; i++) {
        const double *a = o->at[first + i], *b = o->at[first + (i + 1) % count];
        length += hypot(a[0] - b[0], a[1] - b[1]);
    }
    return length;
}

/* A ring seen along its axis: two loops, the inner one the other way round. */
START_TEST(outline_of_a_ring)
{
    struct mesh *mesh = shape_torus(40, 10, 200, 60);
    const struct mesh *one = mesh;
    struct outline o;
    ck_assert_int_eq(
        outline_find(&one, 1, vec(0, 0, 0), vec(0, 0, 1), vec(0, 1, 0), 100, 100, &o, NULL),
        STATUS_OK);
    ck_assert_uint_eq(o.loops, 2);
    const double pi = 3.14159265358979323846;
    ck_assert_double_eq_tol(area_of(&o, 0), pi * 2500, 0.003 * pi * 2500);
    ck_assert_double_eq_tol(area_of(&o, 1), -pi * 900, 0.004 * pi * 900);
    for (size_t i = 0; i < o.start[1]; i++)
        ck_assert_double_eq_tol(hypot(o.at[i][0], o.at[i][1]), 50, 1.5 * o.cell);
    outline_release(&o);
    mesh_free(mesh);
}
END_TEST

/* Any cells at all: the loops' areas sum up to theirs, but for what thinning takes and what is too
 * small to be drawn. */
START_TEST(outlines_of_any_cells)
{
    uint64_t seed = 5;
    static uint8_t set[60 * 60];
    for (int round = 0; round < 20; round++) {
        size_t cells = 0;
        memset(set, 0, sizeof set);
        for (int k = 0; k < 6; k++) { /* boxes, touching or not */
            int x = (int)(40 * shape_random(&seed)), y = (int)(40 * shape_random(&seed));
            int w = 4 + (int)(15 * shape_random(&seed)), h = 4 + (int)(15 * shape_random(&seed));
            for (int i = x; i < x + w; i++)
                for (int j = y; j < y + h; j++)
                    set[j * 60 + i] ^= 1;
        }
        for (int i = 0; i < 3600; i++)
            cells += set[i];
        struct outline o;
        const double from[2] = {-30, -30};
        double sum = 0, around = 0;
        ck_assert_int_eq(outline_trace(set, 60, 60, from, 1, &o, NULL), STATUS_OK);
        for (size_t i = 0; i < o.loops; i++) {
            sum += area_of(&o, i);
            around += length_of(&o, i);
        }
        ck_assert_msg(fabs(sum - (double)cells) < 0.2 * around + 4, "%g, not %zu", sum, cells);
        outline_release(&o);
    }
}
END_TEST

Suite *suite_template(void);
Suite *suite_template(void)
{
    Suite *suite = suite_create("template");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_unchecked_fixture(all, make_folder, remove_folder);
    tcase_add_test(all, screws_are_where_they_must_be);
    tcase_add_loop_test(all, one_sheet_as_large_as_it_takes, 0, 2);
    tcase_add_test(all, one_sheet_may_be_too_large);
    tcase_add_test(all, an_svg_file_has_one_page);
    tcase_add_test(all, several_sheets);
    tcase_add_test(all, screws_through_holes);
    tcase_add_test(all, the_flat_side_is_the_back);
    tcase_add_test(all, keyholes_and_holes_together);
    tcase_add_test(all, the_same_bytes);
    tcase_add_test(all, words_are_written);
    tcase_add_test(all, what_is_no_template);
    tcase_add_test(all, outline_of_a_ring);
    tcase_add_test(all, outlines_of_any_cells);
    suite_add_tcase(suite, all);
    return suite;
}
