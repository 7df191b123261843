/* What the benchmarks are asked for on the command line. One file a mode; each prints medians and
   ratios that were measured in this one run. */
#ifndef TR_TOOLS_BENCH_BENCH_H
#define TR_TOOLS_BENCH_BENCH_H

#include <stdbool.h>

enum { BENCH_MAX_THREADS = 16 };

typedef struct {
    long jobs; /* how many, or how often each is repeated; -1: the mode's own number */
    long only; /* accuracy: this job alone; -1: all */
    long seed, n_threads;
    long n_photos, n_sheets; /* -1: the mode's own number */
    long n_records;          /* of a store; -1: the mode's own number */
    long megapixels;         /* of a photo, 12 .. 48 */
    double phone;            /* accuracy: what a phone does, times this factor; -1: nothing of it */
    bool has_lens_from_photos; /* accuracy with a phone: the lens is calibrated from photos */
    const char *keep;          /* folder in which rendered photos stay; NULL: they are removed */
    const char *program_path;  /* of this program */
    const char *beside;        /* photos, lens: another build of the program, which takes turns */
} bench_options;

/* Exit statuses: 0 as asked, 1 not. */
int bench_accuracy(const bench_options *options);
int bench_network(const bench_options *options);
int bench_survey(const bench_options *options);
int bench_photos(const bench_options *options);
int bench_missing(const bench_options *options); /* a part of bench_photos */
int bench_lens(const bench_options *options);
int bench_store(const bench_options *options);

#endif
