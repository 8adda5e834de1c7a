#include "core/job.h"
#include "op/op.h"
#include "op/sketch.h"
#include "scan/clear_table.h"
#include "scan/table.h"

enum keep { KEEP_NONE, KEEP_BENEATH, KEEP_TABLE };

static void tell(const struct clear_report *r, bool triangles, struct job *job)
{
    const char *what = triangles ? "triangles" : "points";
    struct vec p = r->plane.through, n = r->plane.normal;
    job_note(job,
             "the table lies through %.5g, %.5g, %.5g mm, normal %.4f, %.4f, %.4f: %.3g %% of the "
             "%s, flat to %.2g mm",
             p.x, p.y, p.z, n.x, n.y, n.z, 100 * r->share, triangles ? "surface" : "points",
             r->spread);
    if (r->bow > 4 * r->spread)
        job_note(job, "it is bent by %.2g mm, which was allowed for", r->bow);
    if (r->beneath)
        job_note(job,
                 "%zu %s stay; gone: %zu within %.2g mm of it, %zu beneath it, which keep=beneath "
                 "keeps",
                 r->left, what, r->table, r->thickness, r->beneath);
    else
        job_note(job, "%zu %s stay; gone: %zu within %.2g mm of it", r->left, what, r->table,
                 r->thickness);
}

/* The plane that the user named; *is: whether one was. */
static enum status read_plane(const struct op_call *call, struct plane *out, bool *is)
{
    const struct value *p = op_value(call, "through"), *n = op_value(call, "normal");
    *out = (struct plane){vec(p->vec[0], p->vec[1], p->vec[2]), vec(0, 0, 0)};
    *is = p->given;
    if (n->given)
        out->normal = vec(n->vec[0], n->vec[1], n->vec[2]);
    if (n->given && !p->given)
        return job_fail(
            call->job, STATUS_USAGE,
            "\"clear-table\": normal= speaks of a plane that is named by through=x,y,z");
    return STATUS_OK;
}

static enum status clear(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                         struct mesh **taken, struct job *job)
{
    struct plane plane;
    bool named;
    const struct value *thickness = op_value(call, "thickness");
    enum status status = read_plane(call, &plane, &named);
    const struct clear_options options = {.plane = named ? &plane : NULL,
                                          .thickness = thickness->given ? thickness->number : 0,
                                          .keep_beneath =
                                              op_value(call, "keep")->choice == KEEP_BENEATH};
    struct clear_report report;
    if (status == STATUS_OK)
        status = clear_table(mesh, &options, out, taken, &report, job);
    if (status == STATUS_OK)
        tell(&report, mesh_triangles(mesh) > 0, job);
    return status;
}

/* As a piece out of sight, so that the next steps do not work on it. */
static enum status add_table(const struct op_call *call, struct mesh *taken)
{
    const struct piece *first = call->in->piece[op_chosen(call, 0)];
    bool coloured = taken->attribute[ATTRIBUTE_colour] != NULL;
    if (mesh_vertices(taken) == 0) {
        mesh_free(taken);
        return STATUS_OK;
    }
    struct piece *piece = piece_new(taken, "table");
    if (!piece)
        return job_fail_memory(call->job, sizeof *piece);
    piece->unit = first->unit;
    piece->unit_source = first->unit_source;
    piece->colour = coloured ? COLOUR_VERTEX : COLOUR_NONE;
    piece->hidden = true;
    return scene_add(call->out, piece, call->job);
}

static enum status make(const struct op_call *call, const struct mesh *mesh, struct mesh **out,
                        struct job *job)
{
    struct mesh *taken = NULL;
    bool keep = op_value(call, "keep")->choice == KEEP_TABLE;
    enum status status = clear(call, mesh, out, keep ? &taken : NULL, job);
    if (status != STATUS_OK || !keep)
        return status;
    status = add_table(call, taken);
    if (status != STATUS_OK)
        mesh_free(*out);
    return status;
}

static enum status clear_table_run(struct op_call *call)
{
    return op_each(call, make);
}

/* --- what is drawn before ----------------------------------------------------------------------
 */

