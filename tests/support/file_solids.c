#include "tests/support/file_solids.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "format/format.h"
#include "solid/mend.h"
#include "tests/support/folder.h"
#include "tests/support/shapes.h"
#include "tests/support/sound.h"

#define ASSIMP "/usr/share/assimp/models/"
#define CGAL "/usr/share/doc/libcgal-dev/data.tar.gz"

static const double length_mm = 64, lattice_mm = 1.0 / 1024;

/* The mesh brought to its length and onto the lattice, its vertices joined anew. */
static struct mesh *on_lattice(const struct mesh *mesh)
{
    const struct bounds *bounds = mesh_bounds(mesh, NULL);
    struct vec size = vec_sub(bounds->max, bounds->min);
    struct vec middle = vec_scale(vec_add(bounds->min, bounds->max), 0.5);
    double by = length_mm / fmax(size.x, fmax(size.y, size.z));
    struct mesh *out = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    for (size_t v = 0; v < mesh_vertices(mesh); v++) {
        struct vec p = vec_scale(vec_sub(point_vec(mesh_point(mesh)[v]), middle), by / lattice_mm);
        mesh_point_edit(out)[v] =
            vec_point(vec_scale(vec(round(p.x), round(p.y), round(p.z)), lattice_mm));
    }
    memcpy(mesh_triangle_edit(out), mesh_triangle(mesh), array_bytes(mesh->triangle));
    struct mesh *joined = sound_joined(out);
    mesh_free(out);
    return joined;
}

static bool is_solid(const struct mesh *mesh)
{
    return sound_fault(mesh) == NULL && sound_crossings(mesh) == 0 && shape_count(mesh).volume > 0;
}

/* What mending makes of it, on the lattice again; `mesh` is freed. */
static struct mesh *made_solid(struct mesh *mesh)
{
    const struct mend_options options = {.shape = FILL_SMOOTH};
    struct mend_report report;
    struct mesh *mended = NULL;
    if (mend(mesh, &options, &mended, &report, NULL) != STATUS_OK)
        return mesh;
    mesh_free(mesh);
    mesh = on_lattice(mended);
    mesh_free(mended);
    return mesh;
}

/* Behind the others, or, where it was a solid as it is, behind those that were. */
static void add(struct file_solids *list, struct mesh *mesh, const char *name, bool mended)
{
    size_t at = mended ? list->count : list->found;
    memmove(list->solid + at + 1, list->solid + at, (list->count - at) * sizeof *list->solid);
    memmove(list->name + at + 1, list->name + at, (list->count - at) * sizeof *list->name);
    snprintf(list->name[at], sizeof *list->name, "%s", name);
    list->solid[at] = mesh;
    list->found += !mended;
    list->count++;
}

static void take(struct file_solids *list, const char *path, size_t most, bool mends)
{
    struct job job;
    struct file file;
    job_init(&job);
    if (file_read(path, UNIT_NONE, &file, &job) == STATUS_OK) {
        size_t triangles = mesh_triangles(file.mesh);
        struct mesh *mesh =
            triangles >= 4 && triangles <= most ? on_lattice(file.mesh) : mesh_new(0, 0);
        bool mended = !is_solid(mesh);
        if (mended && mends)
            mesh = made_solid(mesh);
        if (list->count < FILE_SOLIDS && is_solid(mesh)) {
            add(list, mesh, strrchr(path, '/') + 1, mended);
        } else {
            list->refused++;
            mesh_free(mesh);
        }
        file_release(&file);
    }
    job_release(&job);
}

/* Those whose file has the name; NULL: all. */
static void read_named(struct file_solids *list, size_t most, const char *only, bool mends)
{
    char *folder = folder_new(), command[512], line[1024], name[256];
    *list = (struct file_solids){.count = 0};
    snprintf(command, sizeof command, "tar -xzf " CGAL " -C %s", folder);
    ck_assert_msg(system(command) == 0, "install libcgal-dev and assimp-testmodels: " CGAL);
    FILE *names = fopen("tests/data/open_files.txt", "r");
    ck_assert_ptr_nonnull(names);
    while (fgets(line, sizeof line, names)) {
        if (line[0] == '#' || sscanf(line, "%255s", name) != 1)
            continue;
        if (only && strcmp(strrchr(name, '/') + 1, only) != 0)
            continue;
        bool assimp = strncmp(name, "assimp/", 7) == 0;
        char *path = folder_path(assimp ? ASSIMP : folder, strchr(name, '/') + 1);
        take(list, path, most, mends);
        free(path);
    }
    fclose(names);
    folder_remove(folder);
}

void file_solids_read(struct file_solids *list, size_t most)
{
    read_named(list, most, NULL, true);
}

void file_solids_read_found(struct file_solids *list, size_t most)
{
    read_named(list, most, NULL, false);
}

struct mesh *file_solid(const char *name)
{
    struct file_solids list;
    read_named(&list, SIZE_MAX, name, true);
    ck_assert_msg(list.count > 0, "%s is no solid, or not there", name);
    for (size_t i = 1; i < list.count; i++)
        mesh_free(list.solid[i]);
    return list.solid[0];
}

void file_solids_release(struct file_solids *list)
{
    for (size_t i = 0; i < list->count; i++)
        mesh_free(list->solid[i]);
    *list = (struct file_solids){.count = 0};
}

static size_t pick(uint64_t *seed, size_t count)
{
    return (size_t)(shape_random(seed) * (double)count);
}

