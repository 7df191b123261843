#include "base/listing.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

bool tr_name_is_yaml(const char *name) {
    const char *dot = strrchr(name, '.');
    return dot && dot != name && (strcasecmp(dot, ".yaml") == 0 || strcasecmp(dot, ".yml") == 0);
}

static int compare_names(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool add_name(char ***names, int *n, const char *name) {
    char **more = realloc(*names, ((size_t)*n + 1) * sizeof *more);
    if (!more) return false;
    *names = more;
    char *copy = strdup(name);
    if (copy) more[(*n)++] = copy;
    return copy;
}

int tr_listing(const char *folder, bool (*is_wanted)(const char *name), char ***names) {
    int n = 0;
    bool ok = true;
    *names = NULL;
    DIR *dir = opendir(*folder ? folder : ".");
    if (!dir) return -1;
    errno = 0;
    for (const struct dirent *e; ok && (e = readdir(dir)) != NULL;) {
        if (is_wanted(e->d_name)) ok = add_name(names, &n, e->d_name);
    }
    int why = errno;
    closedir(dir);
    if (ok && why == 0) {
        if (n > 0) qsort(*names, (size_t)n, sizeof **names, compare_names);
        return n;
    }
    tr_listing_release(*names, n);
    *names = NULL;
    errno = ok ? why : ENOMEM;
    return -1;
}

void tr_listing_release(char **names, int n) {
    for (int i = 0; i < n; i++) free(names[i]);
    free(names);
}
