#include "core/same.h"

#include <omp.h>
#include <string.h>

#include "core/job.h"

/* Each thread owns the positions whose hash falls into its part, and a table for them: it looks at
 * all positions in order and enters its own, so the first of equals is always the one kept,
 * whatever the number of threads. */

enum {
    BATCH = 32,
    STEP = 1 << 16, /* positions between two looks at cancel, where little is done for each */
    FEW = 8192,     /* fewer are left to one thread */
    THREADS_MOST = 256
};
#define FIRST 0x80000000u /* marks a position that is the first of its kind, while numbering */

__extension__ typedef unsigned __int128 wide;

struct slot {
    uint32_t tag;   /* of the position's hash; also says where in the table it is wanted */
    uint32_t first; /* index of the position; NO_INDEX: free */
};

struct table {
    struct slot *slot;
    size_t capacity, used;
};

struct found { /* a position of this thread's part, waiting for its slot to arrive in the cache */
    uint32_t index, tag;
};

static inline const unsigned char *position_at(const struct positions *p, size_t i)
{
    return p->stride ? p->base + i / 3 * p->stride + i % 3 * 12 : p->base + i * 12;
}

static inline bool same_position(const struct positions *p, uint32_t i, uint32_t j)
{
    float a[3], b[3];
    memcpy(a, position_at(p, i), sizeof a);
    memcpy(b, position_at(p, j), sizeof b);
    return a[0] == b[0] && a[1] == b[1] && a[2] == b[2];
}

/* 64 x 64 -> 128 bit product folded; every input bit reaches both halves of the result. */
static inline uint64_t hash(const float at[3])
{
    float zero[3] = {at[0] + 0.0f, at[1] + 0.0f, at[2] + 0.0f}; /* -0 becomes 0 */
    uint64_t xy, z = 0;
    memcpy(&xy, zero, sizeof xy);
    memcpy(&z, zero + 2, sizeof zero[2]);
    wide product = (wide)(xy ^ 0x9E3779B97F4A7C15u) * ((z << 32 | z) ^ 0xD1B54A32D192ED03u);
    uint64_t fold = (uint64_t)product ^ (uint64_t)(product >> 64);
    return fold * 0xBF58476D1CE4E5B9u ^ fold >> 32;
}

/* False when out of memory; half done, and of no use, when the job is cancelled meanwhile. */
static bool table_grow(struct table *table, size_t capacity, const struct job *job)
{
    struct slot *slot = scratch_new(capacity, sizeof *slot);
    if (!slot)
        return false;
    for (size_t i = 0; i < capacity && !job_cancelled(job); i += STEP)
        memset(slot + i, 255, (capacity - i < STEP ? capacity - i : STEP) * sizeof *slot);
    for (size_t i = 0; i < table->capacity && !job_cancelled(job); i++) {
        if (table->slot[i].first == NO_INDEX)
            continue;
        size_t s = (size_t)((uint64_t)table->slot[i].tag * capacity >> 32);
        while (slot[s].first != NO_INDEX)
            s = s + 1 < capacity ? s + 1 : 0;
        slot[s] = table->slot[i];
    }
    scratch_free(table->slot);
    table->slot = slot;
    table->capacity = capacity;
    return true;
}

static inline struct slot *wanted(const struct table *table, uint32_t tag)
{
    return table->slot + (size_t)((uint64_t)tag * table->capacity >> 32);
}

static inline struct slot *after(const struct table *table, struct slot *slot)
{
    return slot + 1 < table->slot + table->capacity ? slot + 1 : table->slot;
}

/* From `slot` on, the first with the tag of this position, or the free one where it is entered. */
static inline struct slot *probe(struct table *table, struct slot *slot, struct found found)
{
    while (slot->first != NO_INDEX && slot->tag != found.tag)
        slot = after(table, slot);
    if (slot->first == NO_INDEX) {
        *slot = (struct slot){found.tag, found.index};
        table->used++;
    }
    return slot;
}

/* Sets id[] for the positions of a batch. The slots, then the positions they name, are fetched for
 * the whole batch before they are looked at. */
static inline void enter_batch(struct table *table, const struct positions *positions,
                               const struct found *found, size_t count, uint32_t *id)
{
    struct slot *slot[BATCH];
    for (size_t i = 0; i < count; i++)
        __builtin_prefetch(wanted(table, found[i].tag), 1);
    for (size_t i = 0; i < count; i++) {
        slot[i] = probe(table, wanted(table, found[i].tag), found[i]);
        __builtin_prefetch(position_at(positions, slot[i]->first));
    }
    for (size_t i = 0; i < count; i++) {
        uint32_t index = found[i].index;
        while (slot[i]->first != index && !same_position(positions, slot[i]->first, index))
            slot[i] = probe(table, after(table, slot[i]), found[i]); /* another of the same tag */
        id[index] = slot[i]->first;
    }
}

