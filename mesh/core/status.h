/* What a call that can fail returns. The message that goes with a failure is kept by the job. */
#ifndef FETTLE_CORE_STATUS_H
#define FETTLE_CORE_STATUS_H

enum status {
#define STATUS(name, exit_status, meaning) STATUS_##name,
#include "core/status.def"
#undef STATUS
    STATUS_COUNT
};

/* What the status means, in a few words; never NULL. */
const char *status_meaning(enum status status);

/* The exit status the program ends with. */
int status_exit(enum status status);

#endif
