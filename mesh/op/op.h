/* Operations: from a row to a key, a command, a recipe step, a help line and an undo step.
 *
 * The language (keys, prompt, recipes, journal, tests all speak it):
 *     operation value key=value ... # comment
 * Values that hold blanks or '#' are quoted: "my scan.stl" (\" and \\ inside). A value without a
 * key goes to the parameters marked positional, in their order. */
#ifndef FETTLE_OP_OP_H
#define FETTLE_OP_OP_H

#include "op/scene.h"

enum param_kind {
    PARAM_FLAG,    /* yes | no */
    PARAM_COUNT,   /* whole number */
    PARAM_NUMBER,  /* plain number */
    PARAM_LENGTH,  /* mm, or with a unit: 5mm 0.2in */
    PARAM_ANGLE,   /* degrees */
    PARAM_SHARE,   /* 10% (kept as 0.10) */
    PARAM_SIZE,    /* a length or a share: dust smaller=1% | smaller=5mm */
    PARAM_VEC,     /* x,y,z: lengths */
    PARAM_CHOICE,  /* one of choices */
    PARAM_PATH,    /* a file */
    PARAM_PIECE,   /* piece number, counted from 1, or "all" (0) */
    PARAM_TEXT
};

enum param_need { OPTIONAL, REQUIRED, POSITIONAL, REQUIRED_POSITIONAL };

struct param {
    const char *name;
    enum param_kind kind;
    enum param_need need;
    const char *standard; /* the default as one would type it; NULL: absent (value.given false) */
    double least, most;   /* numbers must lie within; both 0: any */
    const char *choices;  /* "flat smooth" */
    const char *help;     /* "longest hole that is filled; 0: all" */
};

struct value {
    bool given;  /* by the user or the default */
    bool typed;  /* by the user */
    bool share;  /* PARAM_SIZE: number is a share, not a length */
    double number;
    double vec[3];
    int choice;        /* index into choices */
    const char *text;  /* PARAM_PATH, PARAM_TEXT */
};

/* What an operation works on: reads `in`, changes `out` (born sharing all of in's pieces). */
struct op_call {
    const struct op *op;
    const struct scene *in;
    struct scene *out;
    const struct value *value; /* in the order of op->params */
    struct job *job;
};

struct op {
    const char *name;    /* "fill" */
    const char *key;     /* the key that starts it at the screen, "f", or NULL */
    const char *title;   /* while it runs: "filling holes" */
    const char *undo;    /* the step's label: "fill holes" */
    const char *help;    /* one line */
    const char *manual;  /* some sentences: method, limits, what is reported */
    const struct param *params; /* ends with a NULL name */
    enum status (*run)(struct op_call *call);
    /* False: it changes nothing in the scene (save); no undo step is kept. */
    bool changes;
};

const struct op *op_row(size_t i); /* NULL past the end */
const struct op *op_named(const char *name, size_t length);

/* The value of the named parameter; asserts that the row has it. */
const struct value *op_value(const struct op_call *call, const char *name);

/* Every operation that works piece by piece has the parameter OP_PIECE and calls op_each: `make`
 * gets each chosen piece's mesh and returns a new one through `out` (or shares the same). Stops at
 * the first failure. Notes are prefixed with the piece's name when there are several. */
#define OP_PIECE                                                                                   \
    {                                                                                              \
        "piece", PARAM_PIECE, OPTIONAL, NULL, 0, 0, NULL,                                          \
            "which piece, counted from 1, or all; the selected one"                                \
    }
enum status op_each(struct op_call *call,
                    enum status (*make)(const struct op_call *call, const struct mesh *mesh,
                                        struct mesh **out, struct job *job));

/* --- the language ------------------------------------------------------------------------ */

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

/* Writes the step as one line that parses back to it: all typed values, numbers exact (shortest
 * text that reads back to the same double). The caller frees. NULL when out of memory. */
char *step_text(const struct step *step);

/* Runs a step on a scene; *out is the next scene (a new holder), unchanged scenes are shared.
 * `in` is untouched whatever happens. */
enum status step_run(const struct step *step, const struct scene *in, struct scene **out,
                     struct job *job);

#endif
