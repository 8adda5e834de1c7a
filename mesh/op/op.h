/* Operations: from a row to a key, a command, a recipe step, a help line and an undo step.
 *
 * The language (keys, prompt, recipes, journal, tests all speak it):
 *     operation value key=value ... # comment
 * Values that hold blanks or '#' are quoted: "my scan.stl" (\" \\ \n \r inside). A value without a
 * key goes to the parameters marked positional, in their order; quote it when it holds '='. */
#ifndef FETTLE_OP_OP_H
#define FETTLE_OP_OP_H

#include "core/tree.h"
#include "op/scene.h"

struct sketch; /* sketch.h */

enum param_kind {
    PARAM_FLAG,   /* yes | no */
    PARAM_COUNT,  /* whole number */
    PARAM_NUMBER, /* plain number */
    PARAM_LENGTH, /* mm, or with a unit: 5mm 0.2in */
    PARAM_ANGLE,  /* degrees */
    PARAM_SHARE,  /* 10% (kept as 0.10) */
    PARAM_SIZE,   /* a length or a share: dust smaller=1% | smaller=5mm */
    PARAM_VEC,    /* x,y,z: lengths */
    PARAM_PLACE,  /* the same, on a piece or near it: a point put on the picture will do */
    PARAM_CHOICE, /* one of choices */
    PARAM_PATH,   /* a file */
    PARAM_PIECE,  /* piece number, counted from 1, or "all" (0) */
    PARAM_TEXT,
    PARAM_DIRECTION, /* x,y,z without units, not all zero, or x y z -x -y -z */
    PARAM_BOX,       /* AxBxC: three lengths, the sides of a box along x, y and z */
    PARAM_PAIRS,     /* x,y,z:x,y,z;... pairs of points, kept as text: value_pairs (value.h) */
    PARAM_PLACES     /* x,y,z;x,y,z;... points, kept as text: value_places (value.h) */
};

enum param_need { OPTIONAL, REQUIRED, POSITIONAL, REQUIRED_POSITIONAL };

struct param {
    const char *name;
    enum param_kind kind;
    enum param_need need;
    /* The default as one would type it; NULL: absent (value.given false). A kind made of numbers
     * may have a word here ("auto"): also absent, and the word can be typed. */
    const char *standard;
    double least, most;  /* numbers must lie within; both 0: any */
    const char *choices; /* "flat smooth"; of a path: the files' extensions, NULL: meshes' */
    const char *help;    /* "longest hole that is filled; 0: all" */
};

struct value {
    bool given;    /* by the user or the default */
    bool typed;    /* by the user */
    bool share;    /* PARAM_SIZE: number is a share, not a length */
    double number; /* lengths in mm; a flag 1 or 0; a choice its index; piece "all" 0 */
    double vec[3];
    int choice;       /* index into choices; a flag 1 or 0 */
    const char *text; /* PARAM_PATH, PARAM_TEXT, PARAM_PAIRS, PARAM_PLACES; "" when not given */
};

/* What an operation works on: reads `in`, changes `out` (born sharing all of in's pieces). */
struct op_call {
    const struct op *op;
    const struct scene *in;
    struct scene *out;
    const struct value *value; /* in the order of op->params */
    struct job *job;
};

/* How the screen gathers the arguments when the operation's key is pressed. */
enum op_tool {
    OP_PROMPT, /* its command in the prompt, with the defaults */
    OP_PLANE,  /* a plane placed on the picture first: parameters `through` and `normal` */
    OP_PAIRS,  /* pairs of points put on two pieces side by side: parameters `moving`, `fixed`, `at`
                */
    OP_POINT   /* a point put on the picture first: parameter `at`; it then runs, or is sketched
                  with its command in the prompt where it can be */
};

struct op {
    const char *name;           /* "fill" */
    const char *key;            /* the key that starts it at the screen, "f", or NULL */
    const char *title;          /* while it runs: "filling holes" */
    const char *undo;           /* the step's label: "fill holes" */
    const char *help;           /* one line */
    const char *example;        /* of a line, as one would type it; "@" is a point put before */
    const char *manual;         /* some sentences: method, limits, what is reported */
    const struct param *params; /* ends with a NULL name */
    enum status (*run)(struct op_call *call);
    /* Draws what it would make before it does (call->out is NULL), and notes its measures; fails
     * as run would where the place speaks against it. NULL: it has nothing to draw. */
    enum status (*sketch)(const struct op_call *call, struct sketch *sketch);
    enum op_tool tool;
    /* False: it changes nothing in the scene (save); no undo step is kept. */
    bool changes;
    bool saves; /* the file that it writes holds the pieces, which then count as saved */
};

