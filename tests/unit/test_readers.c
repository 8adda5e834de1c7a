/* What each reader makes of its format's ways and traps (trade-facts: the formats' own texts). */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "format/format.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"

static struct job job;
static struct file file;

static void begin(void)
{
    job_init(&job);
    file = (struct file){0};
}

static void end(void)
{
    file_release(&file);
    job_release(&job);
}

static enum status read_bytes(const void *data, size_t size)
{
    /* An own block of just this size: a sanitizer sees every byte read behind it. */
    unsigned char *copy = malloc(size ? size : 1);
    memcpy(copy, data, size);
    const struct bytes bytes = {.data = copy, .size = size, .name = "gate"};
    file_release(&file);
    job_release(&job);
    job_init(&job);
    enum status status = file_read_bytes(&bytes, UNIT_NONE, &file, &job);
    free(copy);
    return status;
}

static void read_text(const char *text)
{
    if (read_bytes(text, strlen(text)) != STATUS_OK)
        ck_abort_msg("%s", job.message);
}

static void fails(const char *text, const char *says)
{
    ck_assert_int_eq(read_bytes(text, strlen(text)), STATUS_FORMAT);
    ck_assert_msg(strstr(job.message, says) != NULL, "\"%s\" does not say \"%s\"", job.message,
                  says);
}

static void counts(size_t vertices, size_t triangles)
{
    ck_assert_uint_eq(mesh_vertices(file.mesh), vertices);
    ck_assert_uint_eq(mesh_triangles(file.mesh), triangles);
}

static bool noted(const char *says)
{
    return job.notes && strstr(job.notes, says);
}

static const uint8_t *colour_of(size_t vertex)
{
    const uint8_t *colour = mesh_attribute(file.mesh, ATTRIBUTE_colour);
    ck_assert_ptr_nonnull(colour);
    return colour + 4 * vertex;
}

static void is_colour(size_t vertex, int r, int g, int b)
{
    const uint8_t *c = colour_of(vertex);
    if (c[0] != r || c[1] != g || c[2] != b)
        ck_abort_msg("vertex %zu is %d %d %d, not %d %d %d", vertex, c[0], c[1], c[2], r, g, b);
}

static struct vec at(size_t vertex)
{
    return mesh_world(file.mesh, point_vec(mesh_point(file.mesh)[vertex]));
}

static char *seed(const char *name, size_t *size)
{
    char *path = folder_path("tests/data/seeds", name), *data = folder_read(path, size);
    ck_assert_msg(data != NULL, "%s: run the tests in the folder of the sources", path);
    free(path);
    return data;
}

static void read_seed(const char *name)
{
    size_t size;
    char *data = seed(name, &size);
    if (read_bytes(data, size) != STATUS_OK)
        ck_abort_msg("%s", job.message);
    free(data);
}

/* --- STL --------------------------------------------------------------------------------- */

START_TEST(stl_by_size_not_by_name)
{
    size_t size;
    char *data = seed("solid.stl", &size); /* binary, though it begins with "solid" */
    data = realloc(data, size + 10);
    ck_assert_int_eq(read_bytes(data, size), STATUS_OK);
    counts(4, 4);
    ck_assert(!file.partial && !job.notes);
    memset(data + size, 7, 10); /* bytes behind */
    ck_assert_int_eq(read_bytes(data, size + 10), STATUS_OK);
    counts(4, 4);
    ck_assert(!file.partial && noted("10 bytes"));
    ck_assert_int_eq(read_bytes(data, size - 1), STATUS_OK); /* cut off */
    counts(4, 3);
    ck_assert(file.partial && noted("3 of 4"));
    memset(data + 80, 0, 4); /* a writer that never filled the count in */
    ck_assert_int_eq(read_bytes(data, size), STATUS_OK);
    counts(4, 4);
    ck_assert(noted("does not say"));
    free(data);
}
END_TEST

