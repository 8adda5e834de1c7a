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

/* A position as whole numbers, -0 made 0, so that equal ones have equal bits. (Floats stored one by
 * one and read back as a word would make the processor wait.) */
struct key {
    uint64_t xy;
    uint32_t z;
};

/* A slot holds the position itself: looking for it in the file again would cost a second miss. */
struct slot {
    uint64_t xy;
    uint32_t z;
    uint32_t first; /* index of the position; NO_INDEX: free */
};

struct found { /* a position of this thread's part, waiting for its slot to arrive in the cache */
    struct slot self;
    uint32_t tag; /* of its hash: says where in the table it is wanted */
};

struct table {
    struct slot *slot;
    size_t capacity, used;
};

static inline const unsigned char *position_at(const struct positions *p, size_t i)
{
    return p->stride ? p->base + i / 3 * p->stride + i % 3 * 12 : p->base + i * 12;
}

/* *wrong gets a bit set when the position is not finite (an exponent of ones). */
static inline struct key key_at(const unsigned char *at, uint64_t *wrong)
{
    struct key key;
    memcpy(&key.xy, at, sizeof key.xy);
    memcpy(&key.z, at + sizeof key.xy, sizeof key.z);
    const uint64_t value = 0x7fffffff7fffffff, step = 0x0080000000800000;
    *wrong |= (((key.xy & value) + step) | ((key.z & value) + step)) & ~value;
    key.xy = key.xy & (value >> 32) ? key.xy : key.xy >> 32 << 32;
    key.xy = key.xy & (value << 32) ? key.xy : key.xy & UINT32_MAX;
    key.z = key.z & (uint32_t)value ? key.z : 0;
    return key;
}

/* 64 x 64 -> 128 bit product folded; every input bit reaches both halves of the result. */
static inline uint64_t hash(uint64_t xy, uint64_t z)
{
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
        size_t s =
            (size_t)((uint64_t)(uint32_t)hash(table->slot[i].xy, table->slot[i].z) * capacity >>
                     32);
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

/* The first position equal to this one, which is entered when it is the first itself. */
static inline uint32_t enter(struct table *table, const struct found *found)
{
    struct slot *slot = wanted(table, found->tag), *end = table->slot + table->capacity;
    while (slot->first != NO_INDEX) {
        if (slot->xy == found->self.xy && slot->z == found->self.z)
            return slot->first;
        slot = slot + 1 < end ? slot + 1 : table->slot;
    }
    *slot = found->self;
    table->used++;
    return slot->first;
}

/* Hashes the positions of a batch; keeps those of this part. Returns how many. */
static inline size_t sift(const struct positions *p, size_t from, size_t end, uint32_t part,
                          uint32_t parts, struct found *found, uint64_t *wrong)
{
    size_t count = 0;
    for (size_t i = from; i < end; i++) {
        struct key key = key_at(position_at(p, i), wrong);
        uint64_t h = hash(key.xy, key.z);
        found[count] = (struct found){{key.xy, key.z, (uint32_t)i}, (uint32_t)h};
        count += (h >> 32) * parts >> 32 == part;
    }
    return count;
}

/* Sets id[i] to the first equal of position i for those of one part. False when out of memory. */
static bool enter_part(const struct positions *p, uint32_t *id, uint32_t part, uint32_t parts,
                       size_t likely, uint64_t *wrong, struct job *job)
{
    struct table table = {0};
    if (!table_grow(&table, likely / parts * 2 + 4 * BATCH, job))
        return false;
    bool ok = true;
    for (size_t from = 0; from < p->count && ok && !*wrong && !job_cancelled(job); from += BATCH) {
        struct found found[BATCH];
        size_t end = from + BATCH < p->count ? from + BATCH : p->count;
        size_t count = sift(p, from, end, part, parts, found, wrong);
        for (size_t i = 0; i < count; i++)
            __builtin_prefetch(wanted(&table, found[i].tag), 1);
        for (size_t i = 0; i < count; i++)
            id[found[i].self.first] = enter(&table, &found[i]);
        if (table.used * 4 > table.capacity * 3)
            ok = table_grow(&table, 2 * table.capacity, job);
        if (end % STEP == 0 || end == p->count) /* each part walks over all of them */
            job_step(job, (end - (end - 1) / STEP * STEP) / parts);
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
    uint64_t wrong = 0;
    uint32_t lacking = 0;
#pragma omp parallel num_threads(team(positions->count, job)) reduction(| : wrong, lacking)
    {
        uint32_t part = (uint32_t)omp_get_thread_num(), parts = (uint32_t)omp_get_num_threads();
        lacking = !enter_part(positions, id, part, parts, likely, &wrong, job);
    }
    *finite = !wrong;
    if (lacking)
        return job_fail_memory(job, likely * 2 * sizeof(struct slot));
    *distinct = wrong || job_cancelled(job) ? 0 : same_count(id, positions->count, job);
    return job_cancelled(job) ? job_fail_cancelled(job) : STATUS_OK;
}
