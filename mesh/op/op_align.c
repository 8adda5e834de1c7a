#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "op/placing.h"
#include "scan/align.h"

struct chosen { /* the pieces that are not hidden, those that are locked first */
    const struct mesh **mesh;
    const char **name;
    size_t *piece; /* their places in the scene */
    size_t count, locked;
};

static void add(struct chosen *out, const struct scene *in, bool locked)
{
    for (size_t i = 0; i < in->count; i++)
        if (!in->piece[i]->hidden && in->piece[i]->locked == locked) {
            out->name[out->count] = in->piece[i]->name;
            out->mesh[out->count] = in->piece[i]->mesh;
            out->piece[out->count++] = i;
        }
}

static enum status choose(const struct op_call *call, struct chosen *out)
{
    const struct scene *in = call->in;
    *out = (struct chosen){malloc((in->count + 1) * sizeof *out->mesh),
                           malloc((in->count + 1) * sizeof *out->name),
                           malloc((in->count + 1) * sizeof *out->piece), 0, 0};
    if (!out->mesh || !out->name || !out->piece)
        return job_fail_memory(call->job, in->count * 2 * sizeof *out->piece);
    add(out, in, true);
    out->locked = out->count;
    add(out, in, false);
    if (out->count > 1 && out->locked == out->count)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"align\": all pieces are locked; unlock those that are to move");
    if (out->count < 2)
        return job_fail(call->job, STATUS_REFUSED,
                        "\"align\": there %s to bring together; open two or more, or \"show\" them",
                        out->count ? "is only one piece" : "are no pieces");
    return STATUS_OK;
}

static enum status refuse(const struct op_call *call, const struct chosen *chosen,
                          const struct alignment *result)
{
    char why[600] = "";
    for (size_t i = 0; i < result->pieces && strlen(why) < sizeof why - 1; i++)
        snprintf(why + strlen(why), sizeof why - strlen(why), "%s%s: %s", i ? "; " : "",
                 chosen->name[i], result->piece[i].why);
    return job_fail(call->job, STATUS_REFUSED,
                    "\"align\": no two pieces could be placed with confidence (%s); place them by "
                    "\"pairs\", then \"fit\"",
                    why);
}

static void tell_pairs(const struct op_call *call, const struct chosen *chosen,
                       const struct alignment *result)
{
    for (size_t k = 0; k < result->pairs; k++) {
        const struct align_pair *pair = &result->pair[k];
        char agrees[32] = "";
        if (pair->agreement < 0.995)
            snprintf(agrees, sizeof agrees, ", %.0f%% agrees", 100 * pair->agreement);
        if (result->piece[pair->a].placed && result->piece[pair->b].placed && pair->facing > 0.005)
            job_note(call->job, "%s on %s: %s; overlap %.0f%%, RMS %.3g mm%s",
                     chosen->name[pair->b], chosen->name[pair->a], pair_words(pair->verdict),
                     100 * pair->overlap, pair->rms, agrees);
    }
}

static void tell(const struct op_call *call, const struct chosen *chosen,
                 const struct alignment *result)
{
    size_t lying = 0;
    for (size_t i = 0; i < chosen->locked; i++)
        lying += result->piece[i].placed && i != result->anchor;
    job_note(call->job, "%zu of %zu pieces placed; %s stays where it is%s", result->placed,
             result->pieces, chosen->name[result->anchor],
             lying ? ", and so do the other locked pieces" : "");
    tell_pairs(call, chosen, result);
    for (size_t i = 0; i < result->pieces; i++)
        if (!result->piece[i].placed)
            job_note(call->job, "left out: %s: %s", chosen->name[i], result->piece[i].why);
    if (result->placed < result->pieces)
        job_note(call->job, "put what was left out by \"pairs\", then \"fit\"");
}

static enum status move_placed(struct op_call *call, const struct chosen *chosen,
                               const struct alignment *result)
{
    enum status status = STATUS_OK;
    for (size_t i = 0; i < result->pieces && status == STATUS_OK; i++)
        if (result->piece[i].placed && i != result->anchor && i >= chosen->locked)
            status = placing_move_rigid(call, chosen->piece[i], &result->piece[i].motion);
    return status;
}

/* Whether some piece was placed on another: locked ones lie on each other anyhow. */
static bool any_found(const struct chosen *chosen, const struct alignment *result)
{
    return result->placed >= 2 && result->placed > chosen->locked;
}

static enum status align_run(struct op_call *call)
{
    struct chosen chosen;
    struct alignment result = {0};
    enum status status = choose(call, &chosen);
    if (status == STATUS_OK)
        status =
            align_find(chosen.mesh, chosen.name, chosen.count, chosen.locked, &result, call->job);
    if (status == STATUS_OK && !any_found(&chosen, &result))
        status = refuse(call, &chosen, &result);
    if (status == STATUS_OK)
        status = move_placed(call, &chosen, &result);
    if (status == STATUS_OK)
        tell(call, &chosen, &result);
    align_release(&result);
    free(chosen.mesh);
    free(chosen.name);
    free(chosen.piece);
    return status;
}

static const struct param params[] = {{0}};

const struct op op_align = {
    .name = "align",
    .key = "A",
    .title = "aligning all pieces",
    .undo = "align all pieces",
    .help = "bring all pieces together from unknown poses, unattended",
    .example = "align",
    .manual =
        "Finds where all pieces that are not hidden belong on each other, from any poses; the "
        "first one stays, or those that are locked, as they lie. Places whose surroundings "
        "look alike propose motions; one is taken only when best fit then shows the surfaces "
        "to agree wherever they face each other, when no camera that took one scan would have "
        "looked through the other, when the shape holds the piece, and when against every "
        "other pose there speaks more; what looks the same turned is not guessed at. What fits no "
        "single piece is tried on all that were "
        "placed, as one. In the end all are fitted together, so that errors do not pile up "
        "along the chain, and judged again. The note lists the pairs with overlap and RMS "
        "distance. A piece that cannot be placed with confidence is left where it was and "
        "named: too little overlap, too plain a shape (a plate, a ball, a rod), several poses "
        "that fit alike. Then \"pairs\" and \"fit\" help.",
    .params = params,
    .run = align_run,
    .changes = true,
};