START_TEST(stl_text_ways)
{
    read_seed("text.stl");
    counts(4, 4);
    ck_assert(!file.partial);
    read_seed("loud.stl"); /* upper case, \r\n, a facet a line, a second solid */
    counts(4, 4);
    read_seed("quad.stl"); /* four corners, and one that is no number */
    counts(4, 2);
    ck_assert(noted("no number"));
    read_text("solid\nendsolid\n");
    counts(0, 0);
    read_text("  solid x\tfacet normal 0 0 1 outer loop vertex -1.5e0 +2 .5 vertex 1 0 0 vertex "
              "0 1 0 endloop endfacet\nendsolid");
    counts(0, 0); /* the name ends with the line, whatever stands in it */
    read_text("solid x\nfacet normal 0 0 1 outer loop vertex -1.5e0 +2 .5 vertex 1 0 0 vertex "
              "0 1 0 endloop endfacet endsolid");
    counts(3, 1);
    ck_assert_double_eq(at(0).x, -1.5);
    ck_assert_double_eq(at(0).z, 0.5);
}
END_TEST

START_TEST(stl_text_faults)
{
    fails("solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 zero 0\nvertex 1 0 0\nvertex 0 1 "
          "0\nendloop\nendfacet\nendsolid x\n",
          "\"gate\": line 4: \"zero\" is not a coordinate");
    read_text("solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 "
              "0\nendloop\nendfacet\nfacet normal 0 0 1\nouter loop\nvertex 0 0");
    counts(3, 1);
    ck_assert(file.partial && noted("cut off"));
    read_text("solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 "
              "0\nendloop\nendfacet\n");
    counts(3, 1);
    ck_assert(file.partial); /* no endsolid */
}
END_TEST

START_TEST(stl_colours)
{
    /* A: bit 15 valid, red in bits 10 to 14. The seed's facets: red 31, green 0, blue 0..3. A
     * vertex has the mean of its facets: blue 0, 8, 16, 25 of 255. */
    read_seed("colour_a.stl");
    ck_assert_int_eq(file.colour, COLOUR_FACE);
    is_colour(0, 255, 0, (0 + 8 + 25 + 1) / 3); /* facets 0, 1, 3 */
    /* B: bit 15 clear is an own colour, red in bits 0 to 4; set: the header's, here 16 32 48. */
    read_seed("colour_b.stl");
    is_colour(3, 255, 0, 0);                                      /* facets 1, 2, 3 */
    is_colour(0, (16 + 255 + 255 + 1) / 3, (32 + 1) / 3, 48 / 3); /* facets 0, 1, 3 */
    ck_assert(noted("COLOR="));
    read_seed("binary.stl");
    ck_assert_int_eq(file.colour, COLOUR_NONE);
    ck_assert_ptr_null(file.mesh->attribute[ATTRIBUTE_colour]);
}
END_TEST

/* --- PLY --------------------------------------------------------------------------------- */

#define PLY_HEAD "ply\nformat ascii 1.0\n"
#define PLY_XYZ "property float x\nproperty float y\nproperty float z\n"
#define PLY_LIST "property list uchar int vertex_indices\n"
#define FOUR "element vertex 4\n" PLY_XYZ "element face 4\n" PLY_LIST "end_header\n"

START_TEST(ply_twins)
{
    static const char *const twins[][2] = {{"little.ply", "big.ply"},
                                           {"little_rich.ply", "big_rich.ply"},
                                           {"text.ply", "little.ply"},
                                           {"text.ply", "broken_lines.ply"}};
    read_seed(twins[_i][0]);
    struct mesh *first = mesh_share(file.mesh);
    read_seed(twins[_i][1]);
    counts(4, 4);
    ck_assert_mem_eq(mesh_point(first), mesh_point(file.mesh), 4 * sizeof(struct point));
    ck_assert_mem_eq(mesh_triangle(first), mesh_triangle(file.mesh), 4 * sizeof(struct triangle));
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        ck_assert_int_eq(!first->attribute[i], !file.mesh->attribute[i]);
        if (first->attribute[i])
            ck_assert_mem_eq(mesh_attribute(first, i), mesh_attribute(file.mesh, i),
                             array_bytes(first->attribute[i]));
    }
    mesh_free(first);
}
END_TEST

