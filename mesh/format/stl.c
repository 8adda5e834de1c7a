#include "format/stl.h"

#include <string.h>
#include <strings.h>

#include "core/job.h"
#include "core/weld.h"
#include "format/gather.h"

enum { LOOK = 4096, LOOK_FACETS = 16 };

/* --- what it is: by size, never by the word "solid" ------------------------------------- */

static uint32_t get32(const unsigned char *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static float get_float(const unsigned char *at)
{
    uint32_t bits = get32(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static size_t whole_facets(const struct bytes *bytes)
{
    return bytes->size < STL_HEADER ? 0 : (bytes->size - STL_HEADER) / STL_FACET;
}

static bool exact_size(const struct bytes *bytes)
{
    return bytes->size >= STL_HEADER &&
           (uint64_t)bytes->size ==
               STL_HEADER + (uint64_t)STL_FACET * get32(bytes->data + STL_COUNT_AT);
}

/* Text: begins with "solid" and soon goes on with "facet" or "endsolid", without a NUL. */
static bool looks_text(const struct bytes *bytes)
{
    size_t size = bytes->size < LOOK ? bytes->size : LOOK, at = 0;
    const char *text = (const char *)bytes->data;
    while (at < size && strchr(" \t\r\n", text[at]) && text[at])
        at++;
    if (size - at < 5 || strncasecmp(text + at, "solid", 5) != 0 || memchr(text, 0, size))
        return false;
    for (at += 5; at + 5 <= size; at++)
        if (strncasecmp(text + at, "facet", 5) == 0 || strncasecmp(text + at, "endso", 5) == 0)
            return true;
    return size == bytes->size && size < STL_HEADER;
}

static bool all_text(const unsigned char *at, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (at[i] > '~' || (at[i] < ' ' && !strchr("\t\r\n\f", at[i])) || !at[i])
            return false;
    return true;
}

/* The first facets hold numbers such as coordinates are, and it is no text. */
static bool looks_binary(const struct bytes *bytes)
{
    size_t facets = whole_facets(bytes);
    if (!facets || all_text(bytes->data, bytes->size < LOOK ? bytes->size : LOOK))
        return false;
    for (size_t i = 0; i < (facets < LOOK_FACETS ? facets : LOOK_FACETS); i++)
        for (int k = 0; k < 12; k++) {
            float value =
                fabsf(get_float(bytes->data + STL_HEADER + i * STL_FACET + 4 * (size_t)k));
            if (isfinite(value) && (value > 1e15f || (value != 0 && value < 1e-30f)))
                return false;
        }
    return true;
}

static int sniff(const struct bytes *bytes)
{
    if (exact_size(bytes))
        return bytes->size > STL_HEADER ? 100 : 50;
    if (looks_text(bytes))
        return 90;
    return bytes->size > STL_HEADER && looks_binary(bytes) ? 30 : 0;
}

/* --- binary ------------------------------------------------------------------------------ */

/* How many facets to read, with notes on what the file's size does not agree with. */
static size_t facet_count(const struct bytes *bytes, struct reading *out, struct job *job)
{
    uint64_t stated = get32(bytes->data + STL_COUNT_AT), whole = whole_facets(bytes);
    if (stated == whole && exact_size(bytes))
        return whole;
    if (stated == 0 || stated == UINT32_MAX) {
        job_note(job,
                 "\"%s\": its header does not say how many triangles there are; %llu were found",
                 bytes->name, (unsigned long long)whole);
        return whole;
    }
    if (stated <= whole) {
        job_note(job, "\"%s\": left out behind the last triangle: %llu bytes", bytes->name,
                 (unsigned long long)(bytes->size - STL_HEADER - STL_FACET * stated));
        return stated;
    }
    out->partial = true;
    job_note(job, "\"%s\": cut off: %llu of %llu triangles are there", bytes->name,
             (unsigned long long)whole, (unsigned long long)stated);
    return whole;
}

/* Turns 5 bits into 8. */
static uint8_t five_bits(unsigned word, int shift)
{
    unsigned value = word >> shift & 31;
    return (uint8_t)((value * 255 + 15) / 31);
}

enum colouring { PLAIN, COLOURED_A, COLOURED_B };

static unsigned word_of(const unsigned char *facet)
{
    return facet[STL_WORD_AT] | (unsigned)facet[STL_WORD_AT + 1] << 8;
}

/* Two makers put colours into a facet's last two bytes. One gives the colour of the whole in the
 * header as well; the other must be guessed from the bit that makes a colour valid. */
static enum colouring colouring(const struct bytes *bytes, size_t facets)
{
    if (memmem(bytes->data, STL_COUNT_AT, "COLOR=", 6))
        return COLOURED_B;
    size_t valid = 0;
    for (size_t i = 0; i < facets; i++)
        valid += word_of(bytes->data + STL_HEADER + STL_FACET * i) >> 15;
    return facets && valid > facets / 2 ? COLOURED_A : PLAIN;
}

static void facet_colour(enum colouring kind, unsigned word, const uint8_t whole[4],
                         uint8_t colour[4])
{
    bool red_high = kind == COLOURED_A, own = (word >> 15 & 1) == (kind == COLOURED_A);
    memcpy(colour, whole, 4);
    if (!own)
        return;
    colour[0] = five_bits(word, red_high ? 10 : 0);
    colour[1] = five_bits(word, 5);
    colour[2] = five_bits(word, red_high ? 0 : 10);
    colour[3] = 255;
}

/* The colour that facets without one of their own have. */
static void whole_colour(const struct bytes *bytes, enum colouring kind, uint8_t colour[4])
{
    memset(colour, 255, 4);
    const unsigned char *at = memmem(bytes->data, STL_COUNT_AT, "COLOR=", 6);
    if (kind == COLOURED_B && at && at + 10 <= bytes->data + STL_COUNT_AT)
        memcpy(colour, at + 6, 4);
}

/* A facet's colour goes to its vertices: each has the mean of those around it. */
static enum status colour_vertices(const struct bytes *bytes, size_t facets, enum colouring kind,
                                   struct mesh *mesh, struct job *job)
{
    uint8_t whole[4];
    whole_colour(bytes, kind, whole);
    uint8_t *face = scratch_new(mesh_triangles(mesh), 4);
    if (!face)
        return job_fail_memory(job, mesh_triangles(mesh) * 4);
    size_t t = 0;
    for (size_t i = 0; i < facets && t < mesh_triangles(mesh); i++) {
        const unsigned char *facet = bytes->data + STL_HEADER + STL_FACET * i;
        if (soup_finite(facet + STL_VERTICES_AT))
            facet_colour(kind, word_of(facet), whole, face + 4 * t++);
    }
    enum status status = face_colour_spread(mesh, face, job);
    scratch_free(face);
    if (status == STATUS_OK)
        job_note(job,
                 "\"%s\": colours found, taken for the kind %s; they were carried over from its "
                 "facets to their vertices",
                 bytes->name,
                 kind == COLOURED_A ? "that sets bit 15 (red in the high bits)"
                                    : "with COLOR= in the header (red in the low bits)");
    return status;
}

static enum status read_binary(const struct bytes *bytes, struct reading *out, struct job *job)
{
    if (bytes->size < STL_HEADER)
        return job_fail(job, STATUS_FORMAT,
                        "\"%s\": %zu bytes are too few for an STL file; ask for it again",
                        bytes->name, bytes->size);
    size_t facets = facet_count(bytes, out, job);
    job_total(job, 3 * facets); /* reading is joining the corners */
    struct mesh *mesh =
        weld_soup(bytes->data + STL_HEADER + STL_VERTICES_AT, STL_FACET, facets, job);
    if (!mesh)
        return job_status(job);
    if (mesh_triangles(mesh) < facets)
        job_note(job, "\"%s\": %zu triangle%s left out: a coordinate is no number", bytes->name,
                 facets - mesh_triangles(mesh), plural(facets - mesh_triangles(mesh)));
    enum colouring kind = colouring(bytes, facets);
    enum status status = STATUS_OK;
    if (kind != PLAIN)
        status = colour_vertices(bytes, facets, kind, mesh, job);
    bytes_passed(bytes, 0, bytes->size);
    if (status != STATUS_OK) {
        mesh_free(mesh);
        return status;
    }
    out->colour = kind == PLAIN ? COLOUR_NONE : COLOUR_FACE;
    out->mesh = mesh;
    return STATUS_OK;
}

/* Our own headers and names say the unit when it is not mm. */
static enum unit stated_unit(const struct bytes *bytes)
{
    static const char *const marks[] = {STL_TITLE STL_UNIT, STL_SOLID STL_UNIT};
    for (int i = 0; i < 2; i++) {
        size_t n = strlen(marks[i]), length = 0;
        const char *name = (const char *)bytes->data + n;
        if (bytes->size < n + 8 || memcmp(bytes->data, marks[i], n) != 0)
            continue;
        while (length < 8 && name[length] > ' ')
            length++;
        return unit_named(name, length);
    }
    return UNIT_NONE;
}

static enum status read(const struct bytes *bytes, struct reading *out, struct job *job)
{
    out->unit = stated_unit(bytes);
    return exact_size(bytes) || !looks_text(bytes) ? read_binary(bytes, out, job)
                                                   : stl_text_read(bytes, out, job);
}

const struct format format_stl = {
    .name = "stl",
    .extensions = "stl",
    .title = "STL: triangles, binary or text",
    .triangles = true,
    .sniff = sniff,
    .read = read,
    .write = stl_write,
};
