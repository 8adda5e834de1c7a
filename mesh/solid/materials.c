#include "solid/materials.h"

#define MATERIAL(name, density, source) " " #name
const char material_names[] =
#include "solid/materials.def"
    ;
#undef MATERIAL

static const struct material materials[] = {
#define MATERIAL(name, density, source) {#name, density, (source)[0] == 'm'},
#include "solid/materials.def"
#undef MATERIAL
    {0}};

static const struct process processes[] = {
#define PROCESS(name, wall, escape) {name, wall, escape},
#include "solid/processes.def"
#undef PROCESS
    {0}};

const struct material *material_row(size_t i)
{
    return &materials[i];
}

const struct process *process_row(size_t i)
{
    return &processes[i];
}
