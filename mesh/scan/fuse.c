#include "scan/fuse.h"

#include "core/job.h"
#include "scan/fuse_close.h"
#include "scan/fuse_edge.h"
#include "scan/fuse_facing.h"
#include "scan/fuse_fair.h"
#include "scan/fuse_field.h"
#include "scan/fuse_fit.h"
#include "scan/fuse_lost.h"
#include "scan/fuse_made.h"
#include "scan/fuse_mesh.h"
#include "scan/fuse_paint.h"
#include "scan/fuse_parts.h"
#include "scan/fuse_stray.h"

enum { BLOCK = 4096 };

/* How far beyond its rim a surface is known (samples->reach). Where it stays open, what was not
 * measured goes in the end; where it does not, the winding number knows better. */
#define RIM_CLOSED 1.5f
#define RIM_OPEN FIELD_REACH

/* More than this share of the samples must be lost on thin walls for a finer spacing to be chosen,
 * and it becomes no finer than this beside the scans'. */
static const double lost_share = 0.01, finest = 1.0 / 3;

struct fusing {
    struct fuse_parts parts;
    uint8_t *turned; /* one a part */
    struct fuse_samples samples;
    struct grid grid;
    struct net net;
    struct fair_shape shape; /* of what no scan saw */
    struct mesh *mesh;
    const struct fuse_options *options;
    struct fuse_report *report;
    struct job *job;
};

static void release(struct fusing *f)
{
    fuse_parts_release(&f->parts);
    scratch_free(f->turned);
    fair_release(&f->shape);
    net_release(&f->net);
    grid_release(&f->grid);
    fuse_samples_release(&f->samples);
    mesh_free(f->mesh);
}

/* All samples of all pieces. */
static enum status gather(struct fusing *f, const struct mesh *const *piece, size_t pieces,
                          double spacing)
{
    job_phase(f->job, "weighing the scans", 100, pieces);
    enum status status = fuse_parts_make(piece, pieces, &f->parts, f->job);
    f->report->jumps = f->parts.jumps;
    f->report->before = f->parts.invented;
    f->report->parts = f->parts.count;
    f->turned = scratch_new(f->parts.count, 1);
    if (status == STATUS_OK && !f->turned)
        status = job_fail_memory(f->job, f->parts.count);
    if (status == STATUS_OK)
        status = fuse_samples_make(f->parts.part, f->parts.count, spacing, &f->samples, f->job);
    fuse_parts_drop(&f->parts);
    return status;
}

/* The distance near the samples, and the cells that the surface passes. */
static enum status find_surface(struct fusing *f)
{
    float reach = FIELD_REACH * (float)f->samples.reach;
    enum status status = grid_make(&f->samples, reach, &f->grid, f->job);
    if (status == STATUS_OK)
        status = facing_agree(&f->samples, &f->grid, f->parts.count, f->turned, f->job);
    if (status == STATUS_OK)
        status = stray_samples_drop(&f->samples, &f->grid, &f->report->strays, f->job);
    job_phase(f->job, "measuring distances", 200, f->grid.count);
    if (status == STATUS_OK)
        status = field_make(&f->grid, f->options->closed ? RIM_CLOSED : RIM_OPEN, f->job);
    job_phase(f->job, "following the surface", 200, 0);
    if (status == STATUS_OK)
        status = close_surface(&f->grid, f->options->closed, &f->net, &f->report->handles, f->job);
    if (status == STATUS_OK && f->net.quads == 0)
        status = job_fail(f->job, STATUS_REFUSED,
                          "the samples make no surface at this spacing; choose a larger spacing=, "
                          "or look whether the normals are right");
    grid_drop_nodes(&f->grid);
    return status;
}

/* The net goes where the samples are. */
static enum status fit(struct fusing *f)
{
    job_phase(f->job, "fitting the surface", 300, 2 * f->grid.count);
    enum status status = fit_net(&f->net, f->job);
    if (status == STATUS_OK)
        status = sharpen_net(&f->net, f->job);
    if (status == STATUS_OK)
        status = lost_find(&f->net, &f->samples, &f->report->lost, f->job);
    return status;
}

/* It takes a smooth shape where there are none. */
static enum status shape(struct fusing *f)
{
    enum status status = STATUS_OK;
    fuse_samples_drop(&f->samples);
    job_phase(f->job, "shaping what no scan saw", 100, 0);
    if (f->options->closed)
        status = fair_net(&f->net, &f->shape, f->job);
    return status == STATUS_OK ? paint_net(&f->net, f->job) : status;
}

static double area_of(const struct mesh *mesh, size_t t)
{
    const uint32_t *v = mesh_triangle(mesh)[t].v;
    struct vec a = point_vec(mesh_point(mesh)[v[0]]);
    return vec_length(vec_cross(vec_sub(point_vec(mesh_point(mesh)[v[1]]), a),
                                vec_sub(point_vec(mesh_point(mesh)[v[2]]), a))) /
           2;
}

