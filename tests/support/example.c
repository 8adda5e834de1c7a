#include "tests/support/example.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/number.h"

static double middle(const struct param *param, double standard)
{
    if (param->least == 0 && param->most == 0)
        return standard;
    if (param->least <= standard && standard <= param->most)
        return standard;
    return param->most < 1e6 ? (param->least + param->most) / 2 : param->least;
}

static void write_value(FILE *line, const struct op *op, const struct param *param,
                        const char *file, const char *out)
{
    char number[NUMBER_SIZE];
    fprintf(line, " %s=", param->name);
    switch (param->kind) {
    case PARAM_FLAG:
        fprintf(line, "yes");
        return;
    case PARAM_COUNT:
        fprintf(line, "%.0f", ceil(middle(param, 10)));
        return;
    case PARAM_NUMBER:
    case PARAM_LENGTH:
    case PARAM_ANGLE:
        number_text(middle(param, 2), 0, number);
        fprintf(line, "%s", number);
        return;
    case PARAM_SHARE:
    case PARAM_SIZE:
        fprintf(line, "50%%");
        return;
    case PARAM_VEC:
    case PARAM_PLACE:
        fprintf(line, "1,2,3");
        return;
    case PARAM_BOX:
        fprintf(line, "30x20x10");
        return;
    case PARAM_DIRECTION:
        fprintf(line, "z");
        return;
    case PARAM_CHOICE:
        fprintf(line, "%.*s", (int)strcspn(param->choices, " "), param->choices);
        return;
    case PARAM_PAIRS:
        fprintf(line, "0,0,0:1,0,0;9,0,0:10,0,0;0,9,0:1,9,0");
        return;
    case PARAM_PLACES:
        fprintf(line, "1,2,3;4,5,6");
        return;
    case PARAM_PATH:
        fprintf(line, "\"%s\"", op->changes ? file : op->saves ? out : "out.pdf");
        return;
    case PARAM_PIECE:
        fprintf(line, "1");
        return;
    case PARAM_TEXT:
        fprintf(line, "stl");
        return;
    }
}

static size_t param_count(const struct op *op)
{
    size_t n = 0;
    while (op->params && op->params[n].name)
        n++;
    return n;
}

/* With the required parameters and those numbered a and b (past the end: none). */
static char *make_line(const struct op *op, size_t a, size_t b, const char *file, const char *out)
{
    char *text = NULL;
    size_t size;
    FILE *line = open_memstream(&text, &size);
    fprintf(line, "%s", op->name);
    for (size_t i = 0; i < param_count(op); i++) {
        enum param_need need = op->params[i].need;
        if (need == REQUIRED || need == REQUIRED_POSITIONAL || i == a || i == b)
            write_value(line, op, &op->params[i], file, out);
    }
    fclose(line);
    return text;
}

static bool try_line(const char *line, const struct scene *in, struct scene **result,
                     char why[EXAMPLE_WHY])
{
    struct step step;
    struct job job;
    job_init(&job);
    enum status status = step_parse(line, &step, &job);
    if (status == STATUS_OK) {
        status = step_run(&step, in, result, &job);
        step_release(&step);
    }
    snprintf(why, EXAMPLE_WHY, "%s", job.message);
    job_release(&job);
    return status == STATUS_OK;
}

char *example_run(const struct op *op, const struct scene *in, const char *file, const char *out,
                  struct scene **result, char why[EXAMPLE_WHY])
{
    size_t n = param_count(op);
    for (size_t a = n + 1; a-- > 0;)
        for (size_t b = n + 1; b-- > (a < n ? a : n);) {
            char *line = make_line(op, a, b, file, out);
            if (try_line(line, in, result, why))
                return line;
            free(line);
        }
    return NULL;
}

static uint64_t digest(uint64_t hash, const void *data, size_t size)
{
    const unsigned char *byte = data;
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ byte[i]) * 0x100000001B3ull; /* FNV-1a, 64 bits */
    return hash;
}

static uint64_t digest_array(uint64_t hash, const struct array *array)
{
    size_t bytes = array_bytes(array);
    return digest(digest(hash, &bytes, sizeof bytes), array ? array->data : "", bytes);
}

uint64_t scene_digest(const struct scene *scene)
{
    uint64_t hash = 0xCBF29CE484222325ull;
    for (size_t i = 0; i < scene->count; i++) {
        const struct piece *piece = scene->piece[i];
        hash = digest(hash, piece->name, strlen(piece->name) + 1);
        hash = digest(hash, &piece->hidden, sizeof piece->hidden);
        hash = digest(hash, piece->mesh->origin, sizeof piece->mesh->origin);
        hash = digest_array(hash, piece->mesh->point);
        hash = digest_array(hash, piece->mesh->triangle);
        for (int a = 0; a < ATTRIBUTE_COUNT; a++)
            hash = digest_array(hash, piece->mesh->attribute[a]);
    }
    return hash;
}
