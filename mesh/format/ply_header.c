#include <stdlib.h>
#include <strings.h>

#include "core/job.h"
#include "format/ply.h"
#include "format/text.h"

enum { ELEMENTS_MOST = 256 };
static const uint64_t COUNT_MOST = 1000000000000000;

struct reader {
    const char *at, *end; /* of the file */
    bool lone_returns;    /* lines end in '\r' alone */
    size_t line;
    struct ply_header *header;
    struct job *job;
};

static const struct {
    const char *name;
    enum ply_type type;
} types[] = {
    {"char", PLY_CHAR}, {"uchar", PLY_UCHAR}, {"short", PLY_SHORT},   {"ushort", PLY_USHORT},
    {"int", PLY_INT},   {"uint", PLY_UINT},   {"float", PLY_FLOAT},   {"double", PLY_DOUBLE},
    {"int8", PLY_CHAR}, {"uint8", PLY_UCHAR}, {"int16", PLY_SHORT},   {"uint16", PLY_USHORT},
    {"int32", PLY_INT}, {"uint32", PLY_UINT}, {"float32", PLY_FLOAT}, {"float64", PLY_DOUBLE}};

static const struct {
    const char *name;
    enum ply_kind kind;
} kinds[] = {{"vertex", PLY_VERTEX},
             {"face", PLY_FACE},
             {"tristrips", PLY_STRIPS},
             {"range_grid", PLY_GRID},
             {"camera", PLY_CAMERA}};

/* Names that are seen, the better ones first. Of neither vertices nor faces: of cameras. */
static const struct {
    const char *names;
    enum ply_role role;
    bool vertex, face;
} roles[] = {
    {"x", PLY_X, true, false},
    {"y", PLY_Y, true, false},
    {"z", PLY_Z, true, false},
    {"nx normal_x", PLY_NX, true, false},
    {"ny normal_y", PLY_NY, true, false},
    {"nz normal_z", PLY_NZ, true, false},
    {"red diffuse_red r", PLY_RED, true, true},
    {"green diffuse_green g", PLY_GREEN, true, true},
    {"blue diffuse_blue b", PLY_BLUE, true, true},
    {"alpha diffuse_alpha a", PLY_ALPHA, true, true},
    {"confidence quality intensity", PLY_CONFIDENCE, true, false},
    {"to_scanner_x", PLY_VIEW_X, true, false},
    {"to_scanner_y", PLY_VIEW_Y, true, false},
    {"to_scanner_z", PLY_VIEW_Z, true, false},
    {"view_px", PLY_VIEW_X, false, false},
    {"view_py", PLY_VIEW_Y, false, false},
    {"view_pz", PLY_VIEW_Z, false, false},
    {"texture_u texture_s s u", PLY_S, true, false},
    {"texture_v texture_t t v", PLY_T, true, false},
    {"origin", PLY_ORIGIN, false, true},
    {"source", PLY_SOURCE, false, true},
    {"material", PLY_MATERIAL, false, true},
    {"vertex_indices vertex_index", PLY_INDICES, true, true},
    {"texcoord", PLY_TEXTURE, false, true},
};

static const unsigned sizes[] = {1, 1, 2, 2, 4, 4, 4, 8, 0};

static enum status fail(const struct reader *r, const char *what, struct ply_word word)
{
    return job_fail(r->job, STATUS_FORMAT, "\"%s\": line %zu: %s \"%.*s\"", r->header->bytes->name,
                    r->line, what, word.length < 60 ? word.length : 60, word.at);
}

/* The next word of the line that ends at `end`; empty at its end. */
static struct ply_word next_word(const char **at, const char *end)
{
    const char *begin = text_skip(*at, end);
    *at = text_word_end(begin, end);
    size_t length = (size_t)(*at - begin);
    return (struct ply_word){begin, length < 1000 ? (int)length : 1000};
}

/* The next line without its end; false at the end of the file. */
static bool next_line(struct reader *r, const char **line, const char **end)
{
    if (r->at == r->end)
        return false;
    size_t left = (size_t)(r->end - r->at);
    const char *stop = memchr(r->at, r->lone_returns ? '\r' : '\n', left);
    *line = r->at;
    *end = stop ? stop : r->end;
    r->at = stop ? stop + 1 : r->end;
    r->line++;
    return true;
}

static bool type_named(struct ply_word word, enum ply_type *out)
{
    for (size_t i = 0; i < sizeof types / sizeof *types; i++)
        if (ply_is(word, types[i].name)) {
            *out = types[i].type;
            return true;
        }
    return false;
}

