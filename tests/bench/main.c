/* bench TASK ARGUMENT...: times one operation on its own. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/bench/bench.h"

#define TASK(symbol) extern const struct bench_task bench_##symbol;
#include "tests/bench/tasks.def"
#undef TASK

static const struct bench_task *const tasks[] = {
#define TASK(symbol) &bench_##symbol,
#include "tests/bench/tasks.def"
#undef TASK
};

/* As the program does (tui/main.c): waiting threads sleep, which must be said before the start. */
static void sleep_between_loops(char **argument)
{
    if (!getenv("OMP_WAIT_POLICY") && setenv("OMP_WAIT_POLICY", "passive", 1) == 0)
        execv("/proc/self/exe", argument);
}

int main(int count, char **argument)
{
    sleep_between_loops(argument);
    size_t rows = sizeof tasks / sizeof *tasks;
    for (size_t i = 0; i < rows && count > 1; i++)
        if (strcmp(tasks[i]->name, argument[1]) == 0) {
            int status = tasks[i]->run(count - 2, argument + 2);
            if (status == 2)
                fprintf(stderr, "usage: bench %s %s\n", tasks[i]->name, tasks[i]->arguments);
            return status;
        }
    for (size_t i = 0; i < rows; i++)
        fprintf(stderr, "bench %s %s: %s\n", tasks[i]->name, tasks[i]->arguments, tasks[i]->help);
    return 2;
}
