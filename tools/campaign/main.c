/* campaign [coverage] [--jobs N] [--seed S] [--threads N] [--lens known|unknown|untold] [PHONE]
   campaign survey [--jobs N] [--seed S] [--threads N] [PHONE]
   campaign photos [--jobs N] [--seed S] [--threads N] [PHONE]
   campaign smallest [--jobs N] [--seed S] [--threads N] [PHONE]
   campaign wheels [--jobs N] [--seed S] [--threads N] [PHONE]
   campaign floor [--jobs N] [--seed S] [--threads N] [PHONE]
   campaign traps [--jobs N] [--rendered N] [--wheels N] [--bare N] [--seed S] [--threads N] [--only
   JOB]
   [--keep FOLDER] [PHONE] PHONE: --phone FACTOR: what a phone does, times the factor
   (tr_sim_phone_full); and with it
          --shift-px SD, --focal-percent SD: another scatter of principal point and focal length.
   Many seeded jobs with known truth: coverage.c, survey.c, floor.c and traps.c say what is asked of
   them, advice.c (photos, smallest) what they tell. */
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

static bool read_factor(const char *text, double high, double unit, double *out) {
    char *end;
    *out = strtod(text, &end) * unit;
    if (*text && !*end && *out >= 0 && *out <= high * unit) return true;
    fprintf(stderr, "campaign: '%s' is not a number from 0 to %g\n", text, high);
    return false;
}

/* A scatter given before --phone would be lost. */
static bool read_phone(const char *name, const char *value, campaign_options *o) {
    double factor;
    if (strcmp(name, "--phone") == 0) {
        if (o->has_phone || !read_factor(value, 10, 1, &factor)) return false;
        o->has_phone = true;
        o->phone = tr_sim_phone_full(factor);
        return true;
    }
    if (!o->has_phone) return false;
    if (strcmp(name, "--shift-px") == 0) {
        return read_factor(value, 200, 1, &o->phone.principal_point_px);
    }
    if (strcmp(name, "--focal-percent") != 0) return false;
    return read_factor(value, 10, 0.01, &o->phone.focal);
}

tr_sim_phone campaign_phone(const campaign_options *options, long i) {
    tr_sim_phone phone = options->phone;
    phone.is_portrait = phone.turn_rad > 0 && i % 4 == 3;
    return phone;
}

static bool read_option(const char *name, const char *value, bool is_traps, campaign_options *o) {
    if (strcmp(name, "--jobs") == 0) return read_number(value, 0, 10000000, &o->jobs);
    if (strcmp(name, "--seed") == 0) return read_number(value, 0, 1000000, &o->seed);
    if (strcmp(name, "--threads") == 0) {
        return read_number(value, 1, CAMPAIGN_MAX_THREADS, &o->n_threads);
    }
    if (strcmp(name, "--lens") == 0) {
        o->is_focal_told = strcmp(value, "unknown") == 0;
        o->is_lens_unknown = o->is_focal_told || strcmp(value, "untold") == 0;
        return o->is_lens_unknown || strcmp(value, "known") == 0;
    }
    if (is_traps && strcmp(name, "--rendered") == 0) {
        return read_number(value, 0, 1000000, &o->rendered);
    }
    if (is_traps && strcmp(name, "--wheels") == 0) {
        return read_number(value, 0, 1000000, &o->wheels);
    }
    if (is_traps && strcmp(name, "--bare") == 0) {
        return read_number(value, 0, 1000000, &o->bare);
    }
    if (is_traps && strcmp(name, "--only") == 0) return read_number(value, 0, 1L << 50, &o->only);
    if (is_traps && strcmp(name, "--keep") == 0) {
        o->keep = value;
        return true;
    }
    return read_phone(name, value, o);
}

int main(int argc, char **argv) {
    campaign_options o = {.jobs = -1,
                          .rendered = -1,
                          .wheels = -1,
                          .bare = -1,
                          .seed = 1,
                          .n_threads = 2,
                          .only = -1};
    bool is_named = argc > 1 && argv[1][0] != '-';
    bool is_traps = is_named && strcmp(argv[1], "traps") == 0;
    static const struct {
        const char *name;
        int (*run)(const campaign_options *options);
    } CAMPAIGNS[] = {{"coverage", campaign_coverage}, {"survey", campaign_survey},
                     {"photos", campaign_photos},     {"smallest", campaign_smallest},
                     {"wheels", campaign_wheels},     {"floor", campaign_floor},
                     {"traps", campaign_traps}};
    enum { N_CAMPAIGNS = sizeof CAMPAIGNS / sizeof *CAMPAIGNS };
    int which = 0;
    while (is_named && which < N_CAMPAIGNS && strcmp(argv[1], CAMPAIGNS[which].name) != 0) which++;
    bool is_sound = which < N_CAMPAIGNS;
    int first = is_named ? 2 : 1;
    for (int i = first; i < argc && is_sound; i += 2) {
        is_sound = i + 1 < argc && read_option(argv[i], argv[i + 1], is_traps, &o);
    }
    if (!is_sound) {
        fprintf(
            stderr,
            "usage: campaign [coverage] [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "                [--lens known|unknown|untold]\n"
            "       campaign survey [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "       campaign photos [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "       campaign smallest [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "       campaign wheels [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "       campaign floor [--jobs N] [--seed S] [--threads N] [PHONE]\n"
            "       campaign traps [--jobs N] [--rendered N] [--wheels N] [--bare N]\n"
            "                      [--seed S] [--threads N] [--only JOB] [--keep FOLDER] [PHONE]\n"
            "PHONE: --phone FACTOR [--shift-px SD] [--focal-percent SD]\n");
        return 64;
    }
    return CAMPAIGNS[which].run(&o);
}