START_TEST(ply_rich)
{
    read_seed("big_rich.ply");
    is_colour(2, 1, 2, 3);
    const float *normal = mesh_attribute(file.mesh, ATTRIBUTE_normal);
    ck_assert_float_eq(normal[2], 1);
    const float *confidence = mesh_attribute(file.mesh, ATTRIBUTE_confidence);
    ck_assert_float_eq(confidence[3], 0.5F);
    const uint8_t *origin = mesh_attribute(file.mesh, ATTRIBUTE_origin);
    ck_assert_int_eq(origin[0], ORIGIN_INVENTED);
    const uint16_t *source = mesh_attribute(file.mesh, ATTRIBUTE_source);
    ck_assert_int_eq(source[3], 2);
}
END_TEST

START_TEST(ply_polygons)
{
    /* A square of side 4 with a dent to (2, 1): 16 less the triangle (0 4)(4 4)... is 4 + 4 + 2 =
     * 10; its first corner sees all but the dent's far side, so a fan would be wrong. */
    read_text(PLY_HEAD "element vertex 5\n" PLY_XYZ "element face 1\n" PLY_LIST "end_header\n"
                       "4 4 0\n2 1 0\n0 4 0\n0 0 0\n4 0 0\n5 0 1 2 3 4\n");
    counts(5, 3);
    struct shape_count count = shape_count(file.mesh);
    ck_assert_double_eq_tol(count.area, 16 - 0.5 * 4 * 3, 1e-12);
    ck_assert_uint_eq(count.misoriented + count.nonmanifold, 0);
    ck_assert_uint_eq(count.boundary, 5);
    read_seed("polygon.ply"); /* its texture coordinates go with the corners */
    ck_assert_int_eq(file.colour, COLOUR_FACE);
    const float *texture = mesh_attribute(file.mesh, ATTRIBUTE_texture);
    ck_assert_ptr_nonnull(texture);
    for (size_t i = 0; i < 9; i++) { /* the first face: u is x / 4, v is y / 4, but for the dent */
        struct vec p = at(mesh_triangle(file.mesh)[i / 3].v[i % 3]);
        ck_assert_float_eq_tol(texture[2 * i], (float)(p.x / 4), 1e-6F);
        ck_assert_float_eq_tol(texture[2 * i + 1], p.y == 1 ? 0.5F : (float)(p.y / 4), 1e-6F);
    }
}
END_TEST

START_TEST(ply_strips_and_grid)
{
    read_seed("strips.ply");
    counts(5, 4); /* 0 1 2, 2 1 3; 1 3 4, 4 3 0 */
    struct triangle t = mesh_triangle(file.mesh)[1];
    ck_assert(t.v[0] == 2 && t.v[1] == 1 && t.v[2] == 3);
    ck_assert_ptr_nonnull(file.mesh->attribute[ATTRIBUTE_texture]);
    read_seed("grid.ply"); /* two by one squares, one of them without its last corner */
    counts(5, 3);
    struct shape_count count = shape_count(file.mesh);
    ck_assert_double_eq_tol(count.area, 1.5, 1e-12);
    ck_assert(noted("range grid"));
    for (size_t i = 0; i < 3; i++) { /* facing up */
        const uint32_t *v = mesh_triangle(file.mesh)[i].v;
        ck_assert_double_gt(vec_cross(vec_sub(at(v[1]), at(v[0])), vec_sub(at(v[2]), at(v[0]))).z,
                            0);
    }
}
END_TEST

