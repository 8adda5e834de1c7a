/* What the torture tries: one way each to carry something out on a scene. */
#ifndef FETTLE_TESTS_TORTURE_WAYS_H
#define FETTLE_TESTS_TORTURE_WAYS_H

#include "core/derive.h"
#include "format/format.h"
#include "op/scene.h"

struct trial {
    char name[64];
    /* Does it with the job on a mesh or scene that nothing was derived from yet; *digest: of what
     * came out. */
    enum status (*run)(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest);
    void (*prepare)(void); /* before each; memory does not fail in it. NULL: nothing */
    const char *line;      /* of an operation, or a file's name */
    const struct format *format;
    bool ascii;
    enum derived derived;
    int pieces; /* in the scene; 0: one */
    bool solid; /* made of the solid */
    bool hung;  /* made of the solid with a keyhole in it */
};

/* The mesh of the scene's first piece, or the line or file that the trial names. */
enum status run_line(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest);
enum status run_sketch(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest);
enum status run_read(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest);
enum status run_write(const struct trial *trial, struct scene *scene, struct job *job,
                      uint64_t *digest);
enum status run_derive(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest);
enum status run_check(const struct trial *trial, struct scene *scene, struct job *job,
                      uint64_t *digest);
enum status run_compare(const struct trial *trial, struct scene *scene, struct job *job,
                        uint64_t *digest);
enum status run_draw(const struct trial *trial, struct scene *scene, struct job *job,
                     uint64_t *digest);
enum status run_png(const struct trial *trial, struct scene *scene, struct job *job,
                    uint64_t *digest);
enum status run_recipe(const struct trial *trial, struct scene *scene, struct job *job,
                       uint64_t *digest);
enum status run_session(const struct trial *trial, struct scene *scene, struct job *job,
                        uint64_t *digest);
enum status run_recovery(const struct trial *trial, struct scene *scene, struct job *job,
                         uint64_t *digest);

/* Before run_recovery: a journal that was left. */
void leave_journal(void);

#endif
