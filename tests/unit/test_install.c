/* What `make deps` runs to install what is missing: with a PATH whose first folder holds stand-ins for
 * the system's tools that only write down what they were asked. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "tests/support/folder.h"

static char *folder;

static void stand_in(const char *name, const char *script)
{
    char text[1024];
    int size = snprintf(text, sizeof text, "#!/bin/sh\n%s\n", script);
    folder_write(folder, name, text, (size_t)size);
    char *path = folder_path(folder, name);
    ck_assert_int_eq(chmod(path, 0755), 0);
    free(path);
}

/* Runs it as that user, with that of the packages installed ("" for none); what the tools were asked,
 * a line each ("" for nothing). */
static char *asked(int user, const char *installed)
{
    char script[512], command[1024];
    folder = folder_new();
    snprintf(script, sizeof script, "echo %d", user);
    stand_in("id", script);
    stand_in("apt-get", "echo \"apt-get $*\" >> \"$ASKED\"");
    stand_in("sudo", "echo \"sudo $*\" >> \"$ASKED\"; exec \"$@\"");
    snprintf(script, sizeof script,
             "for last; do :; done; case \" %s \" in *\" $last \"*) echo install ok installed;; "
             "*) exit 1;; esac",
             installed);
    stand_in("dpkg-query", script);
    snprintf(command, sizeof command,
             "env -u MAKEFLAGS -u MAKELEVEL -u MFLAGS PATH='%s':\"$PATH\" ASKED='%s/asked' "
             "make -s deps > '%s/out' 2>&1",
             folder, folder, folder);
    int status = system(command);
    char *out_path = folder_path(folder, "out"), *out = folder_read(out_path, &(size_t){0});
    ck_assert_msg(status == 0, "make deps fails: %s", out);
    free(out_path);
    free(out);
    char *path = folder_path(folder, "asked"), *text = folder_read(path, &(size_t){0});
    free(path);
    folder_remove(folder);
    return text ? text : calloc(1, 1);
}

START_TEST(root_installs_by_itself)
{
    char *text = asked(0, "");
    ck_assert_msg(strncmp(text, "apt-get update -qq\napt-get install -y ", 38) == 0, "%s", text);
    ck_assert_ptr_nonnull(strstr(text, " libncurses-dev "));
    ck_assert_ptr_null(strstr(text, "sudo"));
    free(text);
}
END_TEST

START_TEST(others_ask_sudo)
{
    char *text = asked(1000, "");
    ck_assert_msg(strncmp(text, "sudo apt-get update -qq\napt-get update -qq\nsudo ", 48) == 0,
                  "%s", text);
    ck_assert_ptr_nonnull(
        strstr(text, "sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y"));
    ck_assert_ptr_nonnull(strstr(text, "\napt-get install -y"));
    free(text);
}
END_TEST

START_TEST(only_what_is_missing)
{
    char *text = asked(0, "gcc make pkg-config libcglm-dev libarchive-dev");
    ck_assert_ptr_nonnull(strstr(text, " libncurses-dev "));
    ck_assert_ptr_null(strstr(text, "libcglm-dev"));
    ck_assert_ptr_null(strstr(text, " gcc"));
    free(text);
    text = asked(0, "");
    char *all = strstr(text, "--no-install-recommends ");
    ck_assert_ptr_nonnull(all);
    all += strlen("--no-install-recommends ");
    all[strcspn(all, "\n")] = '\0';
    char *nothing = asked(0, all);
    ck_assert_str_eq(nothing, "");
    free(nothing);
    free(text);
}
END_TEST

Suite *suite_install(void);

Suite *suite_install(void)
{
    Suite *suite = suite_create("install");
    TCase *tests = tcase_create("install");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, root_installs_by_itself);
    tcase_add_test(tests, others_ask_sudo);
    tcase_add_test(tests, only_what_is_missing);
    suite_add_tcase(suite, tests);
    return suite;
}