/* p under a rotation, rows first. */
static struct vec turned(const double turn[3][3], struct vec p)
{
    return vec(turn[0][0] * p.x + turn[0][1] * p.y + turn[0][2] * p.z,
               turn[1][0] * p.x + turn[1][1] * p.y + turn[1][2] * p.z,
               turn[2][0] * p.x + turn[2][1] * p.y + turn[2][2] * p.z);
}

/* Evenly distributed over all rotations: a random unit quaternion (Shoemake 1992). */
static void any_turn(uint64_t *seed, double turn[3][3])
{
    double u = shape_random(seed), a = 6.283185307179586 * shape_random(seed),
           b = 6.283185307179586 * shape_random(seed);
    double x = sqrt(1 - u) * sin(a), y = sqrt(1 - u) * cos(a), z = sqrt(u) * sin(b),
           w = sqrt(u) * cos(b);
    const double of[3][3] = {{1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)},
                             {2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)},
                             {2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)}};
    memcpy(turn, of, sizeof of);
}

/* One of the 24 rotations of a cube. */
static void quarter_turns(uint64_t *seed, double turn[3][3])
{
    size_t first = pick(seed, 3), way = 1 + pick(seed, 2);
    double sign[2] = {pick(seed, 2) ? 1 : -1, pick(seed, 2) ? 1 : -1};
    memset(turn, 0, 9 * sizeof **turn);
    for (size_t row = 0; row < 2; row++)
        turn[row][(first + row * way) % 3] = sign[row];
    const double *a = turn[0], *b = turn[1];
    turn[2][0] = a[1] * b[2] - a[2] * b[1];
    turn[2][1] = a[2] * b[0] - a[0] * b[2];
    turn[2][2] = a[0] * b[1] - a[1] * b[0];
}

static struct mesh *posed(const struct mesh *mesh, const double turn[3][3], struct vec move)
{
    struct mesh *out = mesh_new(mesh_vertices(mesh), mesh_triangles(mesh));
    for (size_t v = 0; v < mesh_vertices(mesh); v++)
        mesh_point_edit(out)[v] =
            vec_point(vec_add(turned(turn, point_vec(mesh_point(mesh)[v])), move));
    memcpy(mesh_triangle_edit(out), mesh_triangle(mesh), array_bytes(mesh->triangle));
    out->joined = true;
    return out;
}

static double on_grid(double x)
{
    return lattice_mm * round(x / lattice_mm);
}

static struct vec anywhere(uint64_t *seed, double reach)
{
    struct vec move;
    for (int k = 0; k < 3; k++)
        (&move.x)[k] = on_grid(reach * (shape_random(seed) - 0.5));
    return move;
}

/* Moves b so that a side of its box lies in the plane of one of a's. */
static struct vec side_on_side(uint64_t *seed, const struct mesh *a, const struct mesh *b)
{
    const struct bounds *of[2] = {mesh_bounds(a, NULL), mesh_bounds(b, NULL)};
    struct vec move = anywhere(seed, length_mm / 2);
    size_t k = pick(seed, 3);
    const struct vec *from = pick(seed, 2) ? &of[1]->min : &of[1]->max;
    const struct vec *to = pick(seed, 2) ? &of[0]->min : &of[0]->max;
    (&move.x)[k] = (&to->x)[k] - (&from->x)[k];
    return move;
}

static struct vec vertex_on_vertex(uint64_t *seed, const struct mesh *a, const struct mesh *b)
{
    return vec_sub(point_vec(mesh_point(a)[pick(seed, mesh_vertices(a))]),
                   point_vec(mesh_point(b)[pick(seed, mesh_vertices(b))]));
}

/* The numbers that a seed gives, behind the first few: neighbouring seeds begin alike. */
static uint64_t state_of(uint64_t seed)
{
    uint64_t state = seed + 1;
    for (int i = 0; i < 5; i++)
        shape_random(&state);
    return state;
}

enum file_pair_kind file_solids_posed(const struct mesh *first, const struct mesh *second,
                                      uint64_t seed, struct mesh *pair[2])
{
    static const double rest[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    static const enum file_pair_kind kinds[] = {FILE_PAIR_ANY, FILE_PAIR_ANY, FILE_PAIR_COPLANAR,
                                                FILE_PAIR_ANY, FILE_PAIR_ANY, FILE_PAIR_TOUCHING};
    enum file_pair_kind kind = kinds[seed % (sizeof kinds / sizeof *kinds)];
    uint64_t state = state_of(seed);
    for (int i = 0; i < 2; i++) /* those that choose the solids */
        shape_random(&state);
    double turn[3][3];
    kind == FILE_PAIR_ANY ? any_turn(&state, turn) : quarter_turns(&state, turn);
    pair[0] = posed(first, rest, vec(0, 0, 0));
    struct mesh *b = posed(second, (const double(*)[3])turn, vec(0, 0, 0));
    struct vec move = kind == FILE_PAIR_ANY        ? anywhere(&state, length_mm)
                      : kind == FILE_PAIR_COPLANAR ? side_on_side(&state, pair[0], b)
                                                   : vertex_on_vertex(&state, pair[0], b);
    pair[1] = posed(b, rest, move);
    mesh_free(b);
    return kind;
}

enum file_pair_kind file_solids_pair(const struct file_solids *list, size_t among, uint64_t seed,
                                     struct mesh *pair[2], size_t which[2])
{
    uint64_t state = state_of(seed);
    for (int i = 0; i < 2; i++)
        which[i] = pick(&state, among);
    return file_solids_posed(list->solid[which[0]], list->solid[which[1]], seed, pair);
}