static enum status measure(struct fusing *f)
{
    const uint8_t *origin = mesh_attribute(f->mesh, ATTRIBUTE_origin);
    for (size_t t = 0; t < mesh_triangles(f->mesh); t++) {
        double area = area_of(f->mesh, t);
        if (t % BLOCK == 0 && job_cancelled(f->job))
            return job_fail_cancelled(f->job);
        f->report->area += area;
        f->report->invented += origin[t] == ORIGIN_INVENTED ? area : 0;
        f->report->made += origin[t] == ORIGIN_MADE ? area : 0;
    }
    return STATUS_OK;
}

/* Which pieces faced the other way, with most of their samples. */
static void tell_turned(struct fusing *f, size_t pieces, uint8_t *turned)
{
    const struct fuse_parts *p = &f->parts;
    for (size_t piece = 0, i = 0; piece < pieces; piece++) {
        size_t over = 0, all = 0;
        for (; i < p->count && p->of[i] == piece; i++) {
            all += p->samples[i];
            over += f->turned[i] ? p->samples[i] : 0;
        }
        bool is = 2 * over > all;
        f->report->turned += is;
        if (turned)
            turned[piece] = is;
    }
}

/* Goes on with a mesh made of the present one; NULL: that failed. */
static enum status take(struct fusing *f, struct mesh *made)
{
    mesh_free(f->mesh);
    f->mesh = made;
    return made ? STATUS_OK : job_status(f->job);
}

static enum status make_mesh(struct fusing *f)
{
    job_phase(f->job, "looking for crossings", 100, 2 * f->net.quads);
    double origin[3]; /* that files have: saving moves nothing, so what is sound stays so */
    mesh_origin_for(f->grid.frame.origin, origin);
    f->mesh = mesh_of_net(&f->net, origin, f->job);
    if (!f->mesh)
        return job_status(f->job);
    enum status status = mesh_uncross(&f->net, &f->shape, &f->mesh, &f->report->reverted, f->job);
    if (status == STATUS_OK)
        status = mesh_attributes(&f->net, f->mesh, f->job);
    if (status == STATUS_OK && !f->options->closed)
        status = take(f, mesh_measured(f->mesh, f->job));
    if (status == STATUS_OK)
        status = take(f, mesh_without_bits(f->mesh, &f->report->bits, f->job));
    return status;
}

/* From the pieces to the fitted net, at a spacing (0: the scans' own). */
static enum status fit_at(struct fusing *f, const struct mesh *const *piece, size_t pieces,
                          double spacing)
{
    *f->report = (struct fuse_report){0};
    enum status status = gather(f, piece, pieces, spacing);
    f->report->spacing = f->samples.spacing;
    f->report->scans = f->samples.scans;
    if (spacing == 0 && f->samples.least > f->samples.scans) {
        f->report->finer = f->samples.scans;
        f->report->noise = f->samples.noise;
    }
    f->report->samples = f->samples.measured;
    if (status == STATUS_OK)
        status = find_surface(f);
    return status == STATUS_OK ? fit(f) : status;
}

/* How fine it has to be for the walls that were lost, if it may choose and they are worth it; 0: it
 * is fine enough. */
static double finer_spacing(const struct fusing *f)
{
    const struct fuse_report *r = f->report;
    if (f->options->spacing > 0 || !(r->lost.thickness > 0) ||
        (double)r->lost.samples < lost_share * (double)r->samples)
        return 0;
    double spacing = fmax(r->lost.thickness / FUSE_WALL, f->samples.least);
    return spacing > finest * r->spacing && spacing < r->spacing ? spacing : 0;
}

enum status fuse(const struct mesh *const *piece, size_t pieces, const struct fuse_options *options,
                 struct mesh **out, struct fuse_report *report, uint8_t *turned, struct job *job)
{
    struct fusing f = {.options = options, .report = report, .job = job};
    enum status status = fit_at(&f, piece, pieces, options->spacing);
    double finer = status == STATUS_OK ? finer_spacing(&f) : 0;
    if (finer > 0) {
        double scans = report->spacing;
        release(&f);
        f = (struct fusing){.options = options, .report = report, .job = job};
        status = fit_at(&f, piece, pieces, finer);
        report->coarser = scans;
    }
    if (status == STATUS_OK)
        status = shape(&f);
    if (status == STATUS_OK)
        status = make_mesh(&f);
    if (status == STATUS_OK)
        status = made_find(f.mesh, piece, pieces, report->spacing / 2, job);
    if (status == STATUS_OK)
        status = measure(&f);
    if (status == STATUS_OK) {
        tell_turned(&f, pieces, turned);
        *out = f.mesh;
        f.mesh = NULL;
    }
    release(&f);
    return status;
}
