/* A folder for the files of a test, and a locale in which a comma is the decimal sign. */
#ifndef TR_TESTS_TEMP_H
#define TR_TESTS_TEMP_H

#include <dirent.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "check.h"

enum { TEMP_SIZE = 512 };

/* A new, empty folder; its name goes to folder. */
static inline void temp_make(char folder[TEMP_SIZE]) {
    const char *base = getenv("TMPDIR");
    snprintf(folder, TEMP_SIZE, "%s/trammel-test-XXXXXX", base ? base : "/tmp");
    assert_non_null(mkdtemp(folder));
}

/* folder/name; the result is overwritten by the next call with the same out. */
static inline const char *temp_path(char out[TEMP_SIZE], const char *folder, const char *name) {
    assert_true(snprintf(out, TEMP_SIZE, "%.300s/%.200s", folder, name) < TEMP_SIZE);
    return out;
}

static inline void temp_write(const char *path, const void *data, size_t size) {
    FILE *to = fopen(path, "wb");
    assert_non_null(to);
    assert_int_equal(fwrite(data, 1, size, to), size);
    assert_int_equal(fclose(to), 0);
}

/* How many files and folders it holds. */
static inline int temp_count(const char *folder) {
    DIR *dir = opendir(folder);
    int n = 0;
    assert_non_null(dir);
    for (const struct dirent *entry; (entry = readdir(dir)) != NULL;) {
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) n++;
    }
    closedir(dir);
    return n;
}

static inline void temp_remove(const char *folder) {
    char command[TEMP_SIZE + 16];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    assert_int_equal(system(command), 0);
}

/* Makes a German locale in folder and sets it; false where this system cannot. */
static inline bool set_comma_locale(const char *folder) {
    char command[TEMP_SIZE + 128];
    snprintf(command, sizeof command,
             "localedef -i de_DE -f UTF-8 '%s/de_DE.UTF-8' >/dev/null 2>&1", folder);
    int status = system(command);
    (void)status; /* it is not 0 for mere warnings, too */
    setenv("LOCPATH", folder, 1);
    bool is_set = setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
    char text[8];
    snprintf(text, sizeof text, "%.1f", 0.5);
    return is_set && strcmp(text, "0,5") == 0;
}

static inline void set_c_locale(void) {
    setlocale(LC_ALL, "C");
    unsetenv("LOCPATH");
}

#endif