enum { MESHES = 8 }; /* of the net drawn in the table, along either side */

/* Where the surface lies at those distances along u and v, world. */
static struct vec surface_at(const struct mesh *mesh, const struct bent_plane *s, double a,
                             double b)
{
    struct vec at = vec_along(vec_along(s->plane.through, a, s->u), b, s->v);
    return mesh_world(mesh, vec_along(at, bent_rise(s, at), s->plane.normal));
}

static enum status sketch_net(const struct mesh *mesh, const struct bent_plane *s,
                              struct sketch *sketch, struct job *job)
{
    double low[2], high[2]; /* of what the table was fitted to */
    enum status status = STATUS_OK;
    for (int k = 0; k < 2; k++) {
        low[k] = s->scale * s->low[k];
        high[k] = s->scale * s->high[k];
    }
    for (int i = 0; i <= MESHES && status == STATUS_OK; i++) {
        double a = low[0] + (high[0] - low[0]) * i / MESHES;
        double b = low[1] + (high[1] - low[1]) * i / MESHES;
        status = sketch_line(sketch, surface_at(mesh, s, a, low[1]),
                             surface_at(mesh, s, a, high[1]), job);
        if (status == STATUS_OK)
            status = sketch_line(sketch, surface_at(mesh, s, low[0], b),
                                 surface_at(mesh, s, high[0], b), job);
    }
    return status;
}

/* The tables of all chosen pieces; fails where one has none. */
static enum status clear_table_sketch(const struct op_call *call, struct sketch *sketch)
{
    struct plane named;
    bool is;
    enum status status = read_plane(call, &named, &is);
    for (size_t i = op_chosen(call, 0); i < call->in->count && status == STATUS_OK;
         i = op_chosen(call, i + 1)) {
        const struct mesh *mesh = call->in->piece[i]->mesh;
        struct plane given = {mesh_local(mesh, named.through), vec_unit(named.normal)};
        struct table table;
        status = table_find(mesh, is ? &given : NULL, &table, call->job);
        if (status == STATUS_OK)
            status = sketch_net(mesh, &table.surface, sketch, call->job);
        if (status == STATUS_OK)
            job_note(call->job, "%s: the net is its table: %.3g %% lies in it, within %.2g mm",
                     call->in->piece[i]->name, 100 * table.share, 4 * table.spread);
    }
    return status;
}

static const struct param params[] = {
    {"thickness", PARAM_LENGTH, OPTIONAL, "auto", 1e-6, 1e3, NULL,
     "what lies within it of the table belongs to it; auto: 3.5 times the table's own spread"},
    {"keep", PARAM_CHOICE, OPTIONAL, "none", 0, 0, "none beneath table",
     "what lies beneath the table, or all that goes as a hidden piece of its own"},
    {"through", PARAM_PLACE, OPTIONAL, NULL, 0, 0, NULL,
     "a point of the table, where it is not found by itself"},
    {"normal", PARAM_DIRECTION, OPTIONAL, NULL, 0, 0, NULL,
     "square to that table, towards what stands on it; as the surface lies about the point"},
    OP_PIECE,
    {0}};

const struct op op_clear_table = {
    .name = "clear-table",
    .key = "C",
    .title = "clearing the table",
    .undo = "clear the table",
    .help = "find the plane it stood on; take it away",
    .example = "clear-table keep=table",
    .manual =
        "The table is the plane that has nearly all the rest on the side its faces look to, and "
        "that goes on beyond what stands on it; it may be a small part of the scan, tilted, and "
        "bent a little. Each piece has its own. What lies within the thickness of it goes, and "
        "what lies beneath it; nothing is closed. What stands on it stays down to the table, and "
        "so do faces that look down, the underside of a foot. In a point cloud without normals a "
        "foot is told by being shut in and covered. A second plane, such as the floor beside a "
        "turntable, takes a second run. Where no plane is found, name one by a point on it: "
        "through=@ on the screen. There the table that was found is drawn as a net while the line "
        "is typed.",
    .params = params,
    .run = clear_table_run,
    .sketch = clear_table_sketch,
    .changes = true,
};
