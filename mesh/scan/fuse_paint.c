#include "scan/fuse_paint.h"

#include "core/job.h"

struct painting {
    struct net *net;
    uint32_t *list; /* vertices that had no colour, the nearer to one that has the earlier */
    uint8_t *done;
    float (*mixed)[4];
    size_t count;
    struct job *job;
};

/* The mean of the colours beside a vertex; false when none there is done. */
static bool mix_beside(const struct painting *p, uint32_t v, float out[4])
{
    float sum[4] = {0};
    int count = 0;
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = p->net->link[v][k];
        if (w == NO_INDEX || !p->done[w])
            continue;
        for (int c = 0; c < 4; c++)
            sum[c] += p->mixed[w][c];
        count++;
    }
    for (int c = 0; c < 4 && count; c++)
        out[c] = sum[c] / (float)count;
    return count > 0;
}

static void list_beside(struct painting *p, uint32_t v)
{
    for (int k = 0; k < LINKS; k++) {
        uint32_t w = p->net->link[v][k];
        if (w != NO_INDEX && p->done[w] == 0) {
            p->done[w] = 2; /* listed */
            p->list[p->count++] = w;
        }
    }
}

/* Ring by ring: a ring's colours come from the rings before. */
static void paint_rings(struct painting *p)
{
    struct net *net = p->net;
    for (uint32_t v = 0; v < net->vertices; v++)
        if (net->trust[v] == TRUST_COLOURED)
            list_beside(p, v);
    for (size_t from = 0, end = p->count; from < end && !job_cancelled(p->job);) {
        for (size_t i = from; i < end; i++)
            p->done[p->list[i]] = 0;
        for (size_t i = from; i < end; i++)
            mix_beside(p, p->list[i], p->mixed[p->list[i]]);
        for (size_t i = from; i < end; i++)
            p->done[p->list[i]] = 1;
        for (size_t i = from; i < end; i++)
            list_beside(p, p->list[i]);
        from = end;
        end = p->count;
    }
}

enum { SOFTENINGS = 30 };

static void soften(struct painting *p)
{
    for (int pass = 0; pass < SOFTENINGS && !job_cancelled(p->job); pass++)
        for (size_t i = 0; i < p->count; i++)
            mix_beside(p, p->list[i], p->mixed[p->list[i]]);
}

enum status paint_net(struct net *net, struct job *job)
{
    size_t n = net->vertices;
    if (!net->colour)
        return STATUS_OK;
    struct painting p = {.net = net, .job = job};
    p.list = scratch_new(n, sizeof *p.list);
    p.done = scratch_new(n, sizeof *p.done);
    p.mixed = scratch_new(n, sizeof *p.mixed);
    bool ok = p.list && p.done && p.mixed;
    for (size_t v = 0; v < n && ok; v++) {
        p.done[v] = net->trust[v] == TRUST_COLOURED;
        for (int c = 0; c < 4; c++)
            p.mixed[v][c] = p.done[v] ? (float)net->colour[v][c] : 255;
    }
    if (ok) {
        paint_rings(&p);
        soften(&p);
        for (size_t v = 0; v < n; v++)
            for (int c = 0; c < 4; c++)
                net->colour[v][c] = (uint8_t)(p.mixed[v][c] + 0.5f);
    }
    scratch_free(p.list);
    scratch_free(p.done);
    scratch_free(p.mixed);
    if (!ok)
        return job_fail_memory(job, n * 21);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
