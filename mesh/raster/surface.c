/* What each sample shows: the direction of the surface there, its own colour, which side of it and
 * which kind. Only what is seen is looked up, so this costs by the picture's size. */
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "core/topology.h"
#include "raster/image.h"
#include "raster/pose.h"

/* Vertex normals are used where neighbouring samples often see the same triangle; below that share
 * triangles are no larger than samples and their own directions are as good. */
static const double large_share = 0.1;
/* A vertex normal that far from the triangle's own (cosine of 40 degrees) is a sharp edge's. */
static const double crease = 0.77;

struct skin { /* a piece, made ready for look-up */
    const struct mesh *mesh;
    struct pose pose;
    const struct point *normal; /* at vertices, or NULL: the triangle's own */
    const uint8_t (*colour)[4]; /* at vertices, or NULL */
    const uint8_t *origin;      /* of triangles, or NULL */
    uint8_t tint[3];
    uint64_t first;
    bool cloud, pale, spared;
};

struct look { /* what all threads share */
    struct image *image;
    const struct raster_view *view;
    struct skin *skin;
    struct vec cut; /* view coordinates: going where dot(cut, p) < cut_offset */
    double cut_offset;
};

/* A triangle, as a sample sees it; all beside the mesh's origin. */
struct facet {
    const uint32_t *v;
    struct vec corner[3];
    struct vec normal; /* as long as twice the area */
    double square;     /* of that length */
    struct vec at;     /* the point that is seen */
    double weight[3];  /* of the corners there: none below zero, adding up to 1 */
};

static void take_corners(const struct skin *skin, uint32_t t, struct facet *facet)
{
    facet->v = mesh_triangle(skin->mesh)[t].v;
    for (int k = 0; k < 3; k++)
        facet->corner[k] = point_vec(mesh_point(skin->mesh)[facet->v[k]]);
    facet->normal = vec_cross(vec_sub(facet->corner[1], facet->corner[0]),
                              vec_sub(facet->corner[2], facet->corner[0]));
}

/* Finds the weights at a point of view coordinates that lies on the facet but for rounding. */
static void take_weights(const struct skin *skin, struct vec view, struct facet *facet)
{
    const struct vec *turn = skin->pose.turn, *corner = facet->corner, n = facet->normal;
    struct vec p = vec_sub(view, skin->pose.shift);
    p = vec_add(vec_add(vec_scale(turn[0], p.x), vec_scale(turn[1], p.y)), vec_scale(turn[2], p.z));
    struct vec to[3] = {vec_sub(corner[0], p), vec_sub(corner[1], p), vec_sub(corner[2], p)};
    facet->square = vec_dot(n, n);
    double one = facet->square > 0 ? 1 / facet->square : 0;
    double a = vec_dot(vec_cross(to[1], to[2]), n) * one;
    double b = vec_dot(vec_cross(to[2], to[0]), n) * one;
    a = a > 0 ? a < 1 ? a : 1 : 0;
    b = b > 0 ? a + b < 1 ? b : 1 - a : 0;
    facet->weight[0] = a;
    facet->weight[1] = b;
    facet->weight[2] = 1 - a - b;
    facet->at = vec_along(vec_along(vec_scale(corner[2], 1 - a - b), a, corner[0]), b, corner[1]);
}

/* Keeps the direction, turned to the viewer; zero where there is none. */
static void face(struct image *image, size_t at, struct vec n)
{
    n.z = n.z > 0 ? n.z : 0; /* a triangle seen edge-on may lean away by a rounding error */
    double length = sqrt(vec_dot(n, n)), one = length > 0 ? FACING_ONE / length : 0;
    image->facing[0][at] = (int16_t)(n.x * one);
    image->facing[1][at] = (int16_t)(n.y * one);
    image->facing[2][at] = (int16_t)(n.z * one);
}

struct bend { /* the round surface that a triangle stands for */
    struct vec normal;
    double lift; /* mm from the triangle along its normal */
};

/* Mixes the corners' normals; the lift is how far their tangent planes lie over the point
 * (Boubekeur & Alexa 2008, "Phong tessellation"), by half: so it is on a sphere. Without it the
 * relief would show the edges of facets. */
