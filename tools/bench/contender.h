/* Those who measure the same photos of one simulated job: this program, and what can be put
   together from general libraries. Each leaves the tags that it found and where the mat lies. */
#ifndef TR_TOOLS_BENCH_CONTENDER_H
#define TR_TOOLS_BENCH_CONTENDER_H

#include "base/error.h"
#include "job/job.h"
#include "tools/bench/bench.h"

typedef enum { STAGE_DECODE, STAGE_FIND, STAGE_MEASURE, STAGE_SOLVE, STAGE_DRAW, N_STAGES } stage;

typedef struct {
    int photo, sheet, tag;
    tr_vec2 corner_px[4]; /* order of tr_tag_corner */
} bench_tag;

/* In memory that processes share. */
typedef struct {
    char error[256];
    bool is_placed;
    double placement[3];       /* x mm, y mm, yaw rad of the mat (sheet 0) from the rear axle */
    double stage_ms[N_STAGES]; /* this program's alone */
    int n_tags, most_tags;
    bench_tag tags[];
} bench_result;

typedef struct {
    const tr_job *job;
    char *const *files;
    int n_files;
    long n_threads;
    const char *picture; /* that this program may write */
    bench_result *result;
} bench_task;

/* The path of the program that is timed: it lies one folder above this one. */
TR_MUST_USE bool bench_find_program(const bench_options *o, char *out, size_t size, tr_error *err);

/* Each runs in a process of its own; the argument is a bench_task. Exit statuses: 0, or 1 with
   result->error. */
int bench_floor(void *task);
/* This program's library, for what it finds. Its time is that of the program itself. */
int bench_ours(void *task);
/* The same on one thread, stage by stage: processor time of each. */
int bench_ours_by_stage(void *task);
/* libapriltag at full size, then solvePnP from photo to photo. */
int bench_apriltag(void *task);
/* OpenCV: imread, detectMarkers, solvePnP likewise; photos side by side, or one after the other
   with OpenCV's own threads. */
int bench_markers(void *task);
int bench_markers_alone(void *task);

#endif
