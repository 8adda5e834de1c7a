/* From what was gathered to a mesh that keeps its promises. */
#include "core/job.h"
#include "core/polygon.h"
#include "format/gather.h"

enum {
    FEW = 16,    /* corners of a polygon that do without scratch memory */
    MANY = 65536 /* elements that are worth waking threads for */
};

struct finish {
    struct gather *gather;
    struct point *point;
    struct triangle *triangle;
    size_t vertices, triangles;
    size_t wrong_index, not_finite; /* faces left out */
    struct job *job;
};

static const struct triangle dropped = {{NO_INDEX, NO_INDEX, NO_INDEX}};

static bool is_dropped(const struct triangle *t)
{
    return memcmp(t, &dropped, sizeof dropped) == 0;
}

static bool is_finite(struct point p)
{
    return isfinite(p.x) && isfinite(p.y) && isfinite(p.z);
}

/* Whether a face with this corner can stay; counts it under the reason if not. */
static bool corner_stays(const struct finish *f, uint32_t vertex, size_t *wrong, size_t *infinite)
{
    if (vertex >= f->vertices)
        ++*wrong;
    else if (!is_finite(f->point[vertex]))
        ++*infinite;
    else
        return true;
    return false;
}

struct ring { /* the corners of one polygon */
    struct vec few_at[FEW], *at;
    uint32_t few_order[FEW][3], (*order)[3];
    char few_old[FEW * 8], *old; /* one corner's data each, while they are put in a new order */
};

static bool ring_init(struct ring *ring, uint32_t corners)
{
    bool few = corners <= FEW;
    ring->at = few ? ring->few_at : scratch_new(corners, sizeof *ring->at);
    ring->order = few ? ring->few_order : scratch_new(corners, sizeof *ring->order);
    ring->old = few ? ring->few_old : scratch_new(corners, 8);
    return ring->at && ring->order && ring->old;
}

static void ring_release(struct ring *ring, uint32_t corners)
{
    if (corners <= FEW)
        return;
    scratch_free(ring->at);
    scratch_free(ring->order);
    scratch_free(ring->old);
}

/* Where corner c of a fan is found: index of its data, three a triangle. */
static size_t fan_corner(uint32_t c)
{
    return c < 2 ? c : 3 * (size_t)(c - 2) + 2;
}

/* Puts corner data that lies in a fan's order into the order of the new triangles. */
static void reorder(const struct ring *ring, uint32_t corners, char *data, size_t stride)
{
    for (uint32_t c = 0; c < corners; c++)
        memcpy(ring->old + c * stride, data + fan_corner(c) * stride, stride);
    for (uint32_t i = 0; i < 3 * (corners - 2); i++)
        memcpy(data + i * stride, ring->old + ring->order[i / 3][i % 3] * stride, stride);
}

static void reorder_all(const struct finish *f, const struct ring *ring, struct polygon polygon)
{
    struct list *index = &f->gather->corner_texture;
    struct list *texture = &f->gather->triangle_attribute[ATTRIBUTE_texture];
    reorder(ring, polygon.corners, (char *)f->triangle[polygon.first].v, 4);
    if (index->used)
        reorder(ring, polygon.corners, (char *)index->array->data + (size_t)polygon.first * 12, 4);
    if (texture->used)
        reorder(ring, polygon.corners, (char *)texture->array->data + (size_t)polygon.first * 24,
                8);
}

static bool is_fan(const struct ring *ring, uint32_t corners)
{
    for (uint32_t i = 0; i + 2 < corners; i++)
        if (ring->order[i][0] != 0 || ring->order[i][1] != i + 1)
            return false;
    return true;
}

/* Cuts one polygon, now that the positions of all its corners are known. */
static bool cut_polygon(const struct finish *f, struct polygon polygon, size_t *wrong,
                        size_t *infinite)
{
    struct triangle *fan = f->triangle + polygon.first;
    struct ring ring;
    bool stays = true, room = ring_init(&ring, polygon.corners);
    for (uint32_t c = 0; room && stays && c < polygon.corners; c++) {
        uint32_t vertex = fan[0].v[0];
        memcpy(&vertex, (const char *)fan->v + fan_corner(c) * sizeof vertex, sizeof vertex);
        stays = corner_stays(f, vertex, wrong, infinite);
        if (stays)
            ring.at[c] = point_vec(f->point[vertex]);
    }
    if (room && stays)
        room = polygon_triangulate(ring.at, polygon.corners, ring.order, NULL) == STATUS_OK;
    for (uint32_t i = 0; !stays && i + 2 < polygon.corners; i++)
        fan[i] = dropped;
    if (room && stays && !is_fan(&ring, polygon.corners))
        reorder_all(f, &ring, polygon);
    ring_release(&ring, polygon.corners);
    return room;
}

