#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "check/deviation.h"
#include "tui/cli.h"
#include "tui/input.h"
#include "tui/text.h"
#include "tui/watch.h"

enum { BEYOND = 1 }; /* the exit status that scripts look for */

static bool beyond(const struct cli_options *options, const struct comparison *comparison)
{
    return options->within >= 0 && comparison->hausdorff > options->within;
}

/* --- JSON
 * -----------------------------------------------------------------------------------
 */

static json_t *json_way(const struct deviation *way)
{
    return json_pack("{s:f, s:f, s:f, s:f, s:f, s:I, s:f, s:[f,f,f]}", "mean", way->mean, "rms",
                     way->rms, "sd", way->sd, "p95", way->p95, "max", way->max, "samples",
                     (json_int_t)way->samples, "signed_mean", way->signed_mean, "worst",
                     way->worst.x, way->worst.y, way->worst.z);
}

static char *json_text(const struct cli_options *options, const struct comparison *comparison)
{
    json_t *object = json_pack("{s:o, s:o, s:f}", "a_to_b", json_way(&comparison->a_to_b), "b_to_a",
                               json_way(&comparison->b_to_a), "hausdorff", comparison->hausdorff);
    if (object && options->within >= 0) {
        json_object_set_new(object, "within", json_real(options->within));
        json_object_set_new(object, "kept", json_boolean(!beyond(options, comparison)));
    }
    char *text = object ? json_dumps(object, JSON_COMPACT | JSON_REAL_PRECISION(15)) : NULL;
    json_decref(object);
    return text;
}

/* --- the page
 * -------------------------------------------------------------------------------
 */

static const char caution[] = "Deviation figures are indicative unless scanner "
                              "and artefact have a current calibration.";

static void print_lengths(const char *title, double a_to_b, double b_to_a)
{
    char a[TEXT_SIZE], b[TEXT_SIZE];
    text_length(a_to_b, a);
    text_length(b_to_a, b);
    printf("%-22s%16s%16s\n", title, a, b);
}

static void print_name(const char *letter, const char *path)
{
    char name[512];
    snprintf(name, sizeof name, "%s", path);
    text_tame(name, false);
    printf("%s: %s\n", letter, name);
}

static void print_page(const struct cli_options *options, char *const *word,
                       const struct comparison *comparison)
{
    const struct deviation *a = &comparison->a_to_b, *b = &comparison->b_to_a;
    char text[TEXT_SIZE], more[TEXT_SIZE];
    print_name("A", word[0]);
    print_name("B", word[1]);
    printf("\n%-22s%16s%16s\n", "", "A to B", "B to A");
    print_lengths("mean", a->mean, b->mean);
    print_lengths("RMS", a->rms, b->rms);
    print_lengths("standard deviation", a->sd, b->sd);
    print_lengths("95 % are within", a->p95, b->p95);
    print_lengths("largest", a->max, b->max);
    print_lengths("mean, outside is +", a->signed_mean, b->signed_mean);
    text_count(a->samples, text);
    text_count(b->samples, more);
    printf("%-22s%16s%16s\n\n", "samples", text, more);
    text_length(comparison->hausdorff, text);
    const struct vec *worst = &(a->max >= b->max ? a : b)->worst;
    printf("The largest deviation either way is %s, at %.6g,%.6g,%.6g.\n", text, worst->x, worst->y,
           worst->z);
    if (options->within >= 0) {
        text_length(options->within, more);
        printf("The tolerance of %s is %s.\n", more,
               beyond(options, comparison) ? "missed" : "kept");
    }
    text_wrap(stdout, caution, 0, 0, TEXT_WIDTH);
}

/* --- the command
 * ----------------------------------------------------------------------------
 */

static int print(const struct command_call *call, const struct comparison *comparison,
                 struct job *job)
{
    if (!call->options->json) {
        print_page(call->options, call->word, comparison);
    } else {
        char *text = json_text(call->options, comparison);
        if (!text)
            return cli_complain_job(job, job_fail_memory(job, 1 << 12));
        puts(text);
        free(text);
    }
    return beyond(call->options, comparison) ? BEYOND : 0;
}

static enum status read_part(const struct command_call *call, int i, struct file *out,
                             struct job *job)
{
    struct job_part outer = job_part(job, (size_t)i, 3);
    watch_job(call->watch, job, call->word[i]);
    enum status status = input_read(call, call->word[i], out, job);
    watch_job(call->watch, NULL, NULL);
    if (status == STATUS_OK && !call->options->quiet)
        input_notes(stderr, "fettle: ", job);
    job_part_end(job, outer);
    return status;
}

static int compare_meshes(const struct command_call *call, const struct mesh *a,
                          const struct mesh *b, struct job *job)
{
    struct comparison comparison;
    struct job_part outer = job_part(job, 2, 3);
    watch_job(call->watch, job, NULL);
    enum status status = deviation_compare(a, b, 0, &comparison, job);
    watch_job(call->watch, NULL, NULL);
    job_part_end(job, outer);
    return status == STATUS_OK ? print(call, &comparison, job) : cli_complain_job(job, status);
}

static int compare_command(struct command_call *call)
{
    if (strcmp(call->word[0], "-") == 0 && strcmp(call->word[1], "-") == 0)
        return cli_complain(STATUS_USAGE, "\"-\": standard input can be read only once");
    struct job job;
    struct file a, b = {0};
    options_job(call->options, &job);
    enum status status = read_part(call, 0, &a, &job);
    int result = status_exit(status);
    if (status == STATUS_OK) {
        status = read_part(call, 1, &b, &job);
        result =
            status == STATUS_OK ? compare_meshes(call, a.mesh, b.mesh, &job) : status_exit(status);
        file_release(&b);
        file_release(&a);
    }
    job_release(&job);
    return result;
}

static const enum cli_option options[] = {OPTION_JSON, OPTION_WITHIN, OPTION_UNIT, OPTION_NONE};

const struct command command_compare = {
    .name = "compare",
    .usage = "compare [--json] A B",
    .help = "the deviation between two meshes, both ways",
    .manual = "Samples the surface of each and measures to the nearest point "
              "of the other: mean, RMS and largest of the distances, their standard deviation "
              "about the signed mean, and within how much 95 % of them lie (Cignoni et al. 1998). "
              "The meshes are compared where they lie. With --within the exit status is 1 when the "
              "largest deviation either way is larger. Deviation figures are indicative unless "
              "scanner and artefact have a current calibration.",
    .options = options,
    .least = 2,
    .most = 2,
    .run = compare_command,
};