START_TEST(ply_units_and_origin)
{
    read_seed("cloud.ply"); /* comment units: m; doubles beyond 1e4; a NaN */
    counts(1, 0);
    ck_assert(file.unit == UNIT_M && file.unit_source == UNIT_FROM_FILE);
    ck_assert_double_eq(file.mesh->origin[0], 1000.0 * 1024 * 488);
    ck_assert_double_eq_tol(at(0).x, 500000125, 1e-2);
    is_colour(0, 0, 128, 255);
    ck_assert(noted("no number"));
    read_text("ply\nformat ascii 1.0\ncomment unit in\nelement vertex 1\n" PLY_XYZ
              "end_header\n1 2 20000.5\n");
    ck_assert_double_eq(file.mesh->origin[2], 0); /* floats the header says, floats they are */
    ck_assert_double_eq(at(0).x, 25.4F);
    read_text("ply\nformat ascii 1.0\ncomment the unit is mm, or in\nelement vertex 1\n" PLY_XYZ
              "end_header\n1 2 500000.123\n");
    ck_assert_int_eq(file.unit_source, UNIT_ASSUMED);
    ck_assert_double_ne(file.mesh->origin[2], 0); /* more digits than a float's */
    ck_assert_double_eq_tol(at(0).z, 500000.123, 1e-4);
}
END_TEST

START_TEST(ply_faults)
{
    fails(PLY_HEAD FOUR "0 0 0\n1 0 0 7\n0 1 0\n0 0 1\n3 0 1 2\n3 0 1 2\n3 0 1 2\n3 0 1 2\n",
          "\"gate\": line 11: the line has 4 values, more than header and lists say");
    fails(PLY_HEAD FOUR "0 0 0\n1 0 0\n0 1 0\n0 0 1\n3 0 1\n3 0 1 2\n3 0 1 2\n3 0 1 2\n",
          "line 14: property list has 3 values");
    fails(PLY_HEAD FOUR "0 0 0\n1 0 0\n0 x 0\n0 0 1\n3 0 1 2\n3 0 1 2\n3 0 1 2\n3 0 1 2\n",
          "line 12: \"x\" is not a number");
    fails("ply\nformat ascii 2.0\n", "line 2: unknown version \"2.0\"");
    fails("ply\nformat ascii 1.0\nelement vertex 1\nproperty long x\n", "unknown type \"long\"");
    fails("ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\n", "within its header");
    fails("ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
          "end_header\n0 0\n",
          "no x, y and z");
    fails(PLY_HEAD "element vertex 4000000000\n" PLY_XYZ "end_header\n0 0 0\n", "4000000000");
    fails(PLY_HEAD "element face 1\n" PLY_LIST "end_header\n3 0 1 2\n", "no element \"vertex\"");
}
END_TEST

START_TEST(ply_cut_off)
{
    read_text(PLY_HEAD "element vertex 4\n" PLY_XYZ "element face 400000000\n" PLY_LIST
                       "end_header\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n3 0 1 2\n3 0 1");
    counts(4, 1);
    ck_assert(file.partial && noted("1 of 400000000 elements \"face\""));
    size_t size;
    char *data = seed("little.ply", &size);
    ck_assert_int_eq(read_bytes(data, size - 14), STATUS_OK);
    counts(4, 2);
    ck_assert(file.partial && noted("2 of 4"));
    free(data);
}
END_TEST

START_TEST(wrong_and_infinite_corners)
{
    read_text(PLY_HEAD "element vertex 5\n" PLY_XYZ "element face 5\n" PLY_LIST "end_header\n"
                       "nan 0 0\n0 0 0\n1 0 0\n0 1 0\n0 -inf 1\n"
                       "3 1 2 3\n3 0 1 2\n3 1 2 9\n3 1 -1 2\n5 1 2 3 4 1\n");
    counts(3, 1);
    ck_assert(noted("2 faces left out: a corner names") && noted("2 vertices left out") &&
              !file.partial);
    ck_assert_uint_eq(mesh_triangle(file.mesh)[0].v[0], 0);
}
END_TEST

/* --- OBJ --------------------------------------------------------------------------------- */

