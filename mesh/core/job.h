/* The nullable context of everything that may take long or fail: progress, cancel, message, notes.
 *
 * Every function that takes a `struct job *` accepts NULL, which means "just run": no progress,
 * no cancel, and the message of a failure is lost (its status is still returned).
 *
 * One thread runs the job; others may at any time read the progress and set `cancel`.
 * Inside the job, several OpenMP threads may call job_step and job_cancelled; everything else is
 * for the thread that runs the job. */
#ifndef FETTLE_CORE_JOB_H
#define FETTLE_CORE_JOB_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/status.h"

struct job {
    atomic_bool cancel;           /* set by anyone: the job ends soon with STATUS_CANCELLED */
    _Atomic uint64_t done, total; /* of the present phase; total 0: unknown */
    _Atomic(const char *) phase;  /* what is being done ("pairing edges"); a literal, or NULL */
    atomic_uint before, share;    /* permille of the whole: earlier phases, the present one */
    atomic_uint base, span;       /* millionths of everything: where this part begins, its width;
                                     span 0: the part is everything */
    _Atomic(const unsigned char *) mapped; /* pages of a file that is being read, or NULL */
    atomic_size_t mapped_size;
    atomic_bool mapped_lost; /* some of them were gone: what was read is not the file */
    int threads;        /* how many threads loops may use; 0: as many as there are cores */
    uint64_t memory;    /* bytes the job should stay under; 0: no limit was set */
    enum status status; /* the first failure */
    char message[768];  /* its cause, place and mend; "" when none */
    char *notes;        /* lines for the user, each ending in '\n'; NULL when none */
    size_t notes_length;
};

void job_init(struct job *job);
void job_release(struct job *job);

/* Begins a phase of `total` steps that is thought to take `share` permille of the whole job;
 * the earlier phase counts as finished. `title` must outlive the job (a literal). */
void job_phase(struct job *job, const char *title, unsigned share, uint64_t total);

/* Says anew how many steps the present phase has, before the first of them. */
void job_total(struct job *job, uint64_t total);

/* Counts `steps` more as done. False when the job has been cancelled: clean up and return
 * job_fail_cancelled(). Cheap, but not free: call it every few thousand steps of a tight loop. */
bool job_step(struct job *job, uint64_t steps);

/* Whether the job has been cancelled. */
bool job_cancelled(const struct job *job);

/* Work made of several works one after the other (the steps of a recipe, the pieces of a scene):
 * job_part(job, i, count) begins the i-th of `count` equal parts, inside which phases count from
 * zero again; hand what it returned to job_part_end, whatever the part's outcome. Parts nest.
 *
 * job_stage does so for a part of a work that has phases of its own too: like job_phase it ends the
 * earlier phase and takes `share` permille, but what is done in it has phases itself. */
struct job_part {
    unsigned before, share, base, span;
    uint64_t done, total;
};
struct job_part job_part(struct job *job, size_t i, size_t count);
struct job_part job_stage(struct job *job, unsigned share);
void job_part_end(struct job *job, struct job_part outer);

/* For whoever reads a mapped file: its pages (NULL, 0: no more). When another program cuts the file
 * off meanwhile, touching them raises SIGBUS; the program that runs the job may then ask in its
 * handler, from any thread, whether the address lies in them: *end is the end of the pages, which it
 * may fill, and the reading ends as an error (job->mapped_lost). */
void job_maps(struct job *job, const void *data, size_t size);
bool job_lost_page(struct job *job, const void *at, const void **end);

/* How far everything is, 0 to 1. Any thread may ask. */
double job_progress(const struct job *job);

/* How many threads to use, at least 1. */
int job_threads(const struct job *job);

/* Records a failure (the first one stays) with its message and returns `status`.
 * Message: lower case, cause first, the subject in quotes, then the mend. */
enum status job_fail(struct job *job, enum status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
enum status job_fail_memory(struct job *job, size_t bytes); /* returns STATUS_MEMORY */
enum status job_fail_cancelled(struct job *job);            /* returns STATUS_CANCELLED */

/* Why something that returned NULL did: the job's status, or STATUS_MEMORY without a job. */
enum status job_status(const struct job *job);

/* Forgets a failure (so that a caller who can do without goes on). */
void job_forgive(struct job *job);

/* Adds a line to the notes: what an operation did, what a reader noticed. No '\n' at the end. */
void job_note(struct job *job, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
