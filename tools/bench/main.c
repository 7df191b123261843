/* bench MODE [--jobs N] [--seed S] [--threads N] [--keep FOLDER]
              [--photos N] [--sheets N] [--megapixels M] [--only JOB] [--phone FACTOR]
              [--lens-from-photos] [--beside TRAMMEL]
   How well (accuracy) and how fast (the others) the program is: each mode's file says what it
   measures. */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tools/bench/bench.h"

static const struct {
    const char *name;
    int (*run)(const bench_options *options);
} MODES[] = {
    {"accuracy", bench_accuracy}, {"network", bench_network}, {"survey", bench_survey},
    {"photos", bench_photos},     {"missing", bench_missing}, {"lens", bench_lens},
    {"store", bench_store},
};
enum { N_MODES = sizeof MODES / sizeof *MODES };

static bool read_number(const char *text, long low, long high, long *out) {
    char *end;
    *out = strtol(text, &end, 10);
    return *text && !*end && *out >= low && *out <= high;
}

static bool read_option(const char *name, const char *value, bench_options *o) {
    if (strcmp(name, "--jobs") == 0) return read_number(value, 1, 10000, &o->jobs);
    if (strcmp(name, "--only") == 0) return read_number(value, 0, 9999, &o->only);
    if (strcmp(name, "--seed") == 0) return read_number(value, 0, 1000000, &o->seed);
    if (strcmp(name, "--threads") == 0) {
        return read_number(value, 1, BENCH_MAX_THREADS, &o->n_threads);
    }
    if (strcmp(name, "--photos") == 0) return read_number(value, 4, 1000, &o->n_photos);
    if (strcmp(name, "--records") == 0) return read_number(value, 10, 10000000, &o->n_records);
    if (strcmp(name, "--sheets") == 0) return read_number(value, 5, 60, &o->n_sheets);
    if (strcmp(name, "--megapixels") == 0) return read_number(value, 1, 48, &o->megapixels);
    if (strcmp(name, "--phone") == 0) {
        char *end;
        o->phone = strtod(value, &end);
        return *value && !*end && o->phone >= 0 && o->phone <= 10;
    }
    if (strcmp(name, "--beside") == 0) {
        o->beside = value;
        return access(value, X_OK) == 0;
    }
    if (strcmp(name, "--keep") != 0) return false;
    o->keep = value;
    return true;
}

static int usage(void) {
    fprintf(stderr, "usage: bench MODE [--jobs N] [--seed S] [--threads N] [--keep FOLDER]\n"
                    "                  [--photos N] [--sheets N] [--megapixels M]\n"
                    "                  [--only JOB] [--phone FACTOR] [--lens-from-photos]\n"
                    "                  [--beside TRAMMEL] [--records N]\nmodes:");
    for (int i = 0; i < N_MODES; i++) fprintf(stderr, " %s", MODES[i].name);
    fprintf(stderr, "\n");
    return 64;
}

int main(int argc, char **argv) {
    bench_options o = {.jobs = -1,
                       .only = -1,
                       .seed = 1,
                       .n_threads = 2,
                       .n_photos = -1,
                       .n_sheets = -1,
                       .n_records = -1,
                       .megapixels = 12,
                       .phone = -1,
                       .program_path = argv[0]};
    if (argc < 2) return usage();
    for (int i = 2; i < argc; i++) {
        if (strcmp(argv[i], "--lens-from-photos") == 0) {
            o.has_lens_from_photos = true;
            continue;
        }
        if (i + 1 >= argc || !read_option(argv[i], argv[i + 1], &o)) return usage();
        i++;
    }
    if (o.has_lens_from_photos && o.phone < 0) return usage();
    for (int i = 0; i < N_MODES; i++) {
        if (strcmp(argv[1], MODES[i].name) == 0) return MODES[i].run(&o);
    }
    return usage();
}
