#include "scan/fuse_paint.h"

#include "core/array.h"
#include "core/job.h"
#include "core/spread.h"

enum status paint_net(struct net *net, struct job *job)
{
    size_t n = net->vertices;
    if (!net->colour)
        return STATUS_OK;
    uint8_t *known = scratch_new(n, 1);
    if (!known)
        return job_fail_memory(job, n);
    for (size_t v = 0; v < n; v++) {
        known[v] = net->trust[v] == TRUST_COLOURED;
        for (int c = 0; c < 4 && !known[v]; c++)
            net->colour[v][c] = 255;
    }
    const struct spread_graph graph = {.count = n, .each = LINKS, .beside = net->link[0]};
    enum status status = spread_colours(&graph, known, net->colour, job);
    scratch_free(known);
    return status;
}
