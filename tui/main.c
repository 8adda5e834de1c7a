/* The program: finds the command, or opens the files on the screen. */
#include <stdio.h>
#include <string.h>

int main(int count, char **words)
{
    if (count == 2 && strcmp(words[1], "--version") == 0) {
        puts("fettle 0.1");
        return 0;
    }
    fputs("fettle: the commands are still being built\n", stderr);
    return 2;
}
