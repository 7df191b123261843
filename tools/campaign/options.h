/* What the campaigns are asked for on the command line. */
#ifndef TR_TOOLS_CAMPAIGN_OPTIONS_H
#define TR_TOOLS_CAMPAIGN_OPTIONS_H

#include <stdbool.h>

#include "tools/simulate/phone.h"

enum { CAMPAIGN_MAX_THREADS = 16 };

typedef struct {
    bool has_phone;       /* what a phone and real sheets do is simulated too */
    tr_sim_phone phone;   /* see tr_sim_phone_full */
    bool is_lens_unknown; /* coverage: jobs without a lens profile ... */
    bool is_focal_told;   /* ... whose photos tell their focal length */
    long jobs, rendered;  /* how many of each; -1: the campaign's own number */
    long wheels;          /* traps: how many jobs of wheels and boards; likewise */
    long bare;            /* traps: how many of mats without tags; likewise; a tenth is rendered */
    long seed, n_threads;
    long only;        /* traps: this job alone, told in full; -1: all */
    const char *keep; /* traps: folder for the photos of a rendered job told in full; may be NULL */
} campaign_options;

/* Of job i of a campaign: where a phone turns while a frame is read out, every fourth job has
 * portrait files. */
tr_sim_phone campaign_phone(const campaign_options *options, long i);

/* Exit statuses: 0 as asked, 1 not. */
int campaign_coverage(const campaign_options *options);
int campaign_survey(const campaign_options *options);
int campaign_traps(const campaign_options *options);
int campaign_photos(const campaign_options *options);
int campaign_smallest(const campaign_options *options);
int campaign_wheels(const campaign_options *options);
int campaign_floor(const campaign_options *options);

/* Traps of wheels and boards: prints their table, and adds the false passes. False: memory ran out.
 */
bool campaign_wheel_traps(const campaign_options *options, long jobs, long *false_passes);

/* The same of targets without tags: so many with simulated marks, and so many rendered. */
bool campaign_bare_traps(const campaign_options *options, const char *folder, long jobs,
                         long rendered, long *false_passes);

#endif
