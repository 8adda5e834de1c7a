#include "tests/support/program.h"

#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { WORDS = 64 };

static void split(char *line, char **word)
{
    int count = 1;
    word[0] = getenv("FETTLE_PROGRAM");
    if (!word[0])
        abort();
    while (*line && count < WORDS - 1) {
        char end = *line == '\'' ? '\'' : ' ';
        line += end == '\'';
        word[count++] = line;
        line += strcspn(line, end == '\'' ? "'" : " ");
        if (*line)
            *line++ = '\0';
        line += strspn(line, " ");
    }
    word[count] = NULL;
}

static pid_t start(char **word, int in[2], int out[2], int err[2])
{
    if (pipe(in) != 0 || pipe(out) != 0 || pipe(err) != 0)
        abort();
    pid_t child = fork();
    if (child == 0) {
        dup2(in[0], STDIN_FILENO);
        dup2(out[1], STDOUT_FILENO);
        dup2(err[1], STDERR_FILENO);
        for (int i = 0; i < 2; i++) {
            close(in[i]);
            close(out[i]);
            close(err[i]);
        }
        execv(word[0], word);
        _exit(127);
    }
    close(in[0]);
    close(out[1]);
    close(err[1]);
    return child;
}

struct buffer {
    char *data;
    size_t size;
};

/* False: its end was reached. */
static int take(int fd, struct buffer *buffer)
{
    char part[1 << 16];
    ssize_t n = read(fd, part, sizeof part);
    if (n <= 0)
        return 0;
    buffer->data = realloc(buffer->data, buffer->size + (size_t)n + 1);
    memcpy(buffer->data + buffer->size, part, (size_t)n);
    buffer->size += (size_t)n;
    buffer->data[buffer->size] = '\0';
    return 1;
}

static void talk(int in, const char *input, size_t size, int out, struct buffer *outs, int err,
                 struct buffer *errs)
{
    struct pollfd fd[3] = {{.fd = in, .events = POLLOUT},
                           {.fd = out, .events = POLLIN},
                           {.fd = err, .events = POLLIN}};
    while (fd[1].fd >= 0 || fd[2].fd >= 0) {
        if (fd[0].fd >= 0 && !size) {
            close(fd[0].fd);
            fd[0].fd = -1;
        }
        poll(fd, 3, -1);
        if (fd[0].fd >= 0 && fd[0].revents) {
            ssize_t n = write(fd[0].fd, input, size < 4096 ? size : 4096);
            size = n > 0 ? size - (size_t)n : 0;
            input += n > 0 ? n : 0;
        }
        if (fd[1].fd >= 0 && fd[1].revents && !take(fd[1].fd, outs))
            fd[1].fd = -1;
        if (fd[2].fd >= 0 && fd[2].revents && !take(fd[2].fd, errs))
            fd[2].fd = -1;
    }
    if (fd[0].fd >= 0)
        close(fd[0].fd);
    close(out);
    close(err);
}

struct ran program_run(const char *line, const void *input, size_t size)
{
    char *words = strdup(line), *word[WORDS];
    int in[2], out[2], err[2], how;
    struct buffer outs = {calloc(1, 1), 0}, errs = {calloc(1, 1), 0};
    signal(SIGPIPE, SIG_IGN);
    split(words, word);
    pid_t child = start(word, in, out, err);
    talk(in[1], input, input ? size : 0, out[0], &outs, err[0], &errs);
    waitpid(child, &how, 0);
    free(words);
    return (struct ran){.status = WIFEXITED(how) ? WEXITSTATUS(how) : 128 + WTERMSIG(how),
                        .out = outs.data,
                        .err = errs.data,
                        .out_size = outs.size};
}

void program_release(struct ran *ran)
{
    free(ran->out);
    free(ran->err);
    *ran = (struct ran){0};
}