/* Hashes the positions of a batch; keeps those of this part. Returns how many. */
static inline size_t sift(const struct positions *p, size_t from, size_t end, uint32_t part,
                          uint32_t parts, struct found *found, uint32_t *bad)
{
    size_t count = 0;
    for (size_t i = from; i < end; i++) {
        float at[3];
        memcpy(at, position_at(p, i), sizeof at);
        float none = at[0] - at[0] + (at[1] - at[1]) + (at[2] - at[2]); /* NaN unless finite */
        *bad |= none != 0;
        uint64_t h = hash(at);
        found[count] = (struct found){(uint32_t)i, (uint32_t)h};
        count += (h >> 32) * parts >> 32 == part;
    }
    return count;
}

/* Sets id[i] to the first equal of position i for those of one part. False when out of memory. */
static bool enter_part(const struct positions *p, uint32_t *id, uint32_t part, uint32_t parts,
                       size_t likely, uint32_t *bad, const struct job *job)
{
    struct table table = {0};
    if (!table_grow(&table, likely / parts * 3 / 2 + 4 * BATCH, job))
        return false;
    bool ok = true;
    for (size_t from = 0; from < p->count && ok && !*bad && !job_cancelled(job); from += BATCH) {
        struct found found[BATCH];
        size_t end = from + BATCH < p->count ? from + BATCH : p->count;
        size_t count = sift(p, from, end, part, parts, found, bad);
        enter_batch(&table, p, found, count, id);
        if (table.used * 4 > table.capacity * 3)
            ok = table_grow(&table, 2 * table.capacity, job);
    }
    scratch_free(table.slot);
    return ok;
}

/* How many threads to use for so many. */
static int team(size_t count, const struct job *job)
{
    int threads = job_threads(job) < THREADS_MOST ? job_threads(job) : THREADS_MOST;
    /* Waking the others for a few would take longer. */
    return count < FEW && !(job && job->threads) ? 1 : threads;
}

/* Walks over a share of the positions in steps, between which a cancelled job is noticed. */
struct share {
    uint32_t *id;
    size_t from, end;
    const struct job *job;
};

static bool next_step(struct share *share, size_t *from, size_t *end)
{
    *from = share->from;
    *end = share->from + STEP < share->end ? share->from + STEP : share->end;
    share->from = *end;
    return *from < *end && !job_cancelled(share->job);
}

static uint32_t count_firsts(struct share share)
{
    uint32_t count = 0;
    for (size_t from, end; next_step(&share, &from, &end);)
        for (size_t i = from; i < end; i++)
            count += share.id[i] == i;
    return count;
}

static void number_firsts(struct share share, uint32_t number)
{
    for (size_t from, end; next_step(&share, &from, &end);)
        for (size_t i = from; i < end; i++)
            if (share.id[i] == i)
                share.id[i] = FIRST | number++;
}

/* Others may read a first's number while it loses its mark: both ways it is the same number. */
static void number_rest(struct share share)
{
    for (size_t from, end; next_step(&share, &from, &end);)
        for (size_t i = from; i < end; i++) {
            uint32_t number = share.id[i];
            if (!(number & FIRST))
                number = __atomic_load_n(&share.id[number], __ATOMIC_RELAXED);
            __atomic_store_n(&share.id[i], number & ~FIRST, __ATOMIC_RELAXED);
        }
}

size_t same_count(uint32_t *id, size_t count, const struct job *job)
{
    uint32_t firsts[THREADS_MOST];
    size_t sum = 0;
#pragma omp parallel num_threads(team(count, job))
    {
        size_t i = (size_t)omp_get_thread_num(), n = (size_t)omp_get_num_threads();
        struct share share = {id, count * i / n, count * (i + 1) / n, job};
        firsts[i] = count_firsts(share);
#pragma omp barrier
        uint32_t base = 0;
        for (size_t j = 0; j < i; j++)
            base += firsts[j];
        number_firsts(share, base);
#pragma omp barrier
        number_rest(share);
        if (i == n - 1)
            sum = base + firsts[i];
    }
    return sum;
}

enum status same_number(const struct positions *positions, size_t likely, uint32_t *id,
                        size_t *distinct, bool *finite, struct job *job)
{
    uint32_t bad = 0, lacking = 0;
#pragma omp parallel num_threads(team(positions->count, job)) reduction(| : bad, lacking)
    {
        uint32_t part = (uint32_t)omp_get_thread_num(), parts = (uint32_t)omp_get_num_threads();
        lacking = !enter_part(positions, id, part, parts, likely, &bad, job);
    }
    *finite = !bad;
    if (lacking)
        return job_fail_memory(job, likely * 3 / 2 * sizeof(struct slot));
    *distinct = bad || job_cancelled(job) ? 0 : same_count(id, positions->count, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
