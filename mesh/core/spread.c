#include "core/spread.h"

#include "core/array.h"
#include "core/job.h"
#include "core/mesh.h"

enum { ASK = 4096, SOFTENINGS = 30 };

enum { UNKNOWN, KNOWN, LISTED };

struct spreading {
    const struct spread_graph *graph;
    uint8_t *state;
    float (*mixed)[4];
    uint32_t *list; /* those without a colour, the nearer to one that has the earlier */
    size_t count;
    struct job *job;
};

static bool is_time(const struct spreading *s, size_t i)
{
    return i % ASK == 0 && job_cancelled(s->job);
}

static size_t first_of(const struct spread_graph *graph, size_t v)
{
    return graph->first ? graph->first[v] : v * graph->each;
}

/* The mean of the colours beside it, as it is where none there is known. */
static void mix_beside(const struct spreading *s, uint32_t v)
{
    float sum[4] = {0};
    int count = 0;
    size_t end = first_of(s->graph, (size_t)v + 1);
    for (size_t i = first_of(s->graph, v); i < end; i++) {
        uint32_t w = s->graph->beside[i];
        if (w == NO_INDEX || s->state[w] != KNOWN)
            continue;
        for (int c = 0; c < 4; c++)
            sum[c] += s->mixed[w][c];
        count++;
    }
    for (int c = 0; c < 4 && count; c++)
        s->mixed[v][c] = sum[c] / (float)count;
}

static bool has_known_beside(const struct spreading *s, size_t v)
{
    for (size_t i = first_of(s->graph, v); i < first_of(s->graph, v + 1); i++) {
        uint32_t w = s->graph->beside[i];
        if (w != NO_INDEX && s->state[w] == KNOWN)
            return true;
    }
    return false;
}

static void list(struct spreading *s, uint32_t v)
{
    s->state[v] = LISTED;
    s->list[s->count++] = v;
}

static void list_beside(struct spreading *s, uint32_t v)
{
    for (size_t i = first_of(s->graph, v); i < first_of(s->graph, (size_t)v + 1); i++) {
        uint32_t w = s->graph->beside[i];
        if (w != NO_INDEX && s->state[w] == UNKNOWN)
            list(s, w);
    }
}

static void list_first(struct spreading *s)
{
    for (size_t v = 0; v < s->graph->count && !is_time(s, v); v++)
        if (s->state[v] == UNKNOWN && has_known_beside(s, v))
            list(s, (uint32_t)v);
}

/* Ring by ring: a ring's colours come from the rings before. */
static void spread_rings(struct spreading *s)
{
    list_first(s);
    for (size_t from = 0, end = s->count; from < end && !job_cancelled(s->job);) {
        for (size_t i = from; i < end && !is_time(s, i); i++)
            mix_beside(s, s->list[i]);
        for (size_t i = from; i < end; i++)
            s->state[s->list[i]] = KNOWN;
        for (size_t i = from; i < end && !is_time(s, i); i++)
            list_beside(s, s->list[i]);
        from = end;
        end = s->count;
    }
}

static void soften(struct spreading *s)
{
    for (int pass = 0; pass < SOFTENINGS; pass++)
        for (size_t i = 0; i < s->count && !is_time(s, i); i++)
            mix_beside(s, s->list[i]);
}

enum status spread_colours(const struct spread_graph *graph, uint8_t *known, uint8_t (*colour)[4],
                           struct job *job)
{
    size_t n = graph->count;
    struct spreading s = {.graph = graph, .state = known, .job = job};
    s.list = scratch_new(n, sizeof *s.list);
    s.mixed = scratch_new(n, sizeof *s.mixed);
    enum status status = s.list && s.mixed ? STATUS_OK : job_fail_memory(job, n * 20);
    for (size_t v = 0; v < n && status == STATUS_OK; v++)
        for (int c = 0; c < 4; c++)
            s.mixed[v][c] = (float)colour[v][c];
    if (status == STATUS_OK) {
        spread_rings(&s);
        soften(&s);
        if (job_cancelled(job))
            status = job_fail_cancelled(job);
    }
    for (size_t i = 0; i < s.count && status == STATUS_OK; i++)
        for (int c = 0; c < 4; c++)
            colour[s.list[i]][c] = (uint8_t)(s.mixed[s.list[i]][c] + 0.5f);
    scratch_free(s.list);
    scratch_free(s.mixed);
    return status;
}