static enum status cut_polygons(struct finish *f)
{
    size_t count = f->gather->polygon.used, wrong = 0, infinite = 0;
    const struct polygon *polygon = count ? f->gather->polygon.array->data : NULL;
    bool room = true;
#pragma omp parallel for schedule(dynamic, 256) num_threads(job_threads(f->job))                   \
    if (count > MANY / 16) reduction(&& : room) reduction(+ : wrong, infinite)
    for (size_t i = 0; i < count; i++)
        room = (job_cancelled(f->job) || cut_polygon(f, polygon[i], &wrong, &infinite)) && room;
    f->wrong_index += wrong;
    f->not_finite += infinite;
    if (job_cancelled(f->job))
        return job_fail_cancelled(f->job);
    return room ? STATUS_OK : job_fail_memory(f->job, count * sizeof *polygon);
}

/* Marks the triangles that cannot stay; returns how many there are in all. */
static size_t mark_triangles(struct finish *f)
{
    size_t wrong = 0, infinite = 0, all = 0;
#pragma omp parallel for num_threads(job_threads(f->job))                                \
    if (f->triangles > MANY) reduction(+ : wrong, infinite, all)
    for (size_t t = 0; t < f->triangles; t++) {
        struct triangle *at = &f->triangle[t];
        bool stays = !is_dropped(at);
        for (int k = 0; k < 3 && stays; k++)
            stays = corner_stays(f, at->v[k], &wrong, &infinite);
        all += !stays;
        if (!stays)
            *at = dropped;
    }
    f->wrong_index += wrong;
    f->not_finite += infinite;
    return all;
}

/* Moves the elements to keep to the front. `group` elements belong to each of the kept things. */
static void squeeze(struct list *list, size_t group, const bool *keep, size_t count)
{
    if (!list->used)
        return;
    char *data = list->array->data;
    size_t step = group * list->stride, to = 0;
    for (size_t i = 0; i < count; i++) {
        if (keep[i] && to != i)
            memmove(data + to * step, data + i * step, step);
        to += keep[i];
    }
    list->used = to * group;
}

static void drop_triangles(struct finish *f, bool *keep)
{
    struct gather *gather = f->gather;
    for (size_t t = 0; t < f->triangles; t++)
        keep[t] = !is_dropped(&f->triangle[t]);
    squeeze(&gather->triangle, 1, keep, f->triangles);
    squeeze(&gather->face_colour, 1, keep, f->triangles);
    squeeze(&gather->corner_texture, 3, keep, f->triangles);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        squeeze(&gather->triangle_attribute[i], gather_per_triangle(i), keep, f->triangles);
    f->triangles = gather->triangle.used;
}

static enum status drop_vertices(struct finish *f, bool *keep)
{
    struct gather *gather = f->gather;
    uint32_t *number = scratch_new(f->vertices, sizeof *number), next = 0;
    if (!number)
        return job_fail_memory(f->job, f->vertices * sizeof *number);
    for (size_t v = 0; v < f->vertices; v++) {
        keep[v] = is_finite(f->point[v]);
        number[v] = next;
        next += keep[v];
    }
    for (size_t t = 0; t < f->triangles; t++)
        for (int k = 0; k < 3; k++)
            f->triangle[t].v[k] = number[f->triangle[t].v[k]];
    squeeze(&gather->point, 1, keep, f->vertices);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++)
        squeeze(&gather->vertex_attribute[i], 1, keep, f->vertices);
    f->vertices = next;
    scratch_free(number);
    return STATUS_OK;
}

static size_t count_infinite(const struct finish *f)
{
    size_t count = 0;
#pragma omp parallel for num_threads(job_threads(f->job))                                \
    if (f->vertices > MANY) reduction(+ : count)
    for (size_t v = 0; v < f->vertices; v++)
        count += !is_finite(f->point[v]);
    return count;
}

/* Takes out what cannot stay, and says so. */
static enum status clean(struct finish *f, const char *name)
{
    size_t infinite = count_infinite(f), bad = mark_triangles(f);
    size_t most = f->vertices > f->triangles ? f->vertices : f->triangles;
    bool *keep = infinite || bad ? scratch_new(most, sizeof *keep) : NULL;
    enum status status = STATUS_OK;
    if ((infinite || bad) && !keep)
        return job_fail_memory(f->job, most);
    if (bad)
        drop_triangles(f, keep);
    if (infinite)
        status = drop_vertices(f, keep);
    scratch_free(keep);
    if (f->wrong_index)
        job_note(f->job, "\"%s\": %zu face%s left out: a corner names a vertex that is not there",
                 name, f->wrong_index, plural(f->wrong_index));
    if (f->gather->wrong)
        job_note(f->job, "\"%s\": %zu face%s left out: fewer than three corners", name,
                 f->gather->wrong, plural(f->gather->wrong));
    if (infinite)
        job_note(f->job, "\"%s\": %zu %s left out: the position is no number", name, infinite,
                 infinite == 1 ? "vertex" : "vertices");
    if (f->not_finite)
        job_note(f->job, "\"%s\": %zu face%s left out: a corner's position is no number", name,
                 f->not_finite, plural(f->not_finite));
    return status;
}

