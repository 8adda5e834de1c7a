#include "core/status.h"

static const struct {
    int exit_status;
    const char *meaning;
} statuses[] = {
#define STATUS(name, exit_status, meaning) {exit_status, meaning},
#include "core/status.def"
#undef STATUS
};

const char *status_meaning(enum status status)
{
    return (unsigned)status < STATUS_COUNT ? statuses[status].meaning : "unknown status";
}

int status_exit(enum status status)
{
    return (unsigned)status < STATUS_COUNT ? statuses[status].exit_status : 2;
}