START_TEST(obj_ways)
{
    read_seed("plain.obj"); /* one face with negative indices */
    counts(4, 4);
    ck_assert_uint_eq(shape_count(file.mesh).boundary, 0);
    read_seed("rich.obj");
    ck_assert(file.unit == UNIT_IN && file.colour == COLOUR_VERTEX);
    counts(5, 4); /* a pentagon over two lines, a triangle; two faces that cannot be */
    is_colour(1, 0, 255, 0);
    is_colour(3, 255, 255, 255);
    ck_assert_double_eq_tol(at(1).x, 254, 1e-9);
    const float *texture = mesh_attribute(file.mesh, ATTRIBUTE_texture);
    ck_assert_float_eq(texture[9 * 2 + 4], 1); /* "3/-1": the last vt, 1 1 */
    ck_assert(noted("materials") && noted("1 face left out"));
    read_seed("cloud.obj");
    const float *normal = mesh_attribute(file.mesh, ATTRIBUTE_normal);
    ck_assert_float_eq(normal[4], 1);
    read_text("v 0 0 0\r\nv 1 0 0\r\nv 0 1 0\r\nf 1 2 \\\r\n3\r\n");
    counts(3, 1);
    read_text("v 0 0 0 255 0 0\nv 1 0 0 0 127 0\nv 0 1 0 0 0 1\nf 1 2 3");
    is_colour(1, 0, 127, 0); /* bytes, as they go beyond 1 */
}
END_TEST

START_TEST(obj_negative_across_parts)
{
    /* Far more text than one thread takes at a time: every face refers back to its own square. */
    enum { SQUARES = 20000 };
    char *text = malloc(SQUARES * 80), *to = text;
    for (int i = 0; i < SQUARES; i++)
        to +=
            sprintf(to, "v %d 0 0\nv %d.5 0 0\nv %d.5 1 0\nv %d 1 0\nf -4 -3 -2 -1\n", i, i, i, i);
    read_text(text);
    counts(4 * SQUARES, 2 * SQUARES);
    ck_assert_double_eq_tol(shape_count(file.mesh).area, SQUARES * 0.5, 1e-6);
    free(text);
}
END_TEST

START_TEST(obj_faults)
{
    fails("v 0 0 0\nv 1 0\nv 0 1 0\nf 1 2 3\n", "\"gate\": line 2: it ends where a coordinate");
    fails("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 \\\nthree\nf 1 2 3\n",
          "line 4: \"three\" is not the corner");
    fails("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1,2,3\nf 1 2 3\n", "line 4: \"1,2,3\"");
    read_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1 2 0\nf 1 2 -7\nf 1 2 99999999999\n");
    counts(3, 1);
    ck_assert(noted("3 faces left out"));
}
END_TEST

/* --- OFF --------------------------------------------------------------------------------- */

START_TEST(off_ways)
{
    read_seed("plain.off");
    counts(4, 4);
    read_seed("binary.off");
    counts(4, 4);
    ck_assert_uint_eq(shape_count(file.mesh).boundary, 0);
    read_seed("rich.off"); /* ST C N: position, normal, colour, texture; comments, blank lines */
    counts(5, 3);
    is_colour(1, 0, 255, 0);
    const float *normal = mesh_attribute(file.mesh, ATTRIBUTE_normal);
    ck_assert_float_eq(normal[5], 1);
    ck_assert_double_eq_tol(shape_count(file.mesh).area, 16 - 6, 1e-12);
    read_seed("four.off");
    ck_assert_double_eq(at(1).x, 1); /* 2 / 2 */
    read_text("OFF 3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2 255 0 0\n");
    counts(3, 1);
    is_colour(0, 255, 0, 0);
    ck_assert_int_eq(file.colour, COLOUR_FACE);
}
END_TEST

START_TEST(off_faults)
{
    fails("OFF\n3 1 0\n0 0 0\n1 b 0\n0 1 0\n3 0 1 2\n", "line 4: \"b\" is not a coordinate");
    fails("OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1\n\n4 0 1 2 0\n", "line 6: it ends where");
    fails("OFF\n5000000000 1 0\n0 0 0\n", "more vertices");
    fails("OFF\nmany\n", "line 2: no count");
    read_text("OFF\n3 2 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n3 0 1");
    counts(3, 1);
    ck_assert(file.partial && noted("1 of 2 faces"));
}
END_TEST