const struct op *op_row(size_t i); /* NULL past the end */
const struct op *op_named(const char *name, size_t length);

/* The value of the named parameter; asserts that the row has it. */
const struct value *op_value(const struct op_call *call, const char *name);

/* The row as one would type it: "fill longest=0 shape=flat|smooth piece=N". The caller frees; NULL
 * when out of memory. */
char *op_usage(const struct op *op);

/* The index of the first piece from `from` on that the call is to work on, or in->count: the piece
 * named by the parameter "piece", else the selected one, else all that are not hidden. */
size_t op_chosen(const struct op_call *call, size_t from);

/* STATUS_REFUSED with a message when there is none. */
enum status op_any_chosen(const struct op_call *call);

/* Of these pieces the one nearest to the parameter `at`, and the place of it (of a triangle, or a
 * point of a cloud; clouds only count if `clouds` says so). nearest->triangle is NO_INDEX, and
 * *piece as it was, when there is nothing in them. */
enum status op_nearest(const struct op_call *call, bool clouds, size_t *piece,
                       struct nearest *nearest);

/* The names of all units, the choices of a parameter in the order of enum unit. */
#define UNIT_NAMES (&op_unit_names[1])
extern const char op_unit_names[];

/* Every operation that works piece by piece has the parameter OP_PIECE and calls op_each: `make`
 * gets each chosen piece's mesh and returns a new one through `out` (or shares the same). Stops at
 * the first failure. Notes are prefixed with the piece's name when there are several. */
#define OP_PIECE_AS(need)                                                                          \
    {                                                                                              \
        "piece", PARAM_PIECE, need, NULL, 0, 0, NULL,                                              \
            "which piece, counted from 1, or all; the selected one"                                \
    }
#define OP_PIECE OP_PIECE_AS(OPTIONAL)
enum status op_each(struct op_call *call,
                    enum status (*make)(const struct op_call *call, const struct mesh *mesh,
                                        struct mesh **out, struct job *job));
/* The same with one piece, by its index in the scene; its notes name it where several are chosen.
 */
enum status op_one(struct op_call *call, size_t piece,
                   enum status (*make)(const struct op_call *call, const struct mesh *mesh,
                                       struct mesh **out, struct job *job));

/* --- the language ------------------------------------------------------------------------ */

/* Reads one value of the parameter; false: `why` says what it must be ("must be yes or no").
 * PATH, TEXT, PAIRS and PLACES point at `text` itself. */
enum { WHY_SIZE = 192 };
bool value_read(const struct param *param, const char *text, struct value *out, char why[WHY_SIZE]);

/* One parsed line. */
struct step {
    const struct op *op; /* NULL: a blank line or a comment */
    struct value *value;
    char *store; /* the texts the values point into */
};

/* Parses one line. On failure STATUS_USAGE with a message that names the word and the mend
 * (nearest operation or parameter name, allowed range), and nothing is owned. */
enum status step_parse(const char *line, struct step *out, struct job *job);
void step_release(struct step *step);

/* The value that names the file which the step reads or writes; NULL: it has none. */
struct value *step_file(const struct step *step);

/* Writes the step as one line that parses back to it: all typed values, numbers exact (shortest
 * text that reads back to the same double). The caller frees. NULL when out of memory. */
char *step_text(const struct step *step);

/* Runs a step on a scene; *out is the next scene (a new holder), unchanged scenes are shared.
 * `in` is untouched whatever happens. */
enum status step_run(const struct step *step, const struct scene *in, struct scene **out,
                     struct job *job);

/* What the step would make, to be drawn; nothing when its operation sketches nothing. The caller
 * releases the sketch, also on failure: what would be made is drawn though something speaks against
 * it. */
enum status step_sketch(const struct step *step, const struct scene *in, struct sketch *sketch,
                        struct job *job);

#endif