static struct bend bend_of(const struct skin *skin, const struct facet *facet)
{
    struct bend bend = {vec(0, 0, 0), 0};
    for (int k = 0; k < 3; k++) {
        struct vec n = point_vec(skin->normal[facet->v[k]]);
        double along = vec_dot(n, facet->normal);
        if (along < 0 || along * along < crease * crease * facet->square)
            n = vec_unit(facet->normal);
        bend.normal = vec_along(bend.normal, facet->weight[k], n);
        bend.lift -= 0.5 * facet->weight[k] * vec_dot(vec_sub(facet->at, facet->corner[k]), n);
    }
    return bend;
}

static void mixed_colour(const struct skin *skin, const struct facet *facet, uint8_t colour[3])
{
    for (int i = 0; i < 3; i++) {
        double sum = 0.5;
        for (int k = 0; k < 3; k++)
            sum += facet->weight[k] * skin->colour[facet->v[k]][i];
        colour[i] = (uint8_t)(sum < 255 ? sum : 255);
    }
}

struct spot { /* a sample: where it is, in the picture and in the arrays */
    int x, y;
    size_t i, at;
};

/* Of a sample that sees a triangle at z; returns more kind bits. */
static uint8_t triangle_look(const struct look *look, const struct skin *skin, struct spot spot,
                             uint32_t t, double z, bool back)
{
    struct image *image = look->image;
    struct facet facet;
    take_corners(skin, t, &facet);
    struct bend bend = {facet.normal, 0};
    if (skin->normal || skin->colour)
        take_weights(skin, lens_unproject(&image->lens, spot.x + 0.5, spot.y + 0.5, z), &facet);
    if (skin->normal)
        bend = bend_of(skin, &facet);
    if (skin->colour)
        mixed_colour(skin, &facet, image->colour[spot.i]);
    struct vec n = lens_turn(&image->lens, bend.normal);
    if (back) {
        n = vec_scale(n, -1);
        bend.lift = -bend.lift;
    }
    face(image, spot.at, n);
    image->z[spot.at] = (float)(z + (bend.lift != 0 ? bend.lift / (n.z > 0.25 ? n.z : 0.25) : 0));
    uint8_t origin = skin->origin ? skin->origin[t] : ORIGIN_MEASURED;
    return origin == ORIGIN_INVENTED ? KIND_INVENTED : origin == ORIGIN_MADE ? KIND_MADE : 0;
}

static uint8_t point_look(const struct look *look, const struct skin *skin, struct spot spot,
                          uint32_t v)
{
    struct image *image = look->image;
    if (skin->colour)
        memcpy(image->colour[spot.i], skin->colour[v], 3);
    if (!skin->normal)
        return KIND_ROUGH;
    struct vec n = lens_turn(&image->lens, point_vec(skin->normal[v]));
    face(image, spot.at, n.z < 0 ? vec_scale(n, -1) : n);
    return 0;
}

static void swatch_colour(enum paint paint, uint8_t kind, uint8_t colour[3])
{
    if (kind & KIND_BACK && paint != PAINT_PIECE) /* there its pattern alone tells it */
        memcpy(colour, raster_swatch(SWATCH_BACK), 3);
    else if (paint == PAINT_ORIGIN)
        memcpy(colour,
               raster_swatch(kind & KIND_INVENTED ? SWATCH_INVENTED
                             : kind & KIND_MADE   ? SWATCH_MADE
                                                  : SWATCH_MEASURED),
               3);
}

static void sample_look(const struct look *look, struct spot spot)
{
    struct image *image = look->image;
    uint64_t seen = image_seen(image, spot.i);
    image->kind[spot.i] = 0;
    if (seen == SEEN_NOTHING) {
        memset(image->colour[spot.i], 0, 3);
        return;
    }
    const struct skin *skin = &look->skin[image_piece(image, seen_number(seen))];
    uint32_t item = (uint32_t)(seen_number(seen) - skin->first);
    uint8_t kind = KIND_SURFACE | (seen_back(seen) ? KIND_BACK : 0);
    double z = seen_z(&image->lens, seen);
    image->z[spot.at] = (float)z;
    memcpy(image->colour[spot.i], skin->tint, 3);
    if (skin->cloud)
        kind |= point_look(look, skin, spot, item);
    else
        kind |= triangle_look(look, skin, spot, item, z, seen_back(seen));
    if (skin->pale)
        kind |= KIND_GOING;
    if (look->view->cut && !skin->spared) {
        struct vec at = lens_unproject(&image->lens, spot.x + 0.5, spot.y + 0.5, z);
        if (vec_dot(look->cut, at) < look->cut_offset)
            kind |= KIND_GOING;
    }
    swatch_colour(look->view->paint, kind, image->colour[spot.i]);
    image->kind[spot.i] = kind;
}

