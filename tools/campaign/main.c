/* campaign [coverage] [--jobs N] [--seed S] [--threads N]
   campaign survey [--jobs N] [--seed S] [--threads N]
   campaign traps [--jobs N] [--rendered N] [--seed S] [--threads N] [--only JOB] [--keep FOLDER]
   Many seeded jobs with known truth: coverage.c, survey.c and traps.c say what is asked of them. */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tools/campaign/options.h"

static bool read_number(const char *text, long low, long high, long *out) {
    char *end;
    *out = strtol(text, &end, 10);
    if (*text && !*end && *out >= low && *out <= high) return true;
    fprintf(stderr, "campaign: '%s' is not a number from %ld to %ld\n", text, low, high);
    return false;
}

static bool read_option(const char *name, const char *value, bool is_traps, campaign_options *o) {
    if (strcmp(name, "--jobs") == 0) return read_number(value, 0, 10000000, &o->jobs);
    if (strcmp(name, "--seed") == 0) return read_number(value, 0, 1000000, &o->seed);
    if (strcmp(name, "--threads") == 0) {
        return read_number(value, 1, CAMPAIGN_MAX_THREADS, &o->n_threads);
    }
    if (is_traps && strcmp(name, "--rendered") == 0) {
        return read_number(value, 0, 1000000, &o->rendered);
    }
    if (is_traps && strcmp(name, "--only") == 0) return read_number(value, 0, 1L << 50, &o->only);
    if (is_traps && strcmp(name, "--keep") == 0) {
        o->keep = value;
        return true;
    }
    return false;
}

int main(int argc, char **argv) {
    campaign_options o = {.jobs = -1, .rendered = -1, .seed = 1, .n_threads = 2, .only = -1};
    bool is_named = argc > 1 && argv[1][0] != '-';
    bool is_traps = is_named && strcmp(argv[1], "traps") == 0;
    bool is_survey = is_named && strcmp(argv[1], "survey") == 0;
    bool is_sound = !is_named || is_traps || is_survey || strcmp(argv[1], "coverage") == 0;
    int first = is_named ? 2 : 1;
    for (int i = first; i < argc && is_sound; i += 2) {
        is_sound = i + 1 < argc && read_option(argv[i], argv[i + 1], is_traps, &o);
    }
    if (!is_sound) {
        fprintf(stderr, "usage: campaign [coverage] [--jobs N] [--seed S] [--threads N]\n"
                        "       campaign survey [--jobs N] [--seed S] [--threads N]\n"
                        "       campaign traps [--jobs N] [--rendered N] [--seed S] [--threads N]\n"
                        "                      [--only JOB] [--keep FOLDER]\n");
        return 64;
    }
    if (is_survey) return campaign_survey(&o);
    return is_traps ? campaign_traps(&o) : campaign_coverage(&o);
}
