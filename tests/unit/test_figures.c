/* The figures of meshes that nobody here wrote (Debian packages assimp-testmodels and libcgal-dev),
 * beside those that other libraries give: tests/data/figures.txt, which names them. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check/check.h"
#include "core/job.h"
#include "format/format.h"
#include "tests/support/folder.h"

#define ASSIMP "/usr/share/assimp/models/"
#define CGAL "/usr/share/doc/libcgal-dev/data.tar.gz"

/* The columns of figures.txt behind the file's name. */
static const enum figure column[] = {FIGURE_vertices,
                                     FIGURE_triangles,
                                     FIGURE_area,
                                     FIGURE_volume,
                                     FIGURE_components,
                                     FIGURE_boundary_edges,
                                     FIGURE_nonmanifold_edges,
                                     FIGURE_nonmanifold_vertices,
                                     FIGURE_misoriented_edges,
                                     FIGURE_degenerate_triangles,
                                     FIGURE_duplicate_triangles,
                                     FIGURE_self_intersections,
                                     FIGURE_euler_characteristic};
enum { COLUMNS = sizeof column / sizeof *column };

static int compared[COLUMNS], wrong;

static void compare(const char *name, const char *word, int i, const struct inspection *inspection)
{
    const struct figure_row *row = figure_row(column[i]);
    const struct figure_value *value = &inspection->figure[column[i]];
    if (strcmp(word, "-") == 0) {
        if (column[i] == FIGURE_volume && value->known) { /* open for them, closed for us */
            printf("%s: a volume of %.9g is no volume there\n", name, value->real);
            wrong++;
        }
        return;
    }
    double want = atof(word),
           is = row->kind == FIGURE_KIND_REAL ? value->real : (double)value->count;
    double slack = row->kind == FIGURE_KIND_REAL ? 1e-7 * fmax(fabs(want), 1e-6) : 0;
    compared[i]++;
    if (value->known && fabs(is - want) <= slack)
        return;
    printf("%s: %s is %.9g, there it is %s\n", name, row->name, value->known ? is : NAN, word);
    wrong++;
}

static void judge(char *line, const char *folder)
{
    char *rest, *name = strtok_r(line, " \n", &rest);
    bool assimp = strncmp(name, "assimp/", 7) == 0;
    char *path = folder_path(assimp ? ASSIMP : folder, strchr(name, '/') + 1);
    struct job job;
    job_init(&job);
    struct file file;
    struct inspection inspection;
    ck_assert_msg(file_read(path, UNIT_NONE, &file, &job) == STATUS_OK, "%s", job.message);
    ck_assert_msg(inspect(file.mesh, NULL, &inspection, &job) == STATUS_OK, "%s", job.message);
    for (int i = 0; i < COLUMNS; i++) {
        const char *word = strtok_r(NULL, " \n", &rest);
        ck_assert_msg(word != NULL, "%s: column %d is missing", name, i);
        compare(name, word, i, &inspection);
    }
    inspection_release(&inspection);
    file_release(&file);
    job_release(&job);
    free(path);
}

START_TEST(figures_of_others)
{
    if (access(CGAL, R_OK) != 0 || access(ASSIMP, R_OK) != 0) {
        printf("figures: left out; install libcgal-demo and assimp-testmodels\n");
        return;
    }
    char *folder = folder_new(), command[512], line[1024];
    snprintf(command, sizeof command, "tar -xzf " CGAL " -C %s", folder);
    ck_assert_int_eq(system(command), 0);
    FILE *list = fopen("tests/data/figures.txt", "r");
    ck_assert_ptr_nonnull(list);
    while (fgets(line, sizeof line, list))
        if (line[0] != '#')
            judge(line, folder);
    fclose(list);
    folder_remove(folder);
    for (int i = 0; i < COLUMNS; i++) /* each column says something of many files */
        ck_assert_msg(compared[i] >= 40, "%s: only %d", figure_row(column[i])->name, compared[i]);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

Suite *suite_figures(void);

Suite *suite_figures(void)
{
    Suite *suite = suite_create("figures");
    TCase *all = tcase_create("open files");
    tcase_set_timeout(all, 300);
    tcase_add_test(all, figures_of_others);
    suite_add_tcase(suite, all);
    return suite;
}
