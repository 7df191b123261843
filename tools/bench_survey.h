/* Surveys of rendered mats. Private to bench. */
#ifndef TR_TOOLS_BENCH_SURVEY_H
#define TR_TOOLS_BENCH_SURVEY_H

/* Exit status: 0 as asked. */
int bench_survey(long jobs, long seed, long n_threads);

#endif
