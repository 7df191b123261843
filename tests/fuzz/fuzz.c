#define _GNU_SOURCE /* memfd_create */
#include "fuzz.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "base/text.h"

void fuzz_check(bool holds, const char *what, const char *file, int line) {
    if (holds) return;
    fprintf(stderr, "%s:%d: does not hold: %s\n", file, line, what);
    abort();
}

void fuzz_check_error(bool ok, const tr_error *err) {
    char line[1024];
    FUZZ_CHECK(ok == (err->code == TR_OK));
    if (ok) return;
    FUZZ_CHECK(err->text[0] != 0);
    FUZZ_CHECK(tr_text_is_line(err->text, strlen(err->text)));
    FUZZ_CHECK(tr_text_is_line(err->key, strlen(err->key)));
    FUZZ_CHECK(tr_text_is_line(err->file, strlen(err->file)));
    FUZZ_CHECK(err->line >= 0);
    tr_error_print(err, line, sizeof line);
    FUZZ_CHECK(tr_text_is_line(line, strlen(line)));
}

void fuzz_file_open(int number, const uint8_t *data, size_t size, char path[FUZZ_PATH_SIZE]) {
    int fd = memfd_create("fuzz", 0);
    FUZZ_CHECK(fd >= 0);
    FUZZ_CHECK(dup2(fd, FUZZ_FD + number) >= 0);
    close(fd);
    while (size > 0) {
        ssize_t n = write(FUZZ_FD + number, data, size);
        FUZZ_CHECK(n > 0);
        data += n;
        size -= (size_t)n;
    }
    snprintf(path, FUZZ_PATH_SIZE, "/proc/self/fd/%d", FUZZ_FD + number);
}

void fuzz_file_close(int number) {
    close(FUZZ_FD + number);
}

enum { MAX_FILES = 12 };
static const char SEPARATOR[] = "\n====\n";

/* How many bytes come before the next separator, or are left. */
static size_t part_size(const uint8_t *data, size_t size) {
    const size_t n = sizeof SEPARATOR - 1;
    for (size_t i = 0; i + n <= size; i++) {
        if (memcmp(data + i, SEPARATOR, n) == 0) return i;
    }
    return size;
}

int fuzz_files_open(const uint8_t *data, size_t size) {
    char path[FUZZ_PATH_SIZE];
    int n = 0;
    while (n < MAX_FILES) {
        size_t part = part_size(data, size);
        fuzz_file_open(n++, data, part, path);
        if (part == size) break;
        data += part + sizeof SEPARATOR - 1;
        size -= part + sizeof SEPARATOR - 1;
    }
    return n;
}
