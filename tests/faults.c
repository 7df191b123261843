#define _GNU_SOURCE /* dl_iterate_phdr */
#include "tests/faults.h"

#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <link.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What really allocates: AddressSanitizer's functions where it is there, else the C library's. */
void *__interceptor_malloc(size_t size) __attribute__((weak));
void *__interceptor_calloc(size_t n, size_t size) __attribute__((weak));
void *__interceptor_realloc(void *old, size_t size) __attribute__((weak));
void *__interceptor_memalign(size_t alignment, size_t size) __attribute__((weak));
void __sanitizer_print_stack_trace(void) __attribute__((weak));
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

static const char *const SPARED[] = {
    "libapriltag", "libglib",       "libgobject", "libpango",    "libharfbuzz",     "libcairo",
    "libpixman",   "libfontconfig", "libexpat",   "libfreetype", "libopencv_flann", "ld-linux"};
enum { MAX_RANGES = 64, DEPTH = 24 };

typedef struct {
    uintptr_t from, to;
} range;

/* Part of the process, as the functions that it stands before are: there is one of each. */
static struct {
    atomic_bool is_armed, is_recording;
    atomic_long count;
    long fail_at;
    bool is_lasting, is_traced;
    range spared[MAX_RANGES];
    int n_spared;
    range c_library[8];
    int n_c_library;
    /* Call stacks seen, as hashes in an open table; 0 is a free place. */
    uint64_t seen[2 * FAULT_MAX_PLACES];
    long first[FAULT_MAX_PLACES];
    int n_places;
} faults;

/* Of the thread that armed: others come and go as they like, and could not be counted twice alike.
 */
static _Thread_local bool is_counted;
static _Thread_local bool is_inside; /* what is called from here is not counted */

static void note_ranges(const struct dl_phdr_info *info, range *list, int *n, int most) {
    for (int i = 0; i < info->dlpi_phnum && *n < most; i++) {
        const ElfW(Phdr) *h = &info->dlpi_phdr[i];
        uintptr_t from = info->dlpi_addr + h->p_vaddr;
        if (h->p_type == PT_LOAD) list[(*n)++] = (range){from, from + h->p_memsz};
    }
}

static int note_library(struct dl_phdr_info *info, size_t size, void *context) {
    (void)size;
    (void)context;
    if (strstr(info->dlpi_name, "/libc.so")) {
        note_ranges(info, faults.c_library, &faults.n_c_library, 8);
    }
    for (size_t i = 0; i < sizeof SPARED / sizeof *SPARED; i++) {
        if (!strstr(info->dlpi_name, SPARED[i])) continue;
        note_ranges(info, faults.spared, &faults.n_spared, MAX_RANGES);
        break;
    }
    return 0;
}

static bool is_within(const void *address, const range *list, int n) {
    uintptr_t at = (uintptr_t)address;
    for (int i = 0; i < n; i++) {
        if (at >= list[i].from && at < list[i].to) return true;
    }
    return false;
}

/* Where the C library allocates (strdup, fopen), it does so for its own caller. */
static bool is_spared(const void *caller) {
    void *stack[DEPTH];
    if (!is_within(caller, faults.c_library, faults.n_c_library)) {
        return is_within(caller, faults.spared, faults.n_spared);
    }
    is_inside = true;
    int n = backtrace(stack, DEPTH);
    is_inside = false;
    int i = 0;
    while (i < n && stack[i] != caller) i++;
    while (i < n && is_within(stack[i], faults.c_library, faults.n_c_library)) i++;
    return i < n && is_within(stack[i], faults.spared, faults.n_spared);
}

/* FNV-1a, 64 bits. */
static uint64_t hash_stack(void) {
    void *stack[DEPTH];
    int n = backtrace(stack, DEPTH);
    uint64_t h = UINT64_C(14695981039346656037);
    for (int i = 0; i < n; i++) h = (h ^ (uint64_t)(uintptr_t)stack[i]) * UINT64_C(1099511628211);
    return h ? h : 1;
}

