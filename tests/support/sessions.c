#include "tests/support/sessions.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/job.h"
#include "scene/recipe.h"
#include "scene/recovery.h"
#include "tests/support/example.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"

char *sessions_folder, *sessions_journals;

static bool top_left(const struct mesh *mesh, size_t t)
{
    (void)mesh;
    return t == 5 || t == 200;
}

/* With lumps of its own everywhere, so that it can be told how it lies. */
static struct mesh *lumpy(void)
{
    struct mesh *mesh = shape_sphere(30, 4);
    struct point *p = mesh_point_edit(mesh);
    for (size_t i = 0; i < mesh_vertices(mesh); i++) {
        struct vec v = point_vec(p[i]);
        double lump = sin(0.11 * v.x + 0.5) * cos(0.17 * v.y) + 0.7 * sin(0.13 * v.z + 0.06 * v.x);
        p[i] = vec_point(vec_scale(v, 1 + 0.2 * lump));
    }
    return mesh;
}

static struct mesh *coloured(void)
{
    struct mesh *mesh = shape_sphere(30, 3);
    uint8_t *colour = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    for (size_t i = 0; i < 4 * mesh_vertices(mesh); i++)
        colour[i] = i % 4 < 3 ? (uint8_t)(i * 5) : 255;
    return mesh;
}

void sessions_set_up(void)
{
    sessions_folder = folder_new();
    sessions_journals = folder_path(sessions_folder, "state/fettle");
    struct mesh *whole = shape_sphere(30, 3);
    folder_mesh(sessions_folder, "holed.stl", shape_without(whole, top_left));
    mesh_free(whole);
    whole = lumpy();
    folder_mesh(sessions_folder, "lumpy.stl", shape_without(whole, top_left));
    mesh_free(whole);
    folder_mesh(sessions_folder, "box.stl", shape_box(20, 30, 40, 4));
    folder_mesh(sessions_folder, "big.stl", shape_sphere(50, 6));
    folder_mesh(sessions_folder, "solid.stl", shape_sphere(30, 3));
    folder_mesh(sessions_folder, "coloured.ply", coloured());
    if (chdir(sessions_folder) != 0)
        abort();
}

void sessions_tear_down(void)
{
    if (chdir("/") != 0)
        abort();
    free(sessions_journals);
    folder_remove(sessions_folder);
}

struct session *sessions_begin(void)
{
    const struct session_options options = {.journal_folder = sessions_journals,
                                            .spill_folder = sessions_folder};
    struct session *session = session_new(&options, NULL);
    ck_assert_ptr_nonnull(session);
    return session;
}

int sessions_threads;

void sessions_do(struct session *session, const char *line)
{
    struct job job;
    job_init(&job);
    job.threads = sessions_threads;
    enum status status = session_do(session, line, &job);
    ck_assert_msg(status == STATUS_OK, "%s: %s", line, job.message);
    job_release(&job);
}

size_t sessions_unfinished(void)
{
    struct recovery *list;
    size_t count;
    ck_assert_int_eq(recovery_list(sessions_journals, &list, &count, NULL), STATUS_OK);
    recovery_list_free(list, count);
    return count;
}

struct session *sessions_resume(size_t most, struct job *job)
{
    const struct session_options options = {.journal_folder = sessions_journals,
                                            .spill_folder = sessions_folder};
    struct recovery *list;
    struct session *session = NULL;
    size_t count, carried;
    ck_assert_int_eq(recovery_list(sessions_journals, &list, &count, NULL), STATUS_OK);
    ck_assert_uint_eq(count, 1);
    enum status status = recovery_resume(&list[0], most, &options, &session, &carried, job);
    ck_assert_msg(status == STATUS_OK, "%s", job ? job->message : "");
    ck_assert_uint_eq(session_steps(session, NULL), carried);
    recovery_list_free(list, count);
    return session;
}

char *sessions_journal(char **path)
{
    char *found = NULL, pattern[512];
    snprintf(pattern, sizeof pattern, "ls %s/*.recipe", sessions_journals);
    FILE *list = popen(pattern, "r");
    char line[512] = "";
    ck_assert_ptr_nonnull(fgets(line, sizeof line, list));
    pclose(list);
    line[strcspn(line, "\n")] = '\0';
    found = folder_read(line, NULL);
    if (path)
        *path = strdup(line);
    return found;
}

void sessions_expect_recipe(const struct session *session)
{
    struct job job;
    job_init(&job);
    char *path, *text = sessions_journal(&path);
    struct recipe recipe;
    struct scene *made;
    enum status status = recipe_read(path, &recipe, &job);
    ck_assert_msg(status == STATUS_OK, "%s", job.message);
    status = recipe_run(&recipe, scene_new(), &made, NULL, NULL, &job);
    ck_assert_msg(status == STATUS_OK, "%s\n%s", job.message, text);
    ck_assert_uint_eq(scene_digest(made), scene_digest(session_scene(session)));
    scene_free(made);
    recipe_release(&recipe);
    free(path);
    free(text);
    job_release(&job);
}
