#include "tools/bench/process.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static double ms_of(struct timeval t) {
    return 1e3 * (double)t.tv_sec + 1e-3 * (double)t.tv_usec;
}

static bool await(pid_t child, double begin_ms, bench_usage *out) {
    int status;
    struct rusage usage;
    if (wait4(child, &status, 0, &usage) != child) return false;
    out->wall_ms = now_ms() - begin_ms;
    out->cpu_ms = ms_of(usage.ru_utime) + ms_of(usage.ru_stime);
    out->peak_mb = (double)usage.ru_maxrss / 1024; /* told in kB */
    out->status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return true;
}

bool bench_run_function(int (*run)(void *context), void *context, bench_usage *out) {
    fflush(NULL);
    double begin = now_ms();
    pid_t child = fork();
    if (child < 0) return false;
    if (child == 0) {
        int status = run(context);
        fflush(NULL);
        _exit(status);
    }
    return await(child, begin, out);
}

bool bench_run_program(char *const argv[], bench_usage *out) {
    fflush(NULL);
    double begin = now_ms();
    pid_t child = fork();
    if (child < 0) return false;
    if (child == 0) {
        int nowhere = open("/dev/null", O_WRONLY);
        if (nowhere >= 0) dup2(nowhere, STDOUT_FILENO);
        execv(argv[0], argv);
        _exit(127);
    }
    return await(child, begin, out);
}

void *bench_share(size_t size) {
    void *memory = mmap(NULL, size, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    return memory == MAP_FAILED ? NULL : memory;
}

void bench_unshare(void *memory, size_t size) {
    if (memory) munmap(memory, size);
}

static int compare_doubles(const void *a, const void *b) {
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

double bench_median(double *values, long n) {
    qsort(values, (size_t)n, sizeof *values, compare_doubles);
    return n % 2 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}
