/* One contender is one process, so that its time and its memory are its own. */
#ifndef TR_TOOLS_BENCH_PROCESS_H
#define TR_TOOLS_BENCH_PROCESS_H

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    double wall_ms; /* from its start to its end */
    double cpu_ms;  /* of all its threads, in the program and in the kernel */
    double peak_mb; /* largest resident memory */
    int status;     /* exit status; -1: it did not end by itself */
} bench_usage;

/* Runs a function in a process of its own; what it returns is its exit status. False: the process
   could not be made. This process should be small: what it holds counts as the other's memory. */
bool bench_run_function(int (*run)(void *context), void *context, bench_usage *out);
/* The same for a program (argv[0]: its path), without what it prints. */
bool bench_run_program(char *const argv[], bench_usage *out);

/* Memory, all zero, that such processes share with this one. NULL: there is none. */
void *bench_share(size_t size);
void bench_unshare(void *memory, size_t size);

double bench_median(double *values, long n); /* n >= 1; sorts them */

#endif