/* --- elements and properties ------------------------------------------------------------- */

static enum status add_element(struct reader *r, const char *at, const char *end)
{
    struct ply_header *header = r->header;
    struct ply_element element = {.name = next_word(&at, end), .kind = PLY_OTHER};
    struct ply_word number = next_word(&at, end);
    int64_t count;
    const char *stop = decimal_whole(number.at, number.at + number.length, &count);
    if (!number.length || stop != number.at + number.length || count < 0)
        return fail(r, "no count of elements:", number);
    element.count = (uint64_t)count;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (ply_is(element.name, kinds[i].name))
            element.kind = kinds[i].kind;
    if (header->elements == ELEMENTS_MOST || element.count > COUNT_MOST)
        return fail(r, "more than a PLY file can hold:", element.name);
    struct ply_element *more =
        realloc(header->element, (header->elements + 1) * sizeof *header->element);
    if (!more)
        return job_fail_memory(r->job, sizeof element);
    header->element = more;
    header->element[header->elements++] = element;
    return STATUS_OK;
}

/* How good a name is for a role: 0 not at all. */
static int fits(struct ply_word name, const char *names)
{
    for (int good = 100; *names; good--) {
        size_t length = strcspn(names, " ");
        if (length && (size_t)name.length == length && strncasecmp(name.at, names, length) == 0)
            return good;
        names += length + (names[length] == ' ');
    }
    return 0;
}

/* Gives the property its role, unless another one has it by a better name. */
static void give_role(struct ply_element *element, struct ply_property *property)
{
    bool vertex = element->kind == PLY_VERTEX, camera = element->kind == PLY_CAMERA;
    bool list = property->count != PLY_NONE;
    property->role = PLY_SKIP;
    for (size_t i = 0; i < sizeof roles / sizeof *roles && element->kind != PLY_OTHER; i++) {
        int good = fits(property->name, roles[i].names);
        bool wanted = vertex   ? roles[i].vertex && !list
                      : camera ? !roles[i].vertex && !roles[i].face
                               : roles[i].face;
        if (!good || !wanted || list != (roles[i].role >= PLY_SCALARS))
            continue;
        for (size_t k = 0; k < element->properties; k++) {
            struct ply_property *other = &element->property[k];
            if (other->role != roles[i].role)
                continue;
            if (fits(other->name, roles[i].names) >= good)
                return;
            other->role = PLY_SKIP;
        }
        property->role = roles[i].role;
        element->has |= 1u << property->role;
        if (!list)
            element->type[property->role] = property->type;
        return;
    }
}

static enum status add_property(struct reader *r, const char *at, const char *end)
{
    struct ply_header *header = r->header;
    struct ply_property property = {.count = PLY_NONE};
    struct ply_word type = next_word(&at, end);
    if (!header->elements)
        return fail(r, "a property before any element:", type);
    if (ply_is(type, "list")) {
        type = next_word(&at, end);
        if (!type_named(type, &property.count))
            return fail(r, "unknown type", type);
        type = next_word(&at, end);
    }
    if (!type_named(type, &property.type))
        return fail(r, "unknown type", type);
    property.name = next_word(&at, end);
    struct ply_element *element = &header->element[header->elements - 1];
    give_role(element, &property);
    if ((element->properties & (element->properties - 1)) == 0) { /* a power of two is full */
        size_t room = element->properties ? 2 * element->properties : 1;
        struct ply_property *more = realloc(element->property, room * sizeof *more);
        if (!more)
            return job_fail_memory(r->job, room * sizeof *more);
        element->property = more;
    }
    element->property[element->properties++] = property;
    bool list = property.count != PLY_NONE;
    element->lists = element->lists || list;
    element->least += sizes[list ? property.count : property.type];
    return STATUS_OK;
}

/* --- the other lines --------------------------------------------------------------------- */

static enum status set_format(struct reader *r, const char *at, const char *end)
{
    struct ply_word name = next_word(&at, end), version = next_word(&at, end);
    if (ply_is(name, "ascii"))
        r->header->encoding = PLY_ASCII;
    else if (ply_is(name, "binary_little_endian"))
        r->header->encoding = PLY_LITTLE;
    else if (ply_is(name, "binary_big_endian"))
        r->header->encoding = PLY_BIG;
    else
        return fail(r, "unknown encoding", name);
    return ply_is(version, "1.0") || !version.length ? STATUS_OK
                                                     : fail(r, "unknown version", version);
}

