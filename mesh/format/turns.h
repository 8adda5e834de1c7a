/* Several threads that each prepare a numbered part, and then take turns in the order of numbers.
 * They wait asleep: OpenMP's `ordered` would burn a core that somebody else needs. */
#ifndef FETTLE_FORMAT_TURNS_H
#define FETTLE_FORMAT_TURNS_H

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>

struct turns {
    pthread_mutex_t lock;
    pthread_cond_t moved;
    size_t next; /* whose turn it is */
    atomic_size_t given;
    size_t count;
};

static inline void turns_init(struct turns *turns, size_t count)
{
    pthread_mutex_init(&turns->lock, NULL);
    pthread_cond_init(&turns->moved, NULL);
    turns->next = 0;
    atomic_init(&turns->given, 0);
    turns->count = count;
}

static inline void turns_release(struct turns *turns)
{
    pthread_cond_destroy(&turns->moved);
    pthread_mutex_destroy(&turns->lock);
}

/* The next number to work on; false when there is none left. Whoever took a number must wait for
 * its turn and end it. */
static inline bool turns_take(struct turns *turns, size_t *number)
{
    *number = atomic_fetch_add(&turns->given, 1);
    return *number < turns->count;
}

static inline void turns_wait(struct turns *turns, size_t number)
{
    pthread_mutex_lock(&turns->lock);
    while (turns->next != number)
        pthread_cond_wait(&turns->moved, &turns->lock);
    pthread_mutex_unlock(&turns->lock);
}

static inline void turns_end(struct turns *turns)
{
    pthread_mutex_lock(&turns->lock);
    turns->next++;
    pthread_cond_broadcast(&turns->moved);
    pthread_mutex_unlock(&turns->lock);
}

#endif
