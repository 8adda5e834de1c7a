#include "check/check.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/weld.h"

static const struct figure_row figures[] = {
#define FIGURE(name, kind, unit, title) {#name, FIGURE_KIND_##kind, unit, title},
#include "check/figures.def"
#undef FIGURE
};

#define CHECK(symbol) extern const struct check check_##symbol;
#include "check/checks.def"
#undef CHECK

static const struct check *const checks[] = {
#define CHECK(symbol) &check_##symbol,
#include "check/checks.def"
#undef CHECK
};
enum { CHECKS = sizeof checks / sizeof *checks };

const struct figure_row *figure_row(enum figure figure)
{
    return &figures[figure];
}

const struct check *check_row(size_t i)
{
    return i < CHECKS ? checks[i] : NULL;
}

/* --- for rows ------------------------------------------------------------------------------- */

void inspection_count(struct inspection *inspection, enum figure figure, int64_t value)
{
    inspection->figure[figure] = (struct figure_value){.known = true, .count = value};
}

void inspection_real(struct inspection *inspection, enum figure figure, double value)
{
    inspection->figure[figure] = (struct figure_value){.known = true, .real = value};
}

void inspection_vec(struct inspection *inspection, enum figure figure, struct vec value)
{
    inspection->figure[figure] =
        (struct figure_value){.known = true, .vec = {value.x, value.y, value.z}};
}

void inspection_flag(struct inspection *inspection, enum figure figure, bool value)
{
    inspection->figure[figure] = (struct figure_value){.known = true, .flag = value};
}

static char *text_format(const char *format, va_list list)
{
    va_list again;
    va_copy(again, list);
    int length = vsnprintf(NULL, 0, format, again);
    va_end(again);
    char *text = length < 0 ? NULL : malloc((size_t)length + 1);
    if (text)
        vsnprintf(text, (size_t)length + 1, format, list);
    return text;
}

enum status inspection_find(struct inspection *inspection, const struct check *check,
                            enum severity severity, uint64_t count, struct place *places,
                            size_t place_count, struct job *job, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    char *text = text_format(format, list);
    va_end(list);
    size_t n = inspection->finding_count;
    struct finding *more = realloc(inspection->finding, (n + 1) * sizeof *more);
    if (more)
        inspection->finding = more;
    if (!text || !more) {
        free(text);
        free(places);
        return job_fail_memory(job, sizeof *more);
    }
    more[n] = (struct finding){check, severity, count, text, places, place_count};
    inspection->finding_count++;
    return STATUS_OK;
}

/* --- the whole ------------------------------------------------------------------------------ */

static enum status set_text(struct inspection *inspection, enum figure figure, const char *text,
                            struct job *job)
{
    if (!text)
        return STATUS_OK;
    char *copy = strdup(text);
    if (!copy)
        return job_fail_memory(job, strlen(text) + 1);
    inspection->figure[figure] = (struct figure_value){.known = true, .text = copy};
    return STATUS_OK;
}

static enum status set_texts(struct inspection *inspection, struct job *job)
{
    const struct check_input *input = &inspection->input;
    const struct {
        enum figure figure;
        const char *text;
    } texts[] = {{FIGURE_file, input->file},     {FIGURE_format, input->format},
                 {FIGURE_unit, input->unit},     {FIGURE_unit_source, input->unit_source},
                 {FIGURE_colour, input->colour}, {FIGURE_verdict, inspection_verdict(inspection)}};
    enum status status = STATUS_OK;
    for (size_t i = 0; i < sizeof texts / sizeof *texts && status == STATUS_OK; i++)
        status = set_text(inspection, texts[i].figure, texts[i].text, job);
    return status;
}

/* Errors first; otherwise the order they were found in, which is that of the table. */
static void sort_findings(struct inspection *inspection)
{
    struct finding *f = inspection->finding;
    for (size_t i = 1; i < inspection->finding_count; i++)
        for (size_t j = i; j > 0 && f[j].severity < f[j - 1].severity; j--) {
            struct finding swap = f[j];
            f[j] = f[j - 1];
            f[j - 1] = swap;
        }
}

static unsigned share_left(void)
{
    unsigned left = 1000, rows = 0;
    for (size_t i = 0; i < CHECKS; i++) {
        left -= checks[i]->share;
        rows += checks[i]->share == 0;
    }
    return left / rows;
}

enum status inspect(const struct mesh *mesh, const struct check_input *input,
                    struct inspection *out, struct job *job)
{
    *out = (struct inspection){0};
    if (input)
        out->input = *input;
    out->mesh = weld_exact(mesh, job);
    enum status status = out->mesh ? STATUS_OK : job_status(job);
    for (size_t i = 0; i < CHECKS && status == STATUS_OK; i++) {
        struct job_part whole = job_stage(job, checks[i]->share ? checks[i]->share : share_left());
        job_phase(job, "inspecting", checks[i]->share ? 1000 : 0, mesh_triangles(out->mesh));
        status = checks[i]->run(out, job);
        job_part_end(job, whole);
    }
    if (status == STATUS_OK) {
        sort_findings(out);
        status = set_texts(out, job);
    }
    if (status != STATUS_OK)
        inspection_release(out);
    return status;
}

void inspection_release(struct inspection *inspection)
{
    for (int i = 0; i < FIGURE_COUNT; i++)
        if (figures[i].kind == FIGURE_KIND_TEXT && inspection->figure[i].known)
            free((char *)(uintptr_t)inspection->figure[i].text);
    for (size_t i = 0; i < inspection->finding_count; i++) {
        free(inspection->finding[i].text);
        free(inspection->finding[i].places);
    }
    free(inspection->finding);
    mesh_free((struct mesh *)(uintptr_t)inspection->mesh);
    *inspection = (struct inspection){0};
}

const char *inspection_verdict(const struct inspection *inspection)
{
    for (size_t i = 0; i < inspection->finding_count; i++)
        if (inspection->finding[i].severity == SEVERITY_ERROR)
            return "faulty";
    return "sound";
}
