#include "scan/fuse_close.h"

#include "core/job.h"
#include "core/sheet.h"
#include "scan/fuse_winding.h"

/* Whether it stands in the grid's outermost blocks, which nothing measured comes near. */
static bool is_outermost(const struct grid *grid, node_id id)
{
    uint32_t at[3];
    grid_index(grid_block(grid, id >> 9)->key, at);
    for (int d = 0; d < 3; d++)
        if (at[d] < 1 || at[d] + 1 >= grid->frame.blocks[d])
            return true;
    return false;
}

static double value_at(const struct grid *grid, node_id id, const void *context)
{
    const struct winding *winding = context;
    double w = is_outermost(grid, id) ? 0 : winding_at(winding, grid_place(grid, id));
    return (winding->inside - w) * 2 * (double)grid->frame.step;
}

enum status close_surface(struct grid *grid, bool closed, struct net *net, struct handles *handles,
                          struct job *job)
{
    struct winding winding = {0};
    const struct sheet_field field = {value_at, &winding};
    *net = (struct net){0};
    *handles = (struct handles){0};
    enum status status = closed ? winding_make(grid, &winding, job) : STATUS_OK;
    if (status == STATUS_OK)
        status = sheet_find(grid, closed ? &field : NULL, job);
    if (status == STATUS_OK)
        status = net_make(grid, grid_samples(grid)->colour != NULL, net, job);
    if (status == STATUS_OK)
        status = net_relax(net, CLOSE_RELAXATIONS, NULL, job);
    if (status == STATUS_OK && closed && net->quads)
        status = handles_remove(grid, &field, CLOSE_RELAXATIONS, net, handles, job);
    winding_release(&winding);
    if (status != STATUS_OK)
        net_release(net);
    return status;
}