static void record(long number) {
    uint64_t h = hash_stack();
    size_t at = (size_t)(h % (2 * FAULT_MAX_PLACES));
    while (faults.seen[at] != 0 && faults.seen[at] != h) at = (at + 1) % (2 * FAULT_MAX_PLACES);
    if (faults.seen[at] == h || faults.n_places == FAULT_MAX_PLACES) return;
    faults.seen[at] = h;
    faults.first[faults.n_places++] = number;
}

static void trace(void) {
    void *stack[DEPTH];
    is_inside = true;
    if (__sanitizer_print_stack_trace)
        __sanitizer_print_stack_trace();
    else
        backtrace_symbols_fd(stack, backtrace(stack, DEPTH), STDERR_FILENO);
    is_inside = false;
}

/* Counts an allocation; true where it is to fail. */
static bool must_fail(const void *caller) {
    if (!faults.is_armed || !is_counted || is_inside || is_spared(caller)) return false;
    long number = atomic_fetch_add(&faults.count, 1) + 1;
    if (faults.is_recording) {
        is_inside = true;
        record(number);
        is_inside = false;
    }
    bool fails = number == faults.fail_at || (faults.is_lasting && number > faults.fail_at);
    if (faults.fail_at == 0 || !fails) return false;
    if (faults.is_traced && number == faults.fail_at) trace();
    errno = ENOMEM;
    return true;
}

void fault_arm(long n, bool lasting) {
    void *warm[1];
    (void)backtrace(warm, 1); /* the first call loads a library */
    if (faults.n_spared == 0) dl_iterate_phdr(note_library, NULL);
    is_counted = true;
    if (n == 0) {
        memset(faults.seen, 0, sizeof faults.seen);
        faults.n_places = 0;
    }
    faults.count = 0;
    faults.fail_at = n;
    faults.is_lasting = lasting;
    faults.is_traced = getenv("TRAMMEL_FAULT_TRACE") != NULL;
    faults.is_recording = n == 0;
    faults.is_armed = true;
}

long fault_disarm(void) {
    faults.is_armed = false;
    return faults.count;
}

int fault_places(const long **first) {
    *first = faults.first;
    return faults.n_places;
}

/* ---- in the place of the C library's ---- */

/* AddressSanitizer asks for the stack's bounds at every longjmp, and cannot do without an answer,
   for which the C library allocates. */
int pthread_getattr_np(pthread_t thread, pthread_attr_t *out) {
    int (*real)(pthread_t, pthread_attr_t *);
    bool was_inside = is_inside;
    is_inside = true;
    *(void **)&real = dlsym(RTLD_NEXT, "pthread_getattr_np");
    int result = real(thread, out);
    is_inside = was_inside;
    return result;
}

void *malloc(size_t size) {
    if (must_fail(__builtin_return_address(0))) return NULL;
    return __interceptor_malloc ? __interceptor_malloc(size) : __libc_malloc(size);
}

void *calloc(size_t n, size_t size) {
    if (must_fail(__builtin_return_address(0))) return NULL;
    return __interceptor_calloc ? __interceptor_calloc(n, size) : __libc_calloc(n, size);
}

void *realloc(void *old, size_t size) {
    if (size > 0 && must_fail(__builtin_return_address(0))) return NULL;
    return __interceptor_realloc ? __interceptor_realloc(old, size) : __libc_realloc(old, size);
}

static void *aligned(size_t alignment, size_t size) {
    return __interceptor_memalign ? __interceptor_memalign(alignment, size)
                                  : __libc_memalign(alignment, size);
}

void *aligned_alloc(size_t alignment, size_t size) {
    return must_fail(__builtin_return_address(0)) ? NULL : aligned(alignment, size);
}

int posix_memalign(void **out, size_t alignment, size_t size) {
    void *memory = must_fail(__builtin_return_address(0)) ? NULL : aligned(alignment, size);
    if (!memory) return ENOMEM;
    *out = memory;
    return 0;
}