static void row_look(const struct look *look, int y)
{
    struct spot spot = {0, y, (size_t)y * (size_t)look->image->width, image_at(look->image, 0, y)};
    for (; spot.x < look->image->width; spot.x++, spot.i++, spot.at++)
        sample_look(look, spot);
}

/* --- making ready ------------------------------------------------------------------------- */

/* How many samples see a piece, and how many of them the same triangle as their right neighbour. */
struct tally {
    uint64_t seen, same;
};

static void count_row(const struct image *image, int y, struct tally *tally)
{
    size_t row = (size_t)y * (size_t)image->width;
    for (int x = 0; x + 1 < image->width; x++) {
        uint64_t a = image_seen(image, row + (size_t)x), b = image_seen(image, row + (size_t)x + 1);
        if (a == SEEN_NOTHING)
            continue;
        struct tally *t = &tally[image_piece(image, seen_number(a))];
        t->seen++;
        t->same += b != SEEN_NOTHING && seen_number(a) == seen_number(b);
    }
}

/* Vertex normals, where triangles are large enough to show them. */
static enum status get_normals(struct look *look, struct job *job)
{
    const struct image *image = look->image;
    struct tally *tally = calloc(image->pieces ? image->pieces : 1, sizeof *tally);
    if (!tally)
        return job_fail_memory(job, image->pieces * sizeof *tally);
    for (int y = 0; y < image->height; y += 4)
        count_row(image, y, tally);
    enum status status = STATUS_OK;
    for (size_t i = 0; i < image->pieces && status == STATUS_OK; i++) {
        struct skin *skin = &look->skin[i];
        if (skin->cloud || (double)tally[i].same <= large_share * (double)tally[i].seen)
            continue;
        const struct normals *normals = mesh_normals(skin->mesh, job);
        if (normals)
            skin->normal = normals->vertex;
        else
            status = job_status(job);
    }
    free(tally);
    return status;
}

static void skin_piece(struct look *look, size_t i)
{
    const struct raster_piece *piece = &look->view->piece[i];
    const struct mesh *mesh = piece->mesh;
    enum paint paint = look->view->paint;
    struct skin *skin = &look->skin[i];
    *skin = (struct skin){.mesh = mesh,
                          .pose = pose_of(&look->image->lens, mesh),
                          .first = look->image->first[i],
                          .cloud = !mesh_triangles(mesh),
                          .pale = piece->pale,
                          .spared = piece->spared};
    memcpy(skin->tint, piece->tint, 3);
    if (paint == PAINT_OWN)
        skin->colour = (const uint8_t(*)[4])mesh_attribute(mesh, ATTRIBUTE_colour);
    if (paint == PAINT_ORIGIN)
        skin->origin = mesh_attribute(mesh, ATTRIBUTE_origin);
    if (skin->cloud)
        skin->normal = mesh_attribute(mesh, ATTRIBUTE_normal);
}

enum status surface_draw(struct image *image, const struct raster_view *view, struct job *job)
{
    struct look look = {.image = image, .view = view};
    look.skin = calloc(view->pieces ? view->pieces : 1, sizeof *look.skin);
    if (!look.skin)
        return job_fail_memory(job, view->pieces * sizeof *look.skin);
    for (size_t i = 0; i < view->pieces; i++)
        skin_piece(&look, i);
    look.cut = lens_turn(&image->lens, view->cut_normal);
    look.cut_offset = view->cut_offset - vec_dot(view->cut_normal, image->lens.centre);
    enum status status = view->shade == SHADE_SMOOTH ? get_normals(&look, job) : STATUS_OK;
    if (status == STATUS_OK) {
#pragma omp parallel for schedule(dynamic, ROWS_AT_ONCE) num_threads(job_threads(job))
        for (int y = 0; y < image->height; y++)
            row_look(&look, y);
        if (job_cancelled(job))
            status = job_fail_cancelled(job);
    }
    free(look.skin);
    return status;
}