/* --- XYZ --------------------------------------------------------------------------------- */

START_TEST(xyz_columns)
{
    static const struct {
        const char *text, *columns;
    } cases[] = {
        {"0 0 0 -12 255 0 0\n1 2 3 40 0 200 0\n", "x y z intensity red green blue"},
        {"0 0 0 255 0 0 0.6\n1 2 3 0 200 0 0.7\n", "x y z red green blue intensity"},
        {"0,0,0,0,0,1\n1,1,1,0,1,0\n", "x y z nx ny nz"},
        {"0 0 0 .6 .8 0 9 200 9\n1 2 3 1 0 0 0 0 0\n", "x y z nx ny nz red green blue"},
        {"0 0 0 9 200 9 .6 .8 0\n1 2 3 0 0 0 1 0 0\n", "x y z red green blue nx ny nz"},
        {"0 0 0 7 9 200 9 .6 .8 0\n1 2 3 8 0 0 0 1 0 0\n",
         "x y z intensity red green blue nx ny nz"},
        {"0\t0\t0\t7\n1\t2\t3\t8\n", "x y z intensity"},
        {"0 0 0 .5 .2 .1\n1 2 3 0 1 0\n", "x y z red green blue"},
        {"//X Y Z R G B\n0 0 0 1 0 0\n1 2 3 0 1 0\n", "x y z red green blue, as a line names"},
        {"# y x z\n5 6 7\n", NULL},
    };
    read_text(cases[_i].text);
    if (cases[_i].columns)
        ck_assert_msg(noted(cases[_i].columns), "%s", job.notes);
    else
        ck_assert_double_eq(at(0).x, 6);
}
END_TEST

START_TEST(xyz_numbers)
{
    read_seed("comma.asc"); /* semicolons, comma as the decimal sign, a line of names */
    counts(2, 0);
    ck_assert_double_eq(at(1).y, 2.25);
    read_text("3\n1,5 2,5 3,5\n1 1 1\n2,25 0 0\n"); /* a count in front, blanks between */
    counts(3, 0);
    ck_assert_double_eq(at(2).x, 2.25);
    read_text("1.5, 2.5, 3.5\n1, 1, 1\n");
    ck_assert_double_eq(at(0).y, 2.5);
    read_text("512345.125 -20000.5 3\n512346.25 -20001 4\n");
    ck_assert_double_eq(at(0).x, 512345.125);
    ck_assert_double_eq(at(1).x, 512346.25);
    read_text("0 0 0\n\n# a comment\n1 2 nan\n1 2 3\n");
    counts(2, 0);
    ck_assert(noted("1 vertex left out"));
    fails("0 0 0\n1 2 3\n1 2\n4 5 6\n", "gate");
    read_text("0 0 0\n1 2 3\n4 5"); /* cut off */
    counts(2, 0);
    ck_assert(file.partial);
}
END_TEST

/* --- what it is -------------------------------------------------------------------------- */