static void take_comment(struct reader *r, const char *at, const char *end)
{
    enum unit unit = text_unit(at, end);
    struct ply_word word = next_word(&at, end), value = next_word(&at, end);
    int64_t number;
    if (unit != UNIT_NONE)
        r->header->unit = unit;
    if (word.length == 11 && strncasecmp(word.at, "TextureFile", 11) == 0)
        r->header->texture_named = true;
    if (!decimal_whole(value.at, value.at + value.length, &number) || number < 0)
        return;
    if (ply_is(word, "num_cols"))
        r->header->columns = (size_t)number;
    else if (ply_is(word, "num_rows"))
        r->header->rows = (size_t)number;
}

static enum status take_line(struct reader *r, const char *at, const char *end, bool *last)
{
    struct ply_word word = next_word(&at, end);
    if (!word.length || ply_is(word, "ply"))
        return STATUS_OK;
    if (ply_is(word, "format"))
        return set_format(r, at, end);
    if (ply_is(word, "element"))
        return add_element(r, at, end);
    if (ply_is(word, "property"))
        return add_property(r, at, end);
    if (ply_is(word, "comment") || ply_is(word, "obj_info")) {
        take_comment(r, at, end);
        return STATUS_OK;
    }
    *last = ply_is(word, "end_header");
    if (!*last) /* a comment that broke its line, most often */
        job_note(r->job,
                 "\"%s\": line %zu of its header was left out: \"%.*s\" means nothing there",
                 r->header->bytes->name, r->line, word.length < 60 ? word.length : 60, word.at);
    return STATUS_OK;
}

static enum status check(const struct ply_header *header, struct job *job)
{
    bool vertices = false;
    for (size_t i = 0; i < header->elements; i++) {
        const struct ply_element *element = &header->element[i];
        vertices = vertices || element->kind == PLY_VERTEX;
        if (element->count > MESH_MOST && element->kind != PLY_OTHER)
            return job_fail(
                job, STATUS_FORMAT,
                "\"%s\": its header wants %llu elements \"%.*s\"; at most %d can be held",
                header->bytes->name, (unsigned long long)element->count, element->name.length,
                element->name.at, MESH_MOST);
        bool placed = ply_has(element, PLY_X) && ply_has(element, PLY_Y) && ply_has(element, PLY_Z);
        if (element->kind == PLY_VERTEX && !placed)
            return job_fail(job, STATUS_FORMAT,
                            "\"%s\": its header gives the vertices no x, y and z",
                            header->bytes->name);
        if (element->kind != PLY_VERTEX && element->kind != PLY_CAMERA &&
            element->kind != PLY_OTHER && element->count && !ply_has(element, PLY_INDICES))
            return job_fail(job, STATUS_FORMAT,
                            "\"%s\": its header gives \"%.*s\" no list vertex_indices",
                            header->bytes->name, element->name.length, element->name.at);
    }
    return vertices ? STATUS_OK
                    : job_fail(job, STATUS_FORMAT, "\"%s\": its header has no element \"vertex\"",
                               header->bytes->name);
}

/* A camera that does not say where it stood is passed over like any element that means nothing. */
static void leave_out_cameras(struct ply_header *header)
{
    for (size_t i = 0; i < header->elements; i++) {
        struct ply_element *e = &header->element[i];
        if (e->kind == PLY_CAMERA && !ply_has_view(e))
            e->kind = PLY_OTHER;
    }
}

enum status ply_header_read(const struct bytes *bytes, struct ply_header *out, struct job *job)
{
    *out = (struct ply_header){.bytes = bytes, .unit = UNIT_NONE};
    struct reader r = {.at = (const char *)bytes->data, .header = out, .job = job};
    r.end = r.at + bytes->size;
    r.lone_returns = bytes->size > 4 && r.at[3] == '\r' && r.at[4] != '\n';
    enum status status = STATUS_OK;
    const char *line, *end;
    bool last = false;
    while (status == STATUS_OK && !last && next_line(&r, &line, &end))
        status = take_line(&r, line, end, &last);
    if (status == STATUS_OK && !last)
        status = job_fail(job, STATUS_FORMAT, "\"%s\": cut off within its header (line %zu)",
                          bytes->name, r.line);
    leave_out_cameras(out);
    if (status == STATUS_OK)
        status = check(out, job);
    out->body = (size_t)(r.at - (const char *)bytes->data);
    out->body_line = r.line + 1;
    if (status != STATUS_OK)
        ply_header_release(out);
    return status;
}

void ply_header_release(struct ply_header *header)
{
    for (size_t i = 0; i < header->elements; i++)
        free(header->element[i].property);
    free(header->element);
    header->element = NULL;
    header->elements = 0;
}
