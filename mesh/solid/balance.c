#include "solid/balance.h"

#include <string.h>

#include "core/job.h"
#include "core/topology.h"
#include "solid/foot.h"

enum { LOOK = 4096 };

struct floor_points { /* the points on the floor, reduced to their outline whenever they are many */
    double (*at)[2];  /* beside the centre of mass */
    double (*corner)[2];
    size_t count, room;
};

static bool make_room(struct floor_points *s, size_t room)
{
    double(*at)[2] = scratch_new(room, sizeof *at),
    (*corner)[2] = scratch_new(2 * room, sizeof *at);
    if (!at || !corner) {
        scratch_free(at);
        scratch_free(corner);
        return false;
    }
    if (s->count)
        memcpy(at, s->at, s->count * sizeof *at);
    scratch_free(s->at);
    scratch_free(s->corner);
    *s = (struct floor_points){at, corner, s->count, room};
    return true;
}

static void reduce(struct floor_points *s)
{
    s->count = foot_outline(s->at, s->count, s->corner);
    memcpy(s->at, s->corner, s->count * sizeof *s->at);
}

/* False: out of memory. */
static bool add(struct floor_points *s, double x, double y)
{
    if (s->count == s->room) {
        reduce(s);
        if (s->count > s->room / 2 && !make_room(s, 2 * s->room))
            return false;
    }
    s->at[s->count][0] = x;
    s->at[s->count++][1] = y;
    return true;
}

static enum status find_support(const struct mesh *const *mesh, size_t count, double highest,
                                const struct balance *b, struct floor_points *s, struct job *job)
{
    for (size_t i = 0; i < count; i++)
        for (size_t v = 0; v < mesh_vertices(mesh[i]); v++) {
            if (v % LOOK == 0 && job_cancelled(job))
                return job_fail_cancelled(job);
            struct vec p = mesh_world(mesh[i], point_vec(mesh_point(mesh[i])[v]));
            struct vec d = vec_sub(p, b->mass.centre);
            if (p.z <= highest && !add(s, d.x, d.y))
                return job_fail_memory(job, 2 * s->room * sizeof *s->at);
        }
    reduce(s);
    return STATUS_OK;
}

static enum status stand_there(const struct mesh *const *mesh, size_t count, double reach,
                               struct balance *b, struct job *job)
{
    struct floor_points s = {0};
    enum status status = make_room(&s, LOOK) ? STATUS_OK : job_fail_memory(job, LOOK * 48);
    if (status == STATUS_OK)
        status = find_support(mesh, count, b->floor + stand_level * reach, b, &s, job);
    if (status == STATUS_OK) {
        const double(*corner)[2] = (const double(*)[2])s.at;
        b->corners = s.count;
        b->stand = (struct stand_report){.of = b->mass.kind,
                                         .area = foot_area(corner, s.count),
                                         .margin = foot_margin(corner, s.count, 0, 0),
                                         .height = b->mass.centre.z - b->floor};
        b->stand.tilt = stand_tilt(b->stand.margin, b->stand.height);
    }
    scratch_free(s.at);
    scratch_free(s.corner);
    return status;
}

enum status balance_find(const struct mesh *const *mesh, size_t count, struct balance *out,
                         struct job *job)
{
    struct vec low, high;
    *out = (struct balance){0};
    enum status status = meshes_box(mesh, count, &low, &high, job);
    if (status == STATUS_OK && !(low.z <= high.z))
        return job_fail(job, STATUS_REFUSED, "there is nothing in it to weigh");
    if (status == STATUS_OK)
        status = mass_find(mesh, count, &out->mass, job);
    if (status != STATUS_OK)
        return status;
    out->floor = low.z;
    mass_axes(&out->mass, out->moment, out->axis);
    return stand_there(mesh, count, vec_length(vec_sub(high, low)), out, job);
}
