/* What the campaigns are asked for on the command line. */
#ifndef TR_TOOLS_CAMPAIGN_OPTIONS_H
#define TR_TOOLS_CAMPAIGN_OPTIONS_H

enum { CAMPAIGN_MAX_THREADS = 16 };

typedef struct {
    long jobs, rendered; /* how many of each; -1: the campaign's own number */
    long seed, n_threads;
    long only;        /* traps: this job alone, told in full; -1: all */
    const char *keep; /* traps: folder for the photos of a rendered job told in full; may be NULL */
} campaign_options;

/* Exit statuses: 0 as asked, 1 not. */
int campaign_coverage(const campaign_options *options);
int campaign_survey(const campaign_options *options);
int campaign_traps(const campaign_options *options);

#endif