START_TEST(found_by_content)
{
    static const struct {
        const char *seed, *format;
    } cases[] = {{"binary.stl", "stl"}, {"solid.stl", "stl"}, {"text.stl", "stl"},
                 {"text.ply", "ply"},   {"big.ply", "ply"},   {"plain.obj", "obj"},
                 {"plain.off", "off"},  {"rich.off", "off"},  {"binary.off", "off"},
                 {"plain.xyz", "xyz"},  {"comma.asc", "xyz"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        read_seed(cases[i].seed); /* as "gate", without an extension */
        ck_assert_str_eq(file.format->name, cases[i].format);
    }
    static const char *const others[] = {"",
                                         "\n\n",
                                         "hello world\n",
                                         "1 2\n3 4\n",
                                         "{\"a\": 1}",
                                         "<html>1 2 3</html>",
                                         "\177ELF\1\1\1"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        ck_assert_int_eq(read_bytes(others[i], strlen(others[i])), STATUS_FORMAT);
        ck_assert_msg(strstr(job.message, "\"gate\""), "%s", job.message);
    }
}
END_TEST

START_TEST(text_of_other_kinds)
{
    static const char text[] = "OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n";
    char wide[2 * sizeof text + 2], returns[sizeof text + 3] = "\xef\xbb\xbf";
    for (int big = 0; big < 2; big++) {
        memcpy(wide, big ? "\xfe\xff" : "\xff\xfe", 2);
        for (size_t i = 0; i + 1 < sizeof text; i++) {
            wide[2 + 2 * i + (size_t)big] = text[i];
            wide[3 + 2 * i - (size_t)big] = 0;
        }
        ck_assert_int_eq(read_bytes(wide, 2 * sizeof text), STATUS_OK);
        counts(3, 1);
    }
    for (size_t i = 0; i + 1 < sizeof text; i++) /* old line ends, behind a byte order mark */
        returns[3 + i] = text[i] == '\n' ? '\r' : text[i];
    ck_assert_int_eq(read_bytes(returns, sizeof text + 2), STATUS_OK);
    counts(3, 1);
}
END_TEST

/* Every small file, cut off at every byte: it is refused with a message, or read, and then what is
 * not there is owned up to. */
START_TEST(cut_off_anywhere)
{
    static const char *const names[] = {"binary.stl",  "text.stl",  "text.ply",   "big_rich.ply",
                                        "polygon.ply", "plain.off", "binary.off", "rich.off",
                                        "rich.obj",    "plain.obj", "comma.asc",  "strips.ply"};
    size_t size;
    char *data = seed(names[_i], &size);
    ck_assert_int_eq(read_bytes(data, size), STATUS_OK);
    size_t whole = mesh_triangles(file.mesh);
    bool tells = !strstr(names[_i], ".obj"); /* an OBJ file does not say how long it is */
    for (size_t cut = 0; cut < size; cut++) {
        enum status status = read_bytes(data, cut);
        if (status != STATUS_OK && (status != STATUS_FORMAT || !strstr(job.message, "\"gate\"")))
            ck_abort_msg("%s at %zu: %d %s", names[_i], cut, status, job.message);
        if (status == STATUS_OK && tells && mesh_triangles(file.mesh) < whole && !file.partial)
            ck_abort_msg("%s at %zu: %zu of %zu triangles, and nothing said", names[_i], cut,
                         mesh_triangles(file.mesh), whole);
    }
    free(data);
}
END_TEST

Suite *suite_readers(void);
Suite *suite_readers(void)
{
    Suite *suite = suite_create("readers");
    TCase *all = tcase_create("readers");
    tcase_set_timeout(all, 60);
    tcase_add_checked_fixture(all, begin, end);
    tcase_add_test(all, stl_by_size_not_by_name);
    tcase_add_test(all, stl_text_ways);
    tcase_add_test(all, stl_text_faults);
    tcase_add_test(all, stl_colours);
    tcase_add_loop_test(all, ply_twins, 0, 4);
    tcase_add_test(all, ply_rich);
    tcase_add_test(all, ply_polygons);
    tcase_add_test(all, ply_strips_and_grid);
    tcase_add_test(all, ply_units_and_origin);
    tcase_add_test(all, ply_faults);
    tcase_add_test(all, ply_cut_off);
    tcase_add_test(all, wrong_and_infinite_corners);
    tcase_add_test(all, obj_ways);
    tcase_add_test(all, obj_negative_across_parts);
    tcase_add_test(all, obj_faults);
    tcase_add_test(all, off_ways);
    tcase_add_test(all, off_faults);
    tcase_add_loop_test(all, xyz_columns, 0, 10);
    tcase_add_test(all, xyz_numbers);
    tcase_add_test(all, found_by_content);
    tcase_add_test(all, text_of_other_kinds);
    tcase_add_loop_test(all, cut_off_anywhere, 0, 12);
    suite_add_tcase(suite, all);
    return suite;
}
