/* Files in and out: found by content, read from memory, written atomically. */
#ifndef FETTLE_FORMAT_FORMAT_H
#define FETTLE_FORMAT_FORMAT_H

#include <stdbool.h>
#include <stddef.h>

#include "core/mesh.h"

enum unit { /* what a length of 1 in the file means; rows in units.def */
#define UNIT(symbol, name, millimetres, title) UNIT_##symbol,
#include "format/units.def"
#undef UNIT
            UNIT_COUNT,
            UNIT_NONE = UNIT_COUNT /* the file does not say */
};

/* Millimetres a unit; its short name; the unit of that name, or UNIT_NONE. */
double unit_millimetres(enum unit unit);
const char *unit_name(enum unit unit);
enum unit unit_named(const char *name, size_t length);

enum colour_kind { COLOUR_NONE, COLOUR_VERTEX, COLOUR_FACE, COLOUR_TEXTURE };

/* What a reader makes of a file. Lengths are as in the file (scaled to mm by file_read). */
struct reading {
    struct mesh *mesh;
    enum unit unit;          /* as the file states it, or UNIT_NONE */
    enum colour_kind colour; /* how the file holds colour */
    bool partial;            /* the file was truncated: only what was whole is here */
};

/* A file's bytes as a reader sees them. */
struct bytes {
    const unsigned char *data;
    size_t size;
    const char *name; /* for messages; never NULL */
    bool mapped;      /* they are pages of a mapped file: bytes_passed may drop them */
};

/* The reader is done with bytes from..to-1 for the time being: their pages need not stay in memory
 * (they come back from the file when they are touched again). */
void bytes_passed(const struct bytes *bytes, size_t from, size_t to);

struct sink; /* where a writer writes; sink.h */

struct write_options {
    bool ascii;     /* where the format has both */
    enum unit unit; /* the unit the numbers are written in */
};

struct format {
    const char *name;       /* "stl" */
    const char *extensions; /* "stl", space-separated, lower case; the first is the usual one */
    const char *title;      /* "STL: triangles, binary or text" */
    bool points;            /* can hold a point cloud */
    bool triangles;         /* can hold triangles */
    bool colour;            /* keeps colour when written */
    /* How sure it is that these bytes are of its kind: 0 not, 100 certain. Looks at the first
     * few KiB and the size; never fails. */
    int (*sniff)(const struct bytes *bytes);
    /* Reads it. The mesh comes out finite and with indices in range: what is not is left out and
     * noted in the job. A truncated file gives what is whole, sets `partial`, and notes what is
     * missing. On failure nothing is owned by the caller. NULL: cannot be read. */
    enum status (*read)(const struct bytes *bytes, struct reading *out, struct job *job);
    /* Writes it. NULL: cannot be written. */
    enum status (*write)(const struct mesh *mesh, const struct write_options *options,
                         struct sink *sink, struct job *job);
};

/* The table; NULL past the end. */
const struct format *format_row(size_t i);
/* By name, or by the extension of a path; NULL when there is none. */
const struct format *format_named(const char *name);
const struct format *format_for_path(const char *path);
/* Whether a file of that name may be one to read (to write): by its extension, a format's or, to
 * read, an archive's. Any other can be read all the same, where its content tells what it is. */
bool format_usual(const char *path, bool write);

/* What file_read found. */
struct file {
    struct mesh *mesh; /* in mm, joined exactly when it has triangles */
    const struct format *format;
    enum unit unit;
    enum { UNIT_GIVEN, UNIT_FROM_FILE, UNIT_ASSUMED } unit_source;
    enum colour_kind colour;
    bool partial;
    char *member; /* the name inside an archive, or NULL */
};

/* Opens, unpacks (gz bz2 xz zst zip 7z tar; "path//member" picks one of several members),
 * recognises and reads a file ("-": standard input), scales it to mm and joins equal positions.
 * `given` is the unit the user states, or UNIT_NONE (then the file's own, then mm is assumed).
 * Failures name the file, the place and the mend. */
enum status file_read(const char *path, enum unit given, struct file *out, struct job *job);

/* The same from memory. */
enum status file_read_bytes(const struct bytes *bytes, enum unit given, struct file *out,
                            struct job *job);

void file_release(struct file *file);

/* Writes the mesh to path by its extension (or as `format` when that is not NULL): into a
 * temporary file beside it, fsync, rename; permissions of a replaced file are kept. On any failure
 * the old file is whole and the temporary one is gone. "-" is standard output. */
enum status file_write(const struct mesh *mesh, const char *path, const struct format *format,
                       const struct write_options *options, struct job *job);

#endif