/* Looks up OBJ's texture coordinates. */
static void look_up_texture(struct gather *gather)
{
    struct list *list = &gather->triangle_attribute[ATTRIBUTE_texture];
    size_t corners = gather->corner_texture.used;
    if (!corners || !gather->texture.used)
        return;
    gather_pad(gather, list, corners, gather_nothing(ATTRIBUTE_texture), 8);
    const uint32_t *index = gather->corner_texture.array->data;
    const float(*from)[2] = gather->texture.array->data;
    float(*to)[2] = gather->starved ? NULL : list->array->data;
    for (size_t i = 0; to && i < corners; i++)
        if (index[i] < gather->texture.used)
            memcpy(to[i], from[index[i]], sizeof *to);
}

static void hand_over(struct list *list, struct array **to)
{
    if (!list->array)
        return;
    array_free(*to);
    array_shrink(list->array, list->used);
    *to = list->array;
    *list = (struct list){0};
}

static struct mesh *make_mesh(struct gather *gather)
{
    struct mesh *mesh = mesh_new(0, 0);
    if (!mesh)
        return NULL;
    memcpy(mesh->origin, gather->origin, sizeof mesh->origin);
    hand_over(&gather->point, &mesh->point);
    hand_over(&gather->triangle, &mesh->triangle);
    for (enum attribute i = 0; i < ATTRIBUTE_COUNT; i++) {
        struct list *vertex = &gather->vertex_attribute[i];
        struct list *triangle = &gather->triangle_attribute[i];
        if (vertex->used)
            hand_over(vertex, &mesh->attribute[i]);
        else if (triangle->used)
            hand_over(triangle, &mesh->attribute[i]);
    }
    return mesh;
}

enum status face_colour_spread(struct mesh *mesh, const uint8_t *colour, struct job *job)
{
    size_t vertices = mesh_vertices(mesh), corners = 3 * mesh_triangles(mesh);
    uint64_t(*sum)[5] = scratch_new(vertices, sizeof *sum);
    uint8_t *to = mesh_attribute_new(mesh, ATTRIBUTE_colour);
    if (!sum || !to) {
        scratch_free(sum);
        return job_fail_memory(job, vertices * sizeof *sum);
    }
    memset(sum, 0, vertices * sizeof *sum);
    for (size_t i = 0; i < corners; i++) {
        uint64_t *at = sum[mesh_triangle(mesh)[i / 3].v[i % 3]];
        for (size_t k = 0; k < 4; k++)
            at[k] += colour[i / 3 * 4 + k];
        at[4]++;
    }
    for (size_t v = 0; v < vertices; v++)
        for (size_t k = 0; k < 4; k++)
            to[4 * v + k] = (uint8_t)(sum[v][4] ? (sum[v][k] + sum[v][4] / 2) / sum[v][4] : 255);
    scratch_free(sum);
    return STATUS_OK;
}

static enum status finish_faces(struct finish *f, const char *name)
{
    enum status status = cut_polygons(f);
    return status == STATUS_OK ? clean(f, name) : status;
}

/* Face colours count where the vertices have none. */
static enum status colour_vertices(const struct gather *gather, const char *name, struct mesh *mesh,
                                   struct job *job)
{
    if (!gather->face_colour.used || mesh->attribute[ATTRIBUTE_colour])
        return STATUS_OK;
    job_note(job, "\"%s\": the colours of its faces were carried over to their vertices", name);
    return face_colour_spread(mesh, gather->face_colour.array->data, job);
}

enum status gather_finish(struct gather *gather, const char *name, struct mesh **out,
                          struct job *job)
{
    struct finish f = {.gather = gather,
                       .vertices = gather->point.used,
                       .triangles = gather->triangle.used,
                       .job = job};
    enum status status = STATUS_OK;
    if (f.vertices > MESH_MOST || f.triangles > MESH_MOST)
        status = job_fail(job, STATUS_REFUSED,
                          "\"%s\": has more than the %d vertices or triangles that one mesh can "
                          "hold; split the file",
                          name, MESH_MOST);
    gather_pad_all(gather, gather);
    f.point = f.vertices ? gather->point.array->data : NULL;
    f.triangle = f.triangles ? gather->triangle.array->data : NULL;
    if (status == STATUS_OK)
        status = finish_faces(&f, name);
    if (status == STATUS_OK)
        look_up_texture(gather);
    *out = status == STATUS_OK && !gather->starved ? make_mesh(gather) : NULL;
    if (status == STATUS_OK)
        status = *out ? colour_vertices(gather, name, *out, job)
                      : job_fail_memory(job, f.vertices * sizeof(struct point));
    if (status != STATUS_OK) {
        mesh_free(*out);
        *out = NULL;
    }
    gather_release(gather);
    return status;
}
