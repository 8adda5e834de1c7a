/* Recipes: lines of the language carried out one after the other. A line may also be `undo` or
 * `redo`, so that a journal is a recipe. */
#ifndef FETTLE_SCENE_RECIPE_H
#define FETTLE_SCENE_RECIPE_H

#include "op/op.h"

enum recipe_word { RECIPE_STEP, RECIPE_UNDO, RECIPE_REDO };

/* Whether the line is `undo` or `redo` (and maybe a comment). */
bool recipe_special(const char *text, enum recipe_word *out);

struct recipe_line {
    size_t number; /* in the file, from 1 */
    enum recipe_word word;
    struct step step; /* of RECIPE_STEP */
    char *text;       /* as written, with its comment */
};

struct recipe {
    char *name;               /* for messages */
    struct recipe_line *line; /* without blank lines and comments */
    size_t count;
};

/* Reads all lines; each must be right before any is carried out. STATUS_USAGE names file, line and
 * mend: `"clean.recipe": line 3: ...`. A NUL byte or bytes that are no text are refused. */
enum status recipe_parse(const char *text, size_t size, const char *name, struct recipe *out,
                         struct job *job);

/* The same from a file ("-": standard input). */
enum status recipe_read(const char *path, struct recipe *out, struct job *job);
void recipe_release(struct recipe *recipe);

/* Puts the place before the message of a failure; returns the status. */
enum status recipe_locate(const struct recipe *recipe, size_t number, enum status status,
                          struct job *job);

/* Which state each line works on. States are numbered: 0 is the beginning, i + 1 what line i makes
 * of state input[i] (when it is a step that changes the scene). */
struct recipe_trace {
    size_t *input; /* one a line; for undo and redo the state that is left */
    size_t *next;  /* count + 1: the state made last from state i, where redo leads; 0: none */
    size_t last;   /* the state after all lines */
};
/* STATUS_USAGE when there is nothing to undo or redo somewhere. */
enum status recipe_trace(const struct recipe *recipe, struct recipe_trace *out, struct job *job);
void recipe_trace_release(struct recipe_trace *trace);

/* Carries the recipe out; what is undone later and was not saved meanwhile is left out. Takes over
 * `in`'s holder, so that each scene is let go as soon as no line needs it any more. Stops at the
 * first failure, nothing half-saved. After each step `report` (may be NULL) gets its line and the
 * notes it made ("" for none; they are then taken off the job). */
typedef void recipe_report(const struct recipe_line *line, const char *notes, void *context);
enum status recipe_run(const struct recipe *recipe, struct scene *in, struct scene **out,
                       recipe_report *report, void *context, struct job *job);

#endif
