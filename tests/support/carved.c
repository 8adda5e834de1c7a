#include "tests/support/carved.h"

#include <stdlib.h>
#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "tests/support/shapes.h"

/* Cells of a lattice, those at the rim always empty. */
enum { CELLS = 5 };
typedef bool lattice[CELLS + 2][CELLS + 2][CELLS + 2];

static void cell_side(const int cell[3], int axis, int side, uint32_t face[2][3])
{
    uint32_t q[4];
    for (int c = 0; c < 4; c++) {
        int u = c == 1 || c == 2, v = c >= 2, p[3] = {cell[0] - 1, cell[1] - 1, cell[2] - 1};
        p[axis] += side;
        p[(axis + 1) % 3] += side ? u : v;
        p[(axis + 2) % 3] += side ? v : u;
        q[c] = (uint32_t)((p[0] * (CELLS + 1) + p[1]) * (CELLS + 1) + p[2]);
    }
    memcpy(face, (uint32_t[2][3]){{q[0], q[1], q[2]}, {q[0], q[2], q[3]}}, 2 * sizeof *face);
}

static size_t lattice_faces(lattice full, uint32_t (*face)[3])
{
    size_t faces = 0;
    for (int i = 0; i < CELLS * CELLS * CELLS * 6; i++) {
        int side = i % 2, axis = i / 2 % 3, n = i / 6;
        int cell[3] = {n % CELLS + 1, n / CELLS % CELLS + 1, n / CELLS / CELLS + 1}, at[3];
        memcpy(at, cell, sizeof at);
        at[axis] += side ? 1 : -1;
        if (!full[cell[0]][cell[1]][cell[2]] || full[at[0]][at[1]][at[2]])
            continue;
        cell_side(cell, axis, side, face + faces);
        faces += 2;
    }
    return faces;
}

/* The outside of the full cells, 10 mm each. */
static struct mesh *lattice_mesh(lattice full)
{
    enum { EDGE = CELLS + 1, POINTS = EDGE * EDGE * EDGE };
    uint32_t(*face)[3] = malloc(sizeof *face * 12 * CELLS * CELLS * CELLS), number[POINTS];
    size_t faces = lattice_faces(full, face), points = 0;
    double point[POINTS][3];
    memset(number, 255, sizeof number);
    for (size_t i = 0; i < 3 * faces; i++) {
        uint32_t *v = &face[i / 3][i % 3], p = *v;
        if (number[p] == NO_INDEX) {
            memcpy(
                point[points],
                (double[3]){10.0 * (p / EDGE / EDGE), 10.0 * (p / EDGE % EDGE), 10.0 * (p % EDGE)},
                sizeof *point);
            number[p] = (uint32_t)points++;
        }
        *v = number[p];
    }
    struct mesh *mesh =
        shape_make((const double(*)[3])point, points, (const uint32_t(*)[3])face, faces);
    free(face);
    mesh->joined = true;
    return mesh;
}

static bool is_manifold(lattice full)
{
    struct mesh *mesh = lattice_mesh(full);
    struct job job;
    job_init(&job);
    job.threads = 1;
    const struct topology *topology = mesh_topology(mesh, &job);
    bool manifold = topology->nonmanifold == 0 && topology->nonmanifold_vertices == 0;
    mesh_free(mesh);
    return manifold;
}

struct mesh *carved_block(uint64_t seed)
{
    lattice full = {0};
    for (int n = 0; n < CELLS * CELLS * CELLS; n++)
        full[n % CELLS + 1][n / CELLS % CELLS + 1][n / CELLS / CELLS + 1] = true;
    for (int tries = 0; tries < 150; tries++) {
        int at[3];
        for (int k = 0; k < 3; k++)
            at[k] = 1 + (int)(CELLS * shape_random(&seed));
        bool *cell = &full[at[0]][at[1]][at[2]], was = *cell;
        *cell = false;
        *cell = was && !is_manifold(full);
    }
    return lattice_mesh(full);
}
